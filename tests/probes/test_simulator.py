"""The simulated smokehouse: its balances and limits, and what a script can do to it.

Source: conservation of heat and water, and that everything comes to what surrounds it
        (any heat transfer textbook); the days are invented.
"""

from collections.abc import Sequence
from dataclasses import replace

import pytest

from probes.days import long_day
from probes.sausage import Sausage
from probes.script import (
    HOUR_MS,
    MINUTE_MS,
    Around,
    Bath,
    Happening,
    House,
    Piece,
    Probe,
    Script,
    Shows,
    Step,
    What,
)
from probes.simulator import Sample, simulate
from probes.smokehouse import MELTING_J, WATER_J, Chamber, IceBath, Load

BEGINS_MS = 1_768_021_200_000
STEP_S = 10.0
HOT = Script(
    begins_ms=0,
    every_ms=10_000,
    pieces=(Piece("a", 0.032, 11.0),),
    probes=(
        Probe("chamber", Shows.CHAMBER, noise_c=0.0),
        Probe("core", Shows.CORE, "a", noise_c=0.0),
        Probe("bath", Shows.BATH, noise_c=0.0),
    ),
    steps=(
        Step("cook", Around.CHAMBER, 78.0, lasts_ms=2 * HOUR_MS),
        Step("chill", Around.ICE_BATH, lasts_ms=HOUR_MS),
    ),
    house=House(bed_kg=0.6),
)


def of(channel: str, samples: Sequence[Sample]) -> dict[int, float]:
    """What one channel shows, in degrees, by time in seconds from the begin."""
    return {
        sample.at_ms // 1_000: sample.value_mc / 1_000
        for sample in samples
        if sample.channel == channel
    }


def with_(*happenings: Happening) -> list[Sample]:
    """The hot day on which this happens too."""
    return list(simulate(replace(HOT, happenings=happenings)))


def happens(what: What, from_min: int, to_min: int, **more: object) -> Happening:
    """It happens from one minute to another."""
    times = (from_min * MINUTE_MS, to_min * MINUTE_MS)
    return Happening(what, *times, **more)  # type: ignore[arg-type]


PLAIN = with_()


def test_a_chamber_without_a_fire_comes_to_the_yard() -> None:
    chamber = Chamber(House(starts_c=60.0), 8.0, lambda: 0.0)
    for _ in range(int(48 * 3_600 / STEP_S)):
        chamber.step(STEP_S, None, 8.0, Load())
    assert (chamber.air_c, chamber.walls_c) == pytest.approx((8.0, 8.0), abs=0.01)


def test_a_steady_fire_gives_what_walls_and_flue_lose() -> None:
    house = House(gusts=0.0)
    chamber = Chamber(house, 8.0, lambda: 0.0)
    for _ in range(int(24 * 3_600 / STEP_S)):
        chamber.step(STEP_S, 78.0, 8.0, Load())
    assert chamber.air_c == pytest.approx(78.0, abs=0.01)
    flow = house.flue_kg_s * 0.55  # the damper stands half open
    lost_w = house.outside_w_k * (chamber.walls_c - 8) + flow * 1_006 * 70
    assert chamber.fire_w == pytest.approx(lost_w, rel=0.002)
    walls_c = (house.inside_w_k * 78 + house.outside_w_k * 8) / 86
    assert chamber.walls_c == pytest.approx(walls_c, abs=0.05)


def test_a_sausage_comes_to_the_wet_bulb_and_when_dry_to_the_dry_bulb() -> None:
    sausage = Sausage(Piece("a", 0.032, 11.0, moist=0.5))
    for _ in range(int(3 * 3_600 / STEP_S)):
        sausage.step(Around.CHAMBER, 70.0, 45.0, STEP_S)
    assert sausage.wetness == 1.0
    assert sausage.cylinder.at_c() == pytest.approx(45.0, abs=0.1)
    sausage.water_kg = 0.0
    for _ in range(int(6 * 3_600 / STEP_S)):
        sausage.step(Around.CHAMBER, 70.0, 45.0, STEP_S)
    assert sausage.cylinder.at_c() == pytest.approx(70.0, abs=0.01)
    assert sausage.cylinder.surface_c() == pytest.approx(70.0, abs=0.01)


