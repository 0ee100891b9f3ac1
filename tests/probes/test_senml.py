"""probes/forms/senml.py: from packs to channels; recorded payloads and the exact words.

That packs resolve as RFC 8428 says is held by tests/standards/test_rfc_8428.py.
"""

from dataclasses import replace

import pytest

from probes.contract import Probe, Refusal, Unit
from probes.decode import decode
from rules.channels import Role
from rules.facts import Quality, Reading
from tests.probes.forms import (
    NOW_MS,
    SENML,
    arrival,
    only_reading,
    only_refusal,
    said,
)

NAME = SENML.record
SECOND = replace(SENML, channel="core-2", record="urn:dev:ow:10e2073a01080064")
DRY = replace(
    SENML,
    channel="humidity",
    role=Role.HUMIDITY,
    record="urn:dev:ow:10e2073a01080065",
    unit=Unit.PERCENT,
    accuracy_mc=2_000,
)
# 10**25 s, less the 491117 h from 1970 to now.
AGES = "clock ahead: its clock is ahead by 2777777777777777286660 h 46 min"
THREE = [SENML, SECOND, DRY]


def pack(*records: str) -> bytes:
    """A pack with the base name in front of the last digits of each record."""
    first = '{"bn":"urn:dev:ow:10e2073a010800"}'
    return f"[{','.join([first, *records])}]".encode()


def test_a_pack_with_its_own_time_is_evidence_even_if_it_waited() -> None:
    message = (
        b'[{"bn":"urn:dev:ow:10e2073a01080063","bt":1768021198.25,"u":"Cel","v":58.0}]'
    )
    assert decode([SENML], arrival(message, waited=True)) == [
        Reading("core-1", NOW_MS - 1_750, 58_000, 500, Quality.GOOD, NOW_MS)
    ]
    retained = only_reading(decode([SENML], arrival(message, retained=True)))
    assert retained.quality is Quality.AGE_UNKNOWN


def test_a_relative_time_is_counted_from_when_the_message_came() -> None:
    message = pack('{"n":"63","t":-2.5,"v":58.0}')
    assert decode([SENML], arrival(message)) == [
        Reading("core-1", NOW_MS - 2_500, 58_000, 500, Quality.GOOD, NOW_MS)
    ]
    waited = only_reading(decode([SENML], arrival(message, waited=True)))
    assert waited.quality is Quality.AGE_UNKNOWN


def test_one_message_serves_many_channels_and_times() -> None:
    message = pack(
        '{"bt":1768021190,"n":"64","u":"Cel","t":5,"v":57.5}',
        '{"n":"63","u":"Cel","v":58}',
        '{"n":"63","u":"Cel","t":5,"v":58.1}',
        '{"n":"65","u":"%RH","v":61.25}',
    )
    decoded = decode(THREE, arrival(message))
    assert said(decoded) == [
        "core-1: 58000",
        "core-1: 58100",
        "core-2: 57500",
        "humidity: 61250",
    ]


def test_one_bad_channel_spares_the_others() -> None:
    message = pack('{"n":"63","v":nan}', '{"n":"64","v":58}', '{"n":"65","vb":true}')
    assert said(decode(THREE, arrival(message))) == [
        "core-1: v = nan is not a number",
        "core-2: 58000",
        "humidity: true is a truth value (vb), not a number",
    ]


