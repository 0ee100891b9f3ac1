"""Files that people write: YAML text in, a checked value or every fault out.

The text is read as a tree in which every scalar is still the text its author
wrote and every piece keeps its place; pydantic then validates that tree, and each
of its complaints is brought back to the place it is about.  All faults of a file
come at once, in file order.

A model says how its keys are written by pydantic aliases.  A validator that
raises ``rules.units.refused`` gives its own words and remedy.
"""

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple, TypeVar, get_args

import yaml
from pydantic import BaseModel, ValidationError

from rules.faults import Fault

M = TypeVar("M", bound=BaseModel)

Tree = str | list["Tree"] | dict[str, "Tree"]
Path = tuple[str | int, ...]

DEEPEST = 20
REMEDY_KEY = "remedy"


class Place(NamedTuple):
    """Where a piece of a file stands."""

    line: int
    column: int
    width: int


@dataclass(frozen=True, slots=True)
class Marked:
    """A file as a tree of texts, with the place of every key and value."""

    path: str
    tree: Tree
    values: Mapping[Path, Place]
    keys: Mapping[Path, Place]

    def at(self, loc: Path) -> Place:
        """The place of the value at ``loc``, or of the nearest thing around it."""
        while loc not in self.values and loc:
            loc = loc[:-1]
        return self.values.get(loc, Place(1, 1, 1))

    def at_key(self, loc: Path) -> Place:
        """The place of the key at ``loc``; of its value where it is a list's."""
        return self.keys[loc] if loc in self.keys else self.at(loc)

    def fault(
        self, loc: Path, found: str, remedy: str, *, on_key: bool = False
    ) -> Fault:
        """A fault about the piece at ``loc``."""
        place = self.at_key(loc) if on_key else self.at(loc)
        return Fault(self.path, *place, found, remedy)


def read(
    path: str, text: str, model: type[M], context: Mapping[str, object] | None = None
) -> M | list[Fault]:
    """Read one file into ``model``, or say everything that is wrong with it."""
    marked = marked_tree(path, text)
    if isinstance(marked, list):
        return marked
    return validated(marked, model, context)


def validated(
    marked: Marked, model: type[M], context: Mapping[str, object] | None = None
) -> M | list[Fault]:
    """Validate a tree already read, or say everything that is wrong with it."""
    try:
        return model.model_validate(marked.tree, context=dict(context or {}))
    except ValidationError as error:
        return sorted({_fault(marked, model, dict(one)) for one in error.errors()})


def marked_tree(path: str, text: str) -> Marked | list[Fault]:
    """Read YAML text into a tree of texts with their places, or say why not."""
    try:
        node = yaml.compose(text, Loader=yaml.SafeLoader)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        found = f"not YAML: {error.problem or error.context}"
        return [Fault(path, line, column, 1, found, _yaml_remedy(text, line))]
    except yaml.YAMLError as error:
        found = f"not YAML: {error}".split("\n")[0]
        return [Fault(path, 1, 1, 1, found, "write plain UTF-8 text")]
    except RecursionError:
        return [Fault(path, 1, 1, 1, "nested too deeply", "write it flatter")]
    if node is None:
        return [Fault(path, 1, 1, 1, "the file is empty", "write the file's keys")]
    walk = _Walk(path, {}, {}, [], set())
    tree = walk.tree(node, ())
    return walk.faults or Marked(path, tree, walk.values, walk.keys)


def nearest(word: str, words: Sequence[str]) -> str:
    """The one of ``words`` that ``word`` was probably meant to be, or ``""``."""
    close = difflib.get_close_matches(word.lower(), words, n=1, cutoff=0.6)
    return close[0] if close else ""


def choice(word: str, words: Sequence[str]) -> str:
    """A remedy that offers the nearest right word, or all of them."""
    near = nearest(word, words)
    return f"did you mean {near!r}?" if near else f"write one of: {', '.join(words)}"


