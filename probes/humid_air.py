"""Moist air: how much water it holds, and how far a wet surface cools in it.

Units: ``_c`` degC; pressures in Pa; humidity ratios in kg of water a kg of dry air.

Source: ASHRAE Handbook, Fundamentals 2017, chapter 1, equations 6 (saturation over
water), 22 (humidity ratio) and 35 (from the wet bulb).
"""

import math

SEA_LEVEL_PA = 101_325.0
LATENT_J = 2.40e6  # heat that takes a kg of water from a surface of 20 to 60 degC
BELOW_BOILING_C = 99.0


def saturation_pa(at_c: float) -> float:
    """The pressure of water vapour over water [0 to 200 degC]."""
    kelvin = at_c + 273.15
    return math.exp(
        -5.8002206e3 / kelvin
        + 1.3914993
        - 4.8640239e-2 * kelvin
        + 4.1764768e-5 * kelvin**2
        - 1.4452093e-8 * kelvin**3
        + 6.5459673 * math.log(kelvin)
    )


def saturated(at_c: float, pressure_pa: float = SEA_LEVEL_PA) -> float:
    """The humidity ratio of air that holds all the water it can [below boiling]."""
    vapour_pa = saturation_pa(at_c)
    return 0.621945 * vapour_pa / (pressure_pa - vapour_pa)


def humidity_ratio(dry_c: float, wet_c: float) -> float:
    """The humidity ratio of air with this dry and wet bulb, at sea level."""
    most = saturated(wet_c)
    taken = (2501 - 2.326 * wet_c) * most - 1.006 * (dry_c - wet_c)
    return taken / (2501 + 1.86 * dry_c - 4.186 * wet_c)


def wet_bulb_c(dry_c: float, ratio: float, near_c: float) -> float:
    """The wet bulb of air [-10 to 150 degC], at sea level, sought from near by.

    By Newton's way: the humidity ratio rises ever steeper with the wet bulb, so that
    after the first step each one comes nearer from above.
    """
    highest_c = min(dry_c, BELOW_BOILING_C)
    if humidity_ratio(dry_c, highest_c) <= ratio:
        return highest_c  # the air is full
    wet_c = min(near_c, highest_c)
    for _ in range(60):
        off = humidity_ratio(dry_c, wet_c) - ratio
        slope = (humidity_ratio(dry_c, wet_c + 1e-4) - off - ratio) / 1e-4
        before_c, wet_c = wet_c, min(wet_c - off / slope, highest_c)
        if abs(wet_c - before_c) < 1e-4:
            break
    return wet_c
