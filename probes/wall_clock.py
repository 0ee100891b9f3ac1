"""Times as loggers write them, day or month first and without a zone, into UTC.

A wall clock that is set back shows an hour twice, and one that is set forward leaves
an hour out.  What the order of the rows does not decide is not guessed: which of the
two hours a time means, and what a time means that no clock has shown.

Units: ``_ms`` milliseconds since 1970-01-01T00:00:00Z.
"""

import re
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, tzinfo
from enum import StrEnum
from itertools import pairwise

from probes.json_text import Unusable, say
from probes.stamps import EPOCH, ONE_MS

DATE = re.compile(
    r"(?P<a>\d{4}|\d{1,2})(?P<mark>[-./])(?P<b>\d{1,2})(?P=mark)(?P<c>\d{4}|\d{1,2})"
)
CLOCK = re.compile(
    r"(?P<h>\d{1,2}):(?P<m>\d{2})(?::(?P<s>\d{2})(?:[.,](?P<ms>\d{1,3}))?)?"
    r"(?: ?(?P<half>[AaPp])\.?[Mm]\.?)?(?: ?(?P<zone>Z|[+-]\d{2}:?\d{2}))?"
)
BOTH = re.compile(rf"(?P<date>{DATE.pattern})[ T]+(?P<clock>{CLOCK.pattern})")
CENTURY = 2000  # of a year in two digits: loggers are younger than that


class Dates(StrEnum):
    """In which order a date gives its parts."""

    DAY_FIRST = "day-first"
    MONTH_FIRST = "month-first"
    YEAR_FIRST = "year-first"


class Hour(StrEnum):
    """Which of the two hours that a clock set back shows is meant."""

    FIRST = "first"
    SECOND = "second"


def order_of(texts: Iterable[str]) -> Dates | None:
    """The order of the parts of these dates; None where they do not show it.

    A part above twelve is no month; a part of four digits is the year, and where it
    has only two no part shows what it is.
    """
    found = [one for text in texts if (one := DATE.match(text))]
    if any(len(one["a"]) == 4 for one in found):
        return Dates.YEAR_FIRST
    if any(len(one["c"]) < 4 for one in found):
        return None
    first = any(int(one["a"]) > 12 for one in found)
    second = any(int(one["b"]) > 12 for one in found)
    if first == second:  # neither shows it, or the dates are of two kinds
        return None
    return Dates.DAY_FIRST if first else Dates.MONTH_FIRST


def read_wall(text: str, dates: Dates) -> datetime | Unusable:
    """What the clock on the wall showed; with its zone where the text says it."""
    found = BOTH.fullmatch(text)
    if not found:
        return Unusable(f"{say(text)} is not a date and a time of day")
    one, two, three = (int(found[part]) for part in "abc")
    if (len(found["a"]) == 4) != (dates is Dates.YEAR_FIRST):
        return Unusable(f"{say(text)} is not {dates}, as the others are")
    year, month, day = {
        Dates.YEAR_FIRST: (one, two, three),
        Dates.DAY_FIRST: (three, two, one),
        Dates.MONTH_FIRST: (three, one, two),
    }[dates]
    hour = int(found["h"])
    if found["half"]:
        if not 1 <= hour <= 12:
            return Unusable(f"{say(text)} has no such hour before or after noon")
        hour = hour % 12 + (12 if found["half"] in "Pp" else 0)
    year += CENTURY if year < 100 else 0
    thousandths = int((found["ms"] or "0").ljust(3, "0"))
    minute, second = int(found["m"]), int(found["s"] or 0)
    try:
        at = datetime(year, month, day, hour, minute, second, thousandths * 1000)
    except ValueError as error:
        return Unusable(f"{say(text)} is not a time: {error}")
    zone = found["zone"]
    return at.replace(tzinfo=_offset(zone)) if zone else at


def fixed_zone(name: str) -> tzinfo | None:
    """The zone that is always so far from UTC, such as +01:00; None for other names."""
    try:
        fixed = name[:1] in ("+", "-")
        return (
            datetime.fromisoformat(f"2000-01-01T00:00:00{name}").tzinfo
            if fixed
            else None
        )
    except ValueError:
        return None


def in_utc(
    walls: Sequence[datetime], zone: tzinfo, hour: Hour | None = None
) -> list[int | Unusable]:
    """The times in milliseconds of what one clock showed, row after row.

    ``hour`` says which is meant where the rows show a repeated hour only once.
    """
    folds = _folds(walls, zone, hour)
    return [_instant(wall, zone, fold) for wall, fold in zip(walls, folds, strict=True)]


def _instant(wall: datetime, zone: tzinfo, fold: int | None) -> int | Unusable:
    if wall.tzinfo is not None:
        return (wall - EPOCH) // ONE_MS
    if not _exists(wall, zone):
        return Unusable(
            f"{wall} was shown by no clock in {zone}: it was set forward then; "
            "where the logger's clock was not, give its fixed zone, such as +01:00"
        )
    if fold is None:
        return Unusable(
            f"{wall} came twice in {zone}, and the rows do not show which is meant; "
            "add --repeated-hour first, or second"
        )
    return (wall.replace(tzinfo=zone, fold=fold) - EPOCH) // ONE_MS


def _folds(
    walls: Sequence[datetime], zone: tzinfo, hour: Hour | None
) -> list[int | None]:
    """For every time, whether it is of the second of two hours; None: not decided."""
    folds: list[int | None] = [0] * len(walls)
    begin = 0
    while begin < len(walls):
        end = begin
        while end < len(walls) and _twice(walls[end], zone):
            end += 1
        if end > begin:
            folds[begin:end] = _of_run(walls[begin:end], hour)
        begin = max(end, begin + 1)
    return folds


def _of_run(run: Sequence[datetime], hour: Hour | None) -> list[int | None]:
    """The run of rows in a repeated hour; once it goes back, the second has begun."""
    turns = [i for i, (a, b) in enumerate(pairwise(run), start=1) if b <= a]
    if len(turns) == 1:
        return [int(i >= turns[0]) for i in range(len(run))]
    if hour is None or turns:
        return [None] * len(run)
    fold = 0 if hour is Hour.FIRST else 1
    return [fold for _ in run]


def _exists(wall: datetime, zone: tzinfo) -> bool:
    try:
        there = wall.replace(tzinfo=zone).astimezone(UTC)
        return there.astimezone(zone).replace(tzinfo=None) == wall
    except OverflowError:  # on the first or last day that has a date
        return False


def _twice(wall: datetime, zone: tzinfo) -> bool:
    if wall.tzinfo is not None or not _exists(wall, zone):
        return False
    first, second = (wall.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    return first.utcoffset() != second.utcoffset()


def _offset(text: str) -> tzinfo:
    at = datetime.fromisoformat(f"2000-01-01T00:00:00{text}")
    assert at.tzinfo is not None
    return at.tzinfo
