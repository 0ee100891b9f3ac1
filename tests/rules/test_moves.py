"""Every entry of every table of moves matters to some example.

Each entry is changed to each other standing, one at a time, and the stories are
told again: one of them must come out otherwise.  What no story can reach stands
here with the reason.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from rules import allowance, band
from rules.facts import Standing
from tests.rules import test_allowance, test_band

CANNOT_HAPPEN = {
    # A count passes the allowance once; from then on it lies behind it.
    (Standing.UNPROVEN, allowance.USED_UP),
    (Standing.MISSED, allowance.LOST),
}

Table = dict[tuple[Standing, Any], Standing]

TABLES: dict[str, tuple[Table, Any, dict[str, Any]]] = {
    "allowance": (allowance.NEXT, test_allowance.tell, test_allowance.STORIES),
    "band": (band.NEXT, test_band.tell, test_band.STORIES),
}


@contextmanager
def changed(
    table: Table, entry: tuple[Standing, Any], wrong: Standing
) -> Iterator[None]:
    """Put a wrong standing into a table for a while."""
    right = table[entry]
    table[entry] = wrong
    try:
        yield
    finally:
        table[entry] = right


@pytest.mark.parametrize("name", TABLES)
def test_no_entry_can_be_changed_unnoticed(name: str) -> None:
    table, tell, stories = TABLES[name]
    unnoticed = set()
    for entry, right in table.items():
        for wrong in set(Standing) - {right}:
            with changed(table, entry, wrong):
                if all(_as_told(tell, story) for story in stories.values()):
                    unnoticed.add(entry)
    assert unnoticed == {entry for entry in table if entry in CANNOT_HAPPEN}


def _as_told(tell: Any, story: tuple[Any, ...]) -> bool:
    *told, passed = story
    try:
        return bool(tell(*told) == passed)
    except KeyError:  # a standing that the table does not answer for
        return False
