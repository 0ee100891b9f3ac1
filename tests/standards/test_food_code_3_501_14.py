"""rules/standards/cooling.py against the Food Code's cooling section.

Source:    FDA Food Code section 3-501.14(A), 2013 to 2022: from 135 to 70 degF within
           2 h, and from 135 to 41 degF within a total of 6 h.
Rows:      typed from the text; never printed by our own code.
Tolerance: none: hours and degrees Fahrenheit as printed.

Section 3-501.14(B), food made from ingredients at room temperature, is not carried:
a smoked product is cooked.
"""

from fractions import Fraction

from rules.standards.cooling import COOLING_OPTIONS, Clock
from rules.units import fahrenheit_mc

BANDS = [  # from degF, to degF, h
    (135, 70, 2),
    (135, 41, 6),
]

OPTION = COOLING_OPTIONS["FDA Food Code 3-501.14(A)"]


def test_each_band_is_as_printed() -> None:
    assert [(b.from_mc, b.to_mc, b.at_most_ms) for b in OPTION.bands] == [
        (fahrenheit_mc(Fraction(top)), fahrenheit_mc(Fraction(low)), h * 3_600_000)
        for top, low, h in BANDS
    ]
    assert OPTION.final_mc == fahrenheit_mc(Fraction(41)) == 5_000


def test_both_times_count_from_135() -> None:
    """A first band done in 1 h leaves 5 h for the rest, not 4 h."""
    assert {band.from_mc for band in OPTION.bands} == {fahrenheit_mc(Fraction(135))}
    assert {band.clock for band in OPTION.bands} == {Clock.SINCE_CROSSING}


def test_no_row_was_lost() -> None:
    assert len(BANDS) == 2
