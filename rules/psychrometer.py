"""The relative humidity of air by its dry and its wet bulb, and the most it can have.

The wet bulb is taken for the temperature of adiabatic saturation, which holds for a
clean wick in moving air.  Saturation is over water: a wet bulb at or below freezing
gives no humidity.  Every figure is worked out once, in decimal, and kept as an integer.

Units: ``_mc`` thousandths of a degree Celsius; ``_pa`` pascals; ``_mpct`` thousandths
of a percent of relative humidity.

Source: ASHRAE Handbook, Fundamentals 2017, chapter 1, equations 6 (saturation over
water), 20 (humidity ratio), 22 (relative humidity) and 33 (wet bulb).
"""

from decimal import ROUND_HALF_EVEN, Context, Decimal
from fractions import Fraction
from functools import lru_cache

FULL_MPCT = 100_000
HOTTEST_MC = 200_000  # the end of equation 6
_CONTEXT = Context(prec=30, rounding=ROUND_HALF_EVEN)
_OVER_KELVIN = Decimal("-5.8002206e3")
_POWERS = tuple(
    map(Decimal, ("1.3914993", "-4.8640239e-2", "4.1764768e-5", "-1.4452093e-8"))
)
_LOG = Decimal("6.5459673")
_WATER = Fraction(621_945, 1_000_000)  # molar mass of water to that of dry air


@lru_cache(maxsize=1 << 16)
def saturation_mpa(at_mc: int) -> int:
    """The pressure of water vapour over water [0 to 200 degC], in thousandths of a Pa.

    Raises:
        ValueError: The temperature is outside that range.
    """
    if not 0 <= at_mc <= HOTTEST_MC:
        raise ValueError(f"{at_mc} is outside 0 to {HOTTEST_MC}")
    ctx = _CONTEXT
    kelvin = Decimal(at_mc + 273_150) / 1000
    logarithm = ctx.divide(_OVER_KELVIN, kelvin)
    logarithm = ctx.add(logarithm, ctx.multiply(_LOG, ctx.ln(kelvin)))
    for power, factor in enumerate(_POWERS):
        term = ctx.multiply(factor, ctx.power(kelvin, power))
        logarithm = ctx.add(logarithm, term)
    return int(ctx.multiply(ctx.exp(logarithm), Decimal(1000)).to_integral_value())


@lru_cache(maxsize=64)
def boiling_mc(pressure_pa: int) -> int:
    """The highest temperature at which water does not boil at this pressure."""
    low, high = 0, HOTTEST_MC
    while high - low > 1:
        middle = (low + high) // 2
        below = saturation_mpa(middle) <= pressure_pa * 1000
        low, high = (middle, high) if below else (low, middle)
    return low


def ceiling_mpct(dry_mc: int, pressure_pa: int) -> int:
    """The most that air of this temperature can have: above boiling less than 100 %."""
    if dry_mc <= boiling_mc(pressure_pa):
        return FULL_MPCT
    vapour_mpa = saturation_mpa(min(dry_mc, HOTTEST_MC))
    return min(pressure_pa * 1000 * FULL_MPCT // vapour_mpa, FULL_MPCT)


@lru_cache(maxsize=1 << 14)
def humidity_mpct(dry_mc: int, wet_mc: int, pressure_pa: int) -> int:
    """The relative humidity, rounded down; never negative, never above the ceiling.

    A wet bulb that is as warm as the air, or boils, shows all the air can have.
    """
    most = ceiling_mpct(dry_mc, pressure_pa)
    if wet_mc <= 0 or dry_mc <= 0:
        return 0
    if wet_mc >= min(dry_mc, boiling_mc(pressure_pa)):
        return most
    full = Fraction(saturation_mpa(wet_mc), 1000)
    saturated = _WATER * full / (pressure_pa - full)
    wet, dry = Fraction(wet_mc, 1000), Fraction(dry_mc, 1000)
    taken = (2501 - Fraction("2.326") * wet) * saturated
    taken -= Fraction("1.006") * (dry - wet)
    ratio = taken / (2501 + Fraction("1.86") * dry - Fraction("4.186") * wet)
    if ratio <= 0:
        return 0
    vapour_pa = pressure_pa * ratio / (_WATER + ratio)
    vapour_mpa = saturation_mpa(min(dry_mc, HOTTEST_MC))
    return min(int(vapour_pa * 1000 * FULL_MPCT / vapour_mpa), most)
