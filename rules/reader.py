"""Files that people write: YAML text in, a checked value or every fault out.

The text is read as a tree in which every scalar is still the text its author
wrote and every piece keeps its place; pydantic then validates that tree, and each
of its complaints is brought back to the place it is about.  All faults of a file
come at once, in file order.

A model says how its keys are written by pydantic aliases.  A validator that
raises ``rules.units.refused`` gives its own words and remedy.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, NamedTuple, TypeVar, get_args

import yaml
from pydantic import BaseModel, ValidationError

from rules.faults import Fault
from rules.remarks import choice, nearest, remark, shape
from rules.units import HALVED, split_at_comma

__all__ = ["Marked", "choice", "marked_tree", "nearest", "read", "validated"]

M = TypeVar("M", bound=BaseModel)

Tree = str | list["Tree"] | dict[str, "Tree"]
Path = tuple[str | int, ...]

DEEPEST = 20
TOO_DEEP, FLATTER = "nested too deeply", "write it flatter"
SLIP = "check the indentation, the colon and the space after it, and the quotes"
SLIPS = {
    "another document": "keep one part, and take the line '---' out",
    "unexpected end of stream": "close the quote that is opened here",
    "mapping values": "put a text with a colon in quotes, or check the indentation",
}
ALIAS = "alias"  # a tag that YAML itself cannot give


class Place(NamedTuple):
    """Where a piece of a file stands."""

    line: int
    column: int
    width: int
    path: str  # of the file: a tree may be made of several


@dataclass(frozen=True, slots=True)
class Marked:
    """Files as one tree of texts, with the place of every key and value."""

    path: str
    tree: Tree
    values: Mapping[Path, Place]
    keys: Mapping[Path, Place]

    def at(self, loc: Path) -> Place:
        """The place of the value at ``loc``, or of the nearest thing around it."""
        while loc not in self.values and loc:
            loc = loc[:-1]
        return self.values.get(loc, Place(1, 1, 1, self.path))

    def head(self, loc: Path) -> Place:
        """The place of the first key of the part at ``loc``."""
        keys = [place for key, place in self.keys.items() if key[:-1] == loc]
        return min(keys, default=self.at(loc))

    def at_key(self, loc: Path) -> Place:
        """The place of the key at ``loc``; of its value where it is a list's."""
        return self.keys[loc] if loc in self.keys else self.at(loc)

    def fault(
        self, loc: Path, found: str, remedy: str, *, on_key: bool = False
    ) -> Fault:
        """A fault about the piece at ``loc``."""
        return fault_at(self.at_key(loc) if on_key else self.at(loc), found, remedy)


def fault_at(place: Place, found: str, remedy: str) -> Fault:
    """A fault about what stands at a place."""
    return Fault(place.path, place.line, place.column, place.width, found, remedy)


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
        errors = [dict(one) for one in error.errors()]
        errors += [more for one in errors for more in _behind(model, one, context)]
        return sorted({_fault(marked, model, e) for e in errors if not _echo(e)})


def marked_tree(path: str, text: str) -> Marked | list[Fault]:
    """Read YAML text into a tree of texts with their places, or say why not."""
    try:
        node = yaml.compose(text, Loader=_Loader)
    except TooDeepError as error:
        return [Fault(path, *error.place, 1, TOO_DEEP, FLATTER)]
    except yaml.MarkedYAMLError as error:
        return [_not_yaml(path, text, error)]
    except yaml.reader.ReaderError as error:
        before = text[: error.position].split("\n")
        found = f"a character that no text has: {chr(error.character)!r}"
        place = Place(len(before), len(before[-1]) + 1, 1, path)
        return [fault_at(place, found, "take it out; write plain UTF-8 text")]
    except RecursionError:
        return [Fault(path, 1, 1, 1, TOO_DEEP, FLATTER)]
    if node is None:
        return [Fault(path, 1, 1, 1, "the file is empty", "write the file's keys")]
    walk = _Walk(path, {}, {}, [])
    tree = walk.tree(node, ())
    return walk.faults or Marked(path, tree, walk.values, walk.keys)


def is_one_of(value: object, words: type[StrEnum]) -> bool:
    """Whether what stands in a file is one of these words: it may be no word at all."""
    return isinstance(value, str) and value in set(words)


class TooDeepError(Exception):
    """Brackets within brackets, at this line and column."""

    def __init__(self, mark: yaml.Mark) -> None:
        super().__init__(TOO_DEEP)
        self.place = (mark.line + 1, mark.column + 1)


class ShallowLoader(yaml.SafeLoader):
    """Raises ``TooDeepError`` where more brackets are open than anybody writes."""

    def fetch_flow_collection_start(self, kind: Any) -> None:
        # The scanner's work at one token grows with the brackets open around it: a
        # thousand of them held the processor for seconds.
        if self.flow_level >= DEEPEST:
            raise TooDeepError(self.get_mark())
        super().fetch_flow_collection_start(kind)


