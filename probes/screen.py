"""From a number and a time to a reading, or to a refusal: the checks that all share.

A value must lie in the span of IEC 60751; what a library says for "not connected" is
no temperature; a time may not lie far in the future; and a reading whose age nobody
knows is kept but is not evidence.  To drop any of these would look like a quiet probe.

Units: ``_mc`` as in ``rules.facts``; ``_ms`` milliseconds since 1970-01-01T00:00:00Z.

Source: IEC 60751, span of platinum resistance thermometers, -200 to 850 degC.
-127 degC: what common 1-wire libraries answer for a missing probe (common practice,
no source).
"""

from collections.abc import Iterable
from decimal import Decimal
from difflib import get_close_matches
from functools import lru_cache
from itertools import islice

from probes.contract import Arrival, Decoded, Probe, Refusal, Unit
from probes.doubts import Doubt
from probes.json_text import say
from probes.units import thousandths
from rules.facts import Quality, Reading
from rules.units import say_ms

LOWEST_MC, HIGHEST_MC = -200_000, 850_000
DRIEST_MC, WETTEST_MC = 0, 100_000
DISCONNECTED_MC, DISCONNECTED = -127_000, Decimal(-127)
AHEAD_MS = 120_000  # a clock that is off by more stamps what it cannot know yet
LONG, MANY = 100, 100  # characters and names compared when looking for the nearest


def screen(
    probe: Probe, value: Decimal, at_ms: int, own_time: bool, arrival: Arrival
) -> Decoded:
    """The reading this value is, or the refusal it deserves.

    ``own_time`` says that the message itself carried an absolute time.
    """
    value_mc = trusted(value, probe.unit, probe.accuracy_mc)
    why = value_mc if isinstance(value_mc, str) else _why_not_then(at_ms, arrival)
    if why or isinstance(value_mc, str):
        return refuse(arrival, probe.channel, why)
    aged = arrival.retained or (arrival.waited and not own_time)
    return Reading(
        probe.channel,
        at_ms,
        value_mc,
        probe.accuracy_mc,
        Quality.AGE_UNKNOWN if aged else Quality.GOOD,
        arrival.received_ms,
    )


def refuse(arrival: Arrival, channel: str, why: str) -> Refusal:
    """The refusal of one channel's part in a message, with the message kept whole."""
    return Refusal(
        arrival.topic, channel, arrival.received_ms, why, bytes(arrival.payload)
    )


def nearest(found: str, known: Iterable[str]) -> str:
    """The known name that looks most like the one found; ``""`` if none is known."""
    some = tuple(islice((name for name in known if 0 < len(name) <= LONG), MANY))
    return _nearest(found[:LONG], some)


# Cached, because a sender that is not registered sends the same names all day.
@lru_cache(maxsize=256)
def _nearest(found: str, known: tuple[str, ...]) -> str:
    near = get_close_matches(found, known, n=1, cutoff=0.0)
    return near[0] if near else ""


def trusted(value: Decimal, unit: Unit, accuracy_mc: int) -> int | str:
    """The value in thousandths, or in words why it cannot be true."""
    try:
        value_mc = thousandths(value, unit)
    except ArithmeticError:
        return f"value = {say(value)} is no number that a probe can mean"
    if unit is Unit.PERCENT:
        return value_mc if _possible(value_mc, accuracy_mc) else _not_percent(value)
    if value_mc == DISCONNECTED_MC or value == DISCONNECTED:
        return (
            f"{Doubt.OPEN}: value = {say(value)} {unit} is how a 1-wire library says "
            "that the probe is not connected; look at its plug and cable"
        )
    if LOWEST_MC <= value_mc <= HIGHEST_MC:
        return value_mc
    inside = "" if unit is Unit.CELSIUS else f" ({value_mc / 1000:.3f} degC)"
    found = f"value = {say(value)} {unit}{inside}"
    return f"{Doubt.RANGE}: {found} is outside -200 to 850 degC"


def _possible(value_mc: int, accuracy_mc: int) -> bool:
    """Whether the truth, which lies within the accuracy, can be a humidity."""
    return DRIEST_MC - accuracy_mc <= value_mc <= WETTEST_MC + accuracy_mc


def _not_percent(value: Decimal) -> str:
    found = f"value = {say(value)} %"
    return f"{Doubt.RANGE}: {found} is outside 0 to 100 by more than its accuracy"


def _why_not_then(at_ms: int, arrival: Arrival) -> str:
    ahead_ms = at_ms - arrival.received_ms
    if ahead_ms > AHEAD_MS:
        return f"{Doubt.AHEAD}: its clock is ahead by {say_ms(ahead_ms)}"
    return "its time is before 1970" if at_ms < 0 else ""
