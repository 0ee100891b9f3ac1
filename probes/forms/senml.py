"""Probes that publish SenML JSON packs (RFC 8428), one or many channels a message.

Wire form (topic free, QoS 1)::

    [{"bn": "urn:dev:ow:10e2073a01080063", "bt": 1768021200, "u": "Cel", "v": 3.75}]

``resolve`` applies the base fields and answers records in the order of time;
``decode`` gives each channel what its record carries.  A bad record refuses itself
and leaves its neighbours alone; a channel is refused at most once a message, however
many of its records are bad, so that a sick sender cannot fill the journal.  A record
``NAME:seq`` beside ``NAME`` counts what its sender has measured: a series of its own,
in which a lost sample shows (``probes.contract.numbers_of``).  What a record says in
``%EL`` is the charge of the probe's battery, be it under the channel's own name, as
the source's example has it, or under the name given as ``battery record``.

Rules taken from the source: base fields act on their record and later ones; name =
``bn`` + ``n``; time = ``bt`` + ``t``, relative to now below 2**28 seconds; ``bv`` is
added to ``v``, a missing one of the two is zero; a version above 10, and an unknown
field whose name ends in ``_``, forbid the use of the pack.  Stricter than the source:
a unit that contradicts the settings is refused, and never converted; so is the only
record of a pack where its name is another probe's than the settings say.

Units: ``_s`` seconds, as SenML counts; ``_ms`` milliseconds; both since
1970-01-01T00:00:00Z.

Source: RFC 8428 sections 4 (fields), 4.4 (extensions), 4.5.3 (time), 4.6 (resolved),
5.1.3 (a battery beside a measurement).
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import NamedTuple

from probes.contract import (
    NUMBER_STEP,
    Arrival,
    Decoded,
    Probe,
    Raw,
    Unit,
    battery_of,
    numbers_of,
    powered_by,
)
from probes.conversion import converted
from probes.doubts import said
from probes.form import Form, Key, Sent
from probes.identity import why_another
from probes.json_text import (
    Unusable,
    read_json,
    say,
    say_raw,
    spelled,
    why_no_number,
)
from probes.screen import nearest, refuse, screen
from probes.units import (
    EXACT,
    MILLI,
    SENML_CODES,
    THOUSAND,
    UNIT_OF_CODE,
    in_unit,
)
from rules.facts import Reading

VERSION = Decimal(10)
RELATIVE_S = Decimal(2**28)  # RFC 8428 section 4.5.3
NOTHING = Decimal(0)
MOST = 10**12  # of samples that a probe can have given
LONGEST_WHY = 200
CHARGE = "%EL"  # percents of a battery's energy that are left: RFC 8428 section 12.1
NUMBERED = ":seq"  # after a record's name: how its sender counts its samples
# Ten digits are beyond 2**28 s; one base time for all, or one record with its own.
PLAIN_BASE = re.compile(
    rb'\s*\[\s*\{[^{}]*"bt"\s*:\s*[1-9][0-9]{9}(?!.*"bt")', re.DOTALL
)
PLAIN_RECORD = re.compile(rb'\s*\[\s*\{[^{}]*"t"\s*:\s*[1-9][0-9]{9}[.,}][^{}]*\]\s*')
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")  # RFC 8428 section 4.5.1
BASES = frozenset(("bn", "bt", "bu", "bv", "bs", "bver"))
VALUES = ("v", "vs", "vb", "vd")
RAW_CODES = {Raw.OHM: "Ohm", Raw.MILLIVOLT: "mV"}  # RFC 8428 12.1, RFC 8798
KINDS = {"vs": "a text (vs)", "vb": "a truth value (vb)", "vd": "data (vd)"}


class Record(NamedTuple):
    """One record with its base fields applied."""

    name: str
    unit: str  # "" where the pack names none
    at_s: Decimal
    own_time: bool  # the pack carried an absolute time for it
    field: str  # which of v, vs, vb, vd it carried; "s" where only a sum
    value: Decimal | str | bool | Unusable


def decode(probes: Sequence[Probe], arrival: Arrival) -> list[Decoded]:
    """Every reading the pack holds for these probes, and what could not be trusted."""
    return decode_pack(probes, arrival, read_json(arrival.payload))


def plainly_timed(payload: bytes) -> bool:
    """Whether one look shows that every time in a pack is absolute.

    False says nothing: ``decode`` has to be asked.
    """
    return bool(PLAIN_BASE.match(payload) or PLAIN_RECORD.fullmatch(payload))


def decode_pack(
    probes: Sequence[Probe], arrival: Arrival, read: object
) -> list[Decoded]:
    """The same for a pack that was read already, from JSON or from CBOR."""
    now_s = EXACT.multiply(Decimal(arrival.received_ms), MILLI)
    pack = resolve(read, now_s)
    if isinstance(pack, Unusable):
        channel = probes[0].channel if len(probes) == 1 else ""
        return [refuse(arrival, channel, pack.why)]
    decoded: list[Decoded] = []
    names = {record.name for record in pack}
    # The number that counts the samples of a record is no record of a channel.
    names -= {name + NUMBERED for name in names}
    only = _only_unclaimed(names, probes)
    for probe in probes:
        wanted = probe.record or only
        if wanted is not None:
            mine = [record for record in pack if record.name == wanted]
            if mine and (why := _why_another(probe, wanted)):
                decoded.append(refuse(arrival, probe.channel, why))
                mine = []
            colds = _colds(probe, pack)
            charges = [record for record in mine if record.unit == CHARGE]
            mine = [record for record in mine if record.unit != CHARGE]
            charges += [one for one in pack if one.name == probe.battery]
            decoded += _of_channel(probe, mine, colds, arrival)
            decoded += _of_channel(_battery(probe), charges, (), arrival)
            if mine:  # a sample that is refused has come all the same
                decoded += _numbers(probe, wanted + NUMBERED, pack, arrival)
            names -= {wanted, probe.battery, *(record.name for record in colds)}
    if names or not pack:
        decoded.append(refuse(arrival, "", _why_unheard(pack, names, probes)))
    return decoded


def resolve(pack: object, now_s: Decimal) -> list[Record] | Unusable:
    """The records of a pack with names whole, times absolute, in the order of time.

    A record that breaks the rules is there too, its value ``Unusable``; a pack that
    may not be used at all is ``Unusable`` itself.
    """
    if isinstance(pack, Unusable):
        return pack
    if not isinstance(pack, list):
        return Unusable(f"not a SenML pack: {say(pack)} is not a list of records")
    bases: dict[str, object] = {}
    records: list[Record] = []
    for number, entry in enumerate(pack, start=1):
        if not isinstance(entry, dict):
            return Unusable(f"not a SenML pack: record {number} is {say(entry)}")
        for field in entry:
            if field in BASES:
                if field == "bver" and (why := _why_not_version(bases, entry[field])):
                    return Unusable(why)
                bases[field] = entry[field]
            elif field[-1:] == "_":
                return Unusable(f"the pack must not be used without knowing {field!r}")
        if not entry.keys() <= BASES:
            records.append(_resolved(entry, bases, now_s))
    records.sort(key=_time_of)
    return records


def _time_of(record: Record) -> Decimal:
    return record.at_s


def _why_not_version(bases: dict[str, object], version: object) -> str:
    if not isinstance(version, Decimal):
        return f"bver {why_no_number(version)}"
    if version > VERSION:
        return f"bver = {say(version)} is newer than 10, the version known here"
    if bases.get("bver", version) != version:
        return f"bver = {say(version)} after {say(bases['bver'])}: two versions"
    return ""


def _resolved(
    entry: dict[str, object], bases: dict[str, object], now_s: Decimal
) -> Record:
    """One record, its value ``Unusable`` where any field it needs is."""
    name, bad_name = _name(entry, bases)
    unit = entry.get("u", bases.get("bu", ""))
    at_s = _sum("t", entry, bases)
    field, value = _value(entry, bases)
    if bad_name:
        value = Unusable(bad_name)
    if not isinstance(unit, str):
        unit, value = "", Unusable(f"u = {say(unit)} is not a unit")
    if isinstance(at_s, Unusable):
        return Record(name, unit, now_s, False, field, at_s)
    if at_s >= RELATIVE_S:
        return Record(name, unit, at_s, True, field, value)
    try:
        at_s = EXACT.add(now_s, at_s)
    except ArithmeticError:
        value = Unusable(f"t = {say(at_s)} has too many digits for a time")
        at_s = now_s
    return Record(name, unit, at_s, False, field, value)


def _name(entry: dict[str, object], bases: dict[str, object]) -> tuple[str, str]:
    """The whole name, or what stands in its place, and why it is none."""
    start, rest = bases.get("bn", ""), entry.get("n", "")
    if not isinstance(start, str) or not isinstance(rest, str):
        return "(whose name is not a text)", "its name is not a text"
    name = start + rest
    if NAME.fullmatch(name):
        return name, ""
    if not name:
        return "(that has no name)", "it has no name"
    return f"{say(name)} (not a SenML name)", f"{say(name)} is not a SenML name"


def _sum(
    field: str, entry: dict[str, object], bases: dict[str, object]
) -> Decimal | Unusable:
    """The field with its base added; a missing one of the two counts as zero."""
    base, own = bases.get("b" + field, NOTHING), entry.get(field, NOTHING)
    if not isinstance(base, Decimal):
        return Unusable(f"b{field} {why_no_number(base)}")
    if not isinstance(own, Decimal):
        return Unusable(f"{field} {why_no_number(own)}")
    try:
        return EXACT.add(base, own)
    except ArithmeticError:
        return Unusable(f"{field} = {say(own)} is no number that a probe can mean")


def _value(
    entry: dict[str, object], bases: dict[str, object]
) -> tuple[str, Decimal | str | bool | Unusable]:
    fields = [field for field in VALUES if field in entry]
    if len(fields) > 1:
        return fields[0], Unusable(f"it carries {' and '.join(fields)}, not one value")
    if fields and fields[0] != "v":
        value = entry[fields[0]]
        wanted = bool if fields[0] == "vb" else str
        if isinstance(value, wanted):
            return fields[0], value
        return fields[0], Unusable(f"{fields[0]} = {say(value)} is of the wrong kind")
    if fields or "s" not in entry:
        if not fields and "bv" not in bases:
            return "v", Unusable("it carries no value")
        return "v", _sum("v", entry, bases)
    return "s", Unusable("it carries a sum (s), not a value")


def _why_another(probe: Probe, name: str) -> str:
    """Why the only record of a pack is not of the channel's probe; "" if it is."""
    bound = probe.identity and not probe.record
    return why_another(probe, name) if bound else ""