@dataclass(frozen=True, slots=True)
class _Walk:
    path: str
    values: dict[Path, Place]
    keys: dict[Path, Place]
    faults: list[Fault]
    seen: set[int]

    def tree(self, node: yaml.Node, loc: Path) -> Tree:
        self.values[loc] = place = _place(node)
        if id(node) in self.seen:
            self._refuse(place, "an alias", "write the text out again")
            return ""
        self.seen.add(id(node))
        if len(loc) > DEEPEST:
            self._refuse(place, "nested too deeply", "write it flatter")
            return ""
        if isinstance(node, yaml.ScalarNode):
            return str(node.value)
        if isinstance(node, yaml.SequenceNode):
            return [self.tree(one, (*loc, i)) for i, one in enumerate(node.value)]
        return self._mapping(node, loc)

    def _mapping(self, node: yaml.Node, loc: Path) -> Tree:
        found: dict[str, Tree] = {}
        for key, value in node.value:
            name, place = str(key.value), _place(key)
            if not isinstance(key, yaml.ScalarNode):
                self._refuse(place, "a key that is not a word", "write a plain key")
            elif name in found:
                self._refuse(place, f"{name!r} stands twice", "keep one of them")
            else:
                self.keys[(*loc, name)] = place
                found[name] = self.tree(value, (*loc, name))
        return found

    def _refuse(self, place: Place, found: str, remedy: str) -> None:
        self.faults.append(Fault(self.path, *place, found, remedy))


def _place(node: yaml.Node) -> Place:
    start, end = node.start_mark, node.end_mark
    one_line = end.line == start.line and isinstance(node, yaml.ScalarNode)
    width = end.column - start.column if one_line else 1
    return Place(start.line + 1, start.column + 1, max(width, 1))


def _yaml_remedy(text: str, line: int) -> str:
    lines = text.splitlines()
    if line <= len(lines) and "\t" in lines[line - 1]:
        return "indent with spaces, not with a tab"
    return "check the indentation, the colon and the space after it, and the quotes"


def _fault(marked: Marked, model: type[BaseModel], error: dict[str, Any]) -> Fault:
    loc, kind = _real(marked, error["loc"]), str(error["type"])
    context = error.get("ctx", {})
    if REMEDY_KEY in context:
        return marked.fault(loc, str(error["msg"]), str(context[REMEDY_KEY]))
    name = str(error["loc"][-1]) if error["loc"] else ""
    if kind == "extra_forbidden":
        words = _keys_of(model, error["loc"][:-1])
        found = f"{name!r} is not a key here"
        return marked.fault((*loc,), found, choice(name, words), on_key=True)
    if kind == "missing":
        return marked.fault(
            loc[:-1] if loc and loc[-1] == name else loc,
            f"{name!r} is missing",
            f"add a line: {name}: ...",
        )
    value = repr(error["input"]) if isinstance(error["input"], str) else "this"
    return marked.fault(loc, f"{value}: {_words(error)}", _general_remedy(error))


def _real(marked: Marked, loc: tuple[str | int, ...]) -> Path:
    """Drop what pydantic adds to a location to say which union member it means."""
    real: Path = ()
    for i, part in enumerate(loc):
        here = (*real, part)
        if here in marked.values or i == len(loc) - 1:
            real = here
    return real


def _words(error: Mapping[str, Any]) -> str:
    message = str(error["msg"])
    message = message.removeprefix("Value error, ").removeprefix("Input should be ")
    return re.sub(r"a valid (\w+)", r"not a valid \1", message)


def _general_remedy(error: Mapping[str, Any]) -> str:
    context, kind = error.get("ctx", {}), str(error["type"])
    if kind in ("literal_error", "enum", "union_tag_invalid"):
        words = str(context.get("expected", context.get("expected_tags", "")))
        return choice(str(error["input"]), re.findall(r"'([^']*)'", words))
    if kind.endswith("_type") or kind.endswith("_attributes_type"):
        return {
            "list_type": "write a list: each item on a line that begins with '- '",
            "string_type": "write one line of text",
        }.get(kind, "write the keys of this part, each on a line of its own")
    return "write a value of that kind"


def _keys_of(model: type[BaseModel], loc: tuple[str | int, ...]) -> list[str]:
    """The keys that may stand at ``loc``, followed down from the model."""
    models = [model]
    for part in loc:
        if isinstance(part, int):
            continue
        inner: list[type[BaseModel]] = []
        for one in models:
            for name, field in one.model_fields.items():
                if part in (field.alias or name, name):
                    inner += _models_in(field.annotation)
        # A union's tag is a part of the location and no key of any model.
        tagged = [one for one in models if part in _tags(one)]
        models = inner or tagged or models
    return [f.alias or n for one in models for n, f in one.model_fields.items()]


def _tags(model: type[BaseModel]) -> set[object]:
    kind = model.model_fields.get("kind")
    return set(get_args(kind.annotation)) if kind else set()


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    found: list[type[BaseModel]] = []
    for part in get_args(annotation):
        found += _models_in(part)
    return found
