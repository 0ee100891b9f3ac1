"""Thermistors: from ohms to degrees by the equation of Steinhart and Hart.

1/T = a + b ln R + c (ln R)**3, with T in kelvins and the three coefficients that the
maker of the part gives, or that three calibrated points give.

Units: ohm; degrees Celsius.

Source: J. S. Steinhart, S. R. Hart, "Calibration curves for thermistors", Deep-Sea
Research 15 (1968), from memory, to be verified.
"""

from math import log

ZERO_K = 273.15


def celsius_at(ohms: float, a: float, b: float, c: float) -> float | None:
    """The temperature of a part of this resistance; None where that has none."""
    if ohms <= 0.0:
        return None
    logarithm = log(ohms)
    inverse = a + b * logarithm + c * logarithm**3
    return 1.0 / inverse - ZERO_K if inverse > 0.0 else None
