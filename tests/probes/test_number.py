"""probes/forms/number.py: recorded payloads, byte for byte, and the exact words."""

import pytest

from probes.decode import decode
from probes.forms.number import read_number
from probes.json_text import Unusable
from rules.facts import Quality, Reading
from tests.probes.forms import CORE, NOW_MS, arrival, only_reading, only_refusal


@pytest.mark.parametrize(
    ("payload", "value_mc"),
    [
        (b"71.25", 71_250),
        (b"71.25\n", 71_250),
        (b"  71.25 \r\n", 71_250),
        (b"+71.25", 71_250),
        (b"71", 71_000),
        (b"71.", 71_000),
        (b"-0.0625", -62),
        (b"7.125E1", 71_250),
        (b"0e9999", 0),
    ],
)
def test_a_bare_number(payload: bytes, value_mc: int) -> None:
    assert decode([CORE], arrival(payload)) == [
        Reading("core-1", NOW_MS, value_mc, 500, Quality.GOOD, NOW_MS)
    ]


@pytest.mark.parametrize(
    ("payload", "why"),
    [
        (b"", "it is empty"),
        (b" \n", "it is empty"),
        (b"71,25", "'71,25' has a decimal comma; send 71.25"),
        (b"-0,5", "'-0,5' has a decimal comma; send -0.5"),
        (b"1.250,5", "'1.250,5' is not a bare number"),
        (b"nan", "'nan' is not a bare number"),
        (b"NaN", "'NaN' is not a bare number"),
        (b"-inf", "'-inf' is not a bare number"),
        (b"true", "'true' is not a bare number"),
        (b"null", "'null' is not a bare number"),
        (b"71.25 C", "'71.25 C' is not a bare number"),
        (b"71.25degC", "'71.25degC' is not a bare number"),
        (b"0x47", "'0x47' is not a bare number"),
        (b"7_1", "'7_1' is not a bare number"),
        (b".5", "'.5' is not a bare number"),
        (b"71 72", "'71 72' is not a bare number"),
        ("\u0667\u0661".encode(), "'\u0667\u0661' is not a bare number"),
        (b'{"core1": 71.25}', "'{\"core1\": 71.25}' is not a bare number"),
        (b"71.25\x00", "'71.25\\x00' is not a bare number"),
        (b"\xff71", "not UTF-8 text: byte 0xff at 1"),
        (b"7\xb0", "not UTF-8 text: byte 0xb0 at 2"),
        (b"9" * 100_000, f"'{'9' * 60}'... is not a bare number"),
        (b"1e999999999", "'1e999999999' is not a bare number"),
        (b"1e9999", "value = 1E+9999 is no number that a probe can mean"),
        (b"1e-9999", "value = 1E-9999 is no number that a probe can mean"),
    ],
)
def test_a_bad_message_is_refused_and_kept(payload: bytes, why: str) -> None:
    refused = only_refusal(decode([CORE], arrival(payload)))
    assert refused.why == why
    assert refused.channel == "core-1"
    assert refused.payload == payload


def test_a_number_that_waited_or_was_retained_is_of_unknown_age() -> None:
    """It carries no time, so nobody knows when it was measured."""
    fresh = arrival(b"71.25")
    assert only_reading(decode([CORE], fresh)).quality is Quality.GOOD
    for old in (arrival(b"71", waited=True), arrival(b"71", retained=True)):
        assert only_reading(decode([CORE], old)).quality is Quality.AGE_UNKNOWN


def test_what_it_reads_is_exact() -> None:
    assert str(read_number(b"71.2500")) == "71.2500"
    assert read_number(b"") == Unusable("it is empty")
