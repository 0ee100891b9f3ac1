"""Silence: how long nothing was heard of a channel, told as stories."""

import pytest

from rules.facts import EntryKind, Verdict
from rules.silence import SilenceLimit
from tests.rules.stories import (
    BEGUN_MS,
    MIN,
    cook,
    core,
    entry,
    judged,
    limit_moves,
    schedule,
    series,
)

HEARD = """\
stages:
  - {stage: smoke, ends: after 30 min}
  - {stage: rest, ends: after 30 min}
limits:
  - {limit: heard, kind: silence, channel: core, during: smoke, at most: 10 min}
"""


def smoked(*minutes: float, told: str = HEARD, every_min: int = 1) -> tuple[str, str]:
    """The verdict and its words of a core that was heard at those minutes."""
    readings = series("core", *((at, 20) for at in minutes))
    channel = core(every_ms=every_min * MIN)
    one = judged(cook(schedule(told), [channel], readings, until_min=61), "heard")
    return one.verdict, one.why


@pytest.mark.parametrize(
    ("heard", "verdict", "longest"),
    [
        pytest.param([0, 10, 20, 30], "met", "10 min", id="just as long"),
        pytest.param([0, 10, 20.001, 30], "unproven", "10 min", id="60 ms longer"),
        pytest.param([11, 20, 30], "unproven", "11 min", id="from the beginning"),
        pytest.param([0, 10, 19], "unproven", "11 min", id="to the end"),
        pytest.param([0, 10, 20, 29, 55], "met", "10 min", id="later is not asked"),
    ],
)
def test_what_lies_between_two_readings(
    heard: list[float], verdict: str, longest: str
) -> None:
    found, why = smoked(*heard)
    assert found == verdict
    said, *_ = why.split("; readings missing from ")
    assert said == f"core: the longest silence was {longest}; 10 min allowed"


def test_readings_that_belong_together_may_be_too_far_apart_all_the_same() -> None:
    """Every 20 min is what the probe promises, and not what the limit asks."""
    verdict, _ = smoked(0, 20, 30, every_min=20)
    assert verdict == "unproven"


def test_nothing_at_all_is_no_pass() -> None:
    short = HEARD.replace("after 30 min", "after 9 min")
    assert smoked(told=short) == (
        "unproven",
        "core: never heard: the longest silence was 9 min; 10 min allowed; "
        "readings missing from 05:00 UTC to 05:09 UTC",
    )


def test_the_settling_time_is_not_counted_unless_it_was_heard_in_it() -> None:
    told = HEARD.replace("at most: 10 min", "at most: 10 min, settle: 15 min")
    assert smoked(25, 30, told=told)[0] == "met"
    assert smoked(26, 30, told=told)[0] == "unproven"
    assert smoked(1, 12, 22, 30, told=told)[0] == "unproven"


def test_it_is_at_risk_at_half_and_within_when_it_is_heard() -> None:
    readings = series("core", (0, 20), (12, 20), (21, 20), (30, 20))
    outcome = cook(schedule(HEARD), [core()], readings, until_min=61)
    assert limit_moves(outcome, "heard") == [
        (5 * MIN, "at risk"),
        (10 * MIN, "unproven"),
        (12 * MIN, "within"),
        (17 * MIN, "at risk"),
        (21 * MIN, "within"),
        (26 * MIN, "at risk"),
        (30 * MIN, "unproven"),
    ]


def test_while_it_is_silent_it_says_when_that_will_be_too_long() -> None:
    readings = series("core", (0, 20))
    outcome = cook(schedule(HEARD), [core()], readings, until_min=6)
    (finding,) = outcome.findings
    assert finding.lose_ms == BEGUN_MS + 10 * MIN
    assert finding.verdict is Verdict.RUNNING


def test_an_end_by_hand_ends_the_silence() -> None:
    readings = series("core", (0, 20), (5, 20))
    end = entry(EntryKind.END, 15)
    outcome = cook(schedule(HEARD), [core()], readings, end, until_min=61)
    assert judged(outcome, "heard").verdict is Verdict.MET


def test_it_says_what_it_asks() -> None:
    head = {"limit": "heard", "kind": "silence", "channel": "core"}
    limit = SilenceLimit.model_validate({**head, "at most": "90 s"})
    assert limit.required_words == "heard again within 1 min 30 s"
