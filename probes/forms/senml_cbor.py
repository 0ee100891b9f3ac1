"""Probes that publish SenML packs as CBOR: the same records as JSON, in fewer bytes.

A record is a map whose known fields have small numbers for names; what a record
means is ``probes.forms.senml``'s to say.  A number may be an integer, a float or a
decimal fraction; a float stands for the shortest decimal that is the same float,
which is what its sender meant.  Data (``vd``) are bytes here and base64url text there.

Nothing is guessed: bytes after the pack, a field given twice or a known field under
its name instead of its number forbid the use of the pack.

Source: RFC 8428 section 6, table 4 (the numbers), and RFC 8949 (CBOR).
"""

import base64
import io
from collections.abc import Sequence
from decimal import Decimal

import cbor2

from probes.contract import Arrival, Decoded, Probe
from probes.form import Form, Sent
from probes.forms.senml import COLD, KEYS, decode_pack, records_of, timed
from probes.json_text import LONGEST, Unusable, say

FIELDS = {
    -6: "bs",
    -5: "bv",
    -4: "bu",
    -3: "bt",
    -2: "bn",
    -1: "bver",
    0: "n",
    1: "u",
    2: "v",
    3: "vs",
    4: "vb",
    5: "s",
    6: "t",
    7: "ut",
    8: "vd",
}
NUMBERS = {name: number for number, name in FIELDS.items()}
DEEPEST = 20
LARGEST = 2**64  # an integer beyond it is no measurement


def decode(probes: Sequence[Probe], arrival: Arrival) -> list[Decoded]:
    """Every reading the pack holds for these probes, and what could not be trusted."""
    return decode_pack(probes, arrival, read_cbor(arrival.payload))


def read_cbor(payload: bytes) -> object:
    """The pack a message holds, as ``read_json`` gives it, or why it holds none."""
    if not payload:
        return Unusable("the message is empty")
    if len(payload) > LONGEST:
        return Unusable(f"{len(payload)} bytes is more than {LONGEST}")
    octets = io.BytesIO(payload)
    try:
        pack = cbor2.CBORDecoder(
            octets, max_depth=DEEPEST, allow_duplicate_keys=False
        ).decode()
    except Exception as error:  # its tags build many kinds of things from hostile bytes
        return Unusable(f"not CBOR we can read: {say(str(error))}")
    if octets.tell() != len(payload):
        return Unusable(f"not one CBOR pack: bytes follow from {octets.tell() + 1} on")
    if not isinstance(pack, list):
        return _plain(pack)
    records = [_record(one) if isinstance(one, dict) else _plain(one) for one in pack]
    bad = (one for one in records if isinstance(one, Unusable))
    return next(bad, records)


def write_cbor(records: Sequence[dict[str, object]]) -> bytes:
    """The bytes of a pack of these records, whose fields have their JSON names."""
    numbered = [
        {NUMBERS.get(name, name): value for name, value in record.items()}
        for record in records
    ]
    return cbor2.dumps(numbered)


def _record(found: dict[object, object]) -> dict[str, object] | Unusable:
    record: dict[str, object] = {}
    for key, value in found.items():
        if isinstance(key, str) and key not in NUMBERS:
            name = key
        elif isinstance(key, int) and not isinstance(key, bool):
            name = FIELDS.get(key, f"({key})")
        else:
            return Unusable(f"not SenML in CBOR: a field is named {say(key)}")
        record[name] = _data(value) if name == "vd" else _plain(value)
    return record


def _data(value: object) -> object:
    if isinstance(value, bytes):
        return base64.urlsafe_b64encode(value).rstrip(b"=").decode()
    return Unusable("vd is not bytes")


def _plain(value: object) -> object:
    """The value as the JSON reader would give it."""
    if value is None or isinstance(value, str | bool | Decimal):
        return value if not isinstance(value, Decimal) else _number(value)
    if isinstance(value, int):
        if abs(value) > LARGEST:
            return Unusable("= an integer of more than 64 bits is not a measurement")
        return Decimal(value)
    if isinstance(value, float):
        return _number(Decimal(repr(value)))
    if isinstance(value, list | dict):
        return [] if isinstance(value, list) else {}
    return Unusable(f"= {type(value).__name__} of CBOR is not a number")


def _number(value: Decimal) -> Decimal | Unusable:
    if value.is_finite():
        return value
    return Unusable(f"= {str(value).lower()} is not a number")


def encode(sent: Sequence[Sent], at_ms: int) -> bytes:
    """The pack that carries these values.

    Raises:
        ValueError: The time is one that SenML takes as relative.
    """
    return write_cbor(records_of(sent, at_ms))


FORM = Form(
    "senml-cbor",
    decode,
    # One record of bt (-3), n (0), u (1) and v (2): RFC 8428, table 4.
    example=b"\x81\xa4\x22\x1a\x69\x61\xdc\xd0\x00\x70urn:dev:ow:1d-a2"
    b"\x01\x63Cel\x02\x18\x3a",
    keys=KEYS,
    apart="record",
    cold=COLD,
    encode=encode,
    timed=timed,
)
