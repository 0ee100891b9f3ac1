"""rules/psychrometer.py against published values and psychrolib.

Source:    ASHRAE Handbook, Fundamentals 2017, chapter 1: table 3 (saturation pressure
           over water) and example 1 (dry bulb 40 degC, wet bulb 20 degC, 101 325 Pa:
           relative humidity 14 %); the boiling point of water at 101 325 Pa, 99.97
           degC (ITS-90); psychrolib 2, which follows the same handbook, for the rest.
Rows:      typed from the sources; never printed by our own code.
Tolerance: the table's agreement with its own formula, 300 millionths; half of a last
           digit; 0.01 % of relative humidity against psychrolib.
Not shown: a wet bulb over ice, which gives no humidity here.
"""

import psychrolib
import pytest

from rules.psychrometer import boiling_mc, ceiling_mpct, humidity_mpct, saturation_mpa

SATURATION = [  # degC, Pa
    (5, 872.6),
    (25, 3_169.7),
    (50, 12_351.3),
    (100, 101_418.0),
    (150, 476_101.4),
]
SEA_LEVEL_PA = 101_325
UP_HIGH_PA = 84_560  # 1500 m in the standard atmosphere


@pytest.fixture(autouse=True)
def si() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.parametrize(("at_c", "pressure_pa"), SATURATION)
def test_saturation_pressure(at_c: int, pressure_pa: float) -> None:
    found_pa = saturation_mpa(at_c * 1000) / 1000
    assert found_pa == pytest.approx(pressure_pa, rel=300e-6)


def test_no_row_was_lost() -> None:
    assert len(SATURATION) == 5


def test_the_relative_humidity_of_the_example() -> None:
    assert humidity_mpct(40_000, 20_000, SEA_LEVEL_PA) / 1000 == pytest.approx(
        14, rel=0, abs=0.5
    )


def test_water_boils_at_sea_level() -> None:
    assert boiling_mc(SEA_LEVEL_PA) / 1000 == pytest.approx(99.97, rel=0, abs=0.005)


@pytest.mark.parametrize("pressure_pa", [SEA_LEVEL_PA, UP_HIGH_PA])
@pytest.mark.parametrize("dry_c", [20, 40, 54.4, 60, 71.1, 80, 90])
@pytest.mark.parametrize("below_k", [0, 0.3, 1, 2.5, 10, 25])
def test_the_wet_bulb_is_read_as_psychrolib_reads_it(
    pressure_pa: int, dry_c: float, below_k: float
) -> None:
    wet_c = max(dry_c - below_k, 8.0)
    expected = psychrolib.GetRelHumFromTWetBulb(dry_c, wet_c, pressure_pa) * 100
    found = humidity_mpct(round(dry_c * 1000), round(wet_c * 1000), pressure_pa) / 1000
    assert found == pytest.approx(expected, rel=0, abs=0.01)


@pytest.mark.parametrize(("dry_f", "most"), [(230, 71), (250, 49), (300, 22)])
def test_above_boiling_air_is_never_full(dry_f: int, most: int) -> None:
    """The quotient of the two pressures, by psychrolib."""
    dry_mc = round((dry_f - 32) * 5 / 9 * 1000)
    full_pa = psychrolib.GetSatVapPres(dry_mc / 1000)
    found = ceiling_mpct(dry_mc, SEA_LEVEL_PA) / 1000
    assert found == pytest.approx(SEA_LEVEL_PA / full_pa * 100, rel=0, abs=0.01)
    assert round(found) == most


@pytest.mark.parametrize(
    ("dry_mc", "wet_mc", "mpct"),
    [
        (50_000, 50_000, 100_000),
        (50_000, 51_000, 100_000),
        (50_000, 0, 0),
        (90_000, 10_000, 0),  # drier than dry: one of the two is wrong
        (-1, -2, 0),
    ],
)
def test_the_ends(dry_mc: int, wet_mc: int, mpct: int) -> None:
    assert humidity_mpct(dry_mc, wet_mc, SEA_LEVEL_PA) == mpct


@pytest.mark.parametrize("at_mc", [-1, 200_001])
def test_outside_the_formula_nothing_is_said(at_mc: int) -> None:
    with pytest.raises(ValueError, match="is outside 0 to 200000"):
        saturation_mpa(at_mc)
