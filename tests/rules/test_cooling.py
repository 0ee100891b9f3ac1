"""Cooling by a published option, told as stories in minutes and degrees Fahrenheit.

The bands and times are those of FSIS Appendix B, 1999 (option 1: 130 to 80 degF in
1.5 h and 80 to 40 degF in 5 h; option 2: 120 to 80 degF in 1 h and 80 to 55 degF in
5 h, begun within 90 min; option 3: cured with 100 ppm of nitrite), of the FDA Food
Code 3-501.14 (135 to 70 degF in 2 h, to 41 degF in 6 h) and of California 910.15
(120 to 40 degF in 20 h, falling all the time).
"""

from dataclasses import replace

import pytest

from rules import falling
from rules.cooling import CONDITIONS, START, CoolingLimit
from rules.evidence import Piece, Span
from rules.facts import EntryKind, Reading, Standing
from rules.falling import FALL
from rules.limit import Move, Opening, Shown
from rules.standards.cooling import ProductFacts
from tests.rules.stories import (
    BEGUN_MS,
    MIN,
    H,
    cook,
    core,
    entry,
    heard,
    judged,
    limit_moves,
    opening,
    schedule,
    series_f,
    shown_to,
)

OPTION_1 = "FSIS Appendix B 1999, option 1"
OPTION_2 = "FSIS Appendix B 1999, option 2"
OPTION_3 = "FSIS Appendix B 1999, option 3"
FOOD_CODE = "FDA Food Code 3-501.14(A)"
SLOW = "California 910.15, slow cooling"

UPPER, LOWER = "54.4 degC to 26.7 degC", "26.7 degC to 4.4 degC"
CURED = ProductFacts(
    nitrite_ppm=156, erythorbate_ppm=550, brine_percent_milli=3_500, fully_cooked=True
)
# The cook ended as chilling began.
AT_ONCE = Opening(BEGUN_MS, BEGUN_MS, CURED, BEGUN_MS)

Point = tuple[float, int]


def limit(option: str, **more: str) -> CoolingLimit:
    """A cooling limit as its author writes it."""
    written = {"limit": "cooling", "kind": "cooling option", "channel": "core"}
    return CoolingLimit.model_validate({**written, "option": option, **more})


def curve(*points: Point, every_min: int = 10) -> list[Piece]:
    """A core's readings, all joined."""
    return heard(core(every_ms=every_min * MIN), series_f("core", *points))


def every_ten(from_min: int, to_min: int, degf: int) -> list[Point]:
    """The same reading every ten minutes, both ends included."""
    return [(at, degf) for at in range(from_min, to_min + 1, 10)]


def told(moves: list[Move], part: str) -> list[tuple[float, str]]:
    """How one part moved, in minutes."""
    return [
        ((move.at_ms - BEGUN_MS) / MIN, str(move.now))
        for move in moves
        if move.part == part
    ]


def run(
    option: str,
    *points: Point,
    over_min: float = 0,
    start: Opening = AT_ONCE,
    every_min: int = 10,
    **more: str,
) -> tuple[list[Move], dict[str, Shown]]:
    """Judge one curve; the moves, and what each part came to."""
    over_ms = BEGUN_MS + round(over_min * MIN) if over_min else 0
    moves, shown = shown_to(
        limit(option, **more), curve(*points, every_min=every_min), over_ms, start
    )
    return moves, {one.part: one for one in shown}


def test_a_product_that_cools_in_time_is_met_band_by_band() -> None:
    moves, parts = run(OPTION_1, (0, 140), (10, 100), (20, 79), (30, 40), over_min=40)
    assert told(moves, UPPER) == [(20, "met")]
    assert told(moves, LOWER) == [(30, "met")]
    assert {str(part.verdict) for part in parts.values()} == {"met"}


def test_the_moment_at_which_the_allowance_is_full_is_still_in_time() -> None:
    warm = [(at, 129) for at in range(0, 90, 10)]
    _, parts = run(OPTION_1, *warm, (90, 80), over_min=100)
    assert parts[UPPER].verdict == "met"
    assert parts[UPPER].least == parts[UPPER].required == 90 * MIN


def test_one_millisecond_more_is_not() -> None:
    warm = [(at, 129) for at in range(0, 90, 10)]
    moves, parts = run(OPTION_1, *warm, (90 + 1 / MIN, 80), over_min=100)
    assert told(moves, UPPER) == [(90, "unproven")]
    # Between the last reading above and the first below nobody knows when.
    assert (parts[UPPER].least, parts[UPPER].most) == (90 * MIN + 1, 80 * MIN)


