"""probes/humid_air.py against published values and psychrolib.

Source:    ASHRAE Handbook, Fundamentals 2017, chapter 1: table 3 (saturation pressure)
           and example 1 (dry bulb 40 degC, wet bulb 20 degC, 101 325 Pa: humidity ratio
           0.0065); psychrolib, which follows the same handbook, for the rest.
Rows:      typed from the table; never printed by our own code.
Tolerance: the table's agreement with its own formula, 300 millionths; half of the
           example's last digit; 0.01 K of wet bulb.
"""

import psychrolib
import pytest

from probes.humid_air import humidity_ratio, saturation_pa, wet_bulb_c

SATURATION = [(5, 872.6), (25, 3_169.7), (50, 12_351.3), (100, 101_418.0)]  # degC, Pa


@pytest.mark.parametrize(("at_c", "pressure_pa"), SATURATION)
def test_saturation_pressure(at_c: float, pressure_pa: float) -> None:
    assert saturation_pa(at_c) == pytest.approx(pressure_pa, rel=300e-6)


def test_no_row_was_lost() -> None:
    assert len(SATURATION) == 4


def test_the_humidity_ratio_of_the_example() -> None:
    assert humidity_ratio(40, 20) == pytest.approx(0.0065, rel=0, abs=0.000_1)


@pytest.mark.parametrize("dry_c", [20.0, 40.0, 60.0, 79.0, 90.0])
@pytest.mark.parametrize("below_k", [0.5, 10.0, 25.0])
@pytest.mark.parametrize("near_c", [0.0, 50.0, 90.0])
def test_the_wet_bulb_is_that_of_psychrolib(
    dry_c: float, below_k: float, near_c: float
) -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    wet_c = max(dry_c - below_k, 8.0)
    ratio = psychrolib.GetHumRatioFromTWetBulb(dry_c, wet_c, 101_325)
    assert wet_bulb_c(dry_c, ratio, near_c) == pytest.approx(wet_c, rel=0, abs=0.01)


def test_air_that_is_full_has_one_bulb() -> None:
    assert wet_bulb_c(50.0, 0.5, 20.0) == 50.0