def _only_unclaimed(names: set[str], probes: Sequence[Probe]) -> str | None:
    """The one name in the pack that no channel asks for, if there is just one."""
    free = names - {name for one in probes for name in (one.record, one.battery)}
    return next(iter(free)) if len(free) == 1 else None


def _battery(probe: Probe) -> Probe:
    """The channel that the charge of the probe's battery is."""
    return replace(
        probe,
        channel=battery_of(probe.channel),
        unit=Unit.PERCENT,
        conversion=None,
        accuracy_mc=0,
        battery="",
    )


def _colds(probe: Probe, pack: Iterable[Record]) -> list[Record]:
    """The records of the probe's cold junction, where it has one."""
    name = probe.conversion.cold if probe.conversion else ""
    return [record for record in pack if name and record.name == name]


def _of_channel(
    probe: Probe,
    records: Iterable[Record],
    colds: Sequence[Record],
    arrival: Arrival,
) -> list[Decoded]:
    """The readings in a channel's records, and one refusal for all the bad ones."""
    decoded: list[Decoded] = []
    whys: list[str] = []
    for record in records:
        given = _of_record(probe, record, _cold_of(record, colds), arrival)
        if isinstance(given, Reading):
            decoded.append(given)
        else:
            whys.append(given if isinstance(given, str) else given.why)
    if whys:
        more = f" (the first of {len(whys)} bad records)" if len(whys) > 1 else ""
        decoded.append(refuse(arrival, probe.channel, whys[0] + more))
    return decoded


