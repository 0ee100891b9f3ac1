"""probes/decode.py and screen.py: laws for any bytes, and what all forms share."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probes.contract import Arrival, Probe, Refusal, Unit
from probes.decode import decode
from probes.encode import encode, encode_all
from rules.channels import Role
from rules.facts import Quality, Reading
from tests.probes.forms import (
    CORE,
    JSON,
    NOW_MS,
    SENML,
    TOPIC,
    arrival,
    only_reading,
    only_refusal,
    said,
)

TIMED = replace(JSON, pointer="/a~1b/0x/c", time_pointer="/when/t")
CBOR = replace(SENML, form="senml-cbor")
EVERY = [CORE, JSON, TIMED, SENML, replace(SENML, record=""), CBOR]


def spelled(members: list[tuple[str, str]]) -> str:
    """A JSON object of these members, whatever they are."""
    return "{" + ",".join(f'"{key}":{value}' for key, value in members) + "}"


JSON_LIKE = st.recursive(
    st.sampled_from(
        ["nan", "null", "true", "58.0", "1e400", "-127", '"x"', '"\\ud800"', "9" * 50]
    ),
    lambda inner: (
        st.lists(inner, max_size=3).map(lambda some: f"[{','.join(some)}]")
        | st.lists(
            st.tuples(
                st.sampled_from(
                    ["n", "bn", "v", "t", "bt", "u", "core1", "a/b", "when", "x_", "vb"]
                ),
                inner,
            ),
            max_size=4,
        ).map(spelled)
    ),
    max_leaves=12,
)


@given(st.binary(max_size=60) | JSON_LIKE.map(str.encode))
def test_whatever_the_bytes_are_it_answers(payload: bytes) -> None:
    """Every channel hears something or the message is kept once; words can be kept."""
    for probe in EVERY:
        decoded = decode([probe], arrival(payload))
        assert decoded
        for given_ in decoded:
            if isinstance(given_, Refusal):
                assert given_.why.encode()
                assert given_.payload == payload
                assert "\n" not in given_.why
            else:
                assert -200_000 <= given_.value_mc <= 850_000
                assert 0 <= given_.at_ms <= NOW_MS + 24 * 3_600_000


@given(
    st.sampled_from(EVERY),
    st.sampled_from([Unit.CELSIUS, Unit.FAHRENHEIT, Unit.KELVIN]),
    st.integers(-126_999, 850_000),
    st.integers(0, 10**12),
)
def test_what_is_encoded_is_decoded_exactly(
    form: Probe, unit: Unit, value_mc: int, before_ms: int
) -> None:
    probe, at_ms = replace(form, unit=unit), NOW_MS - before_ms
    reading = only_reading(decode([probe], arrival(encode(probe, at_ms, value_mc))))
    carries_time = probe.form in ("senml", "senml-cbor") or probe.time_pointer
    assert reading.value_mc == value_mc
    assert reading.at_ms == (at_ms if carries_time else NOW_MS)


@given(st.lists(st.integers(0, 100_000), min_size=1, max_size=4), st.booleans())
def test_many_channels_in_one_message_come_back(values: list[int], senml: bool) -> None:
    probes = [
        replace(
            SENML if senml else TIMED,
            channel=f"h{number}",
            role=Role.HUMIDITY,
            unit=Unit.PERCENT,
            record=f"urn:h{number}",
            pointer=f"/in/{number}",
        )
        for number in range(len(values))
    ]
    message = encode_all(list(zip(probes, values, strict=True)), NOW_MS - 5)
    assert decode(probes, arrival(message)) == [
        Reading(f"h{number}", NOW_MS - 5, value, 500, Quality.GOOD, NOW_MS)
        for number, value in enumerate(values)
    ]


@pytest.mark.parametrize(
    ("probes", "at_ms", "words"),
    [
        ([], NOW_MS, "a message has one form and at least one value"),
        ([CORE, JSON], NOW_MS, "a message has one form and at least one value"),
        ([CORE, CORE], NOW_MS, "a bare number is one value"),
        ([SENML], 268_435_455_999, "before July 1978"),
        ([JSON, replace(JSON, pointer="/core1/x")], NOW_MS, "leads through a value"),
    ],
)
def test_what_no_message_can_carry(probes: list[Probe], at_ms: int, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        encode_all([(probe, 1_000) for probe in probes], at_ms)


def test_the_bytes_the_simulated_probes_send() -> None:
    at_ms = NOW_MS + 250
    assert encode(CORE, at_ms, 58_062) == b"58.062"
    assert encode(replace(JSON, time_pointer="/t"), at_ms, 58_000) == (
        b'{"t":"2026-01-10T05:00:00.250Z","core1":58.000}'
    )
    assert encode(SENML, at_ms, -62) == (
        b'[{"bt":1768021200.250,"n":"urn:dev:ow:10e2073a01080063",'
        b'"u":"Cel","v":-0.062}]'
    )


@pytest.mark.parametrize(
    ("unit", "accuracy_mc", "payload", "said_of_it"),
    [
        (Unit.CELSIUS, 500, b"850", "core-1: 850000"),
        (Unit.CELSIUS, 500, b"-200", "core-1: -200000"),
        (Unit.CELSIUS, 500, b"-127.0", "not connected"),
        (Unit.CELSIUS, 500, b"-126.9", "core-1: -126900"),
        (Unit.CELSIUS, 500, b"85.000", "core-1: 85000"),
        (Unit.FAHRENHEIT, 500, b"-196.6", "not connected"),  # converted on the way
        (Unit.FAHRENHEIT, 500, b"-127", "not connected"),  # or not
        (
            Unit.FAHRENHEIT,
            500,
            b"2000",
            "out of range: value = 2000 degF (1093.333 degC) "
            "is outside -200 to 850 degC",
        ),
        (
            Unit.KELVIN,
            500,
            b"58",
            "out of range: value = 58 K (-215.150 degC) is outside -200 to 850 degC",
        ),
        (Unit.PERCENT, 2_000, b"102", "core-1: 102000"),
        (Unit.PERCENT, 2_000, b"-2", "core-1: -2000"),
        (
            Unit.PERCENT,
            2_000,
            b"102.1",
            "out of range: value = 102.1 % "
            "is outside 0 to 100 by more than its accuracy",
        ),
        (
            Unit.PERCENT,
            2_000,
            b"-127",
            "out of range: value = -127 % "
            "is outside 0 to 100 by more than its accuracy",
        ),
    ],
)
def test_the_span_of_a_value(
    unit: Unit, accuracy_mc: int, payload: bytes, said_of_it: str
) -> None:
    probe = replace(CORE, unit=unit, accuracy_mc=accuracy_mc)
    (words,) = said(decode([probe], arrival(payload)))
    assert said_of_it in words


def test_every_probe_of_the_topic_hears_the_message_and_no_other() -> None:
    other = replace(CORE, channel="other", topic="yard/south/cores")
    twin = replace(CORE, channel="twin", unit=Unit.FAHRENHEIT)
    decoded = decode([CORE, other, twin], arrival(b"130"))
    assert said(decoded) == ["core-1: 130000", "twin: 54444"]


def test_two_forms_on_one_topic_are_each_read_as_registered() -> None:
    decoded = decode([JSON, CORE], arrival(b"58"))
    assert said(decoded) == ["core-1: 58, no object or list", "core-1: 58000"]


def test_a_topic_without_a_channel_is_kept() -> None:
    stray = Arrival("yard/north/stray", b"58", NOW_MS)
    assert only_refusal(decode([CORE], stray)) == Refusal(
        "yard/north/stray", "", NOW_MS, "no channel listens to this topic", b"58"
    )


def test_a_refusal_says_where_and_when_it_came_from() -> None:
    assert only_refusal(decode([CORE], arrival(b"?"))) == Refusal(
        TOPIC, "core-1", NOW_MS, "'?' is not a bare number", b"?"
    )
