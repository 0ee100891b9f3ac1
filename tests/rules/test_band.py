"""A band and its excursions, told as stories; each entry of its table has one.

Stories are told in seconds: the band is 57 to 63 degC, the grace time 10 s.
"""

import itertools

import pytest

from rules.band import GRACE_MS, NEXT, BandLimit, Signal
from rules.channels import Role
from rules.evidence import Bridge, Hole, Piece, Span
from rules.facts import Standing, Verdict
from rules.limit import Shown
from rules.time_between import Band
from tests.rules.stories import (
    BEGUN_MS,
    chamber,
    cook,
    flat,
    judged,
    limit_moves,
    schedule,
    series,
    shown_to,
)

LOW, INSIDE, HIGH, EDGE = 56_000, 60_000, 64_000, 57_000


def limit(grace_ms: int = 10_000, settle_ms: int = 0) -> BandLimit:
    """The band of the stories."""
    return BandLimit.model_construct(
        kind="band",
        name="b",
        channel=Role.CHAMBER,
        within=Band(57_000, 63_000),
        grace_ms=grace_ms,
        settle_ms=settle_ms,
    )


def at(second: float, low_mc: int, high_mc: int | None = None) -> Span:
    """One reading."""
    at_ms = BEGUN_MS + round(second * 1000)
    return Span(at_ms, at_ms, low_mc, low_mc if high_mc is None else high_mc)


def span(from_s: float, to_s: float, low_mc: int, high_mc: int | None = None) -> Span:
    """Between two readings."""
    from_ms, to_ms = BEGUN_MS + round(from_s * 1000), BEGUN_MS + round(to_s * 1000)
    return Span(from_ms, to_ms, low_mc, low_mc if high_mc is None else high_mc)


def hole(from_s: float, to_s: float) -> Hole:
    """Nothing known."""
    return Hole(BEGUN_MS + round(from_s * 1000), BEGUN_MS + round(to_s * 1000))


def tell(
    pieces: list[Piece], grace_ms: int = 10_000, settle_ms: int = 0
) -> list[tuple[float, str]]:
    """Let a story happen; the moves, in seconds."""
    moves, _ = shown_to(limit(grace_ms, settle_ms), pieces)
    return [((move.at_ms - BEGUN_MS) / 1000, str(move.now)) for move in moves]


Story = tuple[list[Piece], int, list[tuple[float, str]]]

STORIES: dict[str, Story] = {
    "inside, ends included": ([at(0, 57_000), span(0, 30, 57_000, 63_000)], 10_000, []),
    "surely outside for too long": (
        [at(0, LOW), span(0, 11, LOW)],
        10_000,
        [(5, "at risk"), (10, "deviation")],
    ),
    "outside for the whole grace time, and no longer": (
        [span(0, 10, LOW), at(10, INSIDE), span(10, 20, INSIDE)],
        10_000,
        [(5, "at risk"), (10, "within")],
    ),
    "too hot is outside as well": (
        [span(0, 11, HIGH)],
        10_000,
        [(5, "at risk"), (10, "deviation")],
    ),
    "it may have been outside, at the edge": (
        [span(0, 11, 56_900, 57_100)],
        10_000,
        [(5, "at risk"), (10, "unproven")],
    ),
    "a hole may hold anything": (
        [span(0, 2, INSIDE), hole(2, 13)],
        10_000,
        [(7, "at risk"), (12, "unproven")],
    ),
    "back inside at the last moment": (
        [span(0, 9, LOW), at(9, INSIDE)],
        10_000,
        [(5, "at risk"), (9, "within")],
    ),
    "in doubt, then surely": (
        [span(0, 4, 56_900, 57_100), span(4, 15, LOW)],
        10_000,
        [(5, "at risk"), (10, "unproven"), (14, "deviation")],
    ),
    "a doubt that is over": (
        [hole(0, 11), span(11, 12, INSIDE)],
        10_000,
        [(5, "at risk"), (10, "unproven"), (11, "within")],
    ),
    "a deviation that is over, and the next excursion": (
        [span(0, 11, LOW), span(11, 12, INSIDE), span(12, 18, LOW)],
        10_000,
        [(5, "at risk"), (10, "deviation"), (11, "within"), (17, "at risk")],
    ),
    "a deviation that goes on in a hole": (
        [span(0, 11, LOW), hole(11, 30)],
        10_000,
        [(5, "at risk"), (10, "deviation")],
    ),
    "no grace: one reading is enough": (
        [at(0, INSIDE), at(3, LOW)],
        0,
        [(3, "deviation")],
    ),
    "no grace: outside and still so": (
        [at(0, LOW), span(0, 3, LOW), at(3, LOW)],
        0,
        [(0, "deviation")],
    ),
    "no grace: one doubtful reading is enough": (
        [at(0, 56_900, 57_100), span(0, 3, 56_900, 57_100)],
        0,
        [(0, "unproven")],
    ),
    "no grace: a hole of any length": ([hole(0, 1)], 0, [(0, "unproven")]),
    "no grace to speak of: at risk, and still so": (
        [at(0, 56_900, 57_100), span(0, 0.001, 56_900, 57_100)],
        1,
        [(0, "at risk")],
    ),
}


