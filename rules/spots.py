"""Core temperatures of several pieces, taken one after the other by hand: one set.

The lowest piece stands for all, less what the thermometer may be off; where a core has
to fall, the highest, and more.  A set is what was seen at one moment and holds no time:
it meets no limit, and what it takes from what a probe has shown is told in
``rules.spot_sets``.  Where the thermometer is not calibrated, it is advice alone.

Units: ``_mc`` as in ``rules.facts``.
"""

import re
from collections.abc import Iterator
from typing import NamedTuple

from rules.dwell import DwellTableLimit
from rules.limit import say_day
from rules.schedule import Schedule
from rules.stages import Way
from rules.units import doubt, refused, say_mc, temperature

RIGHT = "write, for example: '72.1, 71.8, 73.0 degC' --within '0.5 K'"
SEPARATED = re.compile(r"\s*,\s+|\s+")
MOST = 50  # pieces in a set
WHOLE = re.compile(
    r"\d+ pieces? by hand: (?P<pieces>[^;]+) degC; the lowest [^;]+; "
    r"with (?P<instrument>[^,;]+), within (?P<within>[0-9.]+ K), "
    r"(?P<standing>[^;]+)(?:; (?P<means>.*))?",
    re.DOTALL,
)
ADVICE, CALIBRATED = "advice alone", "calibrated "


class Thermometer(NamedTuple):
    """One that temperatures are taken with by hand, as the settings tell of it."""

    name: str
    within_mc: int  # expanded uncertainty, k = 2, with all that it is read by
    calibrated_ms: int
    due_ms: int  # when it is to be calibrated again


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


class Told(NamedTuple):
    """A set as the text of its entry tells it, whether it counts or not."""

    spots: Spots
    instrument: str
    standing: str  # whether it counts, in words
    means: str  # what it bears out and what not; "" where nothing asked for it

    @property
    def counts(self) -> bool:
        """Whether a calibrated thermometer took it."""
        return self.standing.startswith(CALIBRATED)


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
    return Spots(values_mc, doubt(within))


def standing_of(known: Thermometer | None, at_ms: int) -> str:
    """Whether what a thermometer shows counts, in words that go into the entry."""
    if known is None:
        return f"{ADVICE}: no thermometer of that name is in the settings"
    if at_ms < known.calibrated_ms:
        return f"{ADVICE}: it is calibrated from {say_day(known.calibrated_ms)} on"
    if at_ms >= known.due_ms:
        return f"{ADVICE}: its calibration was due on {say_day(known.due_ms)}"
    return f"{CALIBRATED}{say_day(known.calibrated_ms)}, due {say_day(known.due_ms)}"


def counted(text: str) -> Spots | None:
    """The set in the text of an entry; None where it is advice alone."""
    found = told(text)
    return found.spots if found and found.counts else None


def told(text: str) -> Told | None:
    """The set in the text of an entry, advice or not; None where there is none."""
    found = WHOLE.fullmatch(text)
    if found is None:
        return None
    try:
        spots = read(found["pieces"].replace(" degC", "") + " degC", found["within"])
    except ValueError:
        return None
    return Told(spots, found["instrument"], found["standing"], found["means"] or "")


def at_end(spots: Spots, end_mc: int, *, rises: bool) -> bool:
    """Whether every piece is surely at the end point of a stage."""
    return spots.least_mc >= end_mc if rises else spots.most_mc <= end_mc


def text_of(spots: Spots, instrument: str, standing: str) -> str:
    """The set as it is kept: every piece in the order in which it was taken.

    Nothing is rounded, so that what is read back is what was taken.
    """
    each = ", ".join(exactly(one, "degC") for one in spots.values_mc)
    count = len(spots.values_mc)
    pieces = "1 piece" if count == 1 else f"{count} pieces"
    return (
        f"{pieces} by hand: {each}; the lowest "
        f"{exactly(min(spots.values_mc), 'degC')}; with {instrument}, "
        f"within {exactly(spots.within_mc, 'K')}, {standing}"
    )


def exactly(value_mc: int, unit: str) -> str:
    """Say a figure to its last thousandth: ``71.8 degC``, ``0.25 K``."""
    whole, rest = divmod(abs(value_mc), 1000)
    part = f"{rest:03}".rstrip("0") or "0"
    return f"{'-' if value_mc < 0 else ''}{whole}.{part} {unit}"


def against(schedule: Schedule, stage: str, spots: Spots) -> Iterator[str]:
    """What the set says of the end of a stage, and of the tables that judge cores."""
    for one, way in zip(schedule.stages, schedule.ways, strict=True):
        if one.name == stage and way in (Way.RISES, Way.FALLS):
            is_there = at_end(spots, one.ends.mc, rises=way is Way.RISES)
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
