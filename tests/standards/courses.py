"""Courses of temperatures in straight legs, and the growth that our models sum up.

A leg goes from one temperature [degC] to another in so many hours.
"""

from rules.growth import growth_mlog10, rate_e9

Legs = tuple[tuple[float, float, float], ...]

# FSIS Appendix B, option 1: 130 to 80 degF in 1.5 h, on to 40 degF in 5 h.
OPTION_1: Legs = ((54.4, 26.7, 1.5), (26.7, 4.4, 5.0))


def ours(model: str, *legs: tuple[float, float, float]) -> float:
    """log10 growth by minutes, each at its middle."""
    total = 0
    for from_c, to_c, hours in legs:
        minutes = round(hours * 60)
        for minute in range(minutes):
            at_c = from_c + (to_c - from_c) * (minute + 0.5) / minutes
            total += rate_e9(model, round(at_c * 1000)) * 60_000
    return growth_mlog10(model, total) / 1000
