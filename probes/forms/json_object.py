"""Probes that publish one JSON document a message, one or many channels in it.

Wire form, with ``value at: /core1`` and ``time at: /t`` in the settings::

    {"t": "2026-01-10T05:00:00.250Z", "chamber": 71.2, "core1": 58.0}

The document is an object or a list, as deep as it likes.  A JSON Pointer (RFC 6901),
``/core1``, ``/rack/probes/3/value`` or ``/0``, says where each channel's value is
and, if the message carries one, its time: ISO 8601 text with its zone, or a count of
seconds or of milliseconds since 1970 (``probes.stamps`` tells which).  Without a time
pointer a reading's time is when its message came.

With ``battery at: /batt`` the charge of the probe's battery, in percent, is a reading
of a channel of its own (``probes.contract.battery_of``).

With ``probe at: /rack/probes/3/id`` the message says whose value it is: where that is
another probe than the settings name, or nobody, the channel is refused.

One bad value refuses its own channel only, a bare ``nan`` included.  A value that is
absent while its neighbours are there is no reading and no refusal: a probe may leave
out what it has not measured, and the channel's own silence is noticed elsewhere.
"""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from probes.contract import Arrival, Decoded, Probe, Unit, battery_of
from probes.conversion import converted
from probes.doubts import Doubt
from probes.form import Form, Sent, pointer_key
from probes.identity import why_another
from probes.json_text import Unusable, read_json, say, spelled, why_no_number
from probes.pointer import NothingThereError, find, pointer_to, steps
from probes.screen import nearest, refuse, screen
from probes.stamps import read_stamp, say_stamp
from probes.units import in_unit

Body = dict[str, object] | list[object]
ABSENT = Unusable("is not there")


def decode(probes: Sequence[Probe], arrival: Arrival) -> list[Decoded]:
    """Every reading the document holds for these probes, and what was not trusted."""
    body = read_json(arrival.payload)
    if not isinstance(body, dict | list):
        why = (
            body.why
            if isinstance(body, Unusable)
            else f"{say(body)}, no object or list"
        )
        return [refuse(arrival, _alone(probes), why)]
    decoded = [
        _of_channel(probe, value, body, arrival)
        for probe in probes
        if (value := _at(body, probe.pointer)) is not ABSENT
    ]
    decoded += [
        _battery(probe, value, body, arrival)
        for probe in probes
        if probe.battery and (value := _at(body, probe.battery)) is not ABSENT
    ]
    return decoded or [refuse(arrival, _alone(probes), _why_unheard(body, probes))]


def _of_channel(probe: Probe, value: object, body: Body, arrival: Arrival) -> Decoded:
    at_ms: int | Unusable = arrival.received_ms
    if why := _why_another(probe, body):
        return refuse(arrival, probe.channel, why)
    if probe.time_pointer:
        at_ms = read_stamp(_at(body, probe.time_pointer))
    if isinstance(at_ms, Unusable):
        why = f"time at {probe.time_pointer} {at_ms.why}"
    elif not isinstance(value, Decimal):
        why = f"value at {probe.pointer} {why_no_number(value)}"
    else:
        cold = _cold(probe, body)
        if isinstance(given := converted(probe, value, cold), Decimal):
            return screen(probe, given, at_ms, bool(probe.time_pointer), arrival)
        why = given.why
    return refuse(arrival, probe.channel, why)


def _why_another(probe: Probe, body: Body) -> str:
    """Why the message is of another probe than the channel's; "" where it is not."""
    if not probe.identity_pointer:
        return ""
    named = _at(body, probe.identity_pointer)
    if isinstance(named, Decimal):
        named = f"{named:f}"
    if isinstance(named, str):
        return why_another(probe, named)
    found = named.why if isinstance(named, Unusable) else f"{say(named)} is no name"
    return f"{Doubt.ANOTHER}: probe at {probe.identity_pointer} {found}"


def _battery(probe: Probe, value: object, body: Body, arrival: Arrival) -> Decoded:
    """The charge of the probe's battery, as a channel of its own."""
    charge = replace(
        probe,
        channel=battery_of(probe.channel),
        unit=Unit.PERCENT,
        pointer=probe.battery,
        conversion=None,
        accuracy_mc=0,
    )
    return _of_channel(charge, value, body, arrival)


def _cold(probe: Probe, body: Body) -> object:
    """What the message says of the probe's cold junction, if it needs one."""
    if probe.conversion is None or not probe.conversion.cold:
        return None
    return _at(body, probe.conversion.cold)


def _at(body: Body, pointer: str) -> object:
    try:
        return find(body, pointer)
    except NothingThereError:
        return ABSENT


def _alone(probes: Sequence[Probe]) -> str:
    return probes[0].channel if len(probes) == 1 else ""


def _why_unheard(body: Body, probes: Sequence[Probe]) -> str:
    wanted = probes[0].pointer
    others = f" (nor at {len(probes) - 1} more)" if len(probes) > 1 else ""
    if isinstance(body, list):
        remedy = f"; there is a list of {len(body)}, counted from /0"
    else:
        near = nearest(wanted.removeprefix("/"), body)
        remedy = f"; the nearest there is {say(pointer_to(near))}" if near else ""
    return f"nothing at {wanted}{others}{remedy}"


def encode(sent: Sequence[Sent], at_ms: int) -> bytes:
    """The object that carries these values where their probes' pointers point.

    Raises:
        ValueError: One pointer leads through the value of another.
    """
    body: dict[str, object] = {}
    for probe, value_mc in sent:
        if probe.time_pointer:
            _put(body, probe.time_pointer, say_stamp(at_ms))
        _put(body, probe.pointer, in_unit(value_mc, probe.unit))
    return spelled(body).encode()


def _put(body: dict[str, object], pointer: str, value: object) -> None:
    *path, last = steps(pointer)
    for step in path:
        inner = body.setdefault(step, {})
        if not isinstance(inner, dict):
            raise ValueError(f"{pointer} leads through a value")
        body = inner
    body[last] = value


def _timed(probe: Probe) -> bool:
    return bool(probe.time_pointer)


VALUE = "where in the object the value is"
FORM = Form(
    "json",
    decode,
    example=b'{"t":"2026-01-10T05:00:00.250Z","core":{"1":58.0},"id":"A7","batt":80}',
    keys=(
        pointer_key("value at", VALUE, "/core/1", "pointer", needed=True),
        pointer_key("time at", "when it was measured", "/t", "time_pointer"),
        pointer_key("battery at", "the charge of its battery", "/batt", "battery"),
        pointer_key("probe at", "whose value it is", "/id", "identity_pointer"),
    ),
    apart="value at",
    cold=pointer_key("cold junction", "the cold junction", "/cold"),
    encode=encode,
    timed=_timed,
)
