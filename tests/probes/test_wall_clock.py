"""probes/wall_clock.py: the clock on a wall, turned into UTC without a guess.

Source: Directive 2000/84/EC, articles 2 and 3: summer time begins at 01:00 UTC on the
last Sunday of March and ends at 01:00 UTC on the last Sunday of October; the Uniform
Time Act as amended in 2005: at 2:00 local time on the second Sunday of March and the
first of November.  Both from memory, to be verified.
"""

from datetime import datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probes.json_text import Unusable
from probes.stamps import say_stamp
from probes.wall_clock import Dates, Hour, in_utc, order_of, read_wall

VIENNA, CHICAGO = ZoneInfo("Europe/Vienna"), ZoneInfo("America/Chicago")


def shown(*texts: str) -> list[datetime]:
    """What the clock showed at these times."""
    return [datetime.fromisoformat(text) for text in texts]


def utc(found: list[int | Unusable]) -> list[str]:
    """Each time in UTC, to the minute, or the word why."""
    return [
        one.why if isinstance(one, Unusable) else say_stamp(one)[:16] for one in found
    ]


@pytest.mark.parametrize(
    ("texts", "order"),
    [
        (["2026-01-10 05:00"], Dates.YEAR_FIRST),
        (["10.01.2026", "13.01.2026"], Dates.DAY_FIRST),
        (["01/10/2026", "01/13/2026"], Dates.MONTH_FIRST),
        (["10.01.2026", "12.01.2026"], None),  # the tenth of January, or of any month
        (["13.01.2026", "01.13.2026"], None),  # of two kinds
        (["13.01.26"], None),  # the year may stand in front
    ],
)
def test_the_order_of_a_date_is_seen_or_asked(
    texts: list[str], order: Dates | None
) -> None:
    assert order_of(texts) is order


@pytest.mark.parametrize(
    ("text", "dates", "at"),
    [
        ("10.01.2026 05:00", Dates.DAY_FIRST, "2026-01-10T05:00:00"),
        ("01/10/2026 05:00:07", Dates.MONTH_FIRST, "2026-01-10T05:00:07"),
        ("2026/1/9T5:00:07,25", Dates.YEAR_FIRST, "2026-01-09T05:00:07.250"),
        ("1/10/2026 12:30 AM", Dates.MONTH_FIRST, "2026-01-10T00:30:00"),
        ("1/10/2026 12:30:00 p.m.", Dates.MONTH_FIRST, "2026-01-10T12:30:00"),
        ("1/10/26 1:30 PM", Dates.MONTH_FIRST, "2026-01-10T13:30:00"),
        ("2026-01-10 05:00:00+01:00", Dates.YEAR_FIRST, "2026-01-10T05:00:00+01:00"),
        ("2026-01-10T05:00:00Z", Dates.YEAR_FIRST, "2026-01-10T05:00:00+00:00"),
    ],
)
def test_a_time_as_a_logger_writes_it(text: str, dates: Dates, at: str) -> None:
    assert read_wall(text, dates) == datetime.fromisoformat(at)


@pytest.mark.parametrize(
    "text",
    ["31.02.2026 05:00", "10.01.2026 24:30", "10.01.2026", "10.01.2026 13:00 PM",
     "2026-01-10 05:00", "05:00", ""],
)  # fmt: skip
def test_what_is_no_time_says_so(text: str) -> None:
    assert isinstance(read_wall(text, Dates.DAY_FIRST), Unusable)


def test_the_hour_that_comes_twice_is_told_by_the_order() -> None:
    walls = shown(
        *("2026-10-25T01:30", "2026-10-25T02:00", "2026-10-25T02:30"),
        *("2026-10-25T02:00", "2026-10-25T02:30", "2026-10-25T03:00"),
    )
    assert utc(in_utc(walls, VIENNA)) == [
        *("2026-10-24T23:30", "2026-10-25T00:00", "2026-10-25T00:30"),
        *("2026-10-25T01:00", "2026-10-25T01:30", "2026-10-25T02:00"),
    ]


def test_the_hour_shown_once_must_be_asked_for() -> None:
    walls = shown("2026-11-01T00:30", "2026-11-01T01:30", "2026-11-01T02:30")
    before, which, after = utc(in_utc(walls, CHICAGO))
    assert (before, after) == ("2026-11-01T05:30", "2026-11-01T08:30")
    assert which.endswith("add --repeated-hour first, or second")
    assert utc(in_utc(walls, CHICAGO, Hour.FIRST))[1] == "2026-11-01T06:30"
    assert utc(in_utc(walls, CHICAGO, Hour.SECOND))[1] == "2026-11-01T07:30"


def test_the_hour_that_goes_back_twice_is_never_decided() -> None:
    walls = shown("2026-10-25T02:30", "2026-10-25T02:00", "2026-10-25T02:00")
    for found in in_utc(walls, VIENNA, Hour.FIRST):
        assert isinstance(found, Unusable)


def test_the_hole_of_the_spring_is_no_time() -> None:
    walls = shown("2026-03-29T01:59", "2026-03-29T02:30", "2026-03-29T03:00")
    before, never, after = utc(in_utc(walls, VIENNA))
    assert (before, after) == ("2026-03-29T00:59", "2026-03-29T01:00")
    assert "was shown by no clock in Europe/Vienna" in never


def test_a_fixed_zone_has_neither_hole_nor_repetition() -> None:
    walls = shown("2026-03-29T02:30", "2026-10-25T02:30")
    fixed = timezone(timedelta(hours=1))
    assert utc(in_utc(walls, fixed)) == ["2026-03-29T01:30", "2026-10-25T01:30"]


def test_a_time_with_a_zone_of_its_own_keeps_it() -> None:
    walls = shown("2026-10-25T02:30+02:00", "2026-10-25T02:30+01:00")
    assert utc(in_utc(walls, VIENNA)) == ["2026-10-25T00:30", "2026-10-25T01:30"]


MINUTES = st.lists(st.integers(1, 180), min_size=20, max_size=60)


@given(st.sampled_from([VIENNA, CHICAGO]), st.integers(0, 365 * 24), MINUTES)
def test_what_is_decided_is_what_was(
    zone: ZoneInfo, begin_h: int, steps: list[int]
) -> None:
    """Any logger's rows: each comes back as its own moment, or is asked for."""
    at = datetime(2026, 1, 1, tzinfo=ZoneInfo("UTC")) + timedelta(hours=begin_h)
    moments = []
    for step in steps:
        at += timedelta(minutes=step)
        moments.append(at)
    walls = [one.astimezone(zone).replace(tzinfo=None) for one in moments]
    for found, moment in zip(in_utc(walls, zone), moments, strict=True):
        if isinstance(found, int):
            assert found == round(moment.timestamp() * 1000)
        else:
            assert "came twice" in found.why
