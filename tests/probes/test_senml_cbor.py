"""probes/forms/senml_cbor.py: what bytes carry, and the exact words about the rest.

The payloads are written by hand from RFC 8949 appendix A's way of writing bytes; a
second library of CBOR is not needed, for ``cbor2`` is not ours.
"""

from dataclasses import replace

import cbor2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from probes.contract import Refusal
from probes.decode import decode
from tests.probes.forms import NOW_MS, SENML, arrival, only_reading, only_refusal, said

CBOR = replace(SENML, form="senml-cbor", record="a")
NOW_S = NOW_MS // 1000


def packed(*records: dict[object, object]) -> bytes:
    """The bytes of a pack."""
    return cbor2.dumps(list(records))


def test_a_recorded_payload_byte_for_byte() -> None:
    # [{0: "a", 1: "Cel", 2: 4([-3, 71250]), 6: 1768021200}]
    payload = bytes.fromhex("81a40061610163 43656c02c482221a00011652061a6961dcd0")
    reading = only_reading(decode([CBOR], arrival(payload)))
    assert (reading.channel, reading.value_mc) == ("core-1", 71_250)
    assert reading.at_ms == NOW_MS


@pytest.mark.parametrize(
    ("number", "value_mc"),
    [
        ("f95478", 71_500),  # 71.5 in half precision
        ("fa428e8000", 71_250),  # 71.25 in single precision
        ("fb40371999 9999999a", 23_100),  # the double nearest 23.1
        ("1847", 71_000),
        ("29", -10_000),
        ("c48220190165", 35_700),  # 357 * 10**-1
    ],
)
def test_every_kind_of_number(number: str, value_mc: int) -> None:
    payload = bytes.fromhex(f"81a300616102{number}061a6961dcd0")
    assert only_reading(decode([CBOR], arrival(payload))).value_mc == value_mc


@pytest.mark.parametrize(
    ("payload", "why"),
    [
        (b"", "the message is empty"),
        (bytes.fromhex("8100ff"), "not one CBOR pack: bytes follow from 3 on"),
        (bytes.fromhex("8101"), "not a SenML pack: record 1 is 1"),
        (bytes.fromhex("a0"), "not a SenML pack: an object is not a list of records"),
        (packed({"n": "a", 2: 1}), "not SenML in CBOR: a field is named 'n'"),
        (packed({0: "a", 2: float("nan")}), "v = nan is not a number"),
        (packed({0: "a", 2: 2**70}), "v = an integer of more than 64 bits is not"),
        (packed({0: "a", 8: "text"}), "vd = "),
        (packed({0: "a", 2: 1, "must_": 1}), "without knowing 'must_'"),
        (packed({-1: 11, 0: "a", 2: 1}), "bver = 11 is newer than 10"),
        (packed({0: "a", 1: "K", 2: 300}), "its unit is 'K'; the settings say degC"),
    ],
)
def test_a_bad_pack_is_refused_with_the_words_of_the_json_one(
    payload: bytes, why: str
) -> None:
    assert why in only_refusal(decode([CBOR], arrival(payload))).why


@pytest.mark.parametrize(
    "payload",
    [
        bytes.fromhex("82a1"),
        bytes.fromhex("81a20061610061 62"),
        bytes.fromhex("9bffffffffffffffff"),
        bytes.fromhex("81" * 50),
        bytes.fromhex("d82361 5b"),  # a regular expression that is none
    ],
)
def test_what_is_no_cbor_says_so(payload: bytes) -> None:
    why = only_refusal(decode([CBOR], arrival(payload))).why
    assert why.startswith("not CBOR we can read: ")


def test_one_bad_record_spares_its_neighbours() -> None:
    other = replace(CBOR, channel="core-2", record="b")
    payload = packed({0: "a", 2: "58"}, {0: "b", 2: 58, 6: NOW_S})
    assert said(decode([CBOR, other], arrival(payload))) == [
        "core-1: v = '58', a text, is not a number",
        "core-2: 58000",
    ]


def test_data_are_kept_out_of_the_numbers() -> None:
    refusal = only_refusal(decode([CBOR], arrival(packed({0: "a", 8: b"hi\n"}))))
    assert refusal.why == "'aGkK' is data (vd), not a number"


SIMPLE = st.none() | st.booleans() | st.integers() | st.floats() | st.binary()
ANYTHING = st.recursive(
    SIMPLE | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.integers(-8, 10) | st.text(max_size=3), inner, max_size=4)
    ),
    max_leaves=10,
)


@given(st.lists(ANYTHING, max_size=3) | ANYTHING, st.integers(0, 80), st.binary())
def test_whatever_the_bytes_are_it_answers(found: object, at: int, put: bytes) -> None:
    whole = cbor2.dumps(found)
    for payload in (whole, whole[:at], whole[:at] + put + whole[at:]):
        for given_ in decode([CBOR], arrival(payload)):
            if isinstance(given_, Refusal):
                assert given_.why.encode()
                assert given_.payload == payload
