"""JSON Pointer: where in a document a value is.

Source: RFC 6901 sections 3 (syntax), 4 (evaluation) and 7 (what is an error).
"""

import re
from functools import lru_cache

from probes.json_text import say

INDEX = re.compile(r"0|[1-9][0-9]{0,8}")
STRAY_TILDE = re.compile(r"~(?![01])")


class NothingThereError(LookupError):
    """The document has no value where the pointer points."""


def fault_in_pointer(pointer: str) -> str:
    """What is wrong with the pointer itself, in words; ``""`` if nothing is."""
    if pointer and not pointer.startswith("/"):
        return f"{say(pointer)} does not begin with /"
    if STRAY_TILDE.search(pointer):
        return f"{say(pointer)} has a ~ that is not ~0 (for ~) or ~1 (for /)"
    return ""


@lru_cache(maxsize=1024)
def steps(pointer: str) -> tuple[str, ...]:
    """The member names and indices to follow, one after the other.

    Raises:
        ValueError: It is not a JSON Pointer.
    """
    if fault := fault_in_pointer(pointer):
        raise ValueError(fault)
    # ~1 first, so that ~01 becomes ~1 and not / (RFC 6901 section 4).
    names = pointer.split("/")[1:]
    return tuple(name.replace("~1", "/").replace("~0", "~") for name in names)


def pointer_to(name: str) -> str:
    """The pointer to the member of this name in a document that is an object."""
    return "/" + name.replace("~", "~0").replace("/", "~1")


def find(document: object, pointer: str) -> object:
    """The value that the pointer points at.

    Raises:
        ValueError: It is not a JSON Pointer.
        NothingThereError: The document has nothing there.
    """
    for step in steps(pointer):
        if isinstance(document, dict) and step in document:
            document = document[step]
        elif isinstance(document, list) and INDEX.fullmatch(step):
            if int(step) >= len(document):
                raise NothingThereError(pointer)
            document = document[int(step)]
        else:
            raise NothingThereError(pointer)
    return document
