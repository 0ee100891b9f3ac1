"""A rate: a chamber that steps too fast, a core that falls too slowly."""

from itertools import pairwise

import pytest

from rules.evidence import Hole, Piece, Span
from rules.facts import Standing, Verdict
from rules.limit import Shown
from rules.rate import BINS, NEXT, RateLimit, Signal
from tests.rules.stories import (
    BEGUN_MS,
    MIN,
    H,
    S,
    chamber,
    cook,
    faults_of,
    judged,
    limit_moves,
    schedule,
    series,
    shown_to,
)


def rate(key: str, by: str, over: str = "50 min", **more: str) -> RateLimit:
    """A rate as its author writes it."""
    head = {"limit": "step", "kind": "rate", "channel": "chamber", "over": over}
    return RateLimit.model_validate({**head, key: by, **more})


def course(*points: tuple[int, int], within_mc: int = 0) -> list[Piece]:
    """Spans from one (minutes, degC) to the next, told minute by minute."""
    pieces: list[Piece] = []
    for (from_min, from_c), (to_min, to_c) in pairwise(points):
        for at in range(from_min, to_min):
            ends = [
                1000 * from_c
                + 1000 * (to_c - from_c) * (minute - from_min) // (to_min - from_min)
                for minute in (at, at + 1)
            ]
            low, high = min(ends) - within_mc, max(ends) + within_mc
            pieces.append(
                Span(BEGUN_MS + at * MIN, BEGUN_MS + (at + 1) * MIN, low, high)
            )
    return pieces


def come(limit: RateLimit, pieces: list[Piece]) -> Shown:
    _, (shown,) = shown_to(limit, pieces, pieces[-1].to_ms)
    return shown


RISE = course((0, 50), (30, 50), (90, 62), (150, 62))  # 0.2 K a minute for an hour
FALL = course((0, 60), (120, 36))


@pytest.mark.parametrize(
    ("key", "by", "pieces", "verdict", "figures"),
    [
        # 10 K in 50 min; half of a bin's 0.2 K on either end cannot be told apart.
        pytest.param("rises at most", "10.2 K", RISE, "met", (10_200, 9_800), id="met"),
        pytest.param(
            "rises at most", "10.1 K", RISE, "unproven", (10_200, 9_800), id="near"
        ),
        pytest.param("rises at most", "9.7 K", RISE, "missed", None, id="missed"),
        pytest.param("falls at most", "0 K", RISE, "met", (0, 0), id="it only rises"),
        pytest.param("rises at least", "1 K", RISE, "missed", (0, 0), id="it stands"),
        pytest.param(
            "falls at least", "9.8 K", FALL, "met", (9_800, 10_200), id="falls"
        ),
        pytest.param(
            "falls at least", "10 K", FALL, "unproven", (9_800, 10_200), id="..."
        ),
        pytest.param("falls at least", "10.3 K", FALL, "missed", None, id="too slow"),
        pytest.param("rises at most", "1 K", FALL, "met", (0, 0), id="it only falls"),
    ],
)
def test_the_greatest_or_the_least_change(
    key: str,
    by: str,
    pieces: list[Piece],
    verdict: str,
    figures: tuple[int, int] | None,
) -> None:
    shown = come(rate(key, by), pieces)
    assert shown.verdict == verdict
    if figures:
        assert (shown.least, shown.most) == figures


def test_what_it_comes_to_is_said_in_words() -> None:
    assert come(rate("rises at most", "10.2 K"), RISE).why == (
        "rose by at most 9.8 K to 10.2 K in 50 min; 10.2 K allowed"
    )
    assert come(rate("falls at least", "9.8 K"), FALL).why == (
        "fell by at least 9.8 K to 10.2 K in 50 min; 9.8 K asked"
    )
    dark = [*RISE[:60], Hole(BEGUN_MS + H, BEGUN_MS + H + MIN), *RISE[61:]]
    assert come(rate("rises at most", "30 K"), dark).why == (
        "readings are missing: may have risen by any amount in 50 min, "
        "rose by 9.8 K at least; "
        "30.0 K allowed"
    )


def test_a_hole_at_the_end_is_no_figure_either() -> None:
    """What came of 62 degC while nobody looked is anything, not so many kelvin."""
    last = RISE[-1]
    dark = [*RISE[:-1], Hole(last.from_ms, last.to_ms)]
    assert come(rate("rises at most", "30 K"), dark).why == (
        "readings are missing: may have risen by any amount in 50 min, "
        "rose by 9.8 K at least; "
        "30.0 K allowed"
    )


def test_uncertainty_counts_at_both_ends() -> None:
    doubted = course((0, 50), (30, 50), (90, 62), (150, 62), within_mc=500)
    shown = come(rate("rises at most", "10.2 K"), doubted)
    assert (shown.least, shown.most) == (11_200, 8_800)
    assert shown.verdict is Verdict.UNPROVEN


def test_a_hole_may_hold_anything_and_earns_nothing() -> None:
    calm = course((0, 60), (120, 60))
    dark = [*calm[:60], Hole(BEGUN_MS + H, BEGUN_MS + H + MIN), *calm[61:]]
    assert come(rate("rises at most", "5 K"), calm).verdict is Verdict.MET
    assert come(rate("rises at most", "5 K"), dark).verdict is Verdict.UNPROVEN
    assert come(rate("rises at least", "5 K"), dark).verdict is Verdict.MISSED


def test_less_than_a_window_proves_nothing() -> None:
    shown = come(rate("rises at most", "5 K"), course((0, 60), (49, 60)))
    assert shown.verdict is Verdict.UNPROVEN
    assert shown.why.startswith(
        "there were never readings enough over 50 min to judge it"
    )


