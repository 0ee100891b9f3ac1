"""probes/forms/json_object.py: recorded payloads byte for byte, and the exact words."""

from dataclasses import replace

import pytest

from probes.contract import Unit
from probes.decode import decode
from rules.facts import Quality, Reading
from tests.probes.forms import (
    JSON,
    NOW_MS,
    arrival,
    only_reading,
    only_refusal,
    said,
)

CHAMBER = replace(JSON, channel="chamber", pointer="/chamber")
SECOND = replace(JSON, channel="core-2", pointer="/core2")
THREE = [CHAMBER, JSON, SECOND]
TIMED = replace(JSON, time_pointer="/t")


@pytest.mark.parametrize(
    "payload",
    [
        b'{"chamber":71.2,"core1":nan,"core2":58.0}',  # what C prints
        b'{"chamber":71.2,"core1":NaN,"core2":58.0}',
        b'{"chamber":71.2,"core1":-nan,"core2":58.0}',
        b'{"chamber":71.2,"core1" : NAN ,"core2":58.0}',
    ],
)
def test_one_failed_channel_spares_the_others(payload: bytes) -> None:
    decoded = decode(THREE, arrival(payload))
    assert said(decoded) == [
        "chamber: 71200",
        "core-1: value at /core1 = nan is not a number",
        "core-2: 58000",
    ]


@pytest.mark.parametrize(
    ("value", "why"),
    [
        (b"inf", "= inf is not a number"),
        (b"-Infinity", "= -inf is not a number"),
        (b"+inf", "= inf is not a number"),
        (b"true", "= true is not a number"),
        (b"null", "= null is not a number"),
        (b'"71.2"', "= '71.2', a text, is not a number"),
        (b'"nan"', "= 'nan', a text, is not a number"),
        (b'"\\ud800\\u0007"', "= '\\ud800\\x07', a text, is not a number"),
        (b"[71.2]", "= a list is not a number"),
        (b"{}", "= an object is not a number"),
        (b'58.0,"core1":58.1', "is given twice"),
        (
            b"1e99999999999999999999",
            "= 1e99999999999999999999 is no number that a probe can mean",
        ),
    ],
)
def test_a_bad_value_is_refused_in_its_place(value: bytes, why: str) -> None:
    payload = b'{"chamber":71.2,"core1":' + value + b',"core2":58.0}'
    decoded = decode(THREE, arrival(payload))
    assert said(decoded) == [
        "chamber: 71200",
        f"core-1: value at /core1 {why}",
        "core-2: 58000",
    ]


@pytest.mark.parametrize(
    ("payload", "why"),
    [
        (b"", "the message is empty"),
        (b"   ", "not JSON: it ends too early"),
        (b"[" * 100_000, "not JSON we can read: nested too deep"),
        (b'{"a":' * 100_000, "not JSON we can read: nested too deep"),
        (b'{"core1":71.2', "not JSON: it ends too early"),
        (b'{"core1":71.2} x', "not JSON from character 16 on: 'x'"),
        (
            b'{"core1":71,2,"core2":58,0}',
            "not JSON: 71,2 looks like a decimal comma; write a point: 71.2",
        ),
        (b"{'core1':71.2}", "not JSON from character 2 on: \"'core1':71.2}\""),
        (b'{"core1":', "not JSON: it ends too early"),
        (b'\xff{"core1":71.2}', "not UTF-8 text: byte 0xff at 1"),
        (b"\xef\xbb\xbf{}", "not JSON from character 1 on: '\\ufeff{}'"),
        (b"71.2", "71.2, no object or list"),
        (b"nan", "= nan is not a number"),
        (b"true", "true, no object or list"),
        (b"null", "null, no object or list"),
        (b"[71.2]", "nothing at /core1; there is a list of 1, counted from /0"),
        (b" " * 1_000_001, "1000001 bytes is more than 1000000"),
        (b"{}", "nothing at /core1"),
        (b'{"Core1":71.2}', "nothing at /core1; the nearest there is '/Core1'"),
        (
            b'{"t":1,"core/1":7,"rssi":-71}',
            "nothing at /core1; the nearest there is '/core~11'",
        ),
        (
            b'{"core1":1e999999999}',
            "value = 1E+999999999 is no number that a probe can mean",
        ),
        (
            b'{"core1":' + b"9" * 100_000 + b"}",
            f"value = {'9' * 60}... is no number that a probe can mean",
        ),
        (
            b'{"core1":1e-999999999}',
            "value = 1E-999999999 is no number that a probe can mean",
        ),
    ],
)
def test_a_bad_message_is_refused_and_kept(payload: bytes, why: str) -> None:
    refused = only_refusal(decode([JSON], arrival(payload)))
    assert refused.why == why
    assert refused.channel == "core-1"
    assert refused.payload == payload


