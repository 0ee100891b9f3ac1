"""Every entry of every table of moves matters to some test.

``deploy/moves`` prints the same, entry by entry, with the test that caught it.
"""

import importlib
from pathlib import Path

import pytest

import rules
from tests.rules.moves import TABLES, Table, mutants


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_no_entry_can_be_changed_unnoticed(table: Table) -> None:
    unnoticed = {one.entry for one in mutants(table) if not one.caught_by}
    assert unnoticed == set(table.cannot_happen)


def test_nothing_is_wrong_with_the_tables_as_they_are() -> None:
    for table in TABLES:
        for test in table.tests.values():
            test()


def test_every_table_of_moves_is_tried() -> None:
    files = Path(rules.__file__).parent.glob("*.py")
    modules = [importlib.import_module(f"rules.{file.stem}") for file in files]
    have = {module.__name__ for module in modules if hasattr(module, "NEXT")}
    assert {table.name for table in TABLES} == have
