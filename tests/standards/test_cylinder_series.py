"""probes/cylinder.py against the published table of the long cylinder.

Source:    Cengel, Heat Transfer, Table 4-2: first root z1 of z J1(z) = Bi J0(z) and
           coefficient C1 of the one-term solution.
Rows:      typed from the table; never printed by our own code.
Tolerance: the table's last digit, half up or down; for the Bessel functions and the
           further roots SciPy's, to 1e-12.
"""

import numpy as np
import pytest
from scipy.special import j0, j1, jn_zeros

from probes.cylinder import bessel, modes
from probes.screening import MEAT, bounds_for
from rules.channels import Role

TABLE = [  # Bi, z1 [rad], C1
    (0.01, 0.1412, 1.0025),
    (0.02, 0.1995, 1.0050),
    (0.04, 0.2814, 1.0099),
    (0.06, 0.3438, 1.0148),
    (0.08, 0.3960, 1.0197),
    (0.1, 0.4417, 1.0246),
    (0.2, 0.6170, 1.0483),
    (0.3, 0.7465, 1.0712),
    (0.4, 0.8516, 1.0931),
    (0.5, 0.9408, 1.1143),
    (0.6, 1.0184, 1.1345),
    (0.7, 1.0873, 1.1539),
    (0.8, 1.1490, 1.1724),
    (0.9, 1.2048, 1.1902),
    (1.0, 1.2558, 1.2071),
    (2.0, 1.5995, 1.3384),
    (3.0, 1.7887, 1.4191),
    (4.0, 1.9081, 1.4698),
    (5.0, 1.9898, 1.5029),
    (6.0, 2.0490, 1.5253),
    (7.0, 2.0937, 1.5411),
    (8.0, 2.1286, 1.5526),
    (9.0, 2.1566, 1.5611),
    (10.0, 2.1795, 1.5677),
]


@pytest.mark.parametrize(("biot", "root", "share"), TABLE)
def test_first_root_and_coefficient(biot: float, root: float, share: float) -> None:
    first = modes(biot, 1)
    assert first.roots[0] == pytest.approx(root, rel=0, abs=0.000_051)
    assert first.shares[0] == pytest.approx(share, rel=0, abs=0.000_051)


def test_no_row_was_lost() -> None:
    assert len(TABLE) == 24


@pytest.mark.parametrize("biot", [0.01, 0.6, 14.0, 1_000.0])
def test_no_root_is_passed_over_and_every_root_is_one(biot: float) -> None:
    """One root between two neighbouring zeros of J1, says the table's section."""
    roots = np.array(modes(biot, 60).roots)
    assert np.array_equal(np.floor(roots / np.pi), np.arange(60))
    off = roots * j1(roots) - biot * j0(roots)
    assert np.all(np.abs(off) < 1e-10 * (roots + biot))


def test_bessel_functions() -> None:
    for x in np.linspace(0, 250, 501):
        zero, one = bessel(float(x))
        assert zero == pytest.approx(j0(x), rel=0, abs=1e-12)
        assert one == pytest.approx(j1(x), rel=0, abs=1e-12)


@pytest.mark.parametrize("diameter_mm", [16, 19, 20, 24])
def test_what_is_taken_for_a_jump_is_what_no_core_can_go(diameter_mm: int) -> None:
    """The steepest slope of the axis, its surface at once 80 K away; SciPy's roots.

    1.5e-7 m2/s is the quickest of the emulsions in Marcotte and others, J. Food Eng. 88
    (2008) 315 (computed from its abstract's figures).
    """
    roots = jn_zeros(0, 40)
    fourier = np.linspace(0.005, 1, 4_000)
    terms = 2 * roots / j1(roots) * np.exp(-np.outer(fourier, roots**2))
    a_second = 1.5e-7 / (diameter_mm / 2_000) ** 2
    steepest_mk_s = terms.sum(axis=1).max() * a_second * 80_000
    in_air = bounds_for(diameter_mm * 1_000)[Role.CORE]
    assert in_air.falls_mc_per_s == pytest.approx(steepest_mk_s, rel=0.003)
    assert in_air.mc_per_s == MEAT.mc_per_s
    in_water = bounds_for(diameter_mm * 1_000, scalded=True)[Role.CORE]
    assert in_water.mc_per_s == in_air.falls_mc_per_s


def test_thick_and_untold_pieces_have_the_bound_of_25_mm() -> None:
    for diameter_um in (0, 25_000, 63_000):
        core = bounds_for(diameter_um, scalded=True)[Role.CORE]
        reaches = {core.reach_mc(60_000, falls=falls) for falls in (True, False)}
        assert reaches == {MEAT.reach_mc(60_000, falls=True)} == {21_000}
