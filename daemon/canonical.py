"""The one spelling of a value in bytes: canonical JSON, and nothing in it is rounded.

A value is an integer, a text, a truth value, a list or a map of these.  There is
no null and no fraction: a missing value is left out, and a fraction has more than
one spelling as soon as two machines disagree about its last digit.

Source: RFC 8785, JSON Canonicalization Scheme; integers as its section 3.2.2.3
and appendix D allow them, within 2^53 - 1 either way.
"""

import json
from collections.abc import Mapping, Sequence
from typing import NoReturn

import rfc8785

Value = bool | int | str | Sequence["Value"] | Mapping[str, "Value"]


class CanonicalError(ValueError):
    """A value that has no canonical bytes, or bytes that are not canonical."""


def encode(value: Value) -> bytes:
    """Give the only bytes this value may be signed as.

    Raises:
        CanonicalError: It holds a fraction, a null, an integer beyond 2^53 - 1
            or text that is not Unicode.
    """
    try:
        _admit(value)
        return rfc8785.dumps(value)
    except (rfc8785.CanonicalizationError, RecursionError) as error:
        raise CanonicalError(str(error)) from error


def decode(line: bytes) -> Value:
    """Give the value whose canonical bytes these are.

    Raises:
        CanonicalError: They are not JSON, or the same value is spelled otherwise.
    """
    try:
        value: Value = json.loads(
            line.decode(), parse_float=_fraction, parse_constant=_fraction
        )
    except CanonicalError:
        raise
    except (ValueError, RecursionError) as error:
        raise CanonicalError(f"not JSON: {error}") from error
    if encode(value) != line:
        raise CanonicalError("the same value has another spelling in RFC 8785")
    return value


def _admit(value: object) -> None:
    if isinstance(value, str | int):
        return
    if isinstance(value, Mapping):
        for key, inner in value.items():
            if not isinstance(key, str):
                raise CanonicalError(f"a map names its members by text, not {key!r}")
            _admit(inner)
    elif isinstance(value, list | tuple):
        for inner in value:
            _admit(inner)
    else:
        raise CanonicalError(f"{value!r} is not an integer, text, true, false or list")


def _fraction(text: str) -> NoReturn:
    raise CanonicalError(f"{text} is not a whole number")
