"""probes/units.py: exact decimal arithmetic, bounded whatever is sent.

Source: fixed points and definitions of the units.  0 degC = 273.15 K = 32 degF;
        100 degC = 212 degF; -40 degC = -40 degF; 130 degF and 80 degF, the bounds
        of the first cooling band of FSIS Appendix B, are 54.44 and 26.67 degC there.
"""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probes.contract import Unit
from probes.units import in_unit, thousandths
from rules.units import temperature


@pytest.mark.parametrize(
    ("value", "unit", "value_mc"),
    [
        ("0", Unit.CELSIUS, 0),
        ("273.15", Unit.KELVIN, 0),
        ("32", Unit.FAHRENHEIT, 0),
        ("100", Unit.CELSIUS, 100_000),
        ("212", Unit.FAHRENHEIT, 100_000),
        ("-40", Unit.FAHRENHEIT, -40_000),
        ("-40", Unit.CELSIUS, -40_000),
        ("0", Unit.KELVIN, -273_150),
        ("130", Unit.FAHRENHEIT, 54_444),
        ("80", Unit.FAHRENHEIT, 26_667),
        ("61.5", Unit.PERCENT, 61_500),
        # To the nearest, a tie to the even.
        ("0.0005", Unit.CELSIUS, 0),
        ("0.0015", Unit.CELSIUS, 2),
        ("-0.0005", Unit.CELSIUS, 0),
        ("273.1505", Unit.KELVIN, 0),
        ("32.0009", Unit.FAHRENHEIT, 0),
        ("32.00090000000000000000000000000000001", Unit.FAHRENHEIT, 1),
        ("32.0027", Unit.FAHRENHEIT, 2),
    ],
)
def test_a_value_in_thousandths(value: str, unit: Unit, value_mc: int) -> None:
    assert thousandths(Decimal(value), unit) == value_mc


@given(st.integers(-200_000, 850_000), st.sampled_from(Unit))
def test_there_and_back_is_exact(value_mc: int, unit: Unit) -> None:
    assert thousandths(in_unit(value_mc, unit), unit) == value_mc


@given(st.decimals(-300, 1500, places=3))
def test_a_reading_and_a_limit_stand_on_the_same_thousandth(value: Decimal) -> None:
    """A reading of 130 degF stands exactly on a limit of 130 degF."""
    assert thousandths(value, Unit.FAHRENHEIT) == temperature(f"{value} degF")


@pytest.mark.parametrize(
    "hostile",
    [
        "1e999999999",
        "-1e999999999",
        "1e-999999999",
        "9" * 100_000,
        "1." + "0" * 200 + "1",
        "1e31",
    ],
)
@pytest.mark.parametrize("unit", Unit)
def test_a_hostile_number_raises_at_once(hostile: str, unit: Unit) -> None:
    with pytest.raises(ArithmeticError):
        thousandths(Decimal(hostile), unit)


@pytest.mark.parametrize("zero", ["0e999999999", "0e-999999999", "-0", "0." + "0" * 90])
def test_zero_is_zero_however_it_is_spelled(zero: str) -> None:
    assert thousandths(Decimal(zero), Unit.CELSIUS) == 0
