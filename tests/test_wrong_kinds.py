"""Nothing that a person writes in the wrong place ends a reader.

Every value of every shipped file is replaced, one at a time, by a map, a list, a list
of a map and an empty text.  Whatever stands there, a reader answers what it read or its
faults, with the line of each.
"""

from collections.abc import Callable, Iterator
from copy import deepcopy
from functools import partial
from pathlib import Path
from typing import Any

import pytest
import yaml

from daemon.board_settings import read_board
from daemon.script_file import read_script
from daemon.secrets import explain
from daemon.settings import read_settings
from rules.faults import Fault, render_all
from rules.lot_sheet import read_lot_sheet
from rules.rehearsal import read_rehearsals
from rules.schedule import read_schedule
from tests.daemon.test_settings import LEAST
from tests.readme import block_with

ROOT = Path(__file__).parents[1]
LIBRARY, EXAMPLE = ROOT / "rules" / "library", ROOT / "deploy" / "example"
WRONG: tuple[Any, ...] = ({}, [], [{}], "")

Read = Callable[[str], object]


def _named(read: Callable[[str, str], object]) -> Read:
    return partial(read, "some.yaml")


def _at_a_path(read: Callable[[Path, str, dict[str, str]], object]) -> Read:
    return lambda text: read(Path("/nowhere/some.yaml"), text, {})


FILES: dict[str, tuple[Read, Path]] = {
    "settings": (_at_a_path(read_settings), EXAMPLE / "settings.yaml"),
    "board": (_at_a_path(read_board), EXAMPLE / "board.yaml"),
    "schedule": (_named(read_schedule), LIBRARY / "summer_sausage.yaml"),
    "another schedule": (_named(read_schedule), LIBRARY / "reheat_and_hold.yaml"),
    "rehearsals": (_named(read_rehearsals), LIBRARY / "cured_links.rehearsal.yaml"),
    "day": (_named(read_script), EXAMPLE / "days" / "steady.yaml"),
}


def places(tree: Any) -> Iterator[tuple[Any, ...]]:
    """Where every value of a tree stands."""
    below = tree.items() if isinstance(tree, dict) else enumerate(tree)
    for key, value in below:
        yield (key,)
        if isinstance(value, dict | list):
            yield from ((key, *rest) for rest in places(value))


def with_wrong(tree: Any, place: tuple[Any, ...], wrong: Any) -> str:
    """The tree with one value replaced, as text."""
    changed = deepcopy(tree)
    inner = changed
    for key in place[:-1]:
        inner = inner[key]
    inner[place[-1]] = wrong
    return yaml.safe_dump(changed, sort_keys=False)


def tried(read: Read, text: str) -> None:
    tree = yaml.load(text, Loader=yaml.BaseLoader)
    for place in places(tree):
        for wrong in WRONG:
            spoilt = with_wrong(tree, place, wrong)
            found = read(spoilt)
            if isinstance(found, list):
                assert found, place
                assert all(isinstance(one, Fault) for one in found)
                assert explain(found, spoilt) and render_all(found, spoilt)


@pytest.mark.parametrize("name", FILES)
def test_a_value_of_another_kind_is_a_fault(name: str) -> None:
    read, path = FILES[name]
    tried(read, path.read_text(encoding="utf-8"))


def test_a_value_of_another_kind_in_checks_and_conversions_is_a_fault() -> None:
    raw = LEAST.replace(
        "unit: degC", "unit: ohm\n    conversion: Pt100\n    record: urn:dev:ow:1c"
    )
    checks = block_with("yaml", "calibrations:")
    tried(_at_a_path(read_settings), f"{raw}{checks}")


def test_a_value_of_another_kind_in_a_lot_sheet_is_a_fault() -> None:
    tried(_named(read_lot_sheet), block_with("yaml", "lot sheet:"))
