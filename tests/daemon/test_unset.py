"""What a message is worth while the board's clock is not set, form by form.

Which SenML times are absolute and which relative is that of RFC 8428, section 4.5.3.
"""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.unset import dated, decode_unset, own_times, untimed
from probes.contract import Arrival, Probe, Refusal
from probes.decode import decode
from probes.forms.senml import plainly_timed
from rules.facts import Quality, Reading
from tests.probes.forms import CORE, JSON, SENML, TOPIC

BOOT_MS = 20_000  # what a board without a battery takes for now
TRUE_MS = 1_768_021_200_000  # 2026-01-10T05:00:00Z
TIMED = replace(JSON, time_pointer="/t")
RECORD = SENML.record.encode()


def heard(payload: bytes, *, retained: bool = False) -> Arrival:
    return Arrival(TOPIC, payload, BOOT_MS, retained)


OWN = [
    (TIMED, b'{"t": "2026-01-10T05:00:00Z", "core1": 61.5}'),
    (SENML, b'[{"n":"%s","bt":1768021200,"u":"Cel","v":61.5}]' % RECORD),
]
OURS = [
    (CORE, b"61.5", BOOT_MS),
    (JSON, b'{"core1": 61.5}', BOOT_MS),
    (SENML, b'[{"n":"%s","u":"Cel","v":61.5}]' % RECORD, BOOT_MS),
    (SENML, b'[{"n":"%s","u":"Cel","t":-5,"v":61.5}]' % RECORD, BOOT_MS - 5_000),
]


@pytest.mark.parametrize(("probe", "payload"), OWN)
def test_a_time_of_its_own_is_believed_however_far_it_lies_ahead(
    probe: Probe, payload: bytes
) -> None:
    reading = Reading("core-1", TRUE_MS, 61_500, 500, Quality.GOOD, BOOT_MS)
    assert decode_unset([probe], heard(payload)) == [reading]
    assert own_times([probe], heard(payload)) == [reading]


@pytest.mark.parametrize(("probe", "payload", "at_ms"), OURS)
def test_a_time_of_ours_is_no_evidence(
    probe: Probe, payload: bytes, at_ms: int
) -> None:
    [reading] = decode_unset([probe], heard(payload))
    assert reading == Reading(
        "core-1", at_ms, 61_500, 500, Quality.CLOCK_UNSET, BOOT_MS
    )
    assert own_times([probe], heard(payload)) == []


@pytest.mark.parametrize(("probe", "payload"), OWN)
def test_what_has_a_time_of_its_own_needs_no_other_mark(
    probe: Probe, payload: bytes
) -> None:
    assert not untimed([probe], heard(payload))


@pytest.mark.parametrize(("probe", "payload", "at_ms"), OURS)
def test_what_is_stamped_by_its_receipt_is_known_to_be(
    probe: Probe, payload: bytes, at_ms: int
) -> None:
    """Whatever its form: a second receipt would make another reading of it."""
    assert at_ms <= BOOT_MS
    assert untimed([probe], heard(payload))


times = st.sampled_from(
    ["", '"t":0,', '"t":-5,', '"t":1768021200,', '"t":1.768e9,', '"t":1768021200.25,']
)
bases = st.sampled_from(["", '"bt":1768021200,', '"bt":5,', '"bt":1768021200.5,'])


@given(st.lists(st.tuples(bases, times), min_size=1, max_size=3))
def test_what_one_look_calls_timed_is_timed(records: list[tuple[str, str]]) -> None:
    """Held against the whole resolution of RFC 8428, section 4.6."""
    said = [
        f'{{"n":"{SENML.record}",{base}{time}"u":"Cel","v":6{i}}}'
        for i, (base, time) in enumerate(records)
    ]
    arrival = Arrival(TOPIC, f"[{', '.join(said)}]".encode(), TRUE_MS + 9_000)
    if plainly_timed(arrival.payload):
        readings = [r for r in decode([SENML], arrival) if isinstance(r, Reading)]
        assert {*readings} <= {*own_times([SENML], arrival)}


def test_once_the_clock_is_set_it_is_evidence_at_its_true_time() -> None:
    [reading] = decode_unset([CORE], heard(b"61.5"))
    assert isinstance(reading, Reading)
    [again] = dated([reading], TRUE_MS - BOOT_MS)
    assert again == Reading("core-1", TRUE_MS, 61_500, 500, Quality.GOOD, TRUE_MS)


def test_what_was_retained_stays_of_unknown_age() -> None:
    [reading] = decode_unset([CORE], heard(b"61.5", retained=True))
    assert isinstance(reading, Reading)
    assert reading.quality is Quality.AGE_UNKNOWN


def test_what_cannot_be_trusted_is_refused_as_ever_and_once() -> None:
    [refusal] = decode_unset([CORE], heard(b"warm"))
    assert isinstance(refusal, Refusal)
    assert "'warm' is not a bare number" in refusal.why
    assert refusal.received_ms == BOOT_MS


def test_one_message_may_hold_both() -> None:
    other = replace(SENML, channel="core-2", record="x")
    payload = (
        b'[{"n":"%s","u":"Cel","t":1768021200,"v":61.5},{"n":"x","u":"Cel","v":60}]'
    )
    found = decode_unset([SENML, other], heard(payload % RECORD))
    assert [(one.channel, getattr(one, "quality", None)) for one in found] == [
        ("core-1", Quality.GOOD),
        ("core-2", Quality.CLOCK_UNSET),
    ]
