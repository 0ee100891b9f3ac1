"""Quantities as people write them, turned into integers and back into words.

A quantity always carries its unit: ``4 degC``, ``39.2 degF``, ``15 min``, ``5 K``.
A bare number, a decimal comma or a clock-like ``1:30`` is refused with what to
write instead: nothing is guessed.

Degrees Fahrenheit become thousandths of a degree Celsius by exact fractions,
rounded to the nearest (a tie to the even), both for a limit and for a reading, so
that a reading of exactly 130 degF stands exactly on a limit of 130 degF.

Words follow the author: a temperature written in degF is an integer that says itself
in degF, and what is measured beside it is said like it.  The unit is in no state and in
no record: words take it from the schedule.  A table or a published option is said in
degF where the schedule writes every temperature in degF, and in degC otherwise.
"""

import re
from collections.abc import Mapping
from fractions import Fraction
from math import ceil
from typing import Annotated

from pydantic import BeforeValidator, PlainValidator
from pydantic_core import PydanticCustomError

NUMBER = re.compile(r"^([+-]?\d{1,9}(?:\.\d{1,6})?) *([A-Za-z/%]*)$")
CLOCK_LIKE = re.compile(r"^(\d{1,3}):(\d{2})(?: *(?:s|min|h))?$")
HALVED = re.compile(r"^\d+ *[A-Za-z/%]*$")  # what follows a comma inside braces
COMMA = re.compile(r"^([+-]?\d+),(\d+) *(\S*)$")
PPM = re.compile(r"^(\d{1,6}) ppm$")
PERCENT = re.compile(r"^(\d{1,2}(?:\.\d{1,3})?) %$")
PH = re.compile(r"^((?:\d|1[0-3])(?:\.\d{1,3})?|14(?:\.0)?)$")  # of water: 0 to 14
ACTIVITY = re.compile(r"^(0\.\d{1,3}|1(?:\.0)?)$")

MS = {"s": 1_000, "min": 60_000, "h": 3_600_000}
ABSOLUTE_ZERO_MC = -273_150
HOTTEST_MC = 1_000_000


class Fahrenheit(int):
    """Thousandths of a degree Celsius, said in degF; a sum is a plain integer."""

    __slots__ = ()


DEGREE = "degree"  # of the validation context: ``int``, or ``Fahrenheit`` for tables


def degree(context: Mapping[str, object] | None) -> type[int]:
    """In what the tables of a schedule are said, by the context of its validation."""
    return Fahrenheit if (context or {}).get(DEGREE) is Fahrenheit else int


def refused(found: str, remedy: str) -> PydanticCustomError:
    """A refusal of one value: what was found, and what would be right there."""
    return PydanticCustomError("unit", "{found}", {"found": found, "remedy": remedy})


def fahrenheit_mc(degrees: Fraction) -> int:
    """Turn degrees Fahrenheit into the nearest thousandth of a degree Celsius."""
    return round((degrees - 32) * 5 / 9 * 1000)


def temperature(text: object) -> int:
    """Read ``4 degC`` or ``39.2 degF`` [absolute zero to 1000 degC] into ``mc``."""
    right = "write a number and degC or degF, for example: 60 degC"
    number, unit = _split(text, "a temperature", right)
    if unit == "degC":
        value_mc = round(number * 1000)
    elif unit == "degF":
        value_mc = Fahrenheit(fahrenheit_mc(number))
    else:
        raise refused(f"{text!r} is not a temperature", right)
    if not ABSOLUTE_ZERO_MC <= value_mc <= HOTTEST_MC:
        raise refused(f"{text!r} is outside -273.15 degC to 1000 degC", right)
    return value_mc


def duration(text: object) -> int:
    """Read ``10 s``, ``15 min`` or ``3 h`` into milliseconds, never negative."""
    right = "write a whole number and s, min or h, for example: 15 min"
    number, unit = _split(text, "a length of time", right)
    if unit not in MS:
        raise refused(f"{text!r} is not a length of time", right)
    ms = number * MS[unit]
    if ms < 0 or ms.denominator != 1:
        raise refused(f"{text!r} is not a length of time from 0 s in whole ms", right)
    return int(ms)


def at_some_time(text: object) -> int:
    """Read a length of time of more than nothing; ``never`` is 0, and 0 is refused."""
    if text == "never":
        return 0
    ms = duration(text)
    if not ms:
        right = "write a length of time, for example: 15 min; or: never"
        raise refused(f"{text!r} does not say when", right)
    return ms


def difference(text: object) -> int:
    """Read a difference of temperature, ``0.5 K``, into ``mc``, never negative."""
    return round(_kelvins_milli(text))


def doubt(text: object) -> int:
    """Read how far something may be off, ``0.0625 K``, into ``mc``, rounded up."""
    return ceil(_kelvins_milli(text))


def _kelvins_milli(text: object) -> Fraction:
    right = "write a number and K, for example: 0.5 K"
    number, unit = _split(text, "a difference of temperature", right)
    if unit != "K" or number < 0:
        raise refused(f"{text!r} is not a difference of temperature", right)
    return number * 1000


