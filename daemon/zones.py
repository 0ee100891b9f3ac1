"""The zones of the world by their names, from the zone database of the board."""

from datetime import tzinfo
from zoneinfo import ZoneInfo

from probes.wall_clock import fixed_zone


def zone_named(name: str) -> tzinfo | None:
    """The zone of this name, or a fixed one such as +01:00; None where none is."""
    if fixed := fixed_zone(name):
        return fixed
    try:
        return ZoneInfo(name)
    except (ValueError, OSError, KeyError):  # a zone that is not found is a KeyError
        return None
