"""Integrated lethality, told as stories.

Expected values follow from the definitions of D (the time for one log10 at the
reference temperature) and z (the rise that makes it a tenth).  D = 60 s at 60 degC
and z = 10 K are round numbers of our own, of no organism.  Published worked values
are in ``tests/standards/``.
"""

import pytest

from rules.evidence import Bridge, Hole, Piece, Span
from rules.facts import Verdict
from rules.integrated import IntegratedLimit
from rules.limit import Shown
from tests.rules.stories import BEGUN_MS, S, shown_to

LIMIT = IntegratedLimit.model_validate(
    {
        "limit": "sum",
        "kind": "integrated lethality",
        "channel": "core",
        "D": "60 s",
        "z": "10 K",
        "reference": "60 degC",
        "target": "6.5-log10",
    }
)
NEEDED_S = 390  # 6.5 times 60 s, at 60 degC


def span(from_s: int, to_s: int, low_mc: int, high_mc: int | None = None) -> Span:
    """Between two readings."""
    high_mc = low_mc if high_mc is None else high_mc
    return Span(BEGUN_MS + from_s * S, BEGUN_MS + to_s * S, low_mc, high_mc)


def run(*pieces: Piece, over_s: int = 0) -> tuple[list[tuple[float, str]], Shown]:
    """Judge some pieces; the moves, in seconds, and what it came to."""
    over_ms = BEGUN_MS + over_s * S if over_s else 0
    moves, (shown,) = shown_to(LIMIT, pieces, over_ms)
    return [((m.at_ms - BEGUN_MS) / S, str(m.now)) for m in moves], shown


@pytest.mark.parametrize(
    ("mc", "seconds"), [(60_000, 390), (70_000, 39), (50_000, 3_900), (80_000, 3.9)]
)
def test_ten_kelvins_more_take_a_tenth_of_the_time(mc: int, seconds: float) -> None:
    moves, shown = run(span(0, 4_000, mc))
    assert moves == [(seconds, "met")]
    assert shown.verdict is Verdict.MET


def test_it_is_not_met_a_moment_before() -> None:
    moves, shown = run(span(0, NEEDED_S - 1, 60_000))
    assert moves == []
    assert shown.verdict is Verdict.RUNNING
    assert (shown.required, shown.least, shown.unit) == (6_500, 6_483, "mlog10")


def test_what_came_before_counts() -> None:
    moves, _ = run(span(0, 195, 60_000), span(195, 400, 70_000))
    assert moves == [(195 + 19.5, "met")]


def test_credit_goes_by_the_lower_reading_and_doubt_by_the_higher() -> None:
    moves, shown = run(span(0, 60, 50_000, 60_000), over_s=60)
    assert (shown.least, shown.most) == (100, 1_000)
    assert moves == [(60, "missed")]


def test_what_may_have_been_enough_is_unproven() -> None:
    moves, shown = run(span(0, NEEDED_S, 50_000, 60_000), over_s=NEEDED_S)
    assert moves == [(NEEDED_S, "unproven")]
    assert shown.why == (
        "needed 6.50-log10; 0.65-log10 is shown, 6.50-log10 may have been"
    )


def test_a_hole_earns_nothing_and_may_have_been_as_hot_as_it_can() -> None:
    hole = Hole(BEGUN_MS, BEGUN_MS + 39 * S)
    bridge = Bridge(BEGUN_MS, BEGUN_MS + 39 * S, 40_000, 70_000)
    moves, shown = run(hole, bridge, over_s=39)
    assert (shown.least, shown.most) == (0, 6_500)
    assert moves == [(39, "unproven")]


def test_no_reading_at_all_is_no_disproof() -> None:
    anything = 1 << 40
    bridge = Bridge(BEGUN_MS, BEGUN_MS + S, -anything, anything)
    moves, _ = run(Hole(BEGUN_MS, BEGUN_MS + S), bridge, over_s=1)
    assert moves == [(1, "unproven")]


def test_met_stays_met() -> None:
    moves, shown = run(span(0, 39, 70_000), span(39, 99, 10_000), over_s=99)
    assert moves == [(39, "met")]
    assert shown.since_ms == BEGUN_MS + 39 * S


def test_it_says_what_it_asks() -> None:
    assert (
        LIMIT.required_words == "6.50-log10 with D = 60 s at 60.0 degC and z = 10.0 K"
    )


def test_a_recook_has_the_growth_before_it_to_undo_as_well() -> None:
    """FSIS-GD-2021-14: 3.0 log10 of predicted growth and 6.5 are 9.5, here 570 s."""
    head = LIMIT.model_dump(by_alias=True, include={"name", "kind", "channel"})
    words = {"D": "60 s", "z": "10 K", "reference": "60 degC", "target": "6.5-log10"}
    limit = IntegratedLimit.model_validate(
        {**head, **words, "after growth": "3.0-log10"}
    )
    assert limit.required_words.startswith(
        "9.50-log10 (6.50-log10 and 3.00-log10 of growth) with D"
    )
    for lasts_s, verdict in ((570, Verdict.MET), (569, Verdict.MISSED)):
        _, (shown,) = shown_to(
            limit, [span(0, lasts_s, 60_000)], BEGUN_MS + lasts_s * S
        )
        assert (shown.required, shown.verdict) == (9_500, verdict)
