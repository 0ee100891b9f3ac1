"""A published figure that was not read says so wherever it decides.

The tables of ``rules/standards`` are walked: whatever is marked there has to be told
as "from memory, to be verified" by ``fumarium check``, or by ``fumarium formulate`` for
what a lot sheet is held against, and in the record in the source of its verdict.  Of
the limits of a lot sheet a record holds no verdict.
"""

import itertools
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from pathlib import Path
from types import ModuleType

import pytest

from daemon import record
from daemon.cli import main
from rules.channels import Channel, Role
from rules.replay import replay
from rules.schedule import Schedule, read_schedule
from rules.standards import (
    cooling,
    growth,
    humidity,
    nitrite,
    reheating,
    retention,
    tables,
)

MARK = "from memory, to be verified"
MODULES = (cooling, growth, humidity, nitrite, reheating, retention, tables)
PRODUCTS = list(itertools.product(("pork", "beef", "poultry", "mixed"), ("yes", "no")))
CORE = Channel("core", Role.CORE, 10_000, 120_000, 500)
AT_MS = 1_767_934_800_000


def said(value: object) -> Iterator[str]:
    """Every text in a table, and the mark of what is told as not verified."""
    if isinstance(value, str) and not isinstance(value, Enum):
        yield value.lower()
    elif is_dataclass(value) and not isinstance(value, type):
        if getattr(value, "verified", True) is False:
            yield MARK
        for field in fields(value):
            yield from said(getattr(value, field.name))
    elif isinstance(value, Mapping):
        yield from said(tuple(value.values()))
    elif isinstance(value, Iterable) and not isinstance(value, str):
        for one in value:
            yield from said(one)


def marked(value: object) -> bool:
    return any("memory" in text or "to be verified" in text for text in said(value))


def names(table: Mapping[str, object]) -> list[str]:
    return [name for name, one in table.items() if marked(one)]


DWELLS = names(tables.DWELL_TABLES)
OPTIONS = names(cooling.COOLING_OPTIONS)
MODELS = names(growth.GROWTH_MODELS)
CURES = [
    one
    for one in nitrite.ProductClass
    if marked(nitrite.cure_limits(one, keep_refrigerated=True))
]


def limits(meat: str, cured: str) -> dict[str, str]:
    """Every marked figure that such a product may be judged by, as a limit."""
    found = {}
    if meat not in ("poultry", "mixed"):
        for name in DWELLS:
            found[name] = f'kind: dwell table, table: "{name}"'
            anew = f'between: 50 degF and 130 degF, begins anew after: "{name}"'
            found[f"anew {name}"] = f"kind: time between, at most: 6 h, {anew}"
    for name in OPTIONS:
        found[name] = f'kind: cooling option, during: all, option: "{name}"'
    for name in MODELS:
        model = growth.GROWTH_MODELS[name]
        if meat in model.meats and cured in model.cured:
            found[name] = f'kind: predicted growth, class: operating, model: "{name}"'
            found[name] += ", during: all"
            found[f"undone {name}"] = (
                "kind: integrated lethality, D: 1 s, z: 5 K, reference: 60 degC, "
                f'target: 7-log10, during: after, after growth: "{name}"'
            )
    return found


def written(meat: str, cured: str) -> str:
    rows = limits(meat, cured).items()
    return (
        f"schedule: from memory\nrevision: 1\napproved by: AB\n"
        f"product: {{meat: {meat}, form: comminuted, cured: {cured}}}\n"
        "stages: [{stage: all, ends: after 1 h}, {stage: after, ends: by hand}]\n"
        "limits:\n"
        + "".join(
            f'  - {{limit: "{name}", channel: core, source: ours, {rest}}}\n'
            for name, rest in rows
        )
    )


@pytest.mark.parametrize(("meat", "cured"), PRODUCTS)
def test_check_and_the_record_say_which_figure_is_from_memory(
    meat: str, cured: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = written(meat, cured)
    path = tmp_path / "it.yaml"
    path.write_text(text)
    main(["check", str(path)])
    printed = capsys.readouterr().out
    for name in limits(meat, cured):
        assert f"limit {name!r} uses figures that are {MARK}" in printed
    schedule = read_schedule("it.yaml", text)
    assert isinstance(schedule, Schedule), schedule
    outcome = replay(schedule, [CORE], AT_MS, (), (), AT_MS + 60_000)
    lines = [record.line_of("verdict", one) for one in outcome.judged]
    sources = {one["limit"]: one["source"] for one in json.loads(json.dumps(lines))}
    assert {*sources} == {*limits(meat, cured)}
    assert [name for name, source in sources.items() if MARK not in source] == []


def test_every_marked_figure_is_among_those_that_are_tried() -> None:
    tried = {name for product in PRODUCTS for name in limits(*product)}
    assert {*DWELLS, *OPTIONS, *MODELS} <= tried
    assert {*MODELS} == {*growth.GROWTH_MODELS}  # no paper of these was read
    assert DWELLS and OPTIONS and CURES


def test_nothing_else_in_the_standards_is_from_memory() -> None:
    """A module whose text speaks of memory has a table that was walked above."""

    def speaks(module: ModuleType) -> bool:
        assert module.__file__
        return MARK in " ".join(Path(module.__file__).read_text().lower().split())

    files = {path.stem for path in Path(str(growth.__file__)).parent.glob("*.py")}
    assert files - {"__init__"} == {one.__name__.split(".")[-1] for one in MODULES}
    assert {one for one in MODULES if speaks(one)} == {
        *(cooling, growth, nitrite, tables)
    }
    others = (humidity.HUMIDITY_OPTIONS, reheating.REHEATING_OPTIONS)
    assert not any(names(one) for one in others)


@pytest.mark.parametrize("product", CURES)
def test_formulate_says_which_limit_of_a_cure_is_from_memory(
    product: nitrite.ProductClass, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pickle = "pumped" in product or "immersion" in product
    path = tmp_path / "lot.yaml"
    path.write_text(
        f"lot sheet: invented\nproduct class: {product}\nkeep refrigerated: yes\n"
        "meat: 100 kg\ncures: [{cure: salt, weight: 100 g, nitrite: 6.25 %}]\n"
        + ("pickle: {weight: 10 kg, taken up: 10 %}\n" if pickle else "")
    )
    main(["formulate", str(path)])
    printed = capsys.readouterr().out
    own = nitrite.cure_limits(product, keep_refrigerated=True)
    for one in own:
        if marked(one):
            (line,) = [row for row in printed.splitlines() if f"{one.source} (" in row]
            assert f"source: {one.source} ({MARK})" in line
