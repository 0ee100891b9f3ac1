"""Thermocouples of type K: from millivolts and the cold junction to degrees.

A thermocouple's voltage says how far apart its two ends are.  The temperature at the
cold end is turned into millivolts and added there: to add degrees would be wrong by
more than a kelvin where the hot end is hot, since the function is not straight.

Units: mV; degrees Celsius, -270 to 1372.

Source: ITS-90 reference function of type K (NIST Monograph 175; IEC 60584-1), its
coefficients from memory, to be verified; ``tests/standards/test_its_90.py`` holds
them to published values.
"""

from math import exp

COLD = (
    0.0,
    0.394501280250e-1,
    0.236223735980e-4,
    -0.328589067840e-6,
    -0.499048287770e-8,
    -0.675090591730e-10,
    -0.574103274280e-12,
    -0.310888728940e-14,
    -0.104516093650e-16,
    -0.198892668780e-19,
    -0.163226974860e-22,
)
HOT = (
    -0.176004136860e-1,
    0.389212049750e-1,
    0.185587700320e-4,
    -0.994575928740e-7,
    0.318409457190e-9,
    -0.560728448890e-12,
    0.560750590590e-15,
    -0.320207200030e-18,
    0.971511471520e-22,
    -0.121047212750e-25,
)
BUMP, WIDTH, MIDDLE_C = 0.118597600000, -0.118343200000e-3, 126.9686
COLDEST_C, HOTTEST_C = -270.0, 1372.0
HALVINGS = 60  # of 1642 K: less than a millionth of a millionth is left


def millivolts_at(t_c: float) -> float:
    """The voltage against a cold junction at 0 degC [-270 to 1372 degC]."""
    coefficients = COLD if t_c < 0.0 else HOT
    total = 0.0
    for coefficient in reversed(coefficients):
        total = total * t_c + coefficient
    if t_c >= 0.0:
        total += BUMP * exp(WIDTH * (t_c - MIDDLE_C) ** 2)
    return total


def celsius_at(millivolts: float, cold_c: float) -> float | None:
    """The temperature of the hot end; None outside the span of the function."""
    if not COLDEST_C <= cold_c <= HOTTEST_C:
        return None
    wanted = millivolts + millivolts_at(cold_c)
    low, high = COLDEST_C, HOTTEST_C
    if not millivolts_at(low) <= wanted <= millivolts_at(high):
        return None
    for _ in range(HALVINGS):  # the function only rises
        middle = (low + high) / 2.0
        if millivolts_at(middle) < wanted:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0