@pytest.mark.parametrize("name", STORIES)
def test_the_standings_passed_through(name: str) -> None:
    pieces, grace_ms, passed = STORIES[name]
    assert tell(pieces, grace_ms) == passed


def test_every_standing_has_an_answer_to_every_signal() -> None:
    never = {Standing.WAITING, Standing.MET, Standing.MISSED}
    assert set(NEXT) == set(itertools.product({*Standing} - never, Signal))


def closed(pieces: list[Piece], over_s: float, **how: int) -> Shown:
    """What a story came to when its stages were over."""
    moves, (shown,) = shown_to(limit(**how), pieces, BEGUN_MS + round(over_s * 1000))
    assert not moves or moves[-1].now is shown.standing
    return shown


@pytest.mark.parametrize(
    ("pieces", "verdict", "least_s", "most_s"),
    [
        pytest.param([span(0, 30, INSIDE)], "met", 0, 0, id="never outside"),
        pytest.param(
            [span(0, 10, LOW), span(10, 30, INSIDE)], "met", 10, 10, id="just allowed"
        ),
        pytest.param(
            [span(0, 11, LOW), span(11, 30, INSIDE)], "missed", 11, 11, id="mended"
        ),
        pytest.param(
            [hole(0, 11), span(11, 30, INSIDE)], "unproven", 11, 0, id="not seen"
        ),
    ],
)
def test_what_happened_decides_and_not_how_it_ended(
    pieces: list[Piece], verdict: str, least_s: int, most_s: int
) -> None:
    shown = closed(pieces, 30)
    assert shown.verdict == verdict
    assert (shown.least, shown.most) == (least_s * 1000, most_s * 1000)


def test_a_band_that_is_lost_is_missed_at_once() -> None:
    _, (shown,) = shown_to(limit(), [span(0, 11, LOW)])
    assert (shown.standing, shown.verdict) == (Standing.DEVIATION, Verdict.MISSED)


def test_at_risk_says_when_it_is_lost() -> None:
    _, (shown,) = shown_to(limit(), [span(0, 2, INSIDE), span(2, 8, LOW)])
    assert shown.lose_ms == BEGUN_MS + 12_000


def test_nothing_is_judged_before_the_settling_time_is_over() -> None:
    pieces: list[Piece] = [span(0, 20, LOW), span(20, 31, LOW)]
    assert tell(pieces, settle_ms=20_000) == [(25, "at risk"), (30, "deviation")]


def test_a_piece_may_lie_over_the_end_of_the_settling_time() -> None:
    assert tell([span(0, 31, LOW)], settle_ms=20_000) == [
        (25, "at risk"),
        (30, "deviation"),
    ]


def test_settling_is_over_when_it_is_inside_for_the_first_time() -> None:
    pieces: list[Piece] = [span(0, 3, LOW), at(3, INSIDE), span(3, 15, LOW)]
    assert tell(pieces, settle_ms=20_000) == [(8, "at risk"), (13, "deviation")]


@pytest.mark.parametrize(
    "pieces", [[], [hole(0, 10)], [span(0, 10, LOW)]], ids=["none", "hole", "cold"]
)
def test_a_stage_that_is_over_before_it_settled_proves_nothing(
    pieces: list[Piece],
) -> None:
    shown = closed(pieces, 10, settle_ms=20_000)
    assert (shown.standing, shown.verdict) == (Standing.UNPROVEN, Verdict.UNPROVEN)
    assert shown.why == (
        "57.0 degC to 63.0 degC: not judged, its stages ended before it had settled; "
        "20 s to settle allowed"
    )


def test_time_between_two_of_its_stages_is_not_counted() -> None:
    """Outside when a pause began and when it ended: nothing says so in between."""
    pieces: list[Piece] = [span(0, 4, LOW), span(1000, 1004, LOW)]
    assert tell(pieces) == []
    assert closed(pieces, 1004).verdict == "met"


def test_a_bridge_tells_it_nothing() -> None:
    assert tell([Bridge(BEGUN_MS, BEGUN_MS + 99_000, -1, 1)]) == []


def test_a_fire_that_dies_is_a_deviation_of_the_stage() -> None:
    told = schedule(
        """\
stages: [{stage: smoke, chamber: 57 degC to 63 degC, ends: after 1 h}]
"""
    )
    readings = [
        *flat("chamber", 0, 20, 60),
        *series("chamber", (21, 58), *((m, 50) for m in range(22, 40))),
        *flat("chamber", 40, 61, 60),
    ]
    outcome = cook(told, [chamber()], readings, until_min=61)
    grace_min = GRACE_MS // 60_000
    assert limit_moves(outcome, "smoke chamber") == [
        ((21 + grace_min // 2) * 60_000, "at risk"),
        ((21 + grace_min) * 60_000, "unproven"),
        ((22 + grace_min) * 60_000, "deviation"),
        (40 * 60_000, "within"),
        (60 * 60_000, "missed"),
    ]
    assert judged(outcome, "smoke chamber").verdict is Verdict.MISSED
