"""probes/pack.py: what a board publishes is what the decoder reads (RFC 8428)."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from probes.decode import decode
from probes.pack import Sample, pack
from rules.facts import Reading
from tests.probes.forms import NOW_MS, SENML, arrival, only_refusal, said

OTHER = replace(SENML, channel="core-2", record="tmp102:1-0048:temp1")


def test_the_bytes_of_a_pack() -> None:
    good = Sample(SENML.record, NOW_MS + 250, "23.125", "Cel", "", 17)
    bad = Sample(OTHER.record, NOW_MS, "", "", 'open "circuit"', 3)
    assert pack([good, bad]) == (
        '[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","t":1768021200.250,"v":23.125},'
        '{"n":"urn:dev:ow:10e2073a01080063:seq","t":1768021200.250,"v":17},'
        '{"n":"tmp102:1-0048:temp1","t":1768021200.000,"vs":"open \\"circuit\\""},'
        '{"n":"tmp102:1-0048:temp1:seq","t":1768021200.000,"v":3}]'
    )
    assert said(decode([SENML, OTHER], arrival(pack([good, bad]).encode()))) == [
        "core-1: 23125",
        "core-1: samples: 17000",
        "core-2: 'open \"circuit\"' is a text (vs), not a number",
        "core-2: samples: 3000",
    ]


def test_a_number_beside_nothing_is_a_record_like_any_other() -> None:
    payload = b'[{"n":"x:seq","v":4}]'
    assert "x:seq" in only_refusal(decode([SENML], arrival(payload))).why


def test_the_only_probe_of_a_topic_needs_no_name() -> None:
    one = pack([Sample("tmp102:1-0048:temp1", NOW_MS, "71.5", "Cel", "", 1)])
    only = replace(SENML, record="")
    assert said(decode([only], arrival(one.encode()))) == [
        "core-1: 71500",
        "core-1: samples: 1000",
    ]


@given(
    st.lists(
        st.tuples(st.integers(10**12, NOW_MS), st.integers(-100_000, 800_000)),
        min_size=1,
        max_size=20,
        unique_by=lambda one: one[0],
    )
)
def test_every_sample_comes_back_at_its_time(samples: list[tuple[int, int]]) -> None:
    sent = [
        Sample(SENML.record, at_ms, f"{mc / 1000:.3f}", "Cel", "", number)
        for number, (at_ms, mc) in enumerate(samples, start=1)
    ]
    decoded = decode([SENML], arrival(pack(sent).encode()))
    readings = [one for one in decoded if isinstance(one, Reading)]
    mine = [one for one in readings if one.channel == "core-1"]
    assert [(one.at_ms, one.value_mc) for one in mine] == sorted(samples)
    assert len(decoded) == 2 * len(samples)  # each has its number


def test_the_numbers_come_back_as_a_series_beside_the_channel() -> None:
    sample = Sample(SENML.record, NOW_MS - 750, "23.125", "Cel", "", 17)
    payload = pack([sample]).encode()
    reading, number = decode([SENML], arrival(payload))
    assert reading == Reading("core-1", NOW_MS - 750, 23_125, 500, received_ms=NOW_MS)
    told = ("core-1: samples", NOW_MS - 750, 17_000, 0)
    assert number == Reading(*told, received_ms=NOW_MS)
    retained = decode([SENML], arrival(payload, retained=True))
    assert [one.channel for one in retained] == ["core-1"]