class _Loader(ShallowLoader):
    """Composes a tree in which an alias stands as itself, at its own place."""

    def compose_node(self, parent: yaml.Node | None, index: Any) -> yaml.Node | None:
        event = self.peek_event()  # type: ignore[no-untyped-call]
        if not isinstance(event, yaml.AliasEvent) or event.anchor not in self.anchors:
            return super().compose_node(parent, index)
        self.get_event()  # type: ignore[no-untyped-call]
        return yaml.ScalarNode(ALIAS, "", event.start_mark, event.end_mark)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True)
class _Walk:
    path: str
    values: dict[Path, Place]
    keys: dict[Path, Place]
    faults: list[Fault]

    def tree(self, node: yaml.Node, loc: Path) -> Tree:
        self.values[loc] = place = self._place(node)
        if node.tag == ALIAS:
            self._refuse(place, "an alias stands here", "write the text out again")
            return ""
        if len(loc) > DEEPEST:
            self._refuse(place, TOO_DEEP, FLATTER)
            return ""
        if isinstance(node, yaml.MappingNode):
            return self._mapping(node, loc)
        if isinstance(node, yaml.SequenceNode):
            return [self.tree(one, (*loc, i)) for i, one in enumerate(node.value)]
        return str(node.value)

    def _mapping(self, node: yaml.MappingNode, loc: Path) -> Tree:
        found: dict[str, Tree] = {}
        for key, value in node.value:
            name, place = str(key.value), self._place(key)
            if not isinstance(key, yaml.ScalarNode):
                self._refuse(place, "a key that is not a word", "write a plain key")
            elif name in found:
                self._refuse(place, f"{name!r} stands twice", "keep one of them")
            else:
                self.keys[(*loc, name)] = place
                found[name] = self.tree(value, (*loc, name))
        if found and not node.flow_style:  # it begins with its first key
            self.values[loc] = self.keys[(*loc, next(iter(found)))]
        return found

    def _refuse(self, place: Place, found: str, remedy: str) -> None:
        self.faults.append(fault_at(place, found, remedy))

    def _place(self, node: yaml.Node) -> Place:
        start, end = node.start_mark, node.end_mark
        one_line = end.line == start.line and isinstance(node, yaml.ScalarNode)
        width = end.column - start.column if one_line else 1
        return Place(start.line + 1, start.column + 1, max(width, 1), self.path)


def _not_yaml(path: str, text: str, error: yaml.MarkedYAMLError) -> Fault:
    """Where the text is not YAML, and what is most often meant by such a slip."""
    problem = str(error.problem or error.context)
    mark = error.problem_mark or error.context_mark
    if "quoted scalar" in str(error.context) and error.context_mark:
        mark = error.context_mark  # the quote, not the end of the file
    line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
    lines = text.splitlines()
    if line <= len(lines) and "\t" in lines[line - 1]:
        right = "indent with spaces, not with a tab"
    else:
        right = next((words for part, words in SLIPS.items() if part in problem), SLIP)
    return Fault(path, line, column, 1, f"not YAML: {problem}", right)


def _echo(error: dict[str, Any]) -> bool:
    """Whether it only says that a list has no item without a fault."""
    return error["type"] == "too_short" and bool(error["input"])


def _fault(marked: Marked, model: type[BaseModel], error: dict[str, Any]) -> Fault:
    loc, kind = _real(marked, error["loc"]), str(error["type"])
    name = str(error["loc"][-1]) if error["loc"] else "the file"
    context = error.get("ctx", {})
    if "remedy" in context:
        found, value = str(context["found"]), error["input"]
        if not isinstance(value, str):
            found = found.replace(repr(value), shape(value))
        spoken = _spoken(marked, error["loc"])
        where = spoken or loc
        return marked.fault(where, found, str(context["remedy"]), on_key=bool(spoken))
    if kind == "extra_forbidden":
        if cut := _cut(marked, loc):
            return marked.fault(loc, *cut, on_key=True)
        models = _models_at(model, error["loc"][:-1])
        words, beginnings = _keys_of(models), _beginnings(models)
        found, right = f"{name!r} is not a key here", choice(name, words)
        if beginnings and not nearest(name, words):
            right = beginnings
        return marked.fault(loc, found, right, on_key=True)
    if kind == "missing":
        found, right = f"{name!r} is missing", f"add a line: {name}: ..."
        return fault_at(marked.head(loc[:-1]), found, right)
    if kind.startswith("union_tag"):
        return _tag_fault(marked, loc, model, error)
    return marked.fault(loc, *remark(_key(error["loc"]), error))


