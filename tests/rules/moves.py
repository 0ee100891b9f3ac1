"""Every table of moves, and the tests that are to notice a wrong entry in it.

A *mutant* is a table with one entry changed, to each thing that could stand there
instead.  The tests are called with it one after another until one of them fails: that
one caught it.  What no course of events can reach stands here with the reason.
"""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any, NamedTuple

from rules import alerts, allowance, band, rate, signs
from rules.alerts import AlertState
from rules.facts import Standing
from tests.rules import test_alerts, test_allowance, test_band, test_rate, test_signs

Moves = dict[Any, Any]


class Table(NamedTuple):
    """One table of moves."""

    name: str
    moves: Moves
    tests: Mapping[str, Callable[[], None]]  # each raises where something is wrong
    wrong: Callable[[Any], list[Any]]  # what could stand there instead of what is right
    cannot_happen: Mapping[Any, str]


class Mutant(NamedTuple):
    """One wrong entry, and the test that caught it; "" where none did."""

    entry: Any
    right: Any
    wrong: Any
    caught_by: str


def mutants(table: Table) -> Iterator[Mutant]:
    """Change every entry to everything it could be, one at a time."""
    for entry, right in table.moves.items():
        for wrong in table.wrong(right):
            with changed(table.moves, entry, wrong):
                caught_by = next(
                    (name for name, test in table.tests.items() if _fails(test)), ""
                )
            yield Mutant(entry, right, wrong, caught_by)


@contextmanager
def changed(moves: Moves, entry: Any, wrong: Any) -> Iterator[None]:
    """Put a wrong entry into a table for a while."""
    right = moves[entry]
    moves[entry] = wrong
    try:
        yield
    finally:
        moves[entry] = right


def _fails(test: Callable[[], None]) -> bool:
    try:
        test()
    except (AssertionError, LookupError):  # no answer from where it got to, or nothing
        return True
    return False


def _other_standings(right: Standing) -> list[Standing]:
    return [one for one in Standing if one is not right]


def _other_states(right: AlertState) -> list[AlertState]:
    return [one for one in AlertState if one is not right]


def _other_ways(right: tuple[tuple[signs.Sign, Any], ...]) -> list[Any]:
    """One way less, or one that leads elsewhere."""
    found: list[Any] = [right[:i] + right[i + 1 :] for i in range(len(right))]
    for i, (to, sees) in enumerate(right):
        found += [
            (*right[:i], (other, sees), *right[i + 1 :])
            for other in signs.Sign
            if other is not to
        ]
    return found


def _stories(file: str, tell: Any, stories: Mapping[str, Any]) -> dict[str, Any]:
    """A test for every story: it comes to what is told of it."""

    def told(story: tuple[Any, ...]) -> Callable[[], None]:
        def test() -> None:
            *how, passed = story
            assert tell(*how) == passed

        return test

    head = f"tests/rules/{file}.py::test_the_standings_passed_through"
    return {f"{head}[{name}]": told(story) for name, story in stories.items()}


def _each_move() -> dict[str, Callable[[], None]]:
    def test(case: tuple[Any, ...]) -> Callable[[], None]:
        return lambda: test_alerts.test_each_move(*case)

    head = "tests/rules/test_alerts.py::test_each_move"
    return {f"{head}[{case[0]}-{case[1]}]": test(case) for case in test_alerts.MOVES}


def _plain(module: Any, *names: str) -> dict[str, Callable[[], None]]:
    file = module.__name__.replace(".", "/")
    return {f"{file}.py::{name}": getattr(module, name) for name in names}


TABLES = (
    Table(
        "rules.allowance",
        allowance.NEXT,
        _stories("test_allowance", test_allowance.tell, test_allowance.STORIES),
        _other_standings,
        {
            (one, signal): "a count passes the allowance once; then it lies behind it"
            for one, signal in (
                (Standing.UNPROVEN, allowance.USED_UP),
                (Standing.MISSED, allowance.LOST),
            )
        },
    ),
    Table(
        "rules.band",
        band.NEXT,
        _stories("test_band", test_band.tell, test_band.STORIES),
        _other_standings,
        {},
    ),
    Table(
        "rules.rate",
        rate.NEXT,
        _stories("test_rate", test_rate.tell, test_rate.STORIES),
        _other_standings,
        {
            (Standing.MISSED, rate.OVER): "what is missed was surely inside a window",
        },
    ),
    Table("rules.alerts", alerts.NEXT, _each_move(), _other_states, {}),
    Table(
        "rules.signs",
        signs.NEXT,
        _plain(
            test_signs,
            "test_a_door_that_is_closed_again",
            "test_a_door_that_stays_open_is_no_door_any_more",
            "test_a_fire_that_dies_and_is_lit_again",
            "test_a_core_that_stalls_and_moves_again",
            "test_a_bath_that_warms_and_is_given_ice",
            "test_a_cooler_whose_door_is_open_warms_too",
        ),
        _other_ways,
        {},
    ),
)