@pytest.mark.parametrize(
    "payload",
    [
        b'{"a":"' + b'\\"' * 400_000,  # a text that never ends
        b'"' * 999_999,
        b"nan" * 300_000,
        b'{"a":' + b"-" * 900_000,
        b":1,1" * 200_000,
        b'{"a":' + b" " * 900_000,
        b'{"' + b'a":1,"' * 100_000 + b'a":1}',
    ],
)
def test_a_long_bad_message_is_refused_without_delay(payload: bytes) -> None:
    """Each of these would run for minutes if its cost grew with its length squared."""
    assert only_refusal(decode([JSON], arrival(payload))).payload == payload


def test_a_channel_that_is_left_out_is_no_reading_and_no_refusal() -> None:
    decoded = decode(THREE, arrival(b'{"chamber":71.2,"core2":58.0,"rssi":-71}'))
    assert said(decoded) == ["chamber: 71200", "core-2: 58000"]


def test_a_message_for_no_channel_is_one_refusal() -> None:
    refused = only_refusal(decode(THREE, arrival(b'{"chambre":71.2}')))
    assert refused.channel == ""
    assert refused.why == (
        "nothing at /chamber (nor at 2 more); the nearest there is '/chambre'"
    )


@pytest.mark.parametrize(
    ("pointer", "payload"),
    [
        ("/probes/1/celsius", b'{"probes":[{"celsius":1},{"celsius":71.2}]}'),
        ("/probes/1/celsius", b'{"probes":{"1":{"celsius":71.2}}}'),
        ("/a~1b/m~0n", b'{"a/b":{"m~n":71.2}}'),
        ("/", b'{"":71.2}'),
    ],
)
def test_the_pointer_leads_to_the_value(pointer: str, payload: bytes) -> None:
    probe = replace(JSON, pointer=pointer)
    assert only_reading(decode([probe], arrival(payload))).value_mc == 71_200


@pytest.mark.parametrize(
    ("stamp", "at_ms"),
    [
        (b'"2026-01-10T04:59:58.250Z"', NOW_MS - 1_750),
        (b'"2026-01-10T05:59:58.250+01:00"', NOW_MS - 1_750),
        (b"1768021198.25", NOW_MS - 1_750),
        (b"1768021198250", NOW_MS - 1_750),
    ],
)
def test_a_message_with_a_time_of_its_own(stamp: bytes, at_ms: int) -> None:
    message = b'{"t":' + stamp + b',"core1":58.0}'
    assert decode([TIMED], arrival(message, waited=True)) == [
        Reading("core-1", at_ms, 58_000, 500, Quality.GOOD, NOW_MS)
    ]
    retained = only_reading(decode([TIMED], arrival(message, retained=True)))
    assert retained.quality is Quality.AGE_UNKNOWN


@pytest.mark.parametrize(
    ("stamp", "why"),
    [
        (
            b'"2026-01-10T05:00:00"',
            "time at /t '2026-01-10T05:00:00' does not say its zone; "
            "add Z for UTC, or +01:00 and the like",
        ),
        (b"null", "time at /t null is not a time"),
        (b"nan", "time at /t = nan is not a number"),
        (b'"2026-01-10T05:02:00.001Z"', "clock ahead: its clock is ahead by 2 min"),
        (b'"2036-01-10T05:00:00Z"', "clock ahead: its clock is ahead by 87648 h"),
        (b'"1969-12-31T23:59:59Z"', "its time is before 1970"),
        (b'1,"t":2', "time at /t is given twice"),
    ],
)
def test_a_time_that_cannot_be_trusted(stamp: bytes, why: str) -> None:
    message = b'{"t":' + stamp + b',"core1":58.0}'
    assert only_refusal(decode([TIMED], arrival(message))).why == why


