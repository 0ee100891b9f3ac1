"""Predicted growth is advice: it is never met, never missed, and holds no lot.

The figures themselves are in ``tests/standards/test_growth.py``.
"""

import pytest

from rules.facts import Verdict
from rules.schedule import read_schedule
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
