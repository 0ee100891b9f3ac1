"""What is wrong between the parts of a schedule, where each part alone is right.

These faults are found in the file's own texts, so that they are said beside the
faults of single values and not after them.  What a value is not the right shape
for is passed over here: that is a fault of the value.
"""

from collections.abc import Iterator

from pydantic import ValidationError

from rules.cooling import CHILLING
from rules.faults import Fault
from rules.reader import Marked, Tree
from rules.remarks import choice
from rules.stages import Stage, directed

MEAT_TABLES = "FSIS Appendix A, meat"  # not for poultry: FSIS-GD-2021-14
POULTRY = ("poultry", "mixed")


def crossed(marked: Marked) -> Iterator[Fault]:
    """Every fault between the parts of a schedule."""
    stages, limits = _items(marked, "stages"), _items(marked, "limits")
    names = _texts(stages, "stage")
    yield from _twice(marked, "stages", "stage", names)
    yield from _twice(marked, "limits", "limit", _texts(limits, "limit"))
    yield from _like_a_chamber(marked, stages, limits)
    yield from _undirected(marked, stages)
    for i, limit in limits.items():
        yield from _stages_of(marked, i, limit, list(names.values()))
        yield from _table_of(marked, i, limit)


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


def _table_of(marked: Marked, i: int, limit: dict[str, Tree]) -> Iterator[Fault]:
    """The meat tables are not for what may hold poultry (FSIS-GD-2021-14)."""
    product = marked.tree.get("product") if isinstance(marked.tree, dict) else None
    meat = product.get("meat") if isinstance(product, dict) else None
    if meat in POULTRY and str(limit.get("table")).startswith(MEAT_TABLES):
        yield marked.fault(
            ("limits", i, "table"),
            f"this table is not for product with poultry in it (meat: {meat})",
            "write meat: pork or beef if there is none; otherwise judge it by "
            "integrated lethality with your process authority's figures",
        )
