"""Time between two temperatures, told as stories of a come-up.

The limit is the come-up of the FSIS Cooking Guideline: 50 to 130 degF in 6 h.
"""

import pytest

from rules.channels import Role
from rules.evidence import Bridge, Hole, Piece, Span
from rules.facts import EntryKind, Reading, Verdict
from rules.limit import Shown
from rules.time_between import Band, TimeBetween
from tests.rules.stories import (
    BEGUN_MS,
    MIN,
    H,
    cook,
    core,
    degf,
    entry,
    judged,
    limit_moves,
    schedule,
    series_f,
    shown_to,
)

COME_UP = """\
stages:
  - {stage: dry, ends: after 1 h}
  - {stage: smoke, ends: by hand}
  - {stage: cook, ends: by hand}
limits:
  - limit: come-up
    kind: time between
    channel: core
    between: 50 degF and 130 degF
    during: DURING
    at most: 6 h
    warn: 45 min before
"""
ALL = COME_UP.replace("DURING", "dry, smoke, cook")

LIMIT = TimeBetween.model_construct(
    kind="time between",
    name="come-up",
    channel=Role.CORE,
    between=Band(10_000, 54_444),
    at_most_ms=6 * H,
    warn_ms=0,
)


def run(*pieces: Piece, over_ms: int = 0) -> Shown:
    """What a limit came to by some pieces of evidence."""
    _, (shown,) = shown_to(LIMIT, pieces, BEGUN_MS + over_ms if over_ms else 0)
    return shown


def span(hours: int, low_mc: int, high_mc: int) -> Span:
    """The first hours of a cook."""
    return Span(BEGUN_MS, BEGUN_MS + hours * H, low_mc, high_mc)


@pytest.mark.parametrize(
    ("low_mc", "high_mc", "least_h", "most_h"),
    [
        pytest.param(20_000, 30_000, 1, 1, id="surely inside"),
        pytest.param(10_000, 30_000, 1, 0, id="perhaps at the lower end, outside"),
        pytest.param(20_000, 54_444, 1, 0, id="perhaps at the upper end, outside"),
        pytest.param(54_444, 60_000, 0, 0, id="above, the end included"),
        pytest.param(4_000, 10_000, 0, 0, id="below, the end included"),
        pytest.param(54_443, 60_000, 1, 0, id="a thousandth of a degree inside"),
    ],
)
def test_the_ends_belong_to_the_outside(
    low_mc: int, high_mc: int, least_h: int, most_h: int
) -> None:
    shown = run(span(1, low_mc, high_mc))
    assert (shown.least, shown.most) == (least_h * H, most_h * H)


def test_a_hole_may_have_been_inside_and_need_not() -> None:
    shown = run(Hole(BEGUN_MS, BEGUN_MS + H), Bridge(BEGUN_MS, BEGUN_MS + H, 0, 0))
    assert (shown.least, shown.most) == (H, 0)


def test_exactly_the_allowance_is_met() -> None:
    shown = run(span(6, 20_000, 30_000), over_ms=6 * H)
    assert shown.verdict is Verdict.MET


def test_a_millisecond_more_is_missed() -> None:
    shown = run(
        span(6, 20_000, 30_000),
        Span(BEGUN_MS + 6 * H, BEGUN_MS + 6 * H + 1, 20_000, 20_000),
    )
    assert shown.verdict is Verdict.MISSED
    assert shown.since_ms == BEGUN_MS + 6 * H


def test_what_it_was_for_is_said_in_words() -> None:
    shown = run(span(1, 20_000, 30_000), Hole(BEGUN_MS + H, BEGUN_MS + 2 * H))
    assert shown.why == "between 10.0 degC and 54.4 degC for between 1 h and 2 h of 6 h"


