"""Secrets: passwords, tokens and addresses that let somebody in.

A ``Secret`` never shows its value by accident: only ``reveal()`` gives it.  The
settings name where a secret is kept, ``{file: PATH}`` or ``{environment: NAME}``,
or carry it as plain text.  A fault about a secret never repeats it, neither in its
words nor in the line of the file that is shown with it; what might be a secret
(under a misspelled key, or an address with ``://`` anywhere) counts as one.
"""

import re
import stat
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated

import yaml
from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationInfo

from rules.faults import Fault, render_all
from rules.reader import nearest
from rules.units import refused

KEYS = ("password", "token", "address")  # whose values are secrets
SOURCES = ("file", "environment")
RIGHT = "write {file: PATH}, {environment: NAME} or one line of text"
LINE = re.compile(r"^([\s\-{,]*)([\"']?)([A-Za-z][A-Za-z _-]*)\2\s*:(\s*)(.*)$")


@dataclass(frozen=True, slots=True, repr=False)
class Secret:
    """A text that is never shown; ``reveal`` gives it to whom it is meant for."""

    _value: str

    def reveal(self) -> str:
        """The secret itself."""
        return self._value

    def __repr__(self) -> str:
        return "Secret(...)"

    __str__ = __repr__


def secret(value: object, info: ValidationInfo) -> Secret:
    """Take a secret from where the settings say it is kept."""
    if isinstance(value, str):
        return Secret(_one_line(value, "the secret"))
    if isinstance(value, dict) and set(value) == {"file"}:
        return _InFile.model_validate(value, context=info.context).file
    if isinstance(value, dict) and set(value) == {"environment"}:
        return _InEnvironment.model_validate(value, context=info.context).environment
    raise refused("this does not say where the secret is kept", RIGHT)


def _from_file(value: object, info: ValidationInfo) -> Secret:
    path = Path((info.context or {}).get("folder", ""), str(value))
    try:
        with path.open(encoding="utf-8") as file:
            if stat.S_IMODE(path.stat().st_mode) & 0o007:
                found = f"everybody on this machine can read {str(path)!r}"
                raise refused(found, f"run: chmod 600 {path}")
            text = file.read()
    except UnicodeDecodeError:
        raise refused(f"{str(path)!r} is not text", "write one line of text") from None
    except OSError as error:
        found = f"{str(path)!r} cannot be read: {error.strerror}"
        raise refused(found, "write the secret's file, readable by this user") from None
    return Secret(_one_line(text.removesuffix("\n"), repr(str(path))))


def _from_environment(value: object, info: ValidationInfo) -> Secret:
    environment: Mapping[str, str] = (info.context or {}).get("environment", {})
    if value not in environment:
        found = f"the environment variable {value!r} is not set"
        raise refused(found, f"run the program with {value}=...")
    return Secret(_one_line(environment[str(value)], f"the variable {value!r}"))


def _one_line(text: str, where: str) -> str:
    if not text.strip():
        raise refused(f"{where} is empty", "write the secret there, on one line")
    if not text.isprintable():
        raise refused(f"{where} is more than one line", "write it on one line")
    return text


class _InFile(BaseModel):
    model_config = ConfigDict(frozen=True, arbitrary_types_allowed=True)
    file: Annotated[Secret, BeforeValidator(_from_file)]


class _InEnvironment(BaseModel):
    model_config = ConfigDict(frozen=True, arbitrary_types_allowed=True)
    environment: Annotated[Secret, BeforeValidator(_from_environment)]


def explain(faults: Iterable[Fault], source: str) -> str:
    """Show every fault with its line, and no secret in any of them."""
    return render_all(faults, masked(source))


def redacted(faults: Iterable[Fault], source: str) -> list[Fault]:
    """The same faults with every secret of the file taken out of their words."""
    values = sorted({one.text for one in _found(source)}, key=len, reverse=True)

    def clean(words: str) -> str:
        for value in values:
            words = words.replace(repr(value), "(a secret)")
            if len(value) > 3:  # a shorter one may be a part of any word
                words = words.replace(value, "(a secret)")
        return words

    return [
        replace(one, found=clean(one.found), remedy=clean(one.remedy)) for one in faults
    ]


def masked(source: str) -> str:
    """The text of a file with a star for every character of a secret."""
    lines = source.splitlines()
    for one in _found(source):
        for number in range(one.line, min(one.last, len(lines) - 1) + 1):
            text = lines[number]
            start = one.start if number == one.line else 0
            stop = one.stop if number == one.last else len(text)
            lines[number] = text[:start] + "*" * (stop - start) + text[stop:]
    return "\n".join(lines) + "\n"


@dataclass(frozen=True, slots=True)
class _Piece:
    text: str
    line: int  # from 0, as are the columns
    start: int
    last: int
    stop: int


def _found(source: str) -> list[_Piece]:
    try:
        node = yaml.compose(source, Loader=yaml.SafeLoader)
    except (yaml.YAMLError, RecursionError):
        return list(_by_line(source.splitlines()))
    return list(_in_tree(node, False, set())) if node else []


def _in_tree(node: yaml.Node, inside: bool, seen: set[int]) -> Iterable[_Piece]:
    """Every scalar below ``node`` that is, or might be, a secret."""
    if id(node) in seen:
        return
    seen.add(id(node))
    if isinstance(node, yaml.ScalarNode):
        if inside or "://" in node.value:
            start, end = node.start_mark, node.end_mark
            yield _Piece(node.value, start.line, start.column, end.line, end.column)
    elif isinstance(node, yaml.SequenceNode):
        for one in node.value:
            yield from _in_tree(one, inside, seen)
    else:
        for key, value in node.value:
            name = str(key.value)
            yield from _in_tree(key, False, seen)
            if inside and name in SOURCES:
                continue
            if name == "url" and "@" not in str(value.value):
                continue
            yield from _in_tree(value, inside or bool(nearest(name, KEYS)), seen)


def _by_line(lines: list[str]) -> Iterable[_Piece]:
    """The same for a text that is no YAML, line by line: too much, never too little."""
    deep = -1  # how far the key of the secret that we are inside of is indented
    for number, text in enumerate(lines):
        indent = len(text) - len(text.lstrip())
        whole = text.strip()
        if not whole:
            continue
        if deep >= 0 and indent > deep:
            yield _Piece(whole, number, indent, number, len(text))
            continue
        found = LINE.match(text)
        deep = -1
        if found and nearest(found[3], KEYS):
            deep = indent
            if found[5]:
                yield _Piece(found[5], number, found.start(5), number, len(text))
        elif "://" in text:
            yield _Piece(whole, number, indent, number, len(text))
