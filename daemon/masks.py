"""What of a settings file may be shown: a fault never repeats a secret.

A value is shown only where it stands under a key that is known and holds no secret;
everything else is covered by stars, of the same width so that marks keep their place.
A slip of the keyboard (a misspelled key, a lost colon, an open quote) can therefore
hide too much, but shows nothing.  Of a text that is no YAML only known words are
shown.  A schedule holds no secrets and is shown as it is.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

import yaml

from probes.forms import FORMS, keys_of
from rules.faults import Fault, render_all
from rules.reader import ShallowLoader, TooDeepError, nearest

SECRETS = ("password", "token", "address")
SOURCES = ("file", "environment")
# Keys that hold other keys: a value right under them is out of place.
PARTS = (
    *("broker", "channels", "contacts", "mirror", "page", "pace", "probes"),
    *("heartbeat", "calibrations", "points", "thermometers"),
)
PLAIN = (
    *("site", "journal", "records", "key", "lateness", "zone", "compact after"),
    *("host", "port", "version", "client id", "user"),
    *("certificate authority", "in flight"),
    *("channel", "smokehouse", "role", "topic", "payload", "unit", "every"),
    *(key.word for key in keys_of(FORMS.values())),
    *("quiet after", "accuracy", "probe"),
    *("conversion", "coefficients", "cold junction"),
    *("resolution", "drift", "lag", "at", "by", "said", "reference", "within"),
    *("contact", "url", "organisation", "bucket", "listen"),
    *("begins", "times", "since"),
    *("board", "buffer", "at most", "sysfs"),
    *("thermometer", "calibrated", "due"),
)
OPEN = ("url", "host")  # an address here is none to hide, unless a name stands in it
KNOWN = {*SECRETS, *PARTS, *PLAIN}
WORDS = {word for key in (*KNOWN, *SOURCES) for word in key.split()}

SCHEDULE = re.compile(r"^(schedule|stages|limits|rehearsals)\b", re.MULTILINE)
WORD = re.compile(r"[^\s{}\[\],:\"'#]+")
NAMED = re.compile(r"\b(alias|anchor|handle) .*")  # YAML repeats their names
KEY_LIKE = re.compile(r"[A-Za-z_ -]{1,24}")
STRUCTURE = "{}[],:-?\"'"
HIDDEN = "(a secret)"
CUT_SHORT = "here stands something that may be part of a secret"
LOOK = "check the colon, the comma and the quotes of this line"


def explain(faults: Iterable[Fault], source: str) -> str:
    """Show every fault with its line, and no secret in any of them."""
    return render_all(redacted(faults, source), masked(source))


def redacted(faults: Iterable[Fault], source: str) -> list[Fault]:
    """The same faults without what must not be shown of their file."""
    if SCHEDULE.search(source):
        return list(faults)
    pieces = _pieces(source)
    if pieces is None:
        return [replace(one, found=NAMED.sub(r"\1", one.found)) for one in faults]
    hidden = [piece for piece in pieces if not piece.shown and piece.text]
    return [_redacted(one, hidden) for one in faults]


def masked(source: str) -> str:
    """The text of a file with a star for every character that must not be shown."""
    lines = source.splitlines()
    if not SCHEDULE.search(source):
        pieces = _pieces(source)
        if pieces is None:
            lines = [WORD.sub(_known_word, line) for line in lines]
        else:
            lines = _covered(lines, pieces)
    return "\n".join(lines) + "\n"


class _Piece(NamedTuple):
    """A scalar of the file: where it stands (from 0), and whether it may be seen."""

    text: str
    line: int
    start: int
    last: int
    stop: int
    shown: bool


def _pieces(source: str) -> list[_Piece] | None:
    """Every scalar of the file; ``None`` where it is no YAML."""
    try:
        node = yaml.compose(source, Loader=ShallowLoader)
    except (yaml.YAMLError, RecursionError, TooDeepError):
        return None
    return list(_Walk(set()).below(node, "")) if node else []


UNKNOWN = "(unknown)"


@dataclass(frozen=True, slots=True)
class _Walk:
    seen: set[int]

    def below(self, node: yaml.Node, key: str) -> Iterator[_Piece]:
        """The scalars of ``node``, which stands under ``key``."""
        if id(node) in self.seen:
            return
        self.seen.add(id(node))
        if isinstance(node, yaml.ScalarNode):
            yield _piece(node, _plain(key, node))
        elif isinstance(node, yaml.SequenceNode):
            for one in node.value:
                yield from self.below(one, key)
        else:
            for name, value in node.value:
                yield from self._pair(name, value, key)

    def _pair(self, name: yaml.Node, value: yaml.Node, key: str) -> Iterator[_Piece]:
        if not isinstance(name, yaml.ScalarNode):
            yield from self.below(name, UNKNOWN)
            yield from self.below(value, UNKNOWN)
            return
        word = str(name.value)
        if key in SECRETS:
            known, inside = word in SOURCES, "site" if word in SOURCES else UNKNOWN
        elif key in ("", *PARTS):
            known = word in KNOWN
            inside = word if known else UNKNOWN
        else:
            known, inside = False, UNKNOWN
        alone = key in ("", *PARTS) and _harmless(word, value)
        yield _piece(name, known or alone)
        yield from self.below(value, inside)


def _piece(node: yaml.ScalarNode, shown: bool) -> _Piece:
    start, end = node.start_mark, node.end_mark
    shown = shown and start.line == end.line
    return _Piece(node.value, start.line, start.column, end.line, end.column, shown)


def _plain(key: str, node: yaml.ScalarNode) -> bool:
    address = "://" in node.value and (key not in OPEN or "@" in node.value)
    return key in PLAIN and not address


def _harmless(word: str, value: yaml.Node) -> bool:
    """Whether an unknown key can be shown: it is a key, and not what it should hold."""
    empty = isinstance(value, yaml.ScalarNode) and not value.value
    first, _, more = word.strip().partition(" ")
    return bool(
        KEY_LIKE.fullmatch(word)
        and not empty
        and not (more and nearest(first, SECRETS))
    )


def _redacted(fault: Fault, hidden: list[_Piece]) -> Fault:
    found = fault.found
    for piece in hidden:
        here = (fault.line, fault.column) == (piece.line + 1, piece.start + 1)
        if here or (len(piece.text) > 3 and piece.text not in WORDS):
            found = found.replace(repr(piece.text), HIDDEN)
        if here and piece.text in found + fault.remedy:
            return replace(fault, found=CUT_SHORT, remedy=LOOK)
    return replace(fault, found=found)


def _covered(lines: list[str], pieces: list[_Piece]) -> list[str]:
    """The lines with every piece that is not shown, and every comment, covered."""
    marks = [["?"] * len(line) for line in lines]
    for piece in pieces:
        for number in range(piece.line, min(piece.last, len(lines) - 1) + 1):
            stop = piece.stop if number == piece.last else len(lines[number])
            start = piece.start if number == piece.line else 0
            marks[number][start:stop] = ("s" if piece.shown else "h") * (stop - start)
    return [_line(line, mark) for line, mark in zip(lines, marks, strict=True)]


def _line(line: str, marks: list[str]) -> str:
    shown = ""
    for letter, mark in zip(line, marks, strict=True):
        if mark == "?" and letter == "#":
            return shown.rstrip()
        plain = mark == "s" or letter == " "
        plain = plain or (mark == "?" and letter in STRUCTURE)
        shown += letter if plain else "*"
    return shown


def _known_word(found: re.Match[str]) -> str:
    word = found[0]
    return word if word in WORDS or word == "-" else "*" * len(word)
