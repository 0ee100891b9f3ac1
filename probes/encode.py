"""What a probe of each payload form would publish: the decoders turned round.

The simulated probes speak through this, and ``decode`` reads back exactly what was
encoded, in every form and unit.

Units: ``_mc`` as in ``rules.facts``; ``_ms`` milliseconds since 1970-01-01T00:00:00Z.
"""

import json
from collections.abc import Callable, Sequence
from decimal import Decimal

from probes.contract import Form, Probe
from probes.pointer import steps
from probes.senml_cbor import write_cbor
from probes.stamps import say_stamp
from probes.units import EXACT, MILLI, SENML_CODES, in_unit

Sent = tuple[Probe, int]  # a probe and its value in thousandths


def encode(probe: Probe, at_ms: int, value_mc: int) -> bytes:
    """One message with one value of one probe."""
    return encode_all([(probe, value_mc)], at_ms)


def encode_all(sent: Sequence[Sent], at_ms: int) -> bytes:
    """One message with a value of each of these probes, which share topic and form.

    Raises:
        ValueError: There is none, they do not share a form, or the form cannot
            carry them.
    """
    forms = {probe.form for probe, _ in sent}
    if len(forms) != 1:
        raise ValueError("a message has one form and at least one value")
    if any(probe.conversion for probe, _ in sent):
        raise ValueError("a raw value is not made from a temperature here")
    return FORMS[forms.pop()](sent, at_ms)


def _records(sent: Sequence[Sent], at_ms: int) -> list[dict[str, object]]:
    """The records of a SenML pack; the base time comes once, in the first."""
    at_s = EXACT.multiply(Decimal(at_ms), MILLI)
    if at_s < 2**28:
        raise ValueError("SenML would take a time before July 1978 as relative")
    records: list[dict[str, object]] = []
    for probe, value_mc in sent:
        fields: dict[str, object] = {} if records else {"bt": at_s}
        fields["n"] = probe.record or probe.channel
        if probe.unit in SENML_CODES:
            fields["u"] = SENML_CODES[probe.unit]
        records.append({**fields, "v": in_unit(value_mc, probe.unit)})
    return records


def _pack(sent: Sequence[Sent], at_ms: int) -> bytes:
    return f"[{','.join(map(_spelled, _records(sent, at_ms)))}]".encode()


def _packed(sent: Sequence[Sent], at_ms: int) -> bytes:
    return write_cbor(_records(sent, at_ms))


def _object(sent: Sequence[Sent], at_ms: int) -> bytes:
    body: dict[str, object] = {}
    for probe, value_mc in sent:
        if probe.time_pointer:
            _put(body, probe.time_pointer, say_stamp(at_ms))
        _put(body, probe.pointer, in_unit(value_mc, probe.unit))
    return _spelled(body).encode()


def _spelled(value: object) -> str:
    """JSON text with every digit of a Decimal, which the json module cannot write."""
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, dict):
        members = (f"{json.dumps(key)}:{_spelled(value[key])}" for key in value)
        return "{" + ",".join(members) + "}"
    return json.dumps(value)


def _put(body: dict[str, object], pointer: str, value: object) -> None:
    *path, last = steps(pointer)
    for step in path:
        inner = body.setdefault(step, {})
        if not isinstance(inner, dict):
            raise ValueError(f"{pointer} leads through a value")
        body = inner
    body[last] = value


def _number(sent: Sequence[Sent], at_ms: int) -> bytes:
    if len(sent) != 1:
        raise ValueError("a bare number is one value")
    probe, value_mc = sent[0]
    return f"{in_unit(value_mc, probe.unit):f}".encode()


FORMS: dict[Form, Callable[[Sequence[Sent], int], bytes]] = {
    Form.SENML: _pack,
    Form.SENML_CBOR: _packed,
    Form.JSON: _object,
    Form.NUMBER: _number,
}
