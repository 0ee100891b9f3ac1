"""A set of temperatures that were taken by hand, as a person enters it.

The command and the page read the same words and refuse the same mistakes here; what
becomes of a set is told in ``rules.spots`` and ``rules.spot_sets``.

Units: ``_ms`` milliseconds since 1970-01-01T00:00:00Z.
"""

import re
from collections.abc import Iterable
from typing import NamedTuple

from rules import spots
from rules.schedule import Schedule
from rules.spots import Thermometer

MOST_NAME = 64  # of a thermometer that the settings do not name


class Taken(NamedTuple):
    """What a person wrote of a set."""

    pieces: str  # "72.1, 71.8 degC"
    instrument: str
    within: str  # "0.5 K"; "" where the settings say it
    stage: str  # "" for none


class SetError(Exception):
    """A set is not as it should be; ``field`` is the one that is wrong."""

    def __init__(self, field: str, words: str) -> None:
        """Keep the field, and the words for the person."""
        super().__init__(words)
        self.field = field


def text_of(
    taken: Taken,
    thermometers: Iterable[Thermometer],
    schedule: Schedule | None,
    at_ms: int,
) -> str:
    """The text of the entry, with what the set bears out where its schedule is known.

    Raises:
        SetError: It is no set; the words say what would be right.
    """
    name = taken.instrument
    is_name = name.isprintable() and re.fullmatch("[^,;]+", name)
    known = next((one for one in thermometers if one.name == name), None)
    if not is_name or (known is None and len(name) > MOST_NAME):
        right = f"without comma or semicolon, in at most {MOST_NAME} letters"
        raise SetError("instrument", f"name the thermometer, {right}")
    if not taken.within and known is None:
        words = "say how far it may be off, or name it in the settings"
        raise SetError("within", words)
    try:
        found = spots.read(taken.pieces, taken.within or "0 K")
    except ValueError as error:
        raise SetError("pieces", f"{error}; {spots.RIGHT}") from None
    if known:
        found = found._replace(within_mc=max(found.within_mc, known.within_mc))
    said = [*spots.against(schedule, taken.stage, found)] if schedule else []
    standing = spots.standing_of(known, at_ms)
    return "; ".join([spots.text_of(found, name, standing), *said])
