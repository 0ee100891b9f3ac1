"""A recook: what was predicted to grow before it is added to what it has to undo.

FSIS-GD-2021-14: 3.0 log10 of predicted growth and 6.5 are 9.5.  The growth here is six
doublings, 2 h at 37 degC of 20 min each (from memory, to be verified): 1.806 log10.
"""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.facts import Reading, Verdict
from rules.integrated import IntegratedLimit
from rules.replay import Outcome
from rules.schedule import read_schedule
from tests.rules.stories import (
    BEGUN_MS,
    HEAD,
    MIN,
    cook,
    core,
    flat,
    judged,
    schedule,
    shown_to,
)
from tests.rules.test_integrated import LIMIT, span

STORY = """\
stages: [{stage: chill, ends: after 2 h}, {stage: recook, ends: after 15 min}]
limits:
  - limit: growth
    class: operating
    kind: predicted growth
    channel: core
    during: chill
    model: S. aureus, any meat, as if growth began at once, Rosso form
  - limit: lethality
    kind: integrated lethality
    channel: core
    during: recook
    D: 60 s
    z: 10 K
    reference: 60 degC
    target: 6.5-log10
    after growth: growth
"""
SIX_DOUBLINGS = 6 * math.log10(2)


def recooked(chilled: list[Reading], hot_min: int) -> Outcome:
    """A chill of two hours, and 60 degC for some minutes."""
    hot = flat("core", 120, 120 + hot_min, 60)
    cold = flat("core", 121 + hot_min, 140, 20)
    return cook(schedule(STORY), [core()], [*chilled, *hot, *cold], until_min=140)


@pytest.mark.parametrize(("hot_min", "verdict"), [(9, "met"), (8, "unproven")])
def test_the_target_rises_by_the_most_that_was_predicted(
    hot_min: int, verdict: str
) -> None:
    """8.306 log10 at D = 60 s take 498.4 s; without the growth 390 s would do."""
    outcome = recooked(flat("core", 0, 119, 37), hot_min)
    one = judged(outcome, "lethality")
    (found,) = [f for f in outcome.findings if f.limit == "lethality"]
    assert one.verdict == verdict
    assert found.required == round((6.5 + SIX_DOUBLINGS) * 1000)
    assert "8.31-log10 (6.50-log10 and 1.81-log10 by 'growth' at the most)" in one.why
    if verdict == "met":
        after_ms = one.since_ms - BEGUN_MS - 120 * MIN
        assert after_ms == pytest.approx((6.5 + SIX_DOUBLINGS) * 60_000, abs=30)


def test_a_chill_that_lets_nothing_grow_adds_nothing() -> None:
    one = judged(recooked(flat("core", 0, 119, 4), 9), "lethality")
    # From 4 to 60 degC between two readings it may be anything, for one minute.
    assert one.verdict is Verdict.MET
    assert "6.52-log10 (6.50-log10 and 0.02-log10 by" in one.why


def test_a_chill_that_nobody_saw_is_no_chill_without_growth() -> None:
    """An hour unseen may be three doublings; 6.5 log10 and more are shown in 7 min."""
    seen = [*flat("core", 0, 30, 4), *flat("core", 90, 119, 4)]
    one = judged(recooked(seen, 7), "lethality")
    assert one.verdict is Verdict.UNPROVEN
    assert judged(recooked(flat("core", 0, 119, 4), 7), "lethality").verdict == "met"


@given(st.sets(st.integers(min_value=1, max_value=118)))
@settings(max_examples=20)
def test_a_reading_lost_before_the_recook_never_lowers_its_target(
    lost: set[int],
) -> None:
    whole = flat("core", 0, 119, 30)
    some = [one for one in whole if (one.at_ms - BEGUN_MS) // MIN not in lost]
    needed = [
        found.required
        for outcome in (recooked(whole, 9), recooked(some, 9))
        for found in outcome.findings
        if found.limit == "lethality"
    ]
    assert needed[0] <= needed[1]


def test_growth_that_is_not_known_is_never_taken_for_none() -> None:
    limit = IntegratedLimit.model_validate(
        {
            **LIMIT.model_dump(by_alias=True, include={"name", "kind", "channel"}),
            **{"D": "60 s", "z": "10 K", "reference": "60 degC"},
            **{"target": "6.5-log10", "after growth": "growth"},
        }
    )
    heat = span(0, 100_000, 60_000)
    _, (shown,) = shown_to(limit, [heat], heat.to_ms)
    assert shown.verdict is Verdict.UNPROVEN
    assert "needed 6.50-log10 and what grew before it, which is not known" in shown.why
    assert "'growth' predicts before it" in limit.required_words


@pytest.mark.parametrize(
    ("was", "now", "found"),
    [
        ("growth: growth", "growth: grwth", "'grwth' is no predicted growth that"),
        ("growth: growth", "growth: 3", "'3' is not a log reduction"),
        ("growth: growth", "growth: 3 log10", "'3 log10' is not a log reduction"),
        ("during: chill", "during: recook", "still predicted in stage 'recook'"),
        ("    during: recook\n", "", "still predicted in stage 'chill'"),
        ("channel: core\n    during: chill", "channel: chamber", "on this channel"),
    ],
)
def test_a_growth_that_cannot_be_added_is_a_fault(
    was: str, now: str, found: str
) -> None:
    assert was in STORY
    faults = read_schedule("story.yaml", HEAD + STORY.replace(was, now))
    assert isinstance(faults, list)
    assert found in faults[0].found
