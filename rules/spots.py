"""Core temperatures of several pieces, taken one after the other by hand: one set.

The lowest piece stands for all, less what the thermometer may be off; where a core has
to fall, the highest, and more.  A set is what was seen at one moment and holds no time:
it is kept and told beside what the probes prove, and moves no limit.

Units: ``_mc`` as in ``rules.facts``.
"""

import re
from collections.abc import Iterator
from typing import NamedTuple

from rules.dwell import DwellTableLimit
from rules.schedule import Schedule
from rules.stages import Way
from rules.units import difference, refused, say_k, say_mc, temperature

RIGHT = "write, for example: '72.1, 71.8, 73.0 degC' --within '0.5 K'"
SEPARATED = re.compile(r"\s*,\s+|\s+")
MOST = 50  # pieces in a set


class Spots(NamedTuple):
    """What each piece showed, and how far the thermometer may be off, either way."""

    values_mc: tuple[int, ...]
    within_mc: int

    @property
    def least_mc(self) -> int:
        """What the coldest piece surely had."""
        return min(self.values_mc) - self.within_mc

    @property
    def most_mc(self) -> int:
        """What the warmest piece can have had."""
        return max(self.values_mc) + self.within_mc


def read(pieces: str, within: str) -> Spots:
    """The set that a person wrote: ``72.1, 71.8 degC`` and ``0.5 K``.

    Raises:
        ValueError: It is no set; the words say what would be right.
    """
    numbers, _, unit = pieces.strip().rpartition(" ")
    numbers = numbers.rstrip(" ,")
    found = SEPARATED.split(numbers)  # 72,1 is one number, and refused as such
    if not numbers or len(found) > MOST:
        raise refused(f"{pieces!r} are not the temperatures of pieces", RIGHT)
    values_mc = tuple(temperature(f"{one} {unit}") for one in found)
    return Spots(values_mc, difference(within))


def text_of(spots: Spots, instrument: str) -> str:
    """The set as it is kept: every piece in the order in which it was taken."""
    each = ", ".join(say_mc(one) for one in spots.values_mc)
    count = len(spots.values_mc)
    pieces = "1 piece" if count == 1 else f"{count} pieces"
    return (
        f"{pieces} by hand: {each}; the lowest {say_mc(min(spots.values_mc))}; "
        f"with {instrument}, within {say_k(spots.within_mc)}"
    )


def against(schedule: Schedule, stage: str, spots: Spots) -> Iterator[str]:
    """What the set says of the end of a stage, and of the tables that judge cores."""
    for one, way in zip(schedule.stages, schedule.ways, strict=True):
        if one.name == stage and way in (Way.RISES, Way.FALLS):
            is_there = (
                spots.least_mc >= one.ends.mc
                if way is Way.RISES
                else spots.most_mc <= one.ends.mc
            )
            yield f"stage {stage} {_reached(is_there)} {say_mc(one.ends.mc)}"
    for limit in schedule.judged:
        if isinstance(limit, DwellTableLimit):
            at_once = [row.temp_mc for row in limit.table.rows if not row.dwell_ms]
            if at_once:
                is_there = spots.least_mc >= min(at_once)
                row = f"{say_mc(min(at_once))}, where {limit.table.name} asks no time"
                yield f"limit {limit.name} {_reached(is_there)} {row}"


def _reached(is_there: bool) -> str:
    if is_there:
        return "is borne out: every piece is surely at"
    return "is NOT borne out: not every piece is surely at"
