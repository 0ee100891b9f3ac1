"""In what a schedule is not its base, in plain words, and what needs a reason.

A critical limit of the base that is weaker here, or left out, needs a line
``weakens:`` with the reason: without it the schedule is refused.
"""

from collections.abc import Callable, Iterator

from rules.faults import Fault, Severity
from rules.limit import Limit
from rules.reader import Path, Tree
from rules.strictness import weaker
from rules.whole import LEFT_OUT, NAMES, PLACED, Change, Piece

Parse = Callable[[Tree], Limit | None]

WEAKENS = "weakens"
RIGHT = "write it as strict, or add a line: weakens: the reason, and who approved it"


def differing(change: Change, parse: Parse) -> Iterator[Fault]:
    """Every difference of one part; and the fault where one needs a reason."""
    weak = _weak(change, parse) if change.part == "limits" else []
    reason = _text(change.own.tree, WEAKENS)
    for loc, found in _words(change, weak):
        yield _said(change.own, loc, found, f"because: {reason}" if reason else "")
    if weak and not reason and _critical(change, parse):
        what = "left out" if change.after is None else f"weaker ({', '.join(weak)})"
        found = f"limit {change.name!r} of {_place(change.base)} is {what} here"
        yield change.own.marked.fault(_at(change.own, weak[0]), found, RIGHT)
    if reason and not weak:
        found = f"limit {change.name!r} says that it weakens, and nothing is weaker"
        loc = (*change.own.loc, WEAKENS)
        at = change.own.marked.fault(loc, found, "take the line out", on_key=True)
        yield _mild(at, Severity.WARNING)


def _weak(change: Change, parse: Parse) -> list[str]:
    if change.base is None:
        return []
    if change.after is None:
        return [LEFT_OUT]
    base, own = parse(change.base.tree), parse(change.after)
    return weaker(base, own) if base and own else []


def _critical(change: Change, parse: Parse) -> bool:
    base = parse(change.base.tree) if change.base else None
    return base is None or base.grade == "critical"


def _words(change: Change, weak: list[str]) -> Iterator[tuple[Path, str]]:
    """Where each difference stands, and what it is."""
    item = "alert to" if change.part == "alerts" else NAMES.get(change.part)
    word = f"{item} {change.name!r}" if change.name else change.part
    if change.base is None:
        yield change.own.loc, f"{word} is new"
        return
    if change.after is None:
        yield _at(change.own, LEFT_OUT), f"{word} of {_place(change.base)} is left out"
        return
    before = change.base.tree if isinstance(change.base.tree, dict) else {}
    after = change.after if isinstance(change.after, dict) else {}
    for key in [*before, *(key for key in after if key not in before)]:
        was, now = before.get(key), after.get(key)
        if was == now or key in (WEAKENS, PLACED):
            continue
        mark = ", which is weaker or cannot be shown to be as strict"
        yield (
            _at(change.own, key),
            f"{word}: {key}: {_shown(now)}, where {_place(change.base, key)} has "
            f"{_shown(was)}{mark if key in weak else ''}",
        )


def _said(own: Piece, loc: Path, found: str, remedy: str) -> Fault:
    at = own.marked.fault(loc, found, remedy, on_key=True)
    return _mild(at, Severity.DIFFERENCE)


def _mild(fault: Fault, severity: Severity) -> Fault:
    place = (fault.path, fault.line, fault.column, fault.width)
    return Fault(*place, fault.found, fault.remedy, severity)


def _at(own: Piece, key: str) -> Path:
    there = isinstance(own.tree, dict) and key in own.tree
    return (*own.loc, key) if there else own.loc


def _place(base: Piece | None, key: str = "") -> str:
    assert base is not None
    place = base.marked.at_key((*base.loc, key) if key else base.loc)
    return f"{place.path}:{place.line}"


def _shown(tree: Tree | None) -> str:
    if tree is None:
        return "nothing"
    if isinstance(tree, list):
        return "[" + ", ".join(_shown(one) for one in tree) + "]"
    if isinstance(tree, dict):
        return "{" + ", ".join(f"{k}: {_shown(v)}" for k, v in tree.items()) + "}"
    return repr(tree)


def _text(tree: Tree, key: str) -> str:
    found = tree.get(key, "") if isinstance(tree, dict) else ""
    return found if isinstance(found, str) else ""
