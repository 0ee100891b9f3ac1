"""What is wrong between the parts of a schedule, where each part alone is right.

These faults are found in the file's own texts, so that they are said beside the
faults of single values and not after them.  What a value is not the right shape
for is passed over here: that is a fault of the value.
"""

from collections.abc import Iterator

from pydantic import ValidationError
from pydantic_core import PydanticCustomError

from rules.cooling import CHILLING
from rules.faults import Fault
from rules.integrated import growth_named, mlog10
from rules.poultry import OWN_TABLE, POULTRY, SOURCE, TARGET_MLOG10
from rules.reader import Marked, Tree
from rules.remarks import choice
from rules.stages import Stage, directed
from rules.standards.growth import GROWTH_MODELS, GrowthModel
from rules.standards.tables import DWELL_TABLES
from rules.user_table import unsteady

LETHAL = ("dwell table", "integrated lethality")


def crossed(marked: Marked) -> Iterator[Fault]:
    """Every fault between the parts of a schedule."""
    stages, limits = _items(marked, "stages"), _items(marked, "limits")
    names = _texts(stages, "stage")
    yield from _twice(marked, "stages", "stage", names)
    yield from _twice(marked, "limits", "limit", _texts(limits, "limit"))
    yield from _like_a_chamber(marked, stages, limits)
    yield from _undirected(marked, stages)
    yield from _own_tables(marked, _items(marked, "tables"))
    for i, limit in limits.items():
        yield from _stages_of(marked, i, limit, list(names.values()))
        yield from _table_of(marked, i, limit)
        yield from _target_of(marked, i, limit)
        yield from _until(marked, i, limit, limits)
        yield from _grows(marked, i, limit)
        yield from _follows(marked, i, limit, limits, list(names.values()))


def _items(marked: Marked, part: str) -> dict[int, dict[str, Tree]]:
    tree = marked.tree.get(part) if isinstance(marked.tree, dict) else None
    items = enumerate(tree) if isinstance(tree, list) else ()
    return {i: item for i, item in items if isinstance(item, dict)}


def _texts(items: dict[int, dict[str, Tree]], key: str) -> dict[int, str]:
    texts = {i: item.get(key) for i, item in items.items()}
    return {i: text for i, text in texts.items() if isinstance(text, str) and text}


def _twice(
    marked: Marked, part: str, key: str, names: dict[int, str]
) -> Iterator[Fault]:
    first: dict[str, int] = {}
    for i, name in names.items():
        if first.setdefault(name, i) != i:
            line = marked.at((part, first[name], key)).line
            yield marked.fault(
                (part, i, key),
                f"two {part} are called {name!r}; the first stands in line {line}",
                f"give each {key} a name of its own",
            )


def _like_a_chamber(
    marked: Marked,
    stages: dict[int, dict[str, Tree]],
    limits: dict[int, dict[str, Tree]],
) -> Iterator[Fault]:
    """A stage's chamber band is a limit too, and has a name."""
    bands = {f"{s.get('stage')} chamber" for s in stages.values() if "chamber" in s}
    for i, name in _texts(limits, "limit").items():
        if name in bands:
            yield marked.fault(
                ("limits", i, "limit"),
                f"{name!r} is what the chamber band of that stage is called",
                "give the limit a name of its own",
            )


def _undirected(marked: Marked, items: dict[int, dict[str, Tree]]) -> Iterator[Fault]:
    try:
        stages = [Stage.model_validate(item) for item in items.values()]
    except ValidationError:
        return
    for i, stage, way in zip(items, stages, directed(stages), strict=True):
        if way is None:
            yield marked.fault(
                ("stages", i, "ends"),
                f"'{stage.ends}' may be a rise or a fall here",
                "write 'rises to' or 'falls to' instead of 'reaches'",
            )


def _stages_of(
    marked: Marked, i: int, limit: dict[str, Tree], names: list[str]
) -> Iterator[Fault]:
    """A limit is judged during stages that the schedule has."""
    if "during" in limit:
        written = limit["during"]
        if isinstance(written, str):
            written = [word.strip() for word in written.split(",") if word.strip()]
        for j, name in enumerate(written if isinstance(written, list) else ()):
            if names and isinstance(name, str) and name not in names:
                yield marked.fault(
                    ("limits", i, "during", j),
                    f"{name!r} is no stage of this schedule",
                    choice(name, names),
                )
    elif limit.get("kind") == "cooling option" and not {*CHILLING} & {*names}:
        yield marked.fault(
            ("limits", i, "limit"),
            f"{limit.get('limit')!r} does not say during which stages it is judged, "
            "and no stage is called chill",
            "add a line with the stages that cool, for example: during: chill",
        )


def _until(
    marked: Marked,
    i: int,
    limit: dict[str, Tree],
    limits: dict[int, dict[str, Tree]],
) -> Iterator[Fault]:
    """What ends a cooking time is a limit of lethality."""
    name = limit.get("until")
    if limit.get("kind") != "humidity" or not isinstance(name, str) or not name:
        return
    names = [
        str(one["limit"])
        for one in limits.values()
        if one.get("kind") in LETHAL and "limit" in one
    ]
    if name not in names:
        found = f"{name!r} is no limit of lethality in this schedule"
        right = choice(name, names) if names else "add a limit of kind: dwell table"
        yield marked.fault(("limits", i, "until"), found, right)


