"""JSON as probes really send it: strict text, exact numbers, and what was unusable.

Numbers become ``Decimal`` with the digits they were sent with.  What is no number
(``NaN``, ``nan``, ``-inf``: what C prints when a measurement failed) and a key given
twice become ``Unusable`` in their place, so that one bad channel leaves the rest of
its message alone.  Nothing is guessed: other malformed text is refused whole.

Source: RFC 8259; that a bare ``nan`` is let through to its own channel is ours.
"""

import json
import re
from dataclasses import dataclass
from decimal import Decimal

LONGEST = 1_000_000  # bytes; a probe that needs more is not speaking of temperatures
ECHOED = 60  # characters of what was found that are worth showing

# What may stand between the texts of a JSON document, where C has printed a failure.
FAILED = re.compile(
    r'"(?:[^"\\]|\\.)*+"?'  # a text, skipped whole, even one that never ends
    r"|(?P<bare>[+-]?(?:nan|inf(?:inity)?))",
    re.IGNORECASE | re.DOTALL,
)
COMMA = re.compile(r":\s*(-?\d+),(\d+)\s*[,}]")


@dataclass(frozen=True, slots=True)
class Unusable:
    """Something that stands where a value should be, and why it is none."""

    why: str


def read_json(payload: bytes) -> object:
    """The document a message holds, or ``Unusable`` where it holds none."""
    if not payload:
        return Unusable("the message is empty")
    if len(payload) > LONGEST:
        return Unusable(f"{len(payload)} bytes is more than {LONGEST}")
    try:
        text = payload.decode()
    except UnicodeDecodeError as error:
        return not_utf_8(payload, error)
    try:
        return DECODER.decode(text)
    except (ValueError, ArithmeticError):
        return _read_marking_failures(text)
    except RecursionError:
        return Unusable("not JSON we can read: nested too deep")


def not_utf_8(payload: bytes, error: UnicodeDecodeError) -> Unusable:
    """The words for bytes that are not text."""
    return Unusable(
        f"not UTF-8 text: byte 0x{payload[error.start]:02x} at {error.start + 1}"
    )


def say(found: object) -> str:
    """What was found, as a person may see it: short, printable, as JSON spells it."""
    if isinstance(found, str):
        # repr, because it escapes control characters and lone surrogates.
        return repr(found) if len(found) <= ECHOED else f"{found[:ECHOED]!r}..."
    if isinstance(found, Decimal):
        return say_raw(str(found))
    if isinstance(found, bool):
        return "true" if found else "false"
    if found is None:
        return "null"
    return "a list" if isinstance(found, list) else "an object"


def spelled(value: object) -> str:
    """JSON text with every digit of a Decimal, which the json module cannot write."""
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, dict):
        members = (f"{json.dumps(key)}:{spelled(value[key])}" for key in value)
        return "{" + ",".join(members) + "}"
    return json.dumps(value)


def say_raw(text: str) -> str:
    """A printable text without quotes, cut short where it is long."""
    return text if len(text) <= ECHOED else f"{text[:ECHOED]}..."


def why_no_number(found: object) -> str:
    """Why something is not a number, to be put after the name of its place."""
    if isinstance(found, Unusable):
        return found.why
    text = ", a text," if isinstance(found, str) else ""
    return f"= {say(found)}{text} is not a number"


def _read_marking_failures(text: str) -> object:
    """Read again, with what fails marked in its place where that can be done."""
    marked = FAILED.sub(_spelled_as_json_does, text)
    try:
        return FORGIVING.decode(marked)
    except json.JSONDecodeError as error:
        return Unusable(_why_not_json(text, marked, error.pos))
    except RecursionError:
        return Unusable("not JSON we can read: nested too deep")


def _why_not_json(text: str, marked: str, at: int) -> str:
    if comma := COMMA.search(text):
        whole, part = comma.groups()
        return (
            f"not JSON: {say_raw(f'{whole},{part}')} looks like a decimal comma; "
            f"write a point: {say_raw(f'{whole}.{part}')}"
        )
    if at >= len(marked):
        return "not JSON: it ends too early"
    return f"not JSON from character {at + 1} on: {say(marked[at:])}"


def _once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    members = dict(pairs)
    if len(members) != len(pairs):
        seen: set[str] = set()
        for key, _ in pairs:
            if key in seen:
                members[key] = Unusable("is given twice")
            seen.add(key)
    return members


def _spelled_as_json_does(found: re.Match[str]) -> str:
    """The word the decoder knows for what C printed; a text stays as it is."""
    bare = found["bare"]
    if not bare:
        return found[0]
    if bare.lower().endswith("nan"):
        return "NaN"
    return "-Infinity" if bare.startswith("-") else "Infinity"


def _failed(word: str) -> Unusable:
    return Unusable(f"= {word.lower().removesuffix('inity')} is not a number")


def _measured(text: str) -> Decimal | Unusable:
    try:
        return Decimal(text)
    except ArithmeticError:  # an exponent of its own kind of infinity
        return Unusable(f"= {say_raw(text)} is no number that a probe can mean")


# Made once: to hand hooks to json.loads would make a decoder for every message.
DECODER = json.JSONDecoder(
    object_pairs_hook=_once,
    parse_float=Decimal,
    parse_int=Decimal,
    parse_constant=_failed,
)
FORGIVING = json.JSONDecoder(
    object_pairs_hook=_once,
    parse_float=_measured,
    parse_int=_measured,
    parse_constant=_failed,
)