def _numbers(
    probe: Probe, name: str, pack: Iterable[Record], arrival: Arrival
) -> list[Decoded]:
    """How the sender has counted the samples of the probe, as a series of its own."""
    return [
        Reading(
            numbers_of(probe.channel),
            round(EXACT.multiply(record.at_s, THOUSAND)),
            int(record.value) * NUMBER_STEP,
            0,
            received_ms=arrival.received_ms,
        )
        for record in pack
        if record.name == name
        and record.own_time
        and not arrival.retained
        and isinstance(record.value, Decimal)
        and 0 < record.value <= MOST
        and record.value == int(record.value)
    ]


def _cold_of(record: Record, colds: Iterable[Record]) -> object:
    """The cold junction at the very time of a record; it is not guessed from others."""
    for cold in colds:
        if cold.at_s == record.at_s:
            right = cold.unit in ("", SENML_CODES[Unit.CELSIUS])
            return cold.value if right else Unusable(f"is in {say(cold.unit)}, not Cel")
    return None


def _of_record(
    probe: Probe, record: Record, cold: object, arrival: Arrival
) -> Decoded | str:
    value = record.value
    if isinstance(value, Unusable):
        return value.why
    if isinstance(value, str) and said(value):
        # As its sender wrote it, so that the doubt's name stands first.
        return "".join(x if x.isprintable() else "?" for x in value[:LONGEST_WHY])
    if not isinstance(value, Decimal):
        return f"{say(value)} is {KINDS[record.field]}, not a number"
    charge = powered_by(probe.channel)
    if charge and record.unit != CHARGE:
        return f"its unit is {say(record.unit)}; a charge is told in {CHARGE}"
    if not charge and record.unit and record.unit != _code_of(probe):
        return _why_not_unit(record.unit, probe)
    value = converted(probe, value, cold)
    if isinstance(value, Unusable):
        return value.why
    try:
        at_ms = round(EXACT.multiply(record.at_s, THOUSAND))
    except ArithmeticError:
        return f"t = {say(record.at_s)} has too many digits for a time"
    return screen(probe, value, at_ms, record.own_time, arrival)


