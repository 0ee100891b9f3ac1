"""probes/screening.py on simulated days and on reports from the field.

Source: the series of the field are as people have reported them of their own probes
        (retold, no source); that 85 degC is the power-on value is from memory, to be
        verified.
"""

from collections.abc import Sequence

import pytest

from probes.company import company_of, recalled
from probes.doubts import Doubt
from probes.screening import screened
from probes.watch import NEW
from rules.channels import Channel, Role
from rules.facts import Quality, Reading
from tests.probes import traces
from tests.probes.traces import PROBE, channel, clean, doubted, run, told

SUSPECT, GOOD = Quality.SUSPECT, Quality.GOOD
FORTY = [40.0, 40.1, 40.0]


def said(degrees: Sequence[float], every_ms: int = 10_000) -> list[Reading]:
    """These degrees, one after the other."""
    return [
        Reading(PROBE, number * every_ms, round(value * 1_000), 500)
        for number, value in enumerate(degrees)
    ]


def suspects(degrees: Sequence[float], every_ms: int = 10_000) -> list[float]:
    """Which of these degrees are doubted of a core."""
    found = run(channel(PROBE, every_ms), said(degrees, every_ms))
    return [
        one.reading.value_mc / 1_000 for one in found if one.reading.quality != GOOD
    ]


@pytest.mark.parametrize(
    ("every_s", "degrees", "wrong"),
    [
        (10, [85.0, 21.4, 21.4, 21.4], [85.0]),
        (10, [38.4, 38.3, 38.1, -0.06, -0.06, 36.9], [-0.06, -0.06]),
        (10, [54.2, 54.0, 53.9, 0.0, 0.0, 0.0], [0.0, 0.0, 0.0]),
        (60, [79.4, 79.4, 79.4, 35.0, 34.4], [35.0, 34.4]),
        (10, [58.9, 58.9, 58.9, 205.6, 21.7, 59.4], [205.6, 21.7]),
        (10, [21.1, 21.1, 21.1, 70.0, 70.0, 70.1], [70.0, 70.0, 70.1]),
        # What is honest: 85.0 and 0.0 that were come to, and a core in ice water.
        (10, [84.8, 84.9, 84.9, 85.0, 85.0, 85.1], []),
        (10, [0.4, 0.2, 0.1, 0.0, 0.0, 0.1], []),
        (10, [60.0, 59.0, 57.0, 54.5, 51.8], []),
    ],
)
def test_series_from_the_field(
    every_s: int, degrees: list[float], wrong: list[float]
) -> None:
    assert suspects(degrees, every_s * 1_000) == wrong


def test_a_core_that_jumped_is_in_doubt_until_it_is_back() -> None:
    hour = [75.0, 75.1] * 180
    assert suspects([*FORTY, *hour]) == hour
    assert suspects([*FORTY, *hour, 44.9, 45.0]) == hour


def test_a_first_reading_that_is_wrong_does_not_condemn_the_rest() -> None:
    assert suspects([105.6, 21.0, 21.1, 21.0]) == [21.0]


def test_a_chamber_that_jumped_is_believed_once_it_can_have_got_there() -> None:
    chamber = Channel("chamber", Role.CHAMBER, 10_000, 300_000, 1_000)
    found = run(chamber, said([57, 57, 57, 105, 105, 105, 105, 105]))
    assert doubted(found) == [30_000, 40_000, 50_000]


def test_one_reading_in_doubt_tells_nobody_and_two_tell_the_time_of_the_first() -> None:
    assert told(run(channel(PROBE), said([*FORTY, 0.0, 40.1]))) == []
    first, last = told(run(channel(PROBE), said([*FORTY, 0.0, 0.0, 0.0, 40.1])))
    assert (first.at_ms, first.was, first.now) == (30_000, "reporting", Doubt.ZERO)
    assert first.why == (
        "exactly 0.0 degC after 40.0 degC is how a broken wire reads; not used until "
        "it is near 40.0 degC again, or a note about core-1 says what was done to the "
        "probe"
    )
    assert (last.at_ms, last.was, last.now) == (60_000, Doubt.ZERO, "reporting")
    assert last.why == "back at 40.1 degC after 30 s in doubt"


