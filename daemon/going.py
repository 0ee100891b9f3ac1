"""In words: where a cook is going, and that texture and lethality are two things.

What a core is asked to be and when it will be: ``core-2 must be past 54.4 degC by
14:10; at this rate 14:55 (14:40 to 15:30)``.  The end of a stage by a core is texture,
and says nothing of lethality, which may have been met hours before; and lethality is
never said by the core alone: what there is of the surface's humidity stands beside it.

Units: milliseconds since 1970-01-01T00:00:00Z; 0 for a time that never comes.
"""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, tzinfo
from typing import Any, NamedTuple

from rules import surface
from rules.crosscheck import LETHAL
from rules.facts import Standing
from rules.spots import exactly
from rules.units import say_ms

UNPROVEN = "what the probes have shown is unproven by a set by hand"

Tree = dict[str, Any]  # as ``daemon.view.as_json`` gives it


class House(NamedTuple):
    """Where the times of day are read, and when."""

    zone: tzinfo
    now_ms: int


def ahead(one: Tree, house: House) -> str:
    """When the core is where it is asked to be, and when it must be."""
    asked, rate = _asked(one), _rate(one, house)
    if one["deadline_ms"]:
        by = clock(one["deadline_ms"], house)
        return f"{one['channel']} must {asked} by {by}; at this rate {rate}"
    return f"{one['channel']} has to {asked}; at this rate {rate}"


def late(one: Tree) -> bool:
    """Whether the core is likely to be there after it must, or never."""
    deadline_ms, likely_ms = one["deadline_ms"], one["likely_ms"]
    return bool(deadline_ms) and not 0 < likely_ms <= deadline_ms


def lethality(limits: Sequence[Tree], house: House) -> Iterator[tuple[bool, str]]:
    """Whether all is well with each lethality limit that is judged, and the words."""
    for one in limits:
        if one["kind"] not in LETHAL or one["standing"] == Standing.WAITING:
            continue
        since = clock(one["since_ms"], house)
        rate = f", {ahead(one['ahead'], house)}" if one["ahead"] else ""
        beside = surface.tail(one["why"])
        words = f"{one['name']}: {one['standing']} since {since}, {one['why']}"
        if one["standing"] == Standing.WITHIN:
            words = f"{one['name']}: not met yet{rate}{beside}"
        elif one["standing"] == Standing.AT_RISK and rate:
            words = f"{one['name']}: {one['standing']} since {since}{rate}{beside}"
        well = one["standing"] in (Standing.WITHIN, Standing.MET)
        yield well, words


def by_hand(one: Tree, house: House) -> str:
    """The last set that was taken by hand for a stage, and what it means."""
    pieces, highest = one["pieces"], "highest" if one["falls"] else "lowest"
    of = "1 piece" if pieces == 1 else f"the {highest} of {pieces} pieces"
    words = [
        f"{one['stage'] or 'no stage'} by hand: {of} "
        f"{exactly(one['decides_mc'], 'degC')} at {clock(one['at_ms'], house)} "
        f"by {one['who']}, with {one['instrument']} "
        f"within {exactly(one['within_mc'], 'K')}",
        one["standing"],
        one["means"],
        UNPROVEN if one["doubts"] else "",
    ]
    return "; ".join(filter(None, words))


def clock(at_ms: int, house: House) -> str:
    """A time of day, as the house's clock shows it; with its day where not today."""
    at, now = (
        datetime.fromtimestamp(ms / 1000, UTC).astimezone(house.zone)
        for ms in (at_ms, house.now_ms)
    )
    return f"{at:%H:%M}" if at.date() == now.date() else f"{at:%Y-%m-%d %H:%M}"


def _asked(one: Tree) -> str:
    """What the core has to be, or the heat that it has to have."""
    if one["asks"]:
        return f"have {one['asks']}"
    where = f"{'past' if one['rises'] else 'down to'} {one['mark']}"
    hold = f" for {say_ms(one['hold_ms'])}" if one["hold_ms"] else ""
    return f"be {where}{hold}"


def _rate(one: Tree, house: House) -> str:
    earliest, likely, latest = (
        clock(at_ms, house) if at_ms else ""
        for at_ms in (one["earliest_ms"], one["likely_ms"], one["latest_ms"])
    )
    if not likely:
        return f"never ({earliest} at the earliest)" if earliest else "never"
    if not latest:
        return f"{likely} ({earliest} at the earliest)"
    return f"{likely} ({earliest} to {latest})" if earliest != latest else likely
