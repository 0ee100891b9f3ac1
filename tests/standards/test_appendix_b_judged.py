"""Every cooling option judged by the engine, each band at its boundary.

Source:    FSIS Appendix B, January and June 1999; FSIS-GD-2021-13 from memory, to be
           verified; California Code of Regulations title 3 section 910.15; FDA Food
           Code section 3-501.14(A) (rows_appendix_b.py).
Rows:      typed from the sources; never printed by our own code.
Tolerance: none on the time that is credited: a band that takes exactly its hours is
           met, and one second more is not.  A core that crosses an end of a band
           shows it by readings half a second apart, on it and 1 mK beside it, so that
           less than two seconds too much are doubted and two seconds are missed.

What a product must be for an option is in ``test_appendix_b``; here one product that
meets it, one that does not and one of which nothing is known go through the engine.
"""

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise

import pytest

from rules.channels import Channel, Role
from rules.facts import Entry, EntryKind, Finding, Reading, Verdict
from rules.replay import Outcome, replay
from rules.schedule import Schedule, read_schedule
from rules.units import fahrenheit_mc
from rules.verdicts import on_hold
from tests.standards.rows_appendix_b import OPTIONS, Row

BEGUN_MS = 1_767_934_800_000  # 2026-01-09T05:00:00Z, any day will do
HALF_S = 500
EVERY_MS = 60_000

SCHEDULE = """\
schedule: cooled
revision: 1
product: {{meat: pork, form: comminuted{product}}}
stages:
  - {{stage: cook, ends: when every core rises to 160 degF}}
  - {{stage: rest, ends: after {rest_s} s}}
  - {{stage: chill, ends: by hand}}
limits:
  - {{limit: cooling, kind: cooling option, channel: core, option: "{option}"}}
"""
RIGHT = (
    ", cured: yes, cooked: fully, nitrite: 120 ppm, erythorbate: 250 ppm, "
    "brine: 6 %, water activity: 0.92"
)
UNKNOWN = ", cured: yes"
WRONG = (
    ", cured: no, cooked: partially, erythorbate: 0 ppm, brine: 1 %, "
    "water activity: 0.99"
)

BANDS = [(row, i) for row in OPTIONS for i in range(len(row.bands))]
every_band = pytest.mark.parametrize(
    ("row", "number"), BANDS, ids=[f"{row.name}, band {i + 1}" for row, i in BANDS]
)
every_option = pytest.mark.parametrize("row", OPTIONS, ids=lambda row: row.name)


# Which texts ask something of the product itself.
ASKING = {
    "FSIS Appendix B 1999, option 3",
    "FSIS Appendix B 1999, option 3, to 40 degF",
    "FSIS Appendix B 2021, option 2",
    "FSIS Appendix B 2021, option 3",
    "FSIS Appendix B 2021, option 4",
    "California 910.15, slow cooling",
}


def mc(degf: int) -> int:
    return fahrenheit_mc(Fraction(degf))


def schedule(row: Row, product: str, rest_ms: int) -> Schedule:
    rest_s = rest_ms // 1000
    text = SCHEDULE.format(option=row.name, product=product, rest_s=rest_s)
    found = read_schedule("cooled.yaml", text)
    assert isinstance(found, Schedule), found
    return found


def fall(row: Row, slow: int, more_ms: int = 0) -> list[tuple[int, int]]:
    """A fall in which band ``slow`` takes its time and ``more_ms``, others a minute.

    Each end of a band is shown by three readings: 1 mK above it, on it, 1 mK below it.
    """
    at_ms = 0
    points = [(at_ms, mc(159))]
    marks = sorted({mark for band in row.bands for mark in band[:2]}, reverse=True)
    from_f, to_f, hours = row.bands[slow]
    for mark in marks:
        if mark == to_f:  # what the bands inside this one have left of its time
            inside = [each for each in marks if to_f < each < from_f]
            at_ms += int(hours * 3_600_000) - 60_000 * len(inside) + more_ms
        else:
            at_ms += 60_000
        points += [(at_ms - HALF_S, mc(mark) + 1), (at_ms, mc(mark))]
        points += [(at_ms + HALF_S, mc(mark) - 1)]
    points.append((at_ms + 60_000, mc(row.end_f)))
    return points


def filled(points: list[tuple[int, int]]) -> Iterator[tuple[int, int]]:
    """The points, and a reading a minute on the straight line between them."""
    for (at_ms, value_mc), (to_ms, end_mc) in pairwise(points):
        yield at_ms, value_mc
        for between_ms in range(at_ms + EVERY_MS, to_ms, EVERY_MS):
            part = Fraction(between_ms - at_ms, to_ms - at_ms)
            yield between_ms, round(value_mc + (end_mc - value_mc) * part)
    yield points[-1]