def test_only_what_lies_between_is_asked() -> None:
    """It falls to 36 degC in 2 h and stands there: between 40 and 60 degC it falls."""
    pieces = course((0, 60), (120, 36), (300, 36))
    assert come(rate("falls at least", "9 K"), pieces).verdict is Verdict.MISSED
    limit = rate("falls at least", "9 K", between="40 degC and 60 degC")
    assert come(limit, pieces).verdict is Verdict.MET
    never = rate("falls at least", "9 K", between="70 degC and 80 degC")
    assert come(never, pieces).verdict is Verdict.UNPROVEN


def test_a_window_of_seconds_and_a_silence_of_days() -> None:
    """Of what lasts longer than many windows the end counts as the beginning did."""
    limit = rate("rises at most", "5 K", over="2 s")
    begin, end = BEGUN_MS, BEGUN_MS + 3 * 24 * H
    calm: list[Piece] = [Span(begin, end, 60_000, 60_000)]
    step: list[Piece] = [
        *calm,
        Span(end, end + 100, 60_000, 70_000),
        Span(end + 100, end + 4_000, 70_000, 70_000),
    ]
    assert come(limit, calm).verdict is Verdict.MET
    assert come(limit, step).since_ms == end + 120  # the first bin that was all above
    assert come(limit, step).verdict is Verdict.MISSED


Step = tuple[int, float, float] | int  # seconds, lowest, highest; or just dark seconds
Story = tuple[list[Step], list[tuple[int, str]]]

STORIES: dict[str, Story] = {
    "calm": ([(120, 50, 50)], [(120, "met")]),
    "over before a window": ([(49, 50, 50)], [(49, "unproven")]),
    "surely too much, and again": (
        [(60, 50, 50), (120, 60, 60), (60, 70, 70)],
        [(60, "missed")],
    ),
    "perhaps too much": ([(60, 50, 50), (60, 54, 56)], [(60, "unproven")]),
    "first perhaps and then surely too much": (
        [(60, 50, 50), (60, 54, 56), (60, 70, 70)],
        [(60, "unproven"), (120, "missed")],
    ),
    "surely too much, and then perhaps": (
        [(60, 50, 50), (60, 60, 60), (60, 60, 70)],
        [(60, "missed")],
    ),
    "nothing was ever seen of a whole window": ([120], [(50, "unproven")]),
}


def tell(steps: list[Step]) -> list[tuple[int, str]]:
    """Let a story happen to a limit of 5 K in 50 s, whose bins are seconds."""
    pieces: list[Piece] = []
    at_ms = BEGUN_MS
    for one in steps:
        seconds, *ends = (one,) if isinstance(one, int) else one
        to_ms = at_ms + int(seconds) * S
        if ends:
            low, high = (round(end * 1000) for end in ends)
            pieces.append(Span(at_ms, to_ms, low, high))
        else:
            pieces.append(Hole(at_ms, to_ms))
        at_ms = to_ms
    moves, _ = shown_to(rate("rises at most", "5 K", over="50 s"), pieces, at_ms)
    return [((one.at_ms - BEGUN_MS) // S, str(one.now)) for one in moves]


@pytest.mark.parametrize("name", STORIES)
def test_the_standings_passed_through(name: str) -> None:
    steps, passed = STORIES[name]
    assert tell(steps) == passed


STEPS = """\
stages:
  - {stage: dry, ends: after 30 min}
  - {stage: smoke, ends: after 60 min}
limits:
  - {limit: gently, kind: rate, channel: chamber, rises at most: 6 K, over: 10 min}
"""


def test_a_chamber_that_is_stepped_too_fast() -> None:
    """From 50 to 60 degC in 5 min: after 3 min of it more than 6 K may have been."""
    told = schedule(STEPS)
    points = [*((at, 50) for at in range(31)), (31, 52), (32, 54), (33, 56), (34, 58)]
    points += [(at, 60) for at in range(35, 91)]
    outcome = cook(told, [chamber()], series("chamber", *points), until_min=91)
    moves = limit_moves(outcome, "gently")
    assert [now for _, now in moves] == ["unproven", "missed"]
    # The reading after 33 min is at 56 degC: from then on it may have been more,
    # from the one after it at 58 degC it must have been.  A bin is 12 s.
    assert [at for at, _ in moves] == [33 * MIN, 34 * MIN]
    assert judged(outcome, "gently").why == (
        "chamber: rose by at most 10.0 K in 10 min; 6.0 K allowed"
    )


@pytest.mark.parametrize(
    ("keys", "found"),
    [
        ("over: 10 min", "a rate says one thing"),
        (
            "rises at most: 1 K, falls at most: 1 K, over: 10 min",
            "a rate says one thing",
        ),
        ("rises at most: 1 K, over: 0.5 s", "a window of 0.500 s is too fine"),
        ("rises at most: 1 degC, over: 1 min", "'1 degC' is not a difference"),
    ],
)
def test_what_cannot_be_meant_is_refused(keys: str, found: str) -> None:
    (fault,) = faults_of(f"limit: l, kind: rate, channel: core, {keys}")
    assert found in fault


def test_it_says_what_it_asks() -> None:
    assert rate("rises at most", "6 K", over="30 min").required_words == (
        "rises at most 6.0 K in 30 min"
    )
    between = rate("falls at least", "5 K", between="10 degC and 20 degC")
    assert between.required_words == (
        "falls at least 5.0 K in 50 min between 10.0 degC and 20.0 degC"
    )


def test_every_standing_has_an_answer_to_every_signal() -> None:
    standings = {Standing.WITHIN, Standing.UNPROVEN, Standing.MISSED}
    assert set(NEXT) == {(one, signal) for one in standings for signal in Signal}
    assert (50 * MIN) % BINS == 0