def test_a_come_up_with_a_stall_in_it() -> None:
    """40 degF at loading and 130 degF after 320 min: at most that, and at least 2 h."""
    points = [(0, 40), (120, 88), (240, 118), (320, 130), (480, 139)]
    outcome = cook(
        schedule(ALL),
        [core(every_ms=120 * MIN)],
        series_f("core", *points),
        until_min=480,
    )
    (finding,) = [one for one in outcome.findings if one.limit == "come-up"]
    assert (finding.least, finding.most) == (320 * MIN, 120 * MIN)
    # 45 min before 6 h are full, and clear again at 130 degF.
    assert limit_moves(outcome, "come-up") == [
        (315 * MIN, "at risk"),
        (320 * MIN, "within"),
    ]


def test_a_probe_pushed_in_late_does_not_begin_the_count_anew() -> None:
    """Loaded at 0, first measured after 270 min at 106 degF: the count ran on."""
    points = [(270, 106), (360, 113), (450, 115)]
    outcome = cook(
        schedule(ALL),
        [core(every_ms=60 * MIN)],
        series_f("core", *points),
        until_min=450,
    )
    assert limit_moves(outcome, "come-up") == [
        (315 * MIN, "at risk"),
        (360 * MIN, "unproven"),
    ]


def test_a_probe_pushed_in_late_shows_it_missed_in_the_end() -> None:
    """Of the hours nobody saw none is surely inside; 6 h after them are enough."""
    points = [(at, 110) for at in range(270, 700, 60)]
    outcome = cook(
        schedule(ALL),
        [core(every_ms=60 * MIN)],
        series_f("core", *points),
        until_min=690,
    )
    assert limit_moves(outcome, "come-up")[-1] == ((270 + 360) * MIN, "missed")


def test_the_count_runs_on_through_a_power_cut() -> None:
    """113 degF when the power fails, 95 degF two hours later, 130 degF at 330 min."""
    told = schedule(ALL)
    before = series_f("core", (0, 40), (100, 113))
    after = series_f("core", (225, 95), (330, 130))
    channels = [core(every_ms=80 * MIN)]
    dark = cook(told, channels, before, until_min=222)
    (finding,) = [one for one in dark.findings if one.limit == "come-up"]
    assert finding.lose_ms == BEGUN_MS + 360 * MIN
    outcome = cook(told, channels, [*before, *after], until_min=330)
    (finding,) = [one for one in outcome.findings if one.limit == "come-up"]
    assert (finding.least, finding.most) == (330 * MIN, 0)
    assert finding.why.endswith("for between 0 s and 5 h 30 min of 6 h")


def test_stages_that_are_not_named_are_not_counted() -> None:
    told = schedule(COME_UP.replace("DURING", "dry, cook"))
    readings = [*series_f("core", *((at, 100) for at in range(0, 481, 10)))]
    outcome = cook(
        told,
        [core(every_ms=10 * MIN)],
        readings,
        entry(EntryKind.NEXT_STAGE, 300),
        entry(EntryKind.NEXT_STAGE, 480),
        until_min=480,
    )
    # One hour of drying and three of cooking.
    (finding,) = [one for one in outcome.findings if one.limit == "come-up"]
    assert (finding.least, finding.most) == (4 * H, 4 * H)
    # The cook is over and the core at 100 degF yet: its time runs on, unseen.
    assert judged(outcome, "come-up").verdict is Verdict.UNPROVEN


def test_the_verdict_comes_when_its_stages_are_over() -> None:
    told = schedule(ALL)
    readings = [Reading("core", BEGUN_MS, degf(131), 0)]
    readings += [r._replace(at_ms=BEGUN_MS + H) for r in readings]
    running = cook(told, [core(every_ms=H)], readings, until_min=61)
    assert judged(running, "come-up").verdict is Verdict.RUNNING
    outcome = cook(
        told, [core(every_ms=H)], readings, entry(EntryKind.END, 60), until_min=61
    )
    assert limit_moves(outcome, "come-up") == [(60 * MIN, "met")]
