"""probes/identity.py: a message of another probe than the channel's is refused.

Source: RFC 8428 section 5.1.1 and RFC 9039 section 4.2: urn:dev:ow:10e2073a01080063
names the 1-wire device of family 10 whose number, lowest byte first on the wire,
is e2073a010800; the kernel calls it 10-0008013a07e2.
"""

from dataclasses import replace

import cbor2
import pytest

from probes.contract import Arrival, Probe, Refusal, Unit
from probes.decode import decode
from probes.doubts import Doubt, said
from probes.identity import same
from rules.channels import Role
from rules.facts import Reading

RFC_8428, KERNEL = "urn:dev:ow:10e2073a01080063", "10-0008013a07e2"
OTHER = "urn:dev:ow:10e2073a01080064"
CORE = Probe(
    channel="core-1",
    smokehouse="north",
    role=Role.CORE,
    topic="yard/core",
    form="senml",
    unit=Unit.CELSIUS,
    every_ms=1_000,
    quiet_ms=10_000,
    accuracy_mc=500,
    identity=KERNEL,
)
BY_PLACE = replace(
    CORE,
    form="json",
    pointer="/0/v",
    identity_pointer="/0/id",
    identity="7",
)


@pytest.mark.parametrize(
    ("identity", "named", "is_same"),
    [
        (KERNEL, RFC_8428, True),
        (KERNEL, KERNEL.upper(), True),
        (KERNEL, f"{RFC_8428}:temp", True),
        (RFC_8428, RFC_8428, True),
        (KERNEL, OTHER, False),
        (KERNEL, "core-1", False),
        ("tmp102:1-004", "tmp102:1-0048:temp1", False),
        ("tmp102:1-0048", "tmp102:1-0048:temp1", True),
        ("A7", "A70", False),
    ],
)
def test_what_names_the_same_hardware(identity: str, named: str, is_same: bool) -> None:
    assert same(identity, named) is is_same


def given(probe: Probe, payload: str | bytes) -> Reading | Refusal:
    octets = payload.encode() if isinstance(payload, str) else payload
    (one,) = decode([probe], Arrival(probe.topic, octets, 1_768_021_200_000))
    return one


def test_the_only_record_of_a_pack_must_be_of_the_bound_probe() -> None:
    pack = f'[{{"bn":"{RFC_8428}","u":"Cel","v":23.1}}]'
    assert isinstance(given(CORE, pack), Reading)
    refused = given(CORE, pack.replace(RFC_8428, OTHER))
    assert isinstance(refused, Refusal)
    assert refused.why == (
        "another probe: 'urn:dev:ow:10e2073a01080064' speaks where the settings have "
        "'10-0008013a07e2'; are two probes exchanged? plug them back, or write the "
        "right probe in the settings"
    )
    assert said(refused.why) is Doubt.ANOTHER
    unbound = given(replace(CORE, identity=""), pack.replace(RFC_8428, OTHER))
    assert isinstance(unbound, Reading)


def test_cbor_is_bound_in_the_same_way() -> None:
    probe = replace(CORE, form="senml-cbor")  # RFC 8428 table 4: -2 bn, 1 u, 2 v
    assert isinstance(given(probe, cbor2.dumps([{-2: RFC_8428, 2: 23.1}])), Reading)
    assert isinstance(given(probe, cbor2.dumps([{-2: OTHER, 2: 23.1}])), Refusal)


def test_an_order_on_the_wire_that_changes_is_seen() -> None:
    kept = given(BY_PLACE, '[{"id":7,"v":23.1},{"id":"8","v":71.2}]')
    assert isinstance(kept, Reading)
    changed = given(BY_PLACE, '[{"id":"8","v":71.2},{"id":7,"v":23.1}]')
    assert isinstance(changed, Refusal)
    assert changed.why.startswith("another probe: '8' speaks where")


@pytest.mark.parametrize(
    ("body", "why"),
    [
        ('[{"v":71.2}]', "another probe: probe at /0/id is not there"),
        ('[{"id":null,"v":71.2}]', "another probe: probe at /0/id null is no name"),
    ],
)
def test_a_message_that_names_nobody_is_no_evidence(body: str, why: str) -> None:
    refused = given(BY_PLACE, body)
    assert isinstance(refused, Refusal)
    assert refused.why == why
