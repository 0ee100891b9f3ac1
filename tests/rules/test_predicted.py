"""Predicted growth is advice: it is never met, never missed, and holds no lot.

The figures themselves are in ``tests/standards/test_growth.py``.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.evidence import Hole, Piece, Span
from rules.facts import Verdict
from rules.growth import rate_e9
from rules.limit import Opening
from rules.predicted import PredictedGrowth
from rules.reader import Marked, marked_tree
from rules.review import review
from rules.schedule import Schedule, read_schedule
from rules.standards.cooling import ProductFacts
from rules.verdicts import on_hold
from tests.rules.stories import HEAD, cook, core, flat, judged, limit_moves, schedule

PORK = HEAD.replace("cured: yes", "cured: no")
STORY = """\
stages: [{stage: chill, ends: after 4 h}]
limits:
  - limit: growth
    class: operating
    kind: predicted growth
    channel: core
    model: C. perfringens, cooked uncured pork, Juneja 2011
"""


@pytest.mark.parametrize(
    ("degc", "words"), [(4, "0.00-log10 predicted"), (44, "log10 predicted")]
)
def test_no_verdict_rests_on_it(degc: int, words: str) -> None:
    outcome = cook(
        schedule(STORY, PORK), [core()], flat("core", 0, 300, degc), until_min=300
    )
    one = judged(outcome, "growth")
    assert one.verdict is Verdict.UNPROVEN
    assert words in one.why
    assert "decides nothing" in one.why
    assert "to be verified" in one.source
    assert limit_moves(outcome, "growth") == []
    assert not on_hold(outcome.judged)


@pytest.mark.parametrize(
    ("head", "was", "now", "said"),
    [
        (HEAD, "", "", "not for this product"),
        (PORK, "uncured pork", "uncured beef", "not for this product"),
        (PORK, "uncured pork", "uncured mutton", "is not a growth model we have"),
        (PORK, "operating", "critical", "critical"),
    ],
)
def test_what_it_is_not_for_is_refused(
    head: str, was: str, now: str, said: str
) -> None:
    faults = read_schedule("story.yaml", head + STORY.replace(was, now))
    assert isinstance(faults, list)
    assert said in faults[0].found


AT_ONCE = [
    "C. perfringens, cooked cured pork, as if growth began at once, Juneja 2006",
    "S. aureus, any meat, as if growth began at once, Rosso form",
]


@pytest.mark.parametrize("model", AT_ONCE)
def test_without_a_lag_it_says_that_it_is_the_most(model: str) -> None:
    told = STORY.replace(
        "C. perfringens, cooked uncured pork, Juneja 2011", f'"{model}"'
    )
    outcome = cook(schedule(told), [core()], flat("core", 0, 240, 40), until_min=300)
    one = judged(outcome, "growth")
    (found,) = outcome.findings
    assert one.verdict is Verdict.UNPROVEN
    assert one.why.startswith("core: no more than ")
    assert "as if growth began at once (lag not known, nitrite not counted)" in one.why
    assert "from memory, to be verified" in one.source
    assert found.most == 0 < found.least  # the lag may have lasted all the time


BY_PH = (
    "C. perfringens, bulk meat by pH and salt, as if growth began at once, Le Marc 2008"
)


@pytest.mark.parametrize(
    ("product", "words"),
    [
        (
            "",
            "nothing is predicted: the product's pH is not known; the model holds for",
        ),
        (
            ", pH: 6.0",
            "nothing is predicted: the product's salt in percent is not known",
        ),
        (
            ", pH: 6.5, salt: 2 %",
            "the product's pH is 6.5; the model holds for 5 to 6.2",
        ),
        (", pH: 6.0, salt: 4.5 %", "the product's salt in percent is 4.5; the model"),
        (", pH: 6.0, salt: 2 %", "predicted, as if growth began at once"),
    ],
)
def test_acidity_and_salt_are_asked_for_and_never_guessed(
    product: str, words: str
) -> None:
    told = STORY.replace("C. perfringens, cooked uncured pork, Juneja 2011", BY_PH)
    text = HEAD.replace("cured: yes", "cured: yes" + product) + told
    rules, marked = read_schedule("s.yaml", text), marked_tree("s.yaml", text)
    assert isinstance(rules, Schedule) and isinstance(marked, Marked)
    asked = [one.found for one in review(rules, marked) if "predicted" in one.found]
    outcome = cook(rules, [core()], flat("core", 0, 240, 40), until_min=300)
    (found,) = outcome.findings
    assert words in judged(outcome, "growth").why
    known = "as if" in words
    assert (asked == [], found.least > 0) == (known, known)
    limit = rules.limits[0]
    assert isinstance(limit, PredictedGrowth)
    over, _ = limit.over(limit.opened(Opening(0, 0, rules.product.facts)), 1)
    assert limit.grown(over).known is known


def aureus(*pieces: Piece) -> tuple[int, int]:
    """The larger and the smaller sum of the rate."""
    told = STORY.replace("C. perfringens, cooked uncured pork, Juneja 2011", AT_ONCE[1])
    limit = schedule(told).limits[0]
    assert isinstance(limit, PredictedGrowth)
    state = limit.opened(Opening(0, 0, ProductFacts()))
    for piece in pieces:
        state, _ = limit.step(state, piece)
    return state.least_e9ms, state.most_e9ms


def test_readings_farther_apart_than_half_an_hour_say_nothing_of_between() -> None:
    """FSIS-GD-2021-14: readings at least every 30 min."""
    half_h, longer = 30 * 60_000, 30 * 60_000 + 1
    assert aureus(Span(0, half_h, 4_000, 5_000)) == (0, 0)
    assert aureus(Span(0, longer, 4_000, 5_000)) == aureus(Hole(0, longer))
    assert aureus(Hole(0, longer))[0] > 0


@given(
    st.integers(min_value=5_000, max_value=60_000),
    st.integers(min_value=5_000, max_value=60_000),
)
def test_no_less_than_the_straight_line_that_the_agency_allows(
    from_mc: int, to_mc: int
) -> None:
    """Between two readings; and across a gap, with or without 90 to 120 degF in it."""
    name, steps, step_ms = AT_ONCE[1], 100, 10_000
    line = sum(
        rate_e9(name, from_mc + (to_mc - from_mc) * (2 * n + 1) // (2 * steps))
        for n in range(steps)
    )
    span = Span(0, steps * step_ms, min(from_mc, to_mc), max(from_mc, to_mc))
    joined, apart = aureus(span), aureus(Hole(0, steps * step_ms))
    assert joined[1] <= line * step_ms <= joined[0] <= apart[0]