@pytest.mark.parametrize(
    ("record", "why"),
    [
        ('"v":null', "v = null is not a number"),
        ('"v":"58"', "v = '58', a text, is not a number"),
        ('"v":58,"v":59', "v is given twice"),
        ('"v":1e999999999', "v = 1E+999999999 is no number that a probe can mean"),
        ('"vs":"58"', "'58' is a text (vs), not a number"),
        ('"vs":"open circuit: is it\\u0007 in?"', "open circuit: is it? in?"),
        ('"vb":false', "false is a truth value (vb), not a number"),
        ('"vd":"aGkgCg"', "'aGkgCg' is data (vd), not a number"),
        ('"s":58', "it carries a sum (s), not a value"),
        ('"t":5', "it carries no value"),
        ('"v":58,"vb":true', "it carries v and vb, not one value"),
        ('"bv":true,"v":58', "bv = true is not a number"),
        ('"v":58,"u":"K"', "its unit is 'K'; the settings say degC"),
        ('"v":58,"u":"%RH"', "its unit is '%RH'; the settings say degC"),
        ('"v":58,"u":"Far"', "its unit is 'Far'; the settings say degC"),
        ('"v":58,"u":7', "u = 7 is not a unit"),
        ('"v":58,"t":"now"', "t = 'now', a text, is not a number"),
        ('"v":58,"bt":null', "bt = null is not a number"),
        ('"v":58,"t":1e-99', "t = 1E-99 has too many digits for a time"),
        ('"v":58,"t":1e25', AGES),
        ('"v":58,"t":-1e25', "its time is before 1970"),
        ('"v":58,"t":120.001', "clock ahead: its clock is ahead by 2 min"),
        (
            '"v":-127',
            "open circuit: value = -127 degC is how a 1-wire library says that the "
            "probe is not connected; look at its plug and cable",
        ),
        (
            '"v":850.001',
            "out of range: value = 850.001 degC is outside -200 to 850 degC",
        ),
        (
            '"v":-200.001',
            "out of range: value = -200.001 degC is outside -200 to 850 degC",
        ),
    ],
)
def test_a_bad_record_is_refused_and_kept(record: str, why: str) -> None:
    message = pack(f'{{"n":"63",{record}}}')
    refused = only_refusal(decode([SENML], arrival(message)))
    assert refused.why == why
    assert refused.channel == "core-1"
    assert refused.payload == message


@pytest.mark.parametrize(
    ("payload", "why"),
    [
        (b"", "the message is empty"),
        (b"[]", "the pack holds no record"),
        (b'[{"bn":"urn:"}]', "the pack holds no record"),
        (b"[" * 100_000, "not JSON we can read: nested too deep"),
        (b"[[]]", "not a SenML pack: record 1 is a list"),
        (b"58.0", "not a SenML pack: 58.0 is not a list of records"),
        (b"null", "not a SenML pack: null is not a list of records"),
        (b'[{"n":"a","v":\xff}]', "not UTF-8 text: byte 0xff at 15"),
        (
            b'[{"n":"a","v":71,2}]',
            "not JSON: 71,2 looks like a decimal comma; write a point: 71.2",
        ),
        (b'[{"n":"a","v":1}', "not JSON: it ends too early"),
        (
            b'[{"bver":11,"n":"a","v":1}]',
            "bver = 11 is newer than 10, the version known here",
        ),
        (b'[{"bver":"10","n":"a","v":1}]', "bver = '10', a text, is not a number"),
        (b'[{"bver":5,"bver":10,"n":"a","v":1}]', "bver is given twice"),
        (
            b'[{"n":"a","v":1,"x_":2}]',
            "the pack must not be used without knowing 'x_'",
        ),
    ],
)
def test_a_bad_pack_is_refused_once_and_kept(payload: bytes, why: str) -> None:
    refused = only_refusal(decode(THREE, arrival(payload)))
    assert refused.why == why
    assert refused.channel == ""
    assert refused.payload == payload


def test_a_record_that_no_channel_listens_to_is_named_once() -> None:
    message = pack('{"n":"63","v":58}', '{"n":"063","v":1}', '{"n":"6B","v":2}')
    assert said(decode(THREE, arrival(message))) == [
        "core-1: 58000",
        ": no channel listens to the record urn:dev:ow:10e2073a010800063 and 1 more; "
        "the nearest that one listens to is urn:dev:ow:10e2073a01080063",
    ]


@pytest.mark.parametrize(
    ("record", "shown"),
    [
        (
            '"n":"urn:dev:ow:10e2073a0108 0064"',
            "'urn:dev:ow:10e2073a0108 0064' (not a SenML name)",
        ),
        ('"u":"Cel"', "(that has no name)"),
        ('"n":64', "(whose name is not a text)"),
    ],
)
def test_a_record_without_a_right_name_is_named_too(record: str, shown: str) -> None:
    (words,) = said(decode([SECOND], arrival(b"[{" + record.encode() + b',"v":58}]')))
    assert words == (
        f": no channel listens to the record {shown}; "
        "the nearest that one listens to is urn:dev:ow:10e2073a01080064"
    )


