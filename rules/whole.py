"""A schedule and the files that it names, made one tree.

``extends: house.yaml`` takes another schedule as its base.  Each stage, limit and
table of the base stays as it is unless one of the same name stands here: then what is
written here stands over the base's keys, and a limit that names its ``kind`` stands
whole in its place.  ``left out: yes`` takes one away, and ``placed: after smoke`` puts
a new stage where it belongs.  Alerts go by whom they tell.  A title, a revision, an
approval and notes are a schedule's own and never its base's.

``tables`` may name CSV files.  A file stands beside the schedule or in a folder below
it: no other is ever read.  The texts are handed in; nothing here reads a disk.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import yaml

from rules.faults import Fault
from rules.reader import Marked, Path, Place, Tree, marked_tree
from rules.remarks import choice, nearest
from rules.user_table import read_csv

Beside = Callable[[str], str]
"""The text of a file by its name; raises LookupError with the reason in words."""

PROPER = {"stages": "ends", "limits": "kind"}  # what each of its own has to say
EXTENDS, LEFT_OUT, PLACED = "extends", "left out", "placed"
NAMES = {"stages": "stage", "limits": "limit", "tables": "table", "alerts": "tell"}
OWN = ("schedule", "revision", "approved by", "notes")


class Piece(NamedTuple):
    """A part of a file, where it stands."""

    marked: Marked
    loc: Path
    tree: Tree

    def under(self, *more: str | int) -> "Piece":
        """What stands below it."""
        tree: Tree = self.tree
        for part in more:
            tree = tree[part]  # type: ignore[index]
        return Piece(self.marked, (*self.loc, *more), tree)


class Change(NamedTuple):
    """One thing in which a schedule is not its base."""

    part: str  # product, stages, limits, tables or alerts
    name: str  # of the item; "" for the product
    base: Piece | None  # None: it is new
    own: Piece  # as its author wrote it
    after: Tree | None  # as it comes to stand; None: left out


@dataclass(frozen=True, slots=True)
class Files:
    """What was read, by path, what is wrong with it, and what differs from a base."""

    texts: dict[str, str] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)


def gathered(files: Files, path: str, text: str, beside: Beside) -> Marked | None:
    """The schedule as one tree; None where none could be made: ``files`` says why."""
    return _Gathering(files, beside, path.rpartition("/")[0]).read(path, text, ())


def absent(name: str) -> str:
    """No file stands beside a schedule that is one text: a journal's, a record's.

    Raises:
        LookupError: Always.
    """
    raise LookupError("only the schedule's own text is here")


def written(marked: Marked, words: Iterable[str]) -> str:
    """The tree as one YAML text, headed by ``words``."""
    text: str = yaml.safe_dump(
        marked.tree, sort_keys=False, allow_unicode=True, width=88
    )
    lines = [f"# {line}" for word in words for line in word.splitlines()]
    return "\n".join([*lines, text])


class _Gathering:
    """One gathering of one schedule's files."""

    def __init__(self, files: Files, beside: Beside, folder: str) -> None:
        self.files, self.beside = files, beside
        self.folder = f"{folder}/" if folder else ""

    def read(self, path: str, text: str, above: tuple[str, ...]) -> Marked | None:
        """Read one schedule and what it names."""
        self.files.texts[path] = text
        marked = marked_tree(path, text)
        if isinstance(marked, list):
            self.files.faults.extend(marked)
            return None
        if not isinstance(marked.tree, dict):
            return marked
        name = marked.tree.get(EXTENDS)
        marked = self.with_tables(marked)
        if name is None:
            return marked
        base_path = self.named(marked, (EXTENDS,), name)
        if base_path in (*above, path):
            found, right = f"{name!r} extends itself", "take one of the lines out"
            self.fault(marked, (EXTENDS,), found, right)
            return None
        base_text = self.text(marked, (EXTENDS,), base_path) if base_path else None
        if not base_path or base_text is None:
            return None
        base = self.read(base_path, base_text, (*above, path))
        if base is None:
            return None
        if not isinstance(base.tree, dict):
            found = f"{name!r} is no schedule"
            self.fault(marked, (EXTENDS,), found, "name a schedule")
            return None
        return _Merge(self.files, base, marked).made()

    def named(self, marked: Marked, loc: Path, name: Tree) -> str:
        """The path of a file that is named at a place, or nothing."""
        folder = marked.path.rpartition("/")[0]
        parts = name.split("/") if isinstance(name, str) else [""]
        if not all(parts) or {".", ".."} & {*parts} or "\\" in str(name):
            right = "name a file beside this one or in a folder below it"
            self.fault(
                marked, loc, f"{name!r} is no file that may be named here", right
            )
            return ""
        return f"{folder}/{name}" if folder else str(name)

    def text(self, marked: Marked, loc: Path, path: str) -> str | None:
        """The text of a named file, or None where it cannot be had."""
        try:
            text = self.beside(path.removeprefix(self.folder))
        except LookupError as error:
            found = f"{path}: {error.args[0]}"
            right = "put the file there, or name another"
            if "UTF-8" in found:
                right = "save it as UTF-8 text"
            self.fault(marked, loc, found, right)
            return None
        self.files.texts[path] = text
        return text

    def fault(self, marked: Marked, loc: Path, found: str, right: str) -> None:
        """Note what is wrong, and go on."""
        self.files.faults.append(marked.fault(loc, found, right))

    def with_tables(self, marked: Marked) -> Marked:
        """The tree with each table that is a file's name read."""
        tree = marked.tree
        tables = tree.get("tables") if isinstance(tree, dict) else None
        names = tables if isinstance(tables, list) else []
        if not any(isinstance(name, str) for name in names):
            return marked
        made = _Made(marked.path)
        whole = Piece(marked, (), tree)
        found = made.copied((), whole)
        assert isinstance(found, dict)
        items: list[Tree] = []
        for i, name in enumerate(names):
            if not isinstance(name, str):
                items.append(
                    made.copied(("tables", len(items)), whole.under("tables", i))
                )
            elif table := self.table(marked, ("tables", i), name):
                table_of_file = Piece(table, (), table.tree)
                items.append(made.copied(("tables", len(items)), table_of_file))
        found["tables"] = items
        return Marked(marked.path, found, made.values, made.keys)

    def table(self, marked: Marked, loc: Path, name: str) -> Marked | None:
        """The table in a CSV file, or None where it cannot be had."""
        path = self.named(marked, loc, name)
        text = self.text(marked, loc, path) if path else None
        if text is None:
            return None
        table, faults = read_csv(path, text)
        self.files.faults.extend(faults)
        return table