def _grows(marked: Marked, i: int, limit: dict[str, Tree]) -> Iterator[Fault]:
    """A growth model is for the meat in hand, and for a cure or for none."""
    product = _product(marked)
    model = GROWTH_MODELS.get(str(limit.get("model")))
    if model is None or product is None:
        return
    if not _for(model, product):
        fits = [m.name for m in GROWTH_MODELS.values() if _for(m, product)]
        found = "this model is not for this product"
        right = f"name one that is: {'; '.join(fits)}" if fits else "take the limit out"
        yield marked.fault(("limits", i, "model"), found, right)


def _follows(
    marked: Marked,
    i: int,
    limit: dict[str, Tree],
    limits: dict[int, dict[str, Tree]],
    stages: list[str],
) -> Iterator[Fault]:
    """Growth that is added to a target is over when the heat that undoes it begins."""
    name = growth_named(limit.get("after growth"))
    if limit.get("kind") != "integrated lethality" or not name:
        return
    grows = {
        str(one.get("limit")): one
        for j, one in limits.items()
        if one.get("kind") == "predicted growth"
        and one.get("channel") == limit.get("channel")
        and j < i
    }
    at = ("limits", i, "after growth")
    if name not in grows:
        found = f"{name!r} is no predicted growth that stands above, on this channel"
        right = choice(name, [*grows]) if grows else "write for example: 3.0-log10"
        yield marked.fault(at, found, right)
        return
    last = _places(grows[name], stages)[-1:]
    first = _places(limit, stages)[:1]
    if last and first and last >= first:
        found = f"{name!r} is still predicted in stage {stages[first[0]]!r}"
        right = "name the stages before it in its line 'during', and those after here"
        yield marked.fault(at, found, right)


def _places(limit: dict[str, Tree], stages: list[str]) -> list[int]:
    """The numbers of the stages that a limit is judged during, in order."""
    during = _said(limit.get("during"))
    return [n for n, name in enumerate(stages) if name in during or not during]


def _for(model: GrowthModel, product: dict[str, Tree]) -> bool:
    return product.get("meat") in model.meats and product.get("cured") in model.cured


def _own_tables(marked: Marked, tables: dict[int, dict[str, Tree]]) -> Iterator[Fault]:
    """A user's table has a name of its own and rows that agree with each other."""
    names = _texts(tables, "table")
    yield from _twice(marked, "tables", "table", names)
    for i, name in names.items():
        if name in DWELL_TABLES:
            found = f"{name!r} is the name of a published table"
            right = "give the table a name of its own"
            yield marked.fault(("tables", i, "table"), found, right)
    for i, table in tables.items():
        rows = table.get("rows")
        if isinstance(rows, list):
            yield from unsteady(marked, ("tables", i, "rows"), rows)


def _table_of(marked: Marked, i: int, limit: dict[str, Tree]) -> Iterator[Fault]:
    """A table is for the meat in hand; no published one is for poultry."""
    meat = (_product(marked) or {}).get("meat")
    name = limit.get("table")
    if meat in POULTRY and name in DWELL_TABLES:
        yield marked.fault(
            ("limits", i, "table"),
            f"this table is not for product with poultry in it (meat: {meat})",
            OWN_TABLE,
        )
    for table in _items(marked, "tables").values():
        meats = _said(table.get("for"))
        if name == table.get("table") and meats and not _fits(meat, meats):
            yield marked.fault(
                ("limits", i, "table"),
                f"this table is for {', '.join(meats)}, and the meat is {meat}",
                "name a table that is for this meat",
            )


def _target_of(marked: Marked, i: int, limit: dict[str, Tree]) -> Iterator[Fault]:
    """Poultry anywhere in the product takes the poultry target."""
    meat = (_product(marked) or {}).get("meat")
    target = limit.get("target")
    if limit.get("kind") != "integrated lethality" or meat not in POULTRY:
        return
    try:
        aims_mlog10 = mlog10(target)
    except PydanticCustomError:
        return
    if aims_mlog10 < TARGET_MLOG10:
        yield marked.fault(
            ("limits", i, "target"),
            f"{target} is below the target of product with poultry in it, which is "
            f"7-log10 (meat: {meat}; {SOURCE})",
            "write target: 7-log10, or meat: pork or beef if there is no poultry",
        )


def _product(marked: Marked) -> dict[str, Tree] | None:
    """What stands under ``product``; None where that is no map."""
    product = marked.tree.get("product") if isinstance(marked.tree, dict) else None
    return product if isinstance(product, dict) else None


def _fits(meat: Tree | None, meats: list[str]) -> bool:
    """Poultry anywhere in the product takes the poultry's table (FSIS-GD-2021-14)."""
    return meat in meats or (meat in POULTRY and "poultry" in meats)


def _said(names: Tree | None) -> list[str]:
    if isinstance(names, str):
        return [word.strip() for word in names.split(",")]
    return [str(name) for name in names] if isinstance(names, list) else []