def test_the_ends_of_a_band_belong_to_the_outside() -> None:
    _, parts = run(
        OPTION_1, *every_ten(0, 100, 130), (110, 80), *every_ten(120, 200, 80)
    )
    assert (parts[UPPER].least, parts[UPPER].most) == (10 * MIN, 0)


def test_warming_back_into_a_band_counts_again() -> None:
    """Option 1 counts the time that the product remains in the band."""
    moves, parts = run(
        OPTION_1, (0, 140), (10, 120), (20, 120), (30, 79), *every_ten(40, 130, 85)
    )
    # 30 min may be used when 80 degF is shown; the span that warms again counts
    # from its beginning for the one truth and from its end for the other.
    assert told(moves, UPPER) == [
        (30, "met"),
        (30, "within"),
        (90, "unproven"),
        (120, "missed"),
    ]
    assert (parts[UPPER].least, parts[UPPER].most) == (130 * MIN, 100 * MIN)


def test_warmed_again_and_cooled_again_in_time_is_met() -> None:
    moves, parts = run(OPTION_1, (0, 140), (10, 79), (20, 85), (30, 79), over_min=40)
    assert told(moves, UPPER) == [
        (10, "met"),
        (10, "within"),
        (30, "met"),
    ]
    assert parts[UPPER].least == 30 * MIN
    assert told(moves, LOWER) == [(40, "unproven")]


def test_the_time_since_a_crossing_does_not_stop() -> None:
    """The Food Code counts on from 135 degF, however warm it gets in between."""
    moves, _ = run(FOOD_CODE, (0, 140), (10, 130), *every_ten(20, 400, 140))
    assert told(moves, "57.2 degC to 21.1 degC") == [
        (120, "unproven"),
        (130, "missed"),
    ]
    assert told(moves, "57.2 degC to 5.0 degC") == [
        (360, "unproven"),
        (370, "missed"),
    ]


def test_the_time_since_a_crossing_ends_with_the_lower_end() -> None:
    moves, parts = run(FOOD_CODE, (0, 130), (10, 70), *every_ten(20, 300, 72))
    assert told(moves, "57.2 degC to 21.1 degC") == [(10, "met")]
    assert parts["57.2 degC to 21.1 degC"].least == 10 * MIN


def test_a_warning_comes_while_there_is_time() -> None:
    moves, parts = run(OPTION_1, *every_ten(0, 70, 120), warn="30 min before")
    assert told(moves, UPPER) == [(60, "at risk")]
    assert parts[UPPER].lose_ms == BEGUN_MS + 90 * MIN


def test_what_was_never_shown_is_unproven_and_not_missed() -> None:
    moves, parts = run(OPTION_1, (0, 140), (10, 100), over_min=12)
    assert told(moves, UPPER) == told(moves, LOWER) == [(12, "unproven")]
    assert parts[UPPER].why.endswith("26.7 degC is not shown")


def test_across_a_hole_a_band_may_have_taken_the_whole_time() -> None:
    moves, parts = run(OPTION_1, (0, 140), (10, 120), (110, 79))
    assert told(moves, UPPER) == [(90, "unproven")]
    assert parts[UPPER].least == 110 * MIN
    assert parts[UPPER].most == 0


def test_a_hole_does_not_stop_the_time_since_a_crossing() -> None:
    """Within the hole 70 degF may have been reached, and never after it again."""
    moves, parts = run(FOOD_CODE, (0, 130), (130, 130), *every_ten(140, 400, 130))
    part = parts["57.2 degC to 21.1 degC"]
    assert told(moves, "57.2 degC to 21.1 degC") == [(120, "unproven")]
    assert (part.least, part.most) == (400 * MIN, 0)


@pytest.mark.parametrize(
    ("lost", "standing"),
    [
        pytest.param(range(10, 13), "missed", id="40 s: 20 K at the most"),
        pytest.param(range(10, 16), "unproven", id="70 s: 35 K, and 33 K are enough"),
    ],
)
def test_a_short_hole_hides_no_missed_limit(lost: range, standing: str) -> None:
    """Nothing falls and comes back faster than 1 K a second either way."""
    ticks = [tick for tick in range(6 * 125) if tick not in lost]
    readings = series_f("core", *((tick / 6, 130) for tick in ticks))
    moves, _ = shown_to(
        limit(FOOD_CODE), heard(core(every_ms=10_000), readings), start=AT_ONCE
    )
    assert told(moves, "57.2 degC to 21.1 degC")[-1][1] == standing


