"""What a probe counts in, turned into thousandths by exact decimal arithmetic.

A value is a ``Decimal`` as the message spelled it; binary floats never touch it.
The result is rounded once, half to even.  Arithmetic is done in contexts of fixed
precision and exponent that trap whatever would not be exact, so that a hostile
number (a thousand digits, ``1e999999999``) costs no more than an honest one.

Units: ``_mc`` thousandths of a degree Celsius, of a percent for ``%RH``.

Source: the SenML unit codes are those of RFC 8428 section 12.1; degrees Fahrenheit
have none.  0 degC = 273.15 K = 32 degF, 1 K = 1.8 degF (definitions of the units).
"""

from decimal import (
    ROUND_HALF_EVEN,
    Context,
    Decimal,
    Inexact,
    InvalidOperation,
    Overflow,
)

from probes.contract import Unit

EXACT = Context(
    prec=100,
    rounding=ROUND_HALF_EVEN,
    Emin=-100,
    Emax=30,
    traps=[Inexact, InvalidOperation, Overflow],
)
# A ninth has no end.  An operand that is exact in 100 digits stands at least
# 1/(18 * 10**100) away from a half, or on it: 200 digits cannot confuse the two.
NINTHS = Context(prec=200, rounding=ROUND_HALF_EVEN, Emin=-200, Emax=60, traps=[])

SENML_CODES = {Unit.CELSIUS: "Cel", Unit.KELVIN: "K", Unit.PERCENT: "%RH"}
UNIT_OF_CODE = {code: unit for unit, code in SENML_CODES.items()}

THOUSAND = Decimal(1000)
MILLI = Decimal("0.001")
ZERO_K = Decimal("273.15")
ZERO_F = Decimal(32)


def thousandths(value: Decimal, unit: Unit) -> int:
    """The value in thousandths of a degree Celsius (of a percent for ``%RH``).

    Raises:
        ArithmeticError: The value is too large, or has more digits than can be
            worked with exactly.
    """
    if unit is Unit.KELVIN:
        value = EXACT.subtract(value, ZERO_K)
    elif unit is Unit.FAHRENHEIT:
        above_freezing = EXACT.subtract(value, ZERO_F)
        return round(NINTHS.divide(EXACT.multiply(above_freezing, 5 * THOUSAND), 9))
    return round(EXACT.multiply(value, THOUSAND))


def in_unit(value_mc: int, unit: Unit) -> Decimal:
    """The value a probe would send for these thousandths, exact in every unit.

    Raises:
        ArithmeticError: The number is too large.
    """
    value = EXACT.multiply(Decimal(value_mc), MILLI)
    if unit is Unit.KELVIN:
        return EXACT.add(value, ZERO_K)
    if unit is Unit.FAHRENHEIT:
        return EXACT.add(EXACT.multiply(value, Decimal("1.8")), ZERO_F)
    return value
