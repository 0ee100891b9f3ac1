"""Forecasts against what the shipped traces show later, as ``deploy/forecasts`` prints.

Source: the traces themselves, which are simulated by the physics of ``probes`` (heat
conduction in a cylinder, drying surface, fire, bath) and not by the forecast's lag.
"""

import pytest

from tests.bench.forecasts import NAMES, Asked, moments, questions, row


@pytest.fixture(scope="module", params=NAMES)
def asked(request: pytest.FixtureRequest) -> list[Asked]:
    """The questions of one trace, each five minutes."""
    return list(questions(request.param, every=5))


def test_ours_is_better_than_a_straight_line(asked: list[Asked]) -> None:
    one = row(asked)
    assert one.spoke > 0.5
    assert one.ours < one.line


def test_the_truth_lies_in_the_interval(asked: list[Asked]) -> None:
    """Nine times out of ten, but for a door that nobody could know would be opened."""
    assert row(asked).held >= 0.84


def test_the_interval_is_in_order(asked: list[Asked]) -> None:
    for one in asked:
        if one.ours:
            assert one.ours.earliest <= one.ours.likely <= one.ours.latest


def test_every_trace_has_goals_and_moments(asked: list[Asked]) -> None:
    goals = {(one.goal, one.core) for one in asked}
    assert {"130 degF", "cook ends", "80 degF", "40 degF"} <= {
        goal for goal, _ in goals
    }
    assert len(moments(asked, 50)) == len(goals)


def test_no_trace_was_lost() -> None:
    assert len(NAMES) == 7