def test_a_time_that_is_missing() -> None:
    refused = only_refusal(decode([TIMED], arrival(b'{"core1":58.0}')))
    assert refused.why == "time at /t is not there"


def test_two_minutes_ahead_are_still_taken() -> None:
    message = b'{"t":"2026-01-10T05:02:00Z","core1":58.0}'
    reading = only_reading(decode([TIMED], arrival(message)))
    assert reading.at_ms == NOW_MS + 120_000


def test_a_message_without_a_time_that_waited_is_of_unknown_age() -> None:
    reading = only_reading(decode([JSON], arrival(b'{"core1":58.0}', waited=True)))
    assert reading.quality is Quality.AGE_UNKNOWN


def test_two_units_in_one_object() -> None:
    fahrenheit = replace(CHAMBER, unit=Unit.FAHRENHEIT)
    decoded = decode([fahrenheit, JSON], arrival(b'{"chamber":130,"core1":54.444}'))
    assert said(decoded) == ["chamber: 54444", "core-1: 54444"]


RACK = (
    b'{"rack":{"probes":[{"id":"a","now":{"c":57.5}},{"id":"b","now":{"c":null}},'
    b'{"id":"c"}],"t":[1768021200,1768021210]}}'
)


@pytest.mark.parametrize(
    ("pointer", "said_"),
    [
        ("/rack/probes/0/now/c", "core-1: 57500"),
        (
            "/rack/probes/1/now/c",
            "core-1: value at /rack/probes/1/now/c = null is not a number",
        ),
        (
            "/rack/probes/0/now",
            "core-1: value at /rack/probes/0/now = an object is not a number",
        ),
        (
            "/rack/probes/9/now/c",
            "core-1: nothing at /rack/probes/9/now/c; the nearest there is '/rack'",
        ),
        (  # RFC 6901 section 4: an index has no leading zero
            "/rack/probes/00/now/c",
            "core-1: nothing at /rack/probes/00/now/c; the nearest there is '/rack'",
        ),
        (  # and - is past the last, where no value is
            "/rack/probes/-",
            "core-1: nothing at /rack/probes/-; the nearest there is '/rack'",
        ),
    ],
)
def test_a_pointer_leads_through_lists_and_objects(pointer: str, said_: str) -> None:
    assert said(decode([replace(JSON, pointer=pointer)], arrival(RACK))) == [said_]


def test_a_time_may_stand_in_a_list_too() -> None:
    probe = replace(JSON, pointer="/rack/probes/0/now/c", time_pointer="/rack/t/1")
    reading = only_reading(decode([probe], arrival(RACK)))
    assert reading.at_ms == 1_768_021_210_000


def test_the_document_may_be_a_list() -> None:
    two = [replace(JSON, pointer="/0"), replace(JSON, channel="core-2", pointer="/1/c")]
    decoded = decode(two, arrival(b'[71.2,{"c":58}]'))
    assert said(decoded) == ["core-1: 71200", "core-2: 58000"]


CHARGED = replace(JSON, battery="/batt")


@pytest.mark.parametrize(
    ("payload", "words"),
    [
        (b'{"core1":58.0,"batt":81}', ["core-1: 58000", "core-1: battery: 81000"]),
        (b'{"core1":58.0}', ["core-1: 58000"]),
        (b'{"batt":7.5}', ["core-1: battery: 7500"]),
        (
            b'{"core1":58.0,"batt":2950}',  # millivolts
            [
                "core-1: 58000",
                "core-1: battery: out of range: value = 2950 % is outside 0 to 100 "
                "by more than its accuracy",
            ],
        ),
        (
            b'{"core1":nan,"batt":80}',
            [
                "core-1: value at /core1 = nan is not a number",
                "core-1: battery: 80000",
            ],
        ),
    ],
)
def test_a_battery_is_a_channel_of_its_own(payload: bytes, words: list[str]) -> None:
    assert said(decode([CHARGED], arrival(payload))) == words
