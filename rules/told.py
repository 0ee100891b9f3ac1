"""Temperatures described in words of time, as a person would tell them.

``3 degC for 10 min`` holds, ``to 6 degC over 2 min`` goes there in a straight line from
where it was, and ``silent for 5 min`` gives no reading.  A length of time may have
several parts: ``1 h 30 min``.

Units: ``_mc`` thousandths of a degree Celsius; ``_ms`` milliseconds from the beginning.
"""

import re
from collections.abc import Iterator, Sequence
from typing import Annotated, NamedTuple

from pydantic import BeforeValidator

from rules.units import duration, refused, temperature

RIGHT = "write one of: 60 degC for 10 min; to 72 degC over 30 min; silent for 5 min"
SEGMENT = re.compile(r"^(?:(silent)|(to )?(\S+ *\S+)) (for|over) (.+)$")
PARTS = re.compile(r"\S+ *[A-Za-z]+")


class Segment(NamedTuple):
    """One stretch of a story: silent, or from where it was to a temperature."""

    lasts_ms: int
    to_mc: int | None  # None: silent
    ramp: bool


def length(text: object) -> int:
    """Read ``45 min`` or ``1 h 30 min`` into milliseconds."""
    parts = PARTS.findall(text) if isinstance(text, str) else []
    if not isinstance(text, str) or " ".join(parts) != " ".join(text.split()):
        return duration(text)
    return sum(duration(part) for part in parts)


def segment(text: object) -> Segment:
    """Read one stretch of a story."""
    found = SEGMENT.match(text) if isinstance(text, str) else None
    ramp = bool(found and found[2])
    if not found or ramp != (found[4] == "over"):
        raise refused(f"{text!r} is no stretch of a story", RIGHT)
    lasts_ms = length(found[5])
    if not lasts_ms:
        raise refused(f"{text!r} lasts for no time", RIGHT)
    return Segment(lasts_ms, None if found[1] else temperature(found[3]), ramp)


def values(segments: Sequence[Segment], every_ms: int) -> Iterator[tuple[int, int]]:
    """What a probe says that reports every so often: (ms, mc)."""
    from_ms, from_mc, at_ms = 0, segments[0].to_mc or 0, 0
    for number, (lasts_ms, to_mc, ramp) in enumerate(segments):
        last = number == len(segments) - 1
        until_ms = from_ms + lasts_ms
        while at_ms < until_ms or (last and at_ms == until_ms):
            if to_mc is not None and ramp:
                share_ms = (to_mc - from_mc) * (at_ms - from_ms)
                yield at_ms, from_mc + round(share_ms / lasts_ms)
            elif to_mc is not None:
                yield at_ms, to_mc
            at_ms += every_ms
        from_ms, from_mc = until_ms, from_mc if to_mc is None else to_mc


Length = Annotated[int, BeforeValidator(length)]
Story = tuple[Annotated[Segment, BeforeValidator(segment)], ...]