def test_the_final_temperature_is_a_part_of_its_own() -> None:
    """Option 2 ends its bands at 55 degF, and chilling goes on to 40 degF."""
    moves, parts = run(OPTION_2, (0, 121), (10, 79), (20, 55), (30, 45), over_min=40)
    assert told(moves, "26.7 degC to 12.8 degC") == [(20, "met")]
    assert told(moves, "down to 4.4 degC") == [(40, "unproven")]
    assert parts["down to 4.4 degC"].why == (
        "4.4 degC was never shown from 05:00 UTC to 05:40 UTC"
    )
    moves, parts = run(OPTION_2, (0, 121), (10, 79), (20, 55), (30, 40))
    assert told(moves, "down to 4.4 degC") == [(30, "met")]
    assert parts["down to 4.4 degC"].verdict == "met"
    assert parts["down to 4.4 degC"].why == "reached 4.4 degC at 05:30 UTC"


@pytest.mark.parametrize(
    ("late_ms", "verdict"), [(90 * MIN, "met"), (90 * MIN + 1, "missed")]
)
def test_chilling_begins_in_time(late_ms: int, verdict: str) -> None:
    start = Opening(BEGUN_MS, BEGUN_MS - late_ms, CURED)
    moves, parts = run(OPTION_2, (0, 121), start=start)
    assert parts[START].verdict == verdict
    assert parts[START].least == parts[START].most == late_ms
    # Told as soon as anything is, and not at the end.
    assert told(moves, START) == ([] if verdict == "met" else [(0, "missed")])


def test_when_chilling_had_to_begin_is_unknown_where_no_stage_heated() -> None:
    _, parts = run(OPTION_2, (0, 140), start=opening(CURED))
    assert parts[START].verdict == "unproven"
    assert parts[START].why == (
        "no stage shows when heating ended; 1 h 30 min allowed from then"
    )


def test_time_before_chilling_counts_where_it_may_have_been_below() -> None:
    """Half an hour on the rail: at 125 degF nobody knows since when."""
    start = Opening(BEGUN_MS, BEGUN_MS, CURED, BEGUN_MS - 30 * MIN)
    _, warm = run(OPTION_1, (0, 125), (10, 100), (20, 79), start=start)
    _, hot = run(OPTION_1, (0, 131), (10, 100), (20, 79), start=start)
    assert warm[UPPER].least == 50 * MIN
    assert hot[UPPER].least == 20 * MIN
    # From 125 degF it surely was inside until the next reading.
    assert (warm[UPPER].most, hot[UPPER].most) == (10 * MIN, 0)


def test_time_before_chilling_may_be_too_long_already() -> None:
    start = Opening(BEGUN_MS, BEGUN_MS, CURED, BEGUN_MS - 2 * H)
    moves, _ = run(OPTION_1, (0, 125), start=start)
    assert told(moves, UPPER) == [(0, "unproven")]
    assert told(moves, LOWER) == []


SLOW_BEFORE_CHILLING = """\
stages:
  - {stage: cook, ends: by hand}
  - {stage: chill, ends: when every core falls to 4 degC}
limits:
  - limit: cooling
    kind: cooling option
    channel: core
    option: FSIS Appendix B 1999, option 1
"""


