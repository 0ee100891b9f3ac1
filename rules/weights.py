"""Weights and shares as people write them on a lot sheet, exact.

A weight carries ``g``, ``kg``, ``oz`` or ``lb`` and may be a fraction: ``1/4 oz``,
``2 3/4 oz``.  A share is a percentage: ``6.25 %`` is 1/16.  A spoon or a cup is no
weight, and a number that begins with its point may have lost a digit: both are asked
about, never guessed.
"""

import re
from fractions import Fraction
from typing import Annotated

from pydantic import BeforeValidator, InstanceOf

from rules.formulation import GRAMS
from rules.units import no_comma, refused

RIGHT_WEIGHT = "write a number and g, kg, oz or lb, for example: 25 g"
RIGHT_SHARE = "write a number and %, as on the label, for example: 6.25 %"

_NUMBER = re.compile(
    r"^(?:(\d{1,6}(?:\.\d{1,6})?)|(?:(\d{1,4}) )?(\d{1,3})/([1-9]\d{0,2}))"
    r" *([A-Za-z%]*)$"
)
_NO_ZERO = re.compile(r"^\.(\d+) *([A-Za-z%]*)$")
_VOLUMES = re.compile(
    r"(?i)(?:^|[^a-z])(tsps?|tbsps?|tbs|(?:tea|table)?spoon(?:ful)?s?|cup(?:ful)?s?|cc|"
    r"ml|cl|dl|l|liters?|litres?|pints?|quarts?|gal|gallons?|pinch(?:es)?|"
    r"hand(?:ful)?s?|fl\.? ?oz)\.?$"
)


def weight(text: object) -> Fraction:
    """Read ``25 g`` or ``1/4 oz`` into grams, above zero."""
    number, unit = _split(text, "a weight", RIGHT_WEIGHT)
    if unit not in GRAMS:
        raise refused(f"{text!r} is not a weight", RIGHT_WEIGHT)
    if not number:
        raise refused(f"{text!r} weighs nothing", "write more, or take the line out")
    return number * GRAMS[unit]


def share(text: object) -> Fraction:
    """Read ``6.25 %`` into a part of the whole [0 to 1]."""
    number, unit = _split(text, "a share in percent", RIGHT_SHARE)
    if unit != "%":
        raise refused(f"{text!r} is not a share in percent", RIGHT_SHARE)
    if number > 100:
        raise refused(f"{text!r} is more than the whole", RIGHT_SHARE)
    return number / 100


def say_g(grams: Fraction) -> str:
    """Say a weight to a hundredth of a gram, from a kilogram on in kilograms."""
    number, unit = (grams / 1000, "kg") if grams >= 1000 else (grams, "g")
    return f"{_digits(number)} {unit}"


def say_share(part: Fraction) -> str:
    """Say a part of the whole in percent, to a hundredth."""
    return f"{_digits(part * 100)} %"


def _digits(number: Fraction) -> str:
    hundredths = round(number * 100)
    text = f"{hundredths // 100}.{hundredths % 100:02}"
    return text.rstrip("0").rstrip(".")


def _split(text: object, what: str, right: str) -> tuple[Fraction, str]:
    if not isinstance(text, str):
        raise refused(f"{what} is wanted here", right)
    text = text.strip()
    if found := _VOLUMES.search(text):
        raise refused(
            f"{text!r} is a measure of volume: what fits in it differs from salt to "
            f"salt ({found[1]})",
            "weigh it and write the weight, for example: 25 g",
        )
    if found := _NO_ZERO.match(text):
        raise refused(
            f"{text!r} begins with its point: it may mean 0.{found[1]}, or a digit "
            "may be missing before it",
            f"write the digit, for example: 0.{found[1]} {found[2]}".rstrip(),
        )
    no_comma(text, what)
    if not (found := _NUMBER.match(text)):
        raise refused(f"{text!r} is not {what}", right)
    if not found[5]:
        raise refused(f"{text!r} has no unit: {what} is wanted", right)
    if found[1]:
        return Fraction(found[1]), found[5]
    return int(found[2] or 0) + Fraction(int(found[3]), int(found[4])), found[5]


Weight = Annotated[InstanceOf[Fraction], BeforeValidator(weight)]
Share = Annotated[InstanceOf[Fraction], BeforeValidator(share)]