class _Made:
    """The places of a tree that is made of pieces of others."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.values: dict[Path, Place] = {}
        self.keys: dict[Path, Place] = {}

    def copied(self, to: Path, piece: Piece) -> Tree:
        """Put a piece at ``to``, every place of it kept."""
        depth = len(piece.loc)
        pairs = ((piece.marked.values, self.values), (piece.marked.keys, self.keys))
        for here, there in pairs:
            for loc, place in here.items():
                if loc[:depth] == piece.loc:
                    there[(*to, *loc[depth:])] = place
        return dict(piece.tree) if isinstance(piece.tree, dict) else piece.tree


class _Merge:
    """One schedule put over its base."""

    def __init__(self, files: Files, base: Marked, own: Marked) -> None:
        self.files, self.base, self.own = files, base, own
        self.made_of = _Made(own.path)
        self.made_of.values[()] = own.at(())

    def made(self) -> Marked:
        """The tree, with every place kept."""
        base, own = (
            Piece(self.base, (), self.base.tree),
            Piece(self.own, (), self.own.tree),
        )
        assert isinstance(base.tree, dict) and isinstance(own.tree, dict)
        tree: dict[str, Tree] = {}
        inherited = [key for key in base.tree if key not in OWN]
        for key in [*own.tree, *(key for key in inherited if key not in own.tree)]:
            if key == EXTENDS:
                continue
            over = key in inherited and key in own.tree
            if over and (part := self.part(key, base.under(key), own.under(key))):
                tree[key] = part
            else:
                piece = own.under(key) if key in own.tree else base.under(key)
                tree[key] = self.put((key,), piece)
                if key in own.tree and key in NAMES:
                    self.all_new(key, own.under(key))
        return Marked(self.own.path, tree, self.made_of.values, self.made_of.keys)

    def put(self, to: Path, piece: Piece) -> Tree:
        """Put a piece into the tree, and the place of its key with it."""
        if piece.loc in piece.marked.keys:
            self.made_of.keys[to] = piece.marked.keys[piece.loc]
        return self.made_of.copied(to, piece)

    def part(self, key: str, base: Piece, own: Piece) -> Tree | None:
        """A part that both have, the own put over the base's."""
        if isinstance(base.tree, dict) and isinstance(own.tree, dict):
            after = self.over((key,), base, own)
            self.files.changes.append(Change(key, "", base, own, after))
            return after
        if key in NAMES and isinstance(base.tree, list) and isinstance(own.tree, list):
            self.made_of.values[(key,)] = own.marked.at(own.loc)
            self.made_of.keys[(key,)] = own.marked.at_key(own.loc)
            made = self.told if key == "alerts" else self.items
            return made(key, base, own)
        return None

    def told(self, part: str, base: Piece, own: Piece) -> Tree:
        """Whom it tells itself, it tells by its own rules; the others by the base's."""
        mine = _named(own.tree, "tell")
        known = dict((name, base.under(i)) for i, name in _named(base.tree, "tell"))
        changes: dict[str, Change] = {}
        kept: list[Piece] = []
        for i, name in mine:
            item = own.under(i)
            assert isinstance(item.tree, dict)
            out = LEFT_OUT in item.tree
            after = None if out else item.tree
            changes[name] = Change(part, name, known.get(name), item, after)
            kept += [] if out and name in known else [item]
        self.files.changes.extend(changes.values())
        theirs = [base.under(i) for i, name in _named(base.tree, "tell")]
        theirs = [one for one in theirs if _name(one, "tell") not in changes]
        return [self.put((part, i), one) for i, one in enumerate([*theirs, *kept])]

    def over(self, to: Path, base: Piece, own: Piece) -> Tree:
        """Keys of the own over those of the base."""
        assert isinstance(base.tree, dict) and isinstance(own.tree, dict)
        self.made_of.values[to] = own.marked.at(own.loc)
        tree: dict[str, Tree] = {}
        for key in [*base.tree, *(key for key in own.tree if key not in base.tree)]:
            piece = own.under(key) if key in own.tree else base.under(key)
            if key not in (LEFT_OUT, PLACED):
                tree[key] = self.put((*to, key), piece)
        return tree

    def all_new(self, part: str, own: Piece) -> None:
        """Every item of a part that the base does not have is new."""
        for i, name in _named(own.tree, NAMES[part]):
            item = own.under(i)
            self.files.changes.append(Change(part, name, None, item, item.tree))

    def items(self, part: str, base: Piece, own: Piece) -> Tree:
        """A list of named things, the own put over the base's of the same name."""
        word = NAMES[part]
        known = {name: base.under(i) for i, name in _named(base.tree, word)}
        names: dict[str, Piece] = {}
        for i, name in _named(own.tree, word):
            first = names.setdefault(name, own.under(i)).loc == (part, i)
            if name in known and not first:
                found = f"two {part} are called {name!r}"
                right = f"give each {word} a name of its own"
                fault = own.marked.fault((part, i, word), found, right)
                self.files.faults.append(fault)
        pairs: list[tuple[Piece | None, Piece | None]] = []
        for i, one in enumerate(base.tree):
            name = str(one.get(word)) if isinstance(one, dict) else ""
            mine = names.get(name)
            if mine is None or not self.leaves_out(part, name, base.under(i), mine):
                pairs.append((base.under(i), mine))
        for i, one in enumerate(own.tree):
            name = str(one.get(word)) if isinstance(one, dict) else ""
            if name not in known and not self.misnames(part, i, own, [*known]):
                self.add(part, name, pairs, own.under(i))
        return [self.item(part, (part, i), *pair) for i, pair in enumerate(pairs)]

    def misnames(self, part: str, i: int, own: Piece, known: Sequence[str]) -> bool:
        """Whether an item is no whole one, and its name nearly one of the base's."""
        one, word, proper = own.under(i).tree, NAMES[part], PROPER.get(part)
        if not isinstance(one, dict) or not proper or word not in one:
            return False
        near = "" if {proper, LEFT_OUT} & {*one} else nearest(str(one[word]), known)
        if near:
            found = f"the base has no {word} {one[word]!r}, and this says no "
            loc, right = (part, i, word), f"did you mean {near!r}?"
            fault = own.marked.fault(loc, found + repr(proper), right)
            self.files.faults.append(fault)
        return bool(near)

    def leaves_out(self, part: str, name: str, base: Piece, own: Piece) -> bool:
        """Whether an item says that the base's is left out."""
        word = own.tree.get(LEFT_OUT) if isinstance(own.tree, dict) else None
        if word is None:
            return False
        if word != "yes":
            found, right = f"{word!r} is not a word for 'left out'", "write yes"
            self.files.faults.append(
                own.marked.fault((*own.loc, LEFT_OUT), found, right)
            )
        self.files.changes.append(Change(part, name, base, own, None))
        return True

    def add(
        self,
        part: str,
        name: str,
        pairs: list[tuple[Piece | None, Piece | None]],
        own: Piece,
    ) -> None:
        """Add a new item: at the end, or where it says."""
        names = [_name(base or mine, NAMES[part]) for base, mine in pairs]
        at = len(pairs)
        tree = own.tree if isinstance(own.tree, dict) else {}
        for key in (LEFT_OUT, PLACED):
            if key not in tree:
                continue
            way, _, there = str(tree[key]).partition(" ")
            if key == PLACED and way in ("before", "after") and there in names:
                at = names.index(there) + (way == "after")
                continue
            word = name if key == LEFT_OUT else there
            found = f"the base has no {NAMES[part]} {word!r}"
            if key == PLACED and way not in ("before", "after"):
                found = f"{tree[key]!r} does not say where"
            right = choice(word, names) if word else "write for example: after smoke"
            self.files.faults.append(own.marked.fault((*own.loc, key), found, right))
        if LEFT_OUT not in tree:
            pairs.insert(at, (None, own))

    def item(self, part: str, to: Path, base: Piece | None, own: Piece | None) -> Tree:
        """One item as it comes to stand."""
        if own is None:
            assert base is not None
            return self.put(to, base)
        name = _name(own, NAMES[part])
        if not isinstance(own.tree, dict):
            return self.put(to, own)
        whole = base is None or "kind" in own.tree or not isinstance(base.tree, dict)
        under = Piece(own.marked, own.loc, {}) if whole or base is None else base
        after = self.over(to, under, own)
        self.files.changes.append(Change(part, name, base, own, after))
        return after


def _named(tree: Tree, word: str) -> Iterator[tuple[int, str]]:
    for i, one in enumerate(tree if isinstance(tree, list) else ()):
        if isinstance(one, dict) and isinstance(one.get(word), str):
            yield i, str(one[word])


def _name(piece: Piece | None, word: str) -> str:
    tree = piece.tree if piece else None
    return str(tree.get(word, "")) if isinstance(tree, dict) else ""