def test_a_still_probe_is_frozen_only_where_it_never_was_still_before() -> None:
    noise = [0, 3, -4, 1, 2, -2, -6, 4, 5, -1]
    noisy = [40.0 + hundredths / 100 for hundredths in noise * 6]
    still = [noisy[-1]] * 200
    frozen = suspects([*noisy, *still])
    assert len(frozen) == 200 - 30 + 1  # 5 min of 10 s
    sloping = [40.0 + number / 100 for number in range(60)]
    assert suspects([*sloping, *[sloping[-1]] * 200]) == []
    rounding = [40.0 + (number % 2) / 16 for number in range(60)]
    assert suspects([*rounding, *[40.0] * 200]) == []


def test_what_is_no_evidence_and_humidity_pass_unchanged() -> None:
    aged = Reading(PROBE, 0, 85_000, 500, Quality.AGE_UNKNOWN)
    assert screened(channel(PROBE), NEW, aged) == (NEW, aged, None)
    wet = Channel("h", Role.HUMIDITY, 10_000, 300_000, 2_000)
    assert screened(wet, NEW, aged._replace(quality=GOOD)).reading.quality is GOOD


def test_a_reading_that_comes_late_moves_nothing() -> None:
    watch = run(channel(PROBE), said(FORTY))[-1].watch
    late = Reading(PROBE, 15_000, 40_000, 500)
    assert screened(channel(PROBE), watch, late) == (watch, late, None)
    zero = screened(channel(PROBE), watch, late._replace(value_mc=0))
    assert (zero.watch, zero.reading.quality) == (watch, SUSPECT)


@pytest.mark.parametrize(
    "spoil", [traces.power_on, traces.zero, traces.jump, traces.unit]
)
def test_a_restart_doubts_the_same_readings(spoil: object) -> None:
    assert callable(spoil)
    readings = spoil(clean(1, PROBE), 240).readings
    found = run(channel(PROBE), readings)
    for stop in range(1_430, 1_700, 9):
        kept = [one.reading for one in found[stop - 720 : stop]]
        watch = recalled(company_of([channel(PROBE)]), kept)[PROBE]
        for reading, once in zip(
            readings[stop : stop + 30], found[stop : stop + 30], strict=True
        ):
            watch, again, _ = screened(channel(PROBE), watch, reading)
            assert again == once.reading


def test_a_probe_that_lost_its_finer_steps_is_used_with_more_doubt() -> None:
    fine = [40.0, 40.06, 39.94, 40.12, 40.06, 39.88, 40.06]
    halves = [40.5, 40.0, 41.0, 39.5] * 4
    found = run(channel(PROBE), said([*fine, *halves, 40.06, 40.12, 40.19]))
    assert doubted(found) == [10_000 * number for number in range(18, 25)]
    assert {one.reading.quality for one in found} == {GOOD}
    assert [one.reading.uncertainty_mc for one in found[17:19]] == [500, 1_056]
    assert [event.now for event in told(found)] == [Doubt.ROUGH, "reporting"]


def test_whole_degrees_from_a_finer_probe_prove_nothing() -> None:
    fine = [40.0, 40.06, 39.94, 40.12, 40.06, 39.88, 40.06]
    damp = [round(f * 5 / 9 - 160 / 9, 3) for f in [108, 104, 106, 110] * 3]
    assert suspects([*fine, *damp]) == damp[7:]
    whole_always = [40.0, 41.0] * 20
    assert suspects(whole_always) == []
    tenths = [number / 10 for number in [400, 401, 399, 400, 402, 398] * 20]
    assert suspects(tenths) == []
    even_slope = [20 + number for number in range(20)]
    assert suspects([*(f - 20 for f in fine), *even_slope], 60_000) == []


def test_each_place_has_its_own_range() -> None:
    for name, role, hot in (
        ("wet-bulb", Role.WET_BULB, 103.5),
        ("bath", Role.BATH, 107.0),
        ("cooler", Role.COOLER, 85.5),
    ):
        one = Channel(name, role, 10_000, 300_000, 500)
        found = run(one, said([hot, hot - 5.0, hot]))
        assert doubted(found) == [0, 20_000]
        assert [event.now for event in told(found)] == []


def test_what_jumps_before_it_has_a_path_is_said_as_it_went() -> None:
    (event,) = told(run(channel(PROBE, 60_000), said([20, 60, 20], 60_000)))
    assert event.why.startswith(
        "60.0 degC became 20.0 degC in 1 min, and no meat goes farther than 21.0 K;"
    )