def test_no_heat_is_lost_where_a_sausage_is_moved() -> None:
    sausage = Sausage(Piece("a", 0.060, 5.0))
    for _ in range(200):
        sausage.step(Around.ROOM, 78.0, 78.0, STEP_S)
    before_c = sausage.cylinder.mean_c()
    sausage.cylinder.placed(350.0, 0.5, STEP_S)
    assert sausage.cylinder.mean_c() == pytest.approx(before_c, rel=0, abs=0.05)


def test_the_heat_of_the_sausages_is_in_the_bath() -> None:
    """What 10 kg at 70 degC give, water and ice and the room have taken or given."""
    piece = Piece("a", 0.032, 70.0, load_kg=10.0)
    sausage, bath = Sausage(piece), IceBath(Bath(40.0, 10.0, 4.0, room_w_k=0.0))
    heat_j_k = 10.0 * 0.45 / 1.3e-7 / 1_040.0  # of 10 kg: k / (alpha rho) is cp
    for _ in range(int(1.5 * 3_600 / STEP_S)):
        bath.step(STEP_S, 20.0, Load(surface_w=sausage.given_w))
        sausage.step(Around.ICE_BATH, bath.water_c, bath.water_c, STEP_S)
    given_j = heat_j_k * (70.0 - sausage.cylinder.mean_c())
    melted_kg = 10.0 - bath.ice_kg
    taken_j = melted_kg * MELTING_J + bath.water_kg * WATER_J * bath.water_c
    taken_j -= 40.0 * WATER_J * 4.0
    assert bath.water_kg == pytest.approx(40.0 + melted_kg)
    assert taken_j == pytest.approx(given_j, rel=0.01)


def test_another_period_tells_the_same_day() -> None:
    seconds = {(one.at_ms, one.channel): one for one in simulate(HOT)}
    minutes = list(simulate(replace(HOT, every_ms=60_000)))
    assert len(minutes) > 300
    assert all(seconds[one.at_ms, one.channel] == one for one in minutes)
    often = list(simulate(replace(HOT, every_ms=1_000)))
    assert set(minutes) < set(often)


def test_noise_is_small_and_always_the_same() -> None:
    noisy = replace(HOT, probes=(replace(HOT.probes[1], noise_c=0.06),))
    first = list(simulate(noisy))
    assert first == list(simulate(noisy))
    assert first != list(simulate(replace(noisy, seed=2)))
    calm = of("core", PLAIN)
    off_c = [value_c - calm[at_s] for at_s, value_c in of("core", first).items()]
    assert max(map(abs, off_c)) <= 0.07  # the noise, and one rounding
    assert abs(sum(off_c) / len(off_c)) < 0.005


def test_a_probe_lags_a_ramp_by_its_time_constant() -> None:
    """A first-order lag is behind a ramp by slope times tau (any textbook)."""
    quick, slow = (
        Probe(name, Shows.AMBIENT, lag_s=lag_s, noise_c=0.0, resolution_c=0.001)
        for name, lag_s in (("quick", 0.0), ("slow", 300.0))
    )
    warming = replace(HOT, probes=(quick, slow), outside_later_c=128.0)  # 10 K/h
    samples = list(simulate(warming))
    behind_c = of("quick", samples)[7_200] - of("slow", samples)[7_200]
    assert behind_c == pytest.approx(10 / 3_600 * 300, abs=0.002)


def test_a_dead_fire_and_an_unfed_one_let_the_chamber_fall() -> None:
    plain = of("chamber", PLAIN)
    out = of("chamber", with_(happens(What.FIRE_OUT, 60, 90)))
    unfed = of("chamber", with_(happens(What.UNFED, 40, 100)))
    assert plain[5_400] > 76
    assert out[5_400] < 50
    assert unfed[5_400] < 60
    assert unfed[2_700] > 76  # there is wood on it yet
    assert out[7_190] > 76  # lit again