def _code_of(probe: Probe) -> str | None:
    if probe.conversion:
        return RAW_CODES[probe.conversion.raw]
    return SENML_CODES.get(probe.unit)


def _why_not_unit(code: str, probe: Probe) -> str:
    unit = UNIT_OF_CODE.get(code)
    meaning = f" ({unit})" if unit and unit != code else ""
    wanted = probe.conversion.raw if probe.conversion else probe.unit
    return f"its unit is {say(code)}{meaning}; the settings say {wanted}"


def _why_unheard(
    pack: Sequence[Record], names: Iterable[str], probes: Sequence[Probe]
) -> str:
    """Say in one sentence which records no channel listens to."""
    if not pack:
        return "the pack holds no record"
    first, *others = sorted(names)
    more = f" and {len(others)} more" if others else ""
    near = nearest(first, (probe.record for probe in probes))
    if not near:  # every channel here takes the only record of a pack
        return f"no channel can tell {say_raw(first)}{more} apart: name its record"
    return (
        f"no channel listens to the record {say_raw(first)}{more}; "
        f"the nearest that one listens to is {near}"
    )


def records_of(sent: Sequence[Sent], at_ms: int) -> list[dict[str, object]]:
    """The records that carry these values; the base time comes once, in the first.

    Raises:
        ValueError: The time is one that SenML takes as relative.
    """
    at_s = EXACT.multiply(Decimal(at_ms), MILLI)
    if at_s < RELATIVE_S:
        raise ValueError("SenML would take a time before July 1978 as relative")
    records: list[dict[str, object]] = []
    for probe, value_mc in sent:
        fields: dict[str, object] = {} if records else {"bt": at_s}
        fields["n"] = probe.record or probe.channel
        if probe.unit in SENML_CODES:
            fields["u"] = SENML_CODES[probe.unit]
        records.append({**fields, "v": in_unit(value_mc, probe.unit)})
    return records


def encode(sent: Sequence[Sent], at_ms: int) -> bytes:
    """The pack that carries these values.

    Raises:
        ValueError: The time is one that SenML takes as relative.
    """
    return f"[{','.join(map(spelled, records_of(sent, at_ms)))}]".encode()


def timed(_: Probe) -> bool:
    """Whether a record can carry a time: always."""
    return True


BATTERY = "which record is the charge of its battery"
KEYS = (
    Key("record", "which record is its own", "urn:dev:ow:1d-a2", "record"),
    Key("battery record", BATTERY, "urn:dev:ow:1d-a2:battery", "battery"),
)
COLD = Key("cold junction", "which record is the cold junction", "urn:dev:ow:1d-a3")
FORM = Form(
    "senml",
    decode,
    example=b'[{"bt":1768021200,"n":"urn:dev:ow:1d-a2","u":"Cel","v":58.0}]',
    keys=KEYS,
    apart="record",
    cold=COLD,
    encode=encode,
    timed=timed,
    plainly_timed=plainly_timed,
)