def judged(
    row: Row, points: list[tuple[int, int]], product: str = RIGHT, rest_ms: int = 1_000
) -> tuple[Outcome, dict[str, Finding]]:
    """A core that was at 160 degF, and later falls so; what every part came to."""
    begin_ms = BEGUN_MS + rest_ms
    readings = [Reading("core", BEGUN_MS, mc(160), 0)]
    readings += [
        Reading("core", begin_ms + at_ms, value_mc, 0)
        for at_ms, value_mc in filled(points)
    ]
    channel = Channel("core", Role.CORE, EVERY_MS, 10 * EVERY_MS, 0)
    until_ms = readings[-1].at_ms
    end = Entry(EntryKind.END, until_ms, until_ms, "ab")
    told = schedule(row, product, rest_ms)
    outcome = replay(told, [channel], BEGUN_MS, readings, [end], until_ms)
    return outcome, {one.part: one for one in outcome.findings}


def name_of(band: tuple[int, int, float]) -> str:
    """The part's name: the ends as published, as all of the schedule is in degF."""
    ends = [f"{degf}.0 degF" for degf in band[:2]]
    return " to ".join(ends)


@every_band
@pytest.mark.parametrize(
    ("more_ms", "verdict"),
    [
        (-1_000, Verdict.MET),
        (0, Verdict.MET),
        (1_000, Verdict.UNPROVEN),
        (2_000, Verdict.MISSED),
    ],
)
def test_a_band_is_met_in_exactly_its_time(
    row: Row, number: int, more_ms: int, verdict: Verdict
) -> None:
    outcome, parts = judged(row, fall(row, number, more_ms))
    band = row.bands[number]
    found = parts[name_of(band)]
    assert found.required == band[2] * 3_600_000
    assert found.least == found.required + more_ms
    assert found.most == found.required + more_ms - 2 * HALF_S
    assert found.verdict is verdict
    others = [one for part, one in parts.items() if part != name_of(band)]
    assert {one.verdict for one in others} <= {Verdict.MET}
    assert on_hold(outcome.judged) is (verdict is not Verdict.MET)


@every_band
@pytest.mark.parametrize(("beside_mc", "counts"), [(0, False), (1, False), (-1, True)])
def test_a_band_counts_from_below_its_upper_end(
    row: Row, number: int, beside_mc: int, counts: bool
) -> None:
    """At the upper end, or 1 mK above it, for an hour: not a second of that."""
    top_mc, hour_ms = mc(row.bands[number][0]) + beside_mc, 3_600_000
    points = [(1_000, top_mc), (hour_ms, top_mc), (hour_ms + 1_000, mc(row.end_f))]
    _, parts = judged(row, [(0, mc(159)), *points])
    found = parts[name_of(row.bands[number])]
    # A second to get there and one to leave: what they allow is all the doubt.
    spent_ms = hour_ms - 1_000 if counts else 0
    assert found.most == spent_ms
    assert spent_ms <= found.least <= spent_ms + 2_000


@every_option
@pytest.mark.parametrize(("short_mc", "shown"), [(0, True), (1, False)])
def test_the_final_temperature_is_reached_exactly(
    row: Row, short_mc: int, shown: bool
) -> None:
    *points, (last_ms, last_mc) = fall(row, 0)
    end_mc = last_mc + short_mc
    points = [(at_ms, max(value_mc, end_mc)) for at_ms, value_mc in points]
    outcome, parts = judged(row, [*points, (last_ms, end_mc)])
    unproven = {part for part, one in parts.items() if one.verdict is not Verdict.MET}
    assert bool(unproven) is not shown
    assert on_hold(outcome.judged) is not shown


STARTS = [row for row in OPTIONS if row.start_within_min]


@pytest.mark.parametrize("row", STARTS, ids=lambda row: row.name)
@pytest.mark.parametrize(
    ("more_s", "verdict"),
    [(-1, Verdict.MET), (0, Verdict.MET), (1, Verdict.MISSED)],
)
def test_chilling_starts_within_the_printed_time(
    row: Row, more_s: int, verdict: Verdict
) -> None:
    """Of the end of the heating; the core rests hot until then."""
    rest_ms = (row.start_within_min * 60 + more_s) * 1_000
    _, parts = judged(row, fall(row, 0), rest_ms=rest_ms)
    assert parts["start of chilling"].verdict is verdict
    assert parts["start of chilling"].least == rest_ms


ASKS = [row for row in OPTIONS if row.name in ASKING]


@pytest.mark.parametrize("row", ASKS, ids=lambda row: row.name)
@pytest.mark.parametrize(
    ("product", "verdict"),
    [
        (RIGHT, Verdict.MET),
        (UNKNOWN, Verdict.UNPROVEN),
        (WRONG, Verdict.MISSED),
    ],
    ids=["right", "unknown", "wrong"],
)
def test_the_product_must_be_what_the_option_asks(
    row: Row, product: str, verdict: Verdict
) -> None:
    """However fast it cooled."""
    outcome, parts = judged(row, fall(row, 0), product)
    assert parts["conditions"].verdict is verdict
    assert on_hold(outcome.judged) is (verdict is not Verdict.MET)


@every_option
def test_only_those_options_ask_something_of_the_product(row: Row) -> None:
    _, parts = judged(row, fall(row, 0), WRONG)
    assert ("conditions" in parts) is (row.name in ASKING)


def test_no_row_was_lost() -> None:
    assert (len(OPTIONS), len(BANDS), len(STARTS), len(ASKS)) == (11, 20, 2, 6)
