"""probes/simulator.py against the solutions of Newton's law, and the day it tells.

Source: Newton's law of cooling (any heat transfer textbook, lumped system):
        (T - Tinf) / (Ti - Tinf) = exp(-t / tau); 63.2, 86.5, 95.0 and 98.2 per cent
        of a step are done after 1, 2, 3 and 4 time constants.
        For a body in a chamber that itself follows its fire the two laws in a row
        are solved by hand below.
Tolerance: samples are rounded to 0.01 degC, so 0.005 degC; with a chamber that
        changes inside a period of 10 s, 0.01 degC.
"""

import math
from dataclasses import replace

import pytest

from probes.simulator import (
    HOUR_MS,
    MINUTE_MS,
    Around,
    Core,
    Sample,
    Script,
    Silence,
    Span,
    Step,
    long_day,
    simulate,
)

BEGINS_MS = 1_768_021_200_000
STEP = Script(
    begins_ms=0,
    every_ms=10_000,
    chamber="chamber",
    chamber_starts_c=100.0,
    chamber_s=300.0,
    chamber_dead_s=900.0,
    outside_c=10.0,
    cores=(Core("core", 0.0, air_s=3_600.0, water_s=1_200.0),),
    steps=(Step(Around.CHAMBER, 100.0, lasts_ms=4 * HOUR_MS),),
)


def of(channel: str, samples: list[Sample]) -> dict[int, float]:
    """What one channel shows, in degrees, by time in seconds from the begin."""
    return {
        sample.at_ms // 1_000: sample.value_mc / 1_000
        for sample in samples
        if sample.channel == channel
    }


@pytest.mark.parametrize(
    ("constants", "per_cent"), [(1, 63.2), (2, 86.5), (3, 95.0), (4, 98.2)]
)
def test_a_step_is_followed_as_published(constants: int, per_cent: float) -> None:
    """A core at 0 degC in a chamber at 100 degC: its degrees are per cent."""
    core_c = of("core", list(simulate(STEP)))
    assert core_c[constants * 3_600] == pytest.approx(per_cent, rel=0, abs=0.05)


def test_cooling_in_ice_water_is_newton_s_law() -> None:
    ice = replace(
        STEP,
        cores=(Core("core", 70.0, air_s=3_600.0, water_s=1_200.0),),
        steps=(Step(Around.ICE_WATER, 0.5, until_c=4.0),),
    )
    core_c = of("core", list(simulate(ice)))
    for at_s, shown_c in core_c.items():
        law_c = 0.5 + 69.5 * math.exp(-at_s / 1_200)
        assert shown_c == pytest.approx(law_c, rel=0, abs=0.005001)
    # t = tau ln((Ti - Tinf) / (T - Tinf)) = 1200 ln(69.5 / 3.5) = 3586 s
    assert max(core_c) == 3_590


def test_a_chamber_that_changes_drags_its_core_behind() -> None:
    """Chamber from 20 to 80 degC with tau 300 s, core from 10 degC with tau 3600 s.

    With u = T - 80: u_chamber = -60 exp(-t/300); the core's law
    u' = (u_chamber - u) / 3600 is solved by
    u = (-70 - K) exp(-t/3600) + K exp(-t/300), K = -60 * 300 / (300 - 3600).
    """
    warming = replace(
        STEP,
        chamber_starts_c=20.0,
        cores=(Core("core", 10.0, air_s=3_600.0, water_s=1_200.0),),
        steps=(Step(Around.CHAMBER, 80.0, lasts_ms=2 * HOUR_MS),),
    )
    k_c = -60 * 300 / (300 - 3_600)
    for at_s, shown_c in of("core", list(simulate(warming))).items():
        slow_c = (-70 - k_c) * math.exp(-at_s / 3_600)
        law_c = 80 + slow_c + k_c * math.exp(-at_s / 300)
        assert shown_c == pytest.approx(law_c, rel=0, abs=0.01)


def test_a_dead_fire_lets_the_chamber_fall_to_the_outside_and_is_lit_again() -> None:
    dead = Span(HOUR_MS, 2 * HOUR_MS)
    chamber_c = of("chamber", list(simulate(replace(STEP, fire_dead=(dead,)))))
    assert chamber_c[3_600] == 100.0
    # 10 + 90 exp(-3600/900) = 11.648
    assert chamber_c[7_200] == pytest.approx(11.648, rel=0, abs=0.005001)
    assert chamber_c[10_800] == pytest.approx(100.0, rel=0, abs=0.005001)


def test_a_silent_probe_says_nothing_and_the_others_go_on() -> None:
    silence = Silence("core", Span(MINUTE_MS, 2 * MINUTE_MS))
    loud = list(simulate(STEP))
    quiet = list(simulate(replace(STEP, silences=(silence,))))
    missing = [sample for sample in loud if sample not in quiet]
    assert [sample.at_ms for sample in missing] == [
        60_000,
        70_000,
        80_000,
        90_000,
        100_000,
        110_000,
    ]
    assert {sample.channel for sample in missing} == {"core"}


def test_noise_is_small_and_always_the_same() -> None:
    calm = list(simulate(STEP))
    noisy = list(simulate(replace(STEP, noise_c=0.06)))
    assert noisy == list(simulate(replace(STEP, noise_c=0.06)))
    assert noisy != list(simulate(replace(STEP, noise_c=0.06, seed=2)))
    off_mc = [
        one.value_mc - other.value_mc for one, other in zip(noisy, calm, strict=True)
    ]
    assert max(map(abs, off_mc)) <= 70  # the noise, and one rounding
    assert -3 < sum(off_mc) / len(off_mc) < 3


def test_a_step_that_never_ends_is_said() -> None:
    never = replace(STEP, steps=(Step(Around.CHAMBER, 60.0, until_c=69.0),))
    with pytest.raises(ValueError, match="is not over after 48 h"):
        list(simulate(never))


def test_the_long_day_is_a_plausible_cook() -> None:
    """What the demonstration needs of it; the day itself is invented."""
    samples = list(simulate(long_day(BEGINS_MS)))
    assert samples == sorted(samples, key=lambda sample: sample.at_ms)
    assert {sample.at_ms % 10_000 for sample in samples} == {0}
    last_ms = samples[-1].at_ms - BEGINS_MS
    assert 9 * HOUR_MS < last_ms < 11 * HOUR_MS
    cores = [of(channel, samples) for channel in ("core-1", "core-2", "core-3")]
    for core_c in cores:
        assert max(core_c.values()) > 69.5
        assert min(list(core_c.values())[-10:]) < 4.0
    chamber_c = of("chamber", samples)
    began_s = BEGINS_MS // 1_000
    assert chamber_c[began_s + 159 * 60] < 30  # the fire has died
    assert chamber_c[began_s + 185 * 60] > 57  # and burns again
    assert not any(190 <= (at_s - began_s) / 60 < 202 for at_s in cores[1])
    assert any(190 <= (at_s - began_s) / 60 < 202 for at_s in cores[0])
