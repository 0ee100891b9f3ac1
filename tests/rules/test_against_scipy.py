"""Integrals and cooling clocks against SciPy, on smooth curves that are known all over.

A curve is sampled on a grid.  Between two samples a step apart it leaves the straight
line by no more than the largest second derivative times the step squared, over eight;
that much, and half a thousandth of a degree for rounding, is told as the uncertainty of
each reading.  The two bounds then have to hold what SciPy finds on the curve itself, by
quadrature or by its roots; the sum's lie no farther apart than the step explains.

Source: SciPy, ``integrate.quad`` and ``optimize.brentq``; the error of a straight line
through two points, any textbook of numerical analysis.
"""

import math
from itertools import pairwise
from typing import NamedTuple

from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from rules.cooling import CoolingLimit
from rules.facts import Reading, Verdict
from rules.integrated import IntegratedLimit
from tests.rules.strategies import BEGUN_MS, Kind, Window, judged

D_S, Z_K, REFERENCE_C, TARGET = 60.0, 10.0, 60.0, 6.5
SUM = IntegratedLimit.model_validate(
    {"limit": "sum", "kind": "integrated lethality", "channel": "core", "D": "60 s"}
    | {"z": "10 K", "reference": "60 degC", "target": "6.5-log10"}
)
COOLING = CoolingLimit.model_validate(
    {"limit": "cooling", "kind": "cooling option", "channel": "core"}
    | {"option": "FSIS Appendix B 1999, option 1"}
)
BANDS_F = ((130, 80), (80, 40))  # of that option


class Curve(NamedTuple):
    """Falls towards its surroundings, and swings a little; degC and seconds."""

    end_c: float
    above_k: float
    tau_s: float
    swing_k: float
    period_s: float
    phase: float

    def __call__(self, at_s: float) -> float:
        swing = self.swing_k * math.sin(self._omega * at_s + self.phase)
        return self.end_c + self.above_k * math.exp(-at_s / self.tau_s) + swing

    @property
    def _omega(self) -> float:
        return 2 * math.pi / self.period_s

    @property
    def steepest(self) -> float:
        """K/s, at the most."""
        return abs(self.above_k) / self.tau_s + self.swing_k * self._omega

    @property
    def bends(self) -> float:
        """K/s^2, at the most."""
        return abs(self.above_k) / self.tau_s**2 + self.swing_k * self._omega**2


def sampled(curve: Curve, step_s: int, last_s: int) -> tuple[list[Reading], int]:
    """The readings, and their uncertainty in thousandths of a degree."""
    within_mc = math.ceil(curve.bends * step_s**2 / 8 * 1000 + 0.5)
    return [
        Reading("core", BEGUN_MS + at_s * 1000, round(curve(at_s) * 1000), within_mc)
        for at_s in range(0, last_s + 1, step_s)
    ], within_mc


curves = st.builds(
    Curve,
    end_c=st.floats(55, 66),
    above_k=st.floats(-40, 5),
    tau_s=st.floats(300, 2_000),
    swing_k=st.floats(0, 3),
    period_s=st.floats(300, 2_000),
    phase=st.floats(0, 6.2),
)
tried = settings(max_examples=25)


@tried
@given(curves)
def test_the_sum_is_that_of_quadrature(curve: Curve) -> None:
    step_s, last_s = 10, 1_800
    readings, within_mc = sampled(curve, step_s, last_s)
    window = Window(BEGUN_MS, 0, 0, BEGUN_MS + last_s * 1000, 0)
    (shown,), _ = judged(Kind("sum", SUM, (), step_s * 1000), window, readings)
    equivalent_s, _ = quad(
        lambda at_s: 10 ** ((curve(at_s) - REFERENCE_C) / Z_K), 0, last_s, limit=200
    )
    figure = equivalent_s / D_S * 1000
    assert shown.most >= figure - 1  # kept in whole thousandths
    if shown.verdict is Verdict.MET:
        assert figure >= TARGET * 1000 - 1
        return  # what came after it was met is nobody's credit
    assert shown.least <= figure + 1
    apart_k = curve.steepest * step_s + 2 * within_mc / 1000
    widest = figure * (10 ** (2 * apart_k / Z_K) - 1)
    assert shown.most - shown.least <= widest + 2
    if shown.verdict is Verdict.MISSED:
        assert figure < TARGET * 1000 + 1


coolings = st.builds(
    Curve,
    end_c=st.floats(-2, 1),
    above_k=st.floats(62, 75),
    tau_s=st.floats(2_000, 7_000),
    swing_k=st.floats(0, 0.8),
    period_s=st.floats(1_500, 6_000),
    phase=st.floats(0, 6.2),
)


def inside_s(curve: Curve, low_c: float, high_c: float, last_s: int) -> float:
    """How long the curve is between the two, by its roots."""
    stops = {0.0, float(last_s)}
    for mark_c in (low_c, high_c):
        for one_s, other_s in pairwise(range(0, last_s + 1, 60)):
            ends = [curve(at_s) - mark_c for at_s in (one_s, other_s)]
            if ends[0] * ends[1] < 0:
                stops.add(brentq(lambda s, c=mark_c: curve(s) - c, one_s, other_s))
    return sum(
        after - before
        for before, after in pairwise(sorted(stops))
        if low_c < curve((before + after) / 2) < high_c
    )


@tried
@given(coolings)
def test_the_clocks_of_cooling_are_those_of_the_roots(curve: Curve) -> None:
    step_s, last_s = 60, 28_800
    readings, _ = sampled(curve, step_s, last_s)
    window = Window(BEGUN_MS, 0, 0, BEGUN_MS + last_s * 1000, 0)
    found, _ = judged(Kind("cooling", COOLING, (), step_s * 1000), window, readings)
    for (from_f, to_f), shown in zip(BANDS_F, found, strict=False):
        low_c, high_c = ((degf - 32) / 1.8 for degf in (to_f, from_f))
        figure_ms = inside_s(curve, low_c, high_c, last_s) * 1000
        # A mark is kept in thousandths of a degree, and a flat curve is slow to cross.
        assert shown.most <= figure_ms + 1_000
        assert shown.least >= figure_ms - 1_000
        if shown.verdict is Verdict.MET:
            assert figure_ms <= shown.required + 1_000
        if shown.verdict is Verdict.MISSED:
            assert figure_ms >= shown.required - 1_000
