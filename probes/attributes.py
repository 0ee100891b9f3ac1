"""What the files of a Linux sensor say: the words its three interfaces share.

The kernel shows a sensor as a folder of small text files, its attributes.  A
*part* is one thing that a sensor measures.  For each interface one module answers
which parts a folder has, which files must be read for a part, and what their texts
mean; the reading itself is done elsewhere, and a file that could not be read comes
as ``Unusable`` with the reason.

Units: a value is in the unit of its SenML code, exact as the kernel spelled it.
"""

import re
from collections.abc import Mapping
from decimal import Decimal
from typing import NamedTuple

from probes.json_text import Unusable, say
from probes.units import EXACT

Texts = Mapping[str, str | Unusable]
NUMBER = re.compile(r"[+-]?[0-9]{1,20}(\.[0-9]{1,20})?")
LONGEST_ECHO = 40


class Measured(NamedTuple):
    """One value and the SenML code of its unit (RFC 8428 section 12.1)."""

    value: Decimal
    code: str


def number_in(texts: Texts, name: str) -> Decimal | Unusable:
    """The number in a file, or why there is none."""
    text = texts.get(name, Unusable(f"{name} is not there"))
    if isinstance(text, Unusable):
        return text
    if not NUMBER.fullmatch(text.strip()):
        return Unusable(f"{name} holds {say(text.strip()[:LONGEST_ECHO])}, no number")
    return Decimal(text.strip())


def is_set(texts: Texts, name: str) -> bool:
    """Whether a flag is there and is not 0."""
    text = texts.get(name)
    return isinstance(text, str) and text.strip() not in ("", "0")


def times(value: Decimal, factor: Decimal) -> Decimal | Unusable:
    """The product, exact, or why it cannot be worked out."""
    try:
        return EXACT.multiply(value, factor)
    except ArithmeticError:
        return Unusable(f"{value} times {factor} has too many digits")
