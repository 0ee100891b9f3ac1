"""Samples that were numbered and never came."""

import random

import pytest

from daemon.numbering import Numbering
from probes.contract import numbers_of
from rules.alerts import MISSING, severity
from rules.facts import Event, Reading, Subject

NAME = numbers_of("core-1")
LATE_MS = 1 << 40


def numbers(*found: int) -> list[Reading]:
    """Samples with these numbers, one a second."""
    return [Reading(NAME, one * 1_000, one * 1_000, 0) for one in found]


def said(events: list[Event]) -> list[tuple[int, str]]:
    """When the sample after each hole was taken, and the words for the hole."""
    return [(one.at_ms, one.why) for one in events]


@pytest.mark.parametrize(
    ("found", "events"),
    [
        pytest.param([], [], id="nothing"),
        pytest.param([7], [], id="where it begins is no hole"),
        pytest.param([7, 8, 9], [], id="without a hole"),
        pytest.param(
            [7, 9],
            [(9_000, "1 of the samples numbered 8 never came from the board")],
            id="one",
        ),
        pytest.param(
            [7, 12, 13],
            [(12_000, "4 of the samples numbered 8 to 11 never came from the board")],
            id="four",
        ),
        pytest.param([7, 10, 8, 9], [], id="they come after all"),
        pytest.param(
            [7, 11, 8, 10],
            [(11_000, "1 of the samples numbered 8 to 10 never came from the board")],
            id="one of them does not",
        ),
    ],
)
def test_what_is_missing(found: list[int], events: list[tuple[int, str]]) -> None:
    numbering = Numbering()
    numbering.take(numbers(*found))
    assert said(numbering.missing(LATE_MS)) == events
    assert numbering.missing(LATE_MS) == []  # each once


def test_a_hole_waits_until_the_horizon_has_passed_it() -> None:
    numbering = Numbering()
    numbering.take(numbers(7, 9))
    assert numbering.missing(9_000) == []
    assert len(numbering.missing(9_001)) == 1


def test_a_board_that_counts_anew_is_a_new_beginning() -> None:
    numbering = Numbering()
    again = [Reading(NAME, 20_000, 1_000, 0), Reading(NAME, 21_000, 3_000, 0)]
    numbering.take([*numbers(7, 8), *again])
    assert said(numbering.missing(LATE_MS)) == [
        (21_000, "1 of the samples numbered 2 never came from the board")
    ]


def test_what_is_no_number_is_left_alone() -> None:
    numbering = Numbering()
    numbering.take([Reading("core-1", 1, 7_000, 0), Reading("core-1", 2, 90_000, 0)])
    assert numbering.missing(LATE_MS) == []


def test_whatever_the_order_the_same_are_missing() -> None:
    """What came in between, late or early, leaves the same numbers out in the end."""
    there = [one for one in range(1, 60) if one % 7]
    for seed in range(20):
        order = there[1:-1]
        random.Random(seed).shuffle(order)
        numbering = Numbering()
        numbering.take(numbers(there[0], *order, there[-1]))
        words = [one.why for one in numbering.missing(LATE_MS)]
        assert sum(int(word.split()[0]) for word in words) == 60 - 1 - len(there)


def test_nobody_is_woken_by_it() -> None:
    numbering = Numbering()
    numbering.take(numbers(1, 3))
    (event,) = numbering.missing(LATE_MS)
    assert (event.subject, event.name, event.now) == (Subject.CHANNEL, NAME, MISSING)
    assert not severity(event.subject, event.now)
