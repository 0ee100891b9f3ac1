"""Platinum resistance thermometers: from ohms to degrees.

R = R0 (1 + A t + B t**2) from 0 degC up, and below it C (t - 100) t**3 more; R0 is 100
ohm for a Pt100 and 1000 ohm for a Pt1000.  The lead wires are in the resistance: with
two wires an ohm of a Pt100 is 2.6 K.  Elements of another alpha than 0.00385 exist and
are not read here.

Units: ohm; degrees Celsius, -200 to 850.

Source: IEC 60751:2022, equations and coefficients, from memory, to be verified.
"""

from math import sqrt

A, B, C = 3.9083e-3, -5.775e-7, -4.183e-12
COLDEST_C, HOTTEST_C = -200.0, 850.0
STEPS = 8  # of Newton's method; four are enough


def ohms_at(t_c: float, r0: float = 100.0) -> float:
    """The resistance of an element at this temperature [-200 to 850 degC]."""
    below = C * (t_c - 100.0) * t_c**3 if t_c < 0.0 else 0.0
    return r0 * (1.0 + A * t_c + B * t_c**2 + below)


def celsius_at(ohms: float, r0: float = 100.0) -> float | None:
    """The temperature of an element of this resistance; None outside its span."""
    if not ohms_at(COLDEST_C, r0) <= ohms <= ohms_at(HOTTEST_C, r0):
        return None
    t_c = (-A + sqrt(A * A - 4.0 * B * (1.0 - ohms / r0))) / (2.0 * B)
    if t_c < 0.0:
        for _ in range(STEPS):
            slope = r0 * (A + 2.0 * B * t_c + C * t_c**2 * (4.0 * t_c - 300.0))
            t_c -= (ohms_at(t_c, r0) - ohms) / slope
    return t_c