def test_a_probe_without_a_record_takes_the_only_one() -> None:
    any_name = replace(SENML, record="")
    both = pack('{"n":"64","v":57}', '{"n":"63","v":58}')
    assert said(decode([any_name], arrival(pack('{"n":"7F","v":58}')))) == [
        "core-1: 58000"
    ]
    assert said(decode([any_name, SECOND], arrival(both))) == [
        "core-1: 58000",
        "core-2: 57000",
    ]
    assert said(decode([any_name], arrival(both))) == [
        ": no channel can tell urn:dev:ow:10e2073a01080063 and 1 more apart: "
        "name its record"
    ]


def test_a_sick_sender_cannot_fill_the_journal() -> None:
    """One refusal a channel and message, however many records are bad."""
    records = ['{"n":"63","v":nan}', '{"n":"64","v":1}'] * 1_000
    decoded = decode([SENML, SECOND], arrival(pack(*records)))
    refused = [given for given in decoded if isinstance(given, Refusal)]
    assert [one.why for one in refused] == [
        "v = nan is not a number (the first of 1000 bad records)"
    ]


def test_a_unit_may_be_left_out_but_not_contradict() -> None:
    fahrenheit = replace(SENML, unit=Unit.FAHRENHEIT)  # SenML has no code for it
    message = pack('{"n":"63","v":130}')
    assert only_reading(decode([fahrenheit], arrival(message))).value_mc == 54_444
    message = pack('{"n":"63","u":"Cel","v":130}')
    assert only_refusal(decode([fahrenheit], arrival(message))).why == (
        "its unit is 'Cel' (degC); the settings say degF"
    )


def test_kelvin_where_the_settings_say_so() -> None:
    kelvin = replace(SENML, unit=Unit.KELVIN)
    message = pack('{"n":"63","bu":"K","v":331.15}')
    assert only_reading(decode([kelvin], arrival(message))).value_mc == 58_000


CHARGED = replace(SENML, battery=f"{NAME}:battery")


@pytest.mark.parametrize(
    ("probe", "sent", "words"),
    [
        (  # RFC 8428 section 5.1.3: the same name, in another unit
            SENML,
            ['{"n":"63","u":"Cel","v":58.0}', '{"n":"63","u":"%EL","v":98.0}'],
            ["core-1: 58000", "core-1: battery: 98000"],
        ),
        (
            CHARGED,
            ['{"n":"63","u":"Cel","v":58.0}', '{"n":"63:battery","u":"%EL","v":7.5}'],
            ["core-1: 58000", "core-1: battery: 7500"],
        ),
        (  # the charge alone, of a probe that measures less often than it says so
            replace(CHARGED, record=""),
            ['{"n":"63","v":58.0}', '{"n":"63:battery","u":"%EL","v":7.5}'],
            ["core-1: 58000", "core-1: battery: 7500"],
        ),
        (
            CHARGED,
            ['{"n":"63:battery","u":"EL","v":86400}'],  # seconds, section 12.1
            ["core-1: battery: its unit is 'EL'; a charge is told in %EL"],
        ),
        (
            CHARGED,
            ['{"n":"63:battery","v":80}'],
            ["core-1: battery: its unit is ''; a charge is told in %EL"],
        ),
        (
            SENML,
            ['{"n":"63","u":"%EL","v":120}'],
            [
                "core-1: battery: out of range: value = 120 % is outside 0 to 100 "
                "by more than its accuracy"
            ],
        ),
    ],
)
def test_the_charge_of_a_battery(
    probe: Probe, sent: list[str], words: list[str]
) -> None:
    assert said(decode([probe], arrival(pack(*sent)))) == words


@pytest.mark.parametrize("code", ["V", "Pa", "Ohm", "mV", "%", "/", "A", "lon", "degC"])
def test_a_unit_of_another_thing_is_refused(code: str) -> None:
    refusal = only_refusal(
        decode([SENML], arrival(pack(f'{{"n":"63","u":"{code}","v":1}}')))
    )
    assert refusal.why.startswith(f"its unit is '{code}'")
    assert refusal.channel == "core-1"
