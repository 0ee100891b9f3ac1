"""What pydantic complains of, in words for the person who wrote the file.

A remark is what was found, as written, and what would be right.  Where it stands is
``rules.reader``'s to say.
"""

import difflib
import re
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

TEXT, LIST, KEYS = "one text", "a list", "a part with keys"

LIST_RIGHT = "write each item on a line that begins with '- '"
KEYS_RIGHT = "write each key on a line of its own, then ':' and its value"

# What each complaint about a shape wants, and how that is written.
SHAPES = {
    "string_type": (TEXT, "write one line of text"),
    "list_type": (LIST, LIST_RIGHT),
    "tuple_type": (LIST, LIST_RIGHT),
    "dict_type": (KEYS, KEYS_RIGHT),
    "model_type": (KEYS, KEYS_RIGHT),
    "model_attributes_type": (KEYS, KEYS_RIGHT),
    "literal_error": (TEXT, "write one word"),
    "enum": (TEXT, "write one word"),
}


class Remark(NamedTuple):
    """One complaint, said so that it can be mended."""

    found: str
    remedy: str


def nearest(word: str, words: Sequence[str]) -> str:
    """The one of ``words`` that ``word`` was probably meant to be, or ``""``."""
    by_lower = {one.lower(): one for one in words}
    close = difflib.get_close_matches(word.lower(), list(by_lower), n=1, cutoff=0.6)
    return by_lower[close[0]] if close else ""


def choice(word: str, words: Sequence[str]) -> str:
    """A remedy that offers the nearest right word, or all of them."""
    near, once = nearest(word, words), dict.fromkeys(words)
    apart = "; " if any("," in one for one in once) else ", "
    return f"did you mean {near!r}?" if near else f"write one of: {apart.join(once)}"


def remark(name: str, error: Mapping[str, Any]) -> Remark:
    """Say one of pydantic's complaints about the value of the key ``name``."""
    kind, value, context = str(error["type"]), error["input"], error.get("ctx", {})
    wanted, remedy = SHAPES.get(kind, ("", "write at least one"))
    if kind == "string_too_short":
        remedy = f"write the {name} in words"
    if kind in ("too_short", "string_too_short") or (wanted and value == ""):
        return Remark(f"nothing is written for {name!r}", remedy)
    if wanted and shape(value) != wanted:
        return Remark(f"{wanted} is wanted here, and this is {shape(value)}", remedy)
    if kind in ("literal_error", "enum"):
        words = re.findall(r"'([^']*)'", str(context.get("expected", "")))
        found = f"{value!r} is not a word for {name!r}"
        return Remark(found, choice(str(value), words))
    if kind == "greater_than":
        return Remark(f"{name!r} is 0 here", "write more than that")
    message = re.sub(r"^(Value error, |Input should be )", "", str(error["msg"]))
    found = repr(value) if isinstance(value, str) else shape(value)
    return Remark(f"{found}: {message}", f"write another value for {name!r}")


def shape(value: object) -> str:
    """Which of the three shapes a piece of a file has."""
    if isinstance(value, dict):
        return KEYS
    return LIST if isinstance(value, list) else TEXT