def test_an_opened_door_chills_the_air_far_more_than_the_core() -> None:
    opened = with_(happens(What.DOOR_OPEN, 60, 66))
    assert of("chamber", PLAIN)[3_960] - of("chamber", opened)[3_960] > 20
    dip_c = of("core", PLAIN)[3_960] - of("core", opened)[3_960]
    assert 0.3 < dip_c < 4


def test_ice_that_is_forgotten_and_comes_late() -> None:
    script = replace(HOT, bath=Bath(30.0, 0.0, 12.0))
    script = replace(script, pieces=(replace(HOT.pieces[0], load_kg=15.0),))
    late = happens(What.ICE_ADDED, 30, 32, step="chill", ice_kg=20.0)
    bath = of("bath", list(simulate(replace(script, happenings=(late,)))))
    assert bath[7_200 + 1_700] > 15
    assert bath[7_200 + 2_400] < 4
    assert min(of("bath", list(simulate(script))).values()) > 12


def test_what_befalls_a_probe() -> None:
    core, chamber = of("core", PLAIN), of("chamber", PLAIN)
    quiet = of("core", with_(happens(What.QUIET, 10, 12, channel="core")))
    assert sorted(set(core) - set(quiet)) == list(range(600, 720, 10))
    stuck = of("core", with_(happens(What.STUCK, 10, 11, channel="core", shows_c=85.0)))
    assert {at_s for at_s in core if stuck[at_s] != core[at_s]} == {
        *range(600, 660, 10)
    }
    assert stuck[600] == 85.0
    frozen = of("core", with_(happens(What.FROZEN, 10, 12, channel="core")))
    assert {frozen[at_s] for at_s in range(590, 720, 10)} == {core[590]}
    assert frozen[720] == core[720]
    pulled = of("core", with_(happens(What.PULLED_OUT, 60, 70, channel="core")))
    assert pulled[4_190] == pytest.approx(chamber[4_190], abs=1)
    swap = happens(What.SWAPPED, 60, 70, channel="core", other="chamber")
    swapped = with_(swap)
    assert of("core", swapped)[4_190] == pytest.approx(chamber[4_190], abs=1)
    assert of("chamber", swapped)[4_190] == pytest.approx(core[4_190], abs=1)


def test_a_step_that_never_ends_is_said() -> None:
    step = Step("cook", Around.CHAMBER, 60.0, until_c=69.0)
    with pytest.raises(ValueError, match="'cook' is not over after 48 h"):
        list(simulate(replace(HOT, every_ms=HOUR_MS, steps=(step,))))


def test_the_long_day_is_a_plausible_cook() -> None:
    """What the demonstration needs of it; the day itself is invented."""
    samples = list(simulate(long_day(BEGINS_MS)))
    assert samples == sorted(samples, key=lambda sample: sample.at_ms)
    assert {sample.at_ms % 10_000 for sample in samples} == {0}
    last_ms = samples[-1].at_ms - BEGINS_MS
    assert 8 * HOUR_MS < last_ms < 10 * HOUR_MS
    began_s = BEGINS_MS // 1_000
    cores = [of(channel, samples) for channel in ("core-1", "core-2", "core-3")]
    for core_c in cores:
        assert max(core_c.values()) > 69.5
        assert min(list(core_c.values())[-10:]) < 4.0
    chamber_c = of("chamber", samples)
    assert chamber_c[began_s + 159 * 60] < 40  # the fire has died
    assert chamber_c[began_s + 185 * 60] > 57  # and burns again
    assert not any(190 <= (at_s - began_s) / 60 < 202 for at_s in cores[1])
    assert any(190 <= (at_s - began_s) / 60 < 202 for at_s in cores[0])