def test_a_fall_before_the_chill_stage_is_a_fall_all_the_same() -> None:
    """The fire died in the night; in the morning somebody said that it chills now."""
    readings = series_f(
        "core",
        *((at, 160) for at in range(0, 160, 10)),
        *((at, 129 - (at - 160) // 6) for at in range(160, 400, 10)),
        *((at, 79) for at in range(400, 410, 10)),
        (420, 39),
    )
    outcome = cook(
        schedule(SLOW_BEFORE_CHILLING),
        [core(every_ms=10 * MIN)],
        readings,
        entry(EntryKind.NEXT_STAGE, 399),
        until_min=430,
    )
    # Last surely hot at 150 min, at or below 80 degF at 400 min: over four hours.
    (upper,) = [one for one in outcome.findings if one.part == UPPER]
    assert upper.verdict == "unproven"
    assert upper.least >= 4 * H


def test_below_the_band_with_no_heating_known_proves_nothing() -> None:
    moves, _ = run(OPTION_1, (0, 125), (10, 79), start=opening(CURED), over_min=20)
    assert told(moves, UPPER) == [(0, "unproven")]
    moves, _ = run(OPTION_1, (0, 131), (10, 79), start=opening(CURED), over_min=20)
    assert told(moves, UPPER) == [(10, "met")]


@pytest.mark.parametrize(
    ("nitrite_ppm", "verdict", "when"),
    [
        (100, "met", []),
        (99, "missed", [(0, "missed")]),
        (None, "unproven", [(0, "unproven")]),
    ],
)
def test_the_conditions_of_an_option_are_a_part_of_their_own(
    nitrite_ppm: int | None, verdict: str, when: list[tuple[float, str]]
) -> None:
    facts = replace(CURED, nitrite_ppm=nitrite_ppm)
    start = Opening(BEGUN_MS, BEGUN_MS, facts)
    moves, parts = run(OPTION_3, (0, 131), start=start)
    assert parts[CONDITIONS].verdict == verdict
    assert told(moves, CONDITIONS) == when
    _, without = run(OPTION_1, (0, 131), start=start)
    assert CONDITIONS not in without


def test_what_is_amiss_from_the_beginning_is_told_once() -> None:
    start = Opening(BEGUN_MS, BEGUN_MS, ProductFacts())
    points = [(at, 131 - at) for at in range(0, 60, 10)]
    moves, _ = run(OPTION_3, *points, start=start, over_min=60)
    assert told(moves, CONDITIONS) == [(0, "unproven")]


def test_with_no_reading_at_all_everything_is_unproven() -> None:
    moves, parts = run(SLOW, over_min=60)
    assert {str(move.now) for move in moves} == {"unproven"}
    bands = {name for name in parts if name != CONDITIONS}
    assert {parts[name].verdict for name in bands} == {"unproven"}


FALLEN = [(0, 121), (60, 100), (120, 80), (180, 60), (240, 41), (300, 39)]


def test_a_product_that_falls_without_a_stop() -> None:
    moves, parts = run(SLOW, *FALLEN, every_min=60, over_min=360)
    assert told(moves, FALL) == [(300, "met")]
    assert parts[FALL].verdict == "met"


def test_what_stays_cold_after_that_still_fell_without_a_stop() -> None:
    cold = [(at, 39) for at in range(360, 1200, 60)]
    moves, parts = run(SLOW, *FALLEN, *cold, (1200, 41), every_min=60, over_min=1260)
    assert told(moves, FALL) == [(300, "met")]
    assert parts[FALL].verdict == "met"


def test_a_rise_on_the_way_is_missed_at_its_moment() -> None:
    points = [*FALLEN[:3], (180, 84), *FALLEN[4:]]
    moves, parts = run(SLOW, *points, every_min=60, over_min=360)
    assert told(moves, FALL) == [(180, "missed")]
    assert parts[FALL].why == "rose again by more than 2.0 K, seen at 08:00 UTC"


def test_what_stands_for_two_hours_is_in_doubt() -> None:
    """No text says how long a stop is: 2 h is our choice."""
    points = [*FALLEN[:3], *((at, 80) for at in range(180, 300, 60))]
    moves, _ = run(SLOW, *points, every_min=60)
    assert told(moves, FALL) == []  # 80 degF was first shown at 120 min
    moves, parts = run(SLOW, *points, (300, 79), (360, 84), every_min=60, over_min=400)
    assert told(moves, FALL) == [(240, "unproven"), (360, "missed")]
    assert parts[FALL].verdict == "missed"


def test_a_reading_that_only_may_be_higher_is_no_rise() -> None:
    falls = limit(SLOW)
    readings = [
        Reading("core", BEGUN_MS + at * MIN, mc, 500)
        for at, mc in [(0, 45_000), (10, 40_000), (20, 40_900), (30, 38_000)]
    ]
    moves, _ = shown_to(falls, heard(core(every_ms=10 * MIN), readings), 0, AT_ONCE)
    assert told(moves, FALL) == []
    readings[2] = readings[2]._replace(value_mc=43_001)
    moves, _ = shown_to(falls, heard(core(every_ms=10 * MIN), readings), 0, AT_ONCE)
    assert told(moves, FALL) == [(20, "missed")]


def test_a_fall_that_was_not_seen_to_its_end_is_unproven() -> None:
    moves, parts = run(SLOW, *FALLEN[:3], every_min=60, over_min=150)
    assert told(moves, FALL) == [(150, "unproven")]
    assert parts[FALL].why == "4.4 degC was never shown"


CHILL = """\
stages:
  - stage: cook
    ends: when every core rises to 155 degF
  - stage: chill
    ends: {ends}
    at most: 4 h
limits:
  - {{limit: cooling, kind: cooling option, channel: core, option: "{option}",
     warn: 30 min before}}
"""


def test_a_chill_too_slow_is_missed_while_ice_can_still_help() -> None:
    """A lot recalled a month later: 92 degF after 210 min, and nobody had looked."""
    told_to = schedule(
        CHILL.format(ends="when every core falls to 40 degF", option=OPTION_1)
    )
    points = series_f("core", (0, 155), (60, 128), (210, 92), (330, 80))
    outcome = cook(told_to, [core(every_ms=100 * MIN)], points, until_min=330)
    assert limit_moves(outcome, "cooling: 130.0 degF to 80.0 degF") == [
        (60 * MIN, "at risk"),
        (90 * MIN, "unproven"),
        (150 * MIN, "missed"),
    ]
    assert judged(outcome, "cooling").verdict == "missed"


def test_ten_minutes_in_ice_are_no_chill() -> None:
    """Out of the bath it warms again; the chill ends by the core and not by then."""
    told_to = schedule(
        CHILL.format(ends="when every core falls to 40 degF", option=OPTION_1)
    )
    points = [(0, 155), (1, 150), (10, 104), (12, 98), (40, 101), (160, 78), (300, 71)]
    outcome = cook(
        told_to, [core(every_ms=100 * MIN)], series_f("core", *points), until_min=300
    )
    assert [stage.name for stage in outcome.stages] == ["cook", "chill"]
    assert outcome.finished_ms == 0
    assert (4 * H, "overdue") in [
        (e.at_ms - BEGUN_MS, e.now) for e in outcome.events if e.name == "chill"
    ]
    assert judged(outcome, "cooling").verdict == "running"
    assert judged(outcome, "cooling").standing is Standing.UNPROVEN


def test_a_chill_that_ends_by_the_clock_proves_nothing_of_the_core() -> None:
    """Ice for ten minutes, then a night on the rail at 66 degF."""
    told_to = schedule(CHILL.format(ends="after 10 min", option=OPTION_1))
    points = [(0, 155), (20, 95), (40, 72), (60, 68), (390, 66)]
    outcome = cook(
        told_to, [core(every_ms=250 * MIN)], series_f("core", *points), until_min=390
    )
    assert outcome.finished_ms == BEGUN_MS + 10 * MIN
    assert judged(outcome, "cooling").verdict == "unproven"


def test_a_probe_that_answers_nothing_completes_no_chill() -> None:
    """The bus is lost for two readings: they are refused, and a hole is no cold."""
    told_to = schedule(
        CHILL.format(ends="when every core falls to 4 degC", option=OPTION_1)
    )
    readings = series_f("core", (0, 155), (1, 88), (2, 87), (5, 86))
    outcome = cook(told_to, [core()], readings, until_min=5)
    assert outcome.finished_ms == 0
    assert judged(outcome, "cooling").verdict == "running"


@pytest.mark.parametrize(
    ("within_mc", "verdict"), [(1_000, "within"), (3_000, "unproven")]
)
def test_a_rise_that_only_may_have_been_is_not_missed(
    within_mc: int, verdict: str
) -> None:
    """Falls from 40 to 39 degC; the second reading is so doubtful that it may rise."""
    fall = falling.opened(0)
    for at_ms, value_mc, doubt_mc in ((0, 40_000, 0), (MIN, 39_500, within_mc)):
        reading = Span(at_ms, at_ms, value_mc - doubt_mc, value_mc + doubt_mc)
        fall, _ = falling.step(fall, reading, 4_444)
    assert fall.standing == verdict


def test_what_only_may_have_fallen_stands() -> None:
    """Each reading may be lower than those before, and for 2 h none surely is."""
    fall = falling.opened(0)
    for at_ms in range(0, 3 * H, 10 * MIN):
        reading = Span(at_ms, at_ms, 40_000 - 100 * at_ms // H, 40_000)
        fall, _ = falling.step(fall, reading, 4_444)
    assert (fall.standing, fall.since_ms) == ("unproven", 2 * H)