def _cut(marked: Marked, loc: Path) -> tuple[str, str] | None:
    """What to say where a comma inside braces cut one text in two; or None."""
    tree: Tree = marked.tree
    for step in loc[:-1]:
        if isinstance(tree, dict):
            tree = tree[str(step)]
        elif isinstance(tree, list) and isinstance(step, int):
            tree = tree[step]
    keys = [*tree] if isinstance(tree, dict) else []
    place = keys.index(str(loc[-1])) if loc[-1] in keys else 0
    if not place or not isinstance(tree, dict) or tree[keys[place]]:
        return None
    key, before = keys[place - 1], tree[keys[place - 1]]
    if not isinstance(before, str) or not before:
        return None
    if HALVED.match(keys[place]):
        return split_at_comma(before, keys[place]) if before.isdigit() else None
    if marked.keys[loc].line != marked.keys[*loc[:-1], key].line:
        return None
    # The text itself is not said again: in settings it may be a secret.
    return "a text is cut in two by its comma here", "put the whole text in quotes"


def _spoken(marked: Marked, loc: tuple[str | int, ...]) -> Path:
    """The key that holds a value itself, such as ``then after 20 min tell``."""
    for key in marked.keys:
        said = loc[: len(key)]
        if key[:-1] == said[:-1] and str(key[-1]).startswith(f"{said[-1]} after "):
            return key
    return ()


def _tag_fault(
    marked: Marked, loc: Path, model: type[BaseModel], error: dict[str, Any]
) -> Fault:
    key = str(error["ctx"]["discriminator"]).strip("'")
    words = [tag for one in _models_at(model, error["loc"]) for tag in _tags(one, key)]
    if "tag" not in error["ctx"]:
        right = f"add a line: {key}: ..., one of: {', '.join(words)}"
        return fault_at(marked.head(loc), f"{key!r} is missing", right)
    tag = str(error["ctx"]["tag"])
    found = f"{tag!r} is not a word for {key!r}"
    return marked.fault((*loc, key), found, choice(tag, words))


def _behind(
    model: type[BaseModel],
    error: dict[str, Any],
    context: Mapping[str, object] | None,
) -> list[dict[str, Any]]:
    """The faults behind a word that picks none of several forms, or is not there.

    They are those of the form that was probably meant, and where none is near, those
    that the part would have in every form.
    """
    part = error["input"]
    if not error["type"].startswith("union_tag") or not isinstance(part, dict):
        return []
    key = str(error["ctx"]["discriminator"]).strip("'")
    forms = {
        tag: one for one in _models_at(model, error["loc"]) for tag in _tags(one, key)
    }
    near = nearest(str(error["ctx"].get("tag", "")), list(forms))
    tags = [near] if near else list(forms)
    found = [_errors(forms[tag], {**part, key: tag}, context) for tag in tags]
    shared = set.intersection(*(set(errors) for errors in found)) if found else set()
    head = (*error["loc"], near) if near else error["loc"]
    return [
        {**one, "loc": (*head, *one["loc"])}
        for place, one in found[0].items()
        if place in shared
    ]


def _errors(
    model: type[BaseModel], tree: object, context: Mapping[str, object] | None
) -> dict[tuple[Any, ...], dict[str, Any]]:
    """What is wrong with a part as one model, by what and where it is."""
    try:
        model.model_validate(tree, context=dict(context or {}))
    except ValidationError as error:
        return {(one["loc"], one["type"]): dict(one) for one in error.errors()}
    return {}


def _key(loc: tuple[str | int, ...]) -> str:
    """The key that a location is about: the last part that is no number."""
    words = [part for part in loc if isinstance(part, str)]
    return words[-1] if words else "the file"


def _real(marked: Marked, loc: tuple[str | int, ...]) -> Path:
    """Drop what pydantic adds to a location to say which union member it means."""
    real: Path = ()
    for i, part in enumerate(loc):
        here = (*real, part)
        if here in marked.values or i == len(loc) - 1:
            real = here
    return real


def _models_at(
    model: type[BaseModel], loc: tuple[str | int, ...]
) -> list[type[BaseModel]]:
    """The models that may stand at ``loc``, followed down from the file's."""
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
        tagged = [one for one in models if part in _tags(one, "kind")]
        models = inner or tagged or models
    return models


def _keys_of(models: list[type[BaseModel]]) -> list[str]:
    fields = [each for one in models for each in one.model_fields.items()]
    keys = [field.alias or name for name, field in fields if not field.exclude]
    return keys + [key for one in models for key in getattr(one, "KEYS_BESIDE", ())]


def _beginnings(models: list[type[BaseModel]]) -> str:
    """What a key may begin with besides, where a model says so."""
    return "".join(getattr(one, "KEYS_BEGIN", "") for one in models)


def _tags(model: type[BaseModel], key: str) -> tuple[str, ...]:
    field = model.model_fields.get(key)
    return get_args(field.annotation) if field else ()


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    found: list[type[BaseModel]] = []
    for part in get_args(annotation):
        found += _models_in(part)
    return found