def _split(text: object, what: str, right: str) -> tuple[Fraction, str]:
    if not isinstance(text, str):
        raise refused(f"{what} is wanted here", right)
    found = NUMBER.match(text.strip())
    if found and found[2]:
        return Fraction(found[1]), found[2]
    if found:
        raise refused(f"{text!r} has no unit: {what} is wanted", right)
    if clock := CLOCK_LIKE.match(text.strip()):
        big, small = int(clock[1]), int(clock[2])
        raise refused(
            f"{text!r} is not {what}: it may mean {big} h {small} min "
            f"or {big} min {small} s",
            right,
        )
    no_comma(text, what)
    raise refused(f"{text!r} is not {what}", right)


def split_at_comma(before: str, after: str) -> tuple[str, str]:
    """What to say of ``6,25 %`` inside braces, where its comma parts two keys."""
    return (
        f"'{before},{after}' is cut in two by its comma here: it may mean "
        f"{before}.{after} or {before}{after}",
        "write a decimal point, and nothing between thousands",
    )


def no_comma(text: object, what: str) -> None:
    """Refuse a number with a comma, and show both readings."""
    if isinstance(text, str) and (comma := COMMA.match(text.strip())):
        raise refused(
            f"{text!r} is not {what}: it may mean {comma[1]}.{comma[2]} "
            f"or {comma[1]}{comma[2]}",
            "write a decimal point, and nothing between thousands",
        )


def ppm(text: object) -> int:
    """Read ``156 ppm``: whole parts per million."""
    no_comma(text, "an amount in ppm")
    found = PPM.match(text) if isinstance(text, str) else None
    if found is None:
        right = "write a whole number and ppm, for example: 156 ppm"
        raise refused(f"{text!r} is not an amount in ppm", right)
    return int(found[1])


def percent_milli(text: object) -> int:
    """Read ``3.5 %`` into thousandths of a percent."""
    return _milli(text, PERCENT, "a share in percent", "write for example: 3.5 %")


def activity_milli(text: object) -> int:
    """Read a water activity [0 to 1], such as ``0.92``, into thousandths."""
    return _milli(text, ACTIVITY, "a water activity", "write for example: 0.92")


def ph_milli(text: object) -> int:
    """Read a pH [0 to 14], such as ``6.0``, into thousandths."""
    return _milli(text, PH, "a pH", "write for example: 6.0")


def _milli(text: object, pattern: re.Pattern[str], what: str, right: str) -> int:
    no_comma(text, what)
    found = pattern.match(text) if isinstance(text, str) else None
    if found is None:
        raise refused(f"{text!r} is not {what}", right)
    whole, _, part = found[1].partition(".")
    return int(whole) * 1000 + int(part.ljust(3, "0") or 0)


# Plain, for pydantic would make a plain integer of one that knows its unit.
Temperature = Annotated[int, PlainValidator(temperature)]
Duration = Annotated[int, BeforeValidator(duration)]
AtSomeTime = Annotated[int, BeforeValidator(at_some_time)]
Difference = Annotated[int, BeforeValidator(difference)]
Ppm = Annotated[int, BeforeValidator(ppm)]
PercentMilli = Annotated[int, BeforeValidator(percent_milli)]
PhMilli = Annotated[int, BeforeValidator(ph_milli)]
ActivityMilli = Annotated[int, BeforeValidator(activity_milli)]


def say_mc(value_mc: int, like_mc: int | None = None) -> str:
    """Say a temperature to a tenth, ``62.0 degC``, in the unit of ``like_mc``."""
    if isinstance(value_mc if like_mc is None else like_mc, Fahrenheit):
        return f"{_tenths(Fraction(value_mc * 9, 5) + 32_000)} degF"
    return f"{_tenths(value_mc)} degC"


def say_k(value_mc: int, like_mc: int = 0) -> str:
    """Say a difference to a tenth, ``0.5 K``, or ``0.9 degF`` beside such a figure."""
    if isinstance(like_mc, Fahrenheit):
        return f"{_tenths(Fraction(value_mc * 9, 5))} degF"
    return f"{_tenths(value_mc)} K"


def say_ms(ms: int) -> str:
    """Say a length of time by its two largest parts: ``9 min 20 s``."""
    seconds, rest = divmod(abs(ms), 1000)
    hours, seconds = divmod(seconds, 3600)
    minutes, seconds = divmod(seconds, 60)
    if not (hours or minutes):
        words = f"{seconds}.{rest:03} s" if rest else f"{seconds} s"
    elif not hours:
        words = f"{minutes} min {seconds} s" if seconds else f"{minutes} min"
    else:
        words = f"{hours} h {minutes} min" if minutes else f"{hours} h"
    return f"-{words}" if ms < 0 else words


def say_mlog10(mlog10: int) -> str:
    """Say thousandths of a decade to a hundredth, rounded down: ``6.50-log10``."""
    return f"{mlog10 // 1000}.{mlog10 % 1000 // 10:02}-log10"


def say_mlog10_up(mlog10: int) -> str:
    """The same, rounded up: what is needed or has grown is never said to be less."""
    return say_mlog10(mlog10 + 9)


def _tenths(milli: int | Fraction) -> str:
    whole, tenth = divmod(round(abs(Fraction(milli, 100))), 10)
    sign = "-" if milli < 0 and (whole or tenth) else ""
    return f"{sign}{whole}.{tenth}"
