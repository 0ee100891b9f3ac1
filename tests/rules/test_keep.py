"""rules/keep.py: a state of a cook through JSON and back.

Source: RFC 8259 for what JSON can hold, by the standard library's ``json``.  That
every state of every limit comes back is a law in ``test_laws``.
"""

import json

import pytest

from rules import engine, keep
from rules.dwell import Runs
from rules.evidence import Sight
from rules.facts import Standing
from rules.lines import NEW, Line, Turn, Turning
from tests.rules.stories import BEGUN_MS, chamber, core, schedule

SIGHT = Sight(True, 5, -3, 4, 5, quiet=False)


def test_a_state_is_a_list_of_its_parts_in_order() -> None:
    assert keep.dump(SIGHT) == [True, 5, -3, 4, 5, False, 0, False, False]
    assert keep.load(Sight, [True, 5, -3, 4, 5, False, 0, False, False]) == SIGHT


def test_tuples_and_words_come_back_as_themselves() -> None:
    line = NEW._replace(turnings=(Turning(1, Turn.BEGIN, 0), Turning(2, Turn.OVER, 1)))
    kept = keep.dump(line)
    assert kept == [
        None,
        False,
        False,
        0,
        [[1, "begin", 0], [2, "over", 1]],
        0,
        [[], [], 0],
        [False, 0, 0],
    ]
    back = keep.load(Line, json.loads(json.dumps(kept)))
    assert back == line
    assert isinstance(back.turnings[1].turn, Turn)


def test_the_state_of_a_limit_is_kept_beside_its_word() -> None:
    told = schedule(
        """\
stages: [{stage: cook, ends: by hand}]
limits:
  - limit: come-up
    kind: time between
    channel: core
    between: 50 degF and 130 degF
    at most: 6 h
"""
    )
    plan = engine.plan(told, [core()])
    state = engine.opened(plan, BEGUN_MS)
    kept = json.loads(json.dumps(keep.dump(state)))
    word, parts = kept[3][0][0][0]
    assert word == "time between"
    assert parts[0][0] == Standing.WITHIN
    assert keep.load(engine.State, kept) == state


@pytest.mark.parametrize(
    "kept",
    [
        [True, 5, -3, 4, 5, False],  # a part too few
        [True, 5, -3, 4, 5, False, 0, 0],  # and one too many
        [True, 5, -3, 4, 5, 0, 0],  # a number is no truth value
        [True, 5, -3, 4, "5", False, 0],
        [True, 5.0, -3, 4, 5, False, 0],
        {"seen": True},
        None,
    ],
)
def test_what_is_no_state_is_refused(kept: keep.Kept) -> None:
    with pytest.raises((TypeError, ValueError)):
        keep.load(Sight, kept)


@pytest.mark.parametrize(
    "kept", [["nothing we know", []], ["dwell"], [[], []], 7, ["dwell", [1, 2]]]
)
def test_an_unknown_state_of_a_limit_is_refused(kept: keep.Kept) -> None:
    with pytest.raises((TypeError, ValueError)):
        keep.load(Line, [kept, False, False, 0, []])


def test_what_json_cannot_hold_is_no_part_of_a_state() -> None:
    with pytest.raises(TypeError, match=r"1\.5 is no part of a state"):
        keep.dump(Runs((1,), 1.5, ()))  # type: ignore[arg-type]


def test_a_whole_cook_comes_back() -> None:
    told = schedule(
        "stages: [{stage: dry, chamber: 50 degC to 60 degC, ends: by hand}]"
    )
    plan = engine.plan(told, [core(), chamber()])
    state = engine.opened(plan, BEGUN_MS)
    assert keep.load(engine.State, json.loads(json.dumps(keep.dump(state)))) == state
