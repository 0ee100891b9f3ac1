"""Probes that publish a bare number a message, one topic a channel.

Wire form::

    71.25

A number carries no time: the reading's time is when its message came, so a message
that waited in the broker's queue, or was retained there, gives no evidence.
"""

import re
from collections.abc import Sequence
from decimal import Decimal

from probes.contract import Arrival, Decoded, Probe
from probes.conversion import converted
from probes.form import Form, Sent
from probes.json_text import Unusable, not_utf_8, say
from probes.screen import refuse, screen
from probes.units import in_unit

NUMBER = re.compile(r"[+-]?[0-9]{1,40}(\.[0-9]{0,40})?([eE][+-]?[0-9]{1,4})?")
WITH_COMMA = re.compile(r"[+-]?[0-9]{1,40},[0-9]{1,40}")


def decode(probes: Sequence[Probe], arrival: Arrival) -> list[Decoded]:
    """The reading or the refusal that each of these probes gets from the number."""
    value = read_number(arrival.payload)
    if isinstance(value, Unusable):
        return [refuse(arrival, probe.channel, value.why) for probe in probes]
    return [_of_channel(probe, value, arrival) for probe in probes]


def _of_channel(probe: Probe, value: Decimal, arrival: Arrival) -> Decoded:
    given = converted(probe, value)
    if isinstance(given, Unusable):
        return refuse(arrival, probe.channel, given.why)
    return screen(probe, given, arrival.received_ms, False, arrival)


def read_number(payload: bytes) -> Decimal | Unusable:
    """The number a message holds, or why it holds none."""
    try:
        text = payload.decode().strip()
    except UnicodeDecodeError as error:
        return not_utf_8(payload, error)
    if NUMBER.fullmatch(text):
        return Decimal(text)
    if WITH_COMMA.fullmatch(text):
        pointed = text.replace(",", ".")
        return Unusable(f"{say(text)} has a decimal comma; send {pointed}")
    return Unusable(f"{say(text)} is not a bare number" if text else "it is empty")


def encode(sent: Sequence[Sent], at_ms: int) -> bytes:
    """The message that carries this one value.

    Raises:
        ValueError: There is not just one.
    """
    if len(sent) != 1:
        raise ValueError("a bare number is one value")
    probe, value_mc = sent[0]
    return f"{in_unit(value_mc, probe.unit):f}".encode()


FORM = Form("number", decode, example=b"71.25", encode=encode)
