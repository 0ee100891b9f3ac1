"""rules/calibration.py: uncertainties against the worked figures of the GUM.

Source:    JCGM 100:2008, 4.3.7 (half-width 0.40 gives u = 0.23), F.2.2.1 (a step of 1
           gives u = 0.29) and H.1 (25, 9.7, 2.9 and 16.6 nm combine to 32 nm); from
           memory, to be verified.  The figures are given in thousandths here.
Tolerance: half of the source's last digit, twice that once expanded with k = 2.
"""

from math import ceil, sqrt

import pytest

from rules.calibration import corrected, expanded_mc
from rules.channels import Point


def test_a_rectangle() -> None:
    assert expanded_mc(0, 0, 400, 0) == pytest.approx(2 * 230, rel=0, abs=10)


def test_a_step() -> None:
    assert expanded_mc(0, 1_000, 0, 0) == pytest.approx(2 * 290, rel=0, abs=10)


def test_a_certificate_at_two_sigma_is_itself() -> None:
    assert expanded_mc(0, 0, 0, 240) == 240


def test_four_that_are_independent() -> None:
    """Each is given as what has that standard uncertainty: half-width, step, U."""
    accuracy, step = ceil(16_600 * sqrt(3)), ceil(9_700 * sqrt(12))
    drift, certificate = ceil(2_900 * sqrt(3)), 2 * 25_000
    found = expanded_mc(accuracy, step, drift, certificate)
    assert found == pytest.approx(2 * 32_000, rel=0, abs=1_000)


def test_a_thermometer_between_two_points() -> None:
    """Half-way each reference weighs a half (5.2.2): 0.1 and 0.3 K leave 0.2 K."""
    points = (Point(0, 0, 100), Point(80_000, 79_000, 300))
    assert corrected(points, 0, 40_000) == (-500, 200)
