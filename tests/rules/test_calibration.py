"""Calibration: what is judged of what a probe said, and how sure that is."""

from dataclasses import replace
from math import ceil, exp

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from rules.calibration import (
    as_judged,
    beyond,
    calibrated,
    exact,
    expanded_mc,
    in_force,
    near,
)
from rules.channels import Channel, Check, Point, Role
from rules.facts import Fact, Reading, Tick
from tests.rules.stories import (
    BEGUN_MS,
    MIN,
    chamber,
    cook,
    core,
    flat,
    judged,
    schedule,
)

ICE = Point(400, 0, 100)
HOT = Point(65_400, 64_800, 200)
OFFSET = Check(1_000, "AB", (ICE,))
LINE = Check(2_000, "CD", (ICE, HOT))
PROBE = Channel("core", Role.CORE, 10_000, 60_000, 0)
CHECKED = replace(PROBE, checks=(OFFSET, LINE))


def said(value_mc: int, at_ms: int = 5_000, within_mc: int = 0) -> Reading:
    """One reading of the probe."""
    return Reading("core", at_ms, value_mc, within_mc)


@pytest.mark.parametrize(
    ("at_ms", "value_mc", "judged_mc"),
    [
        pytest.param(999, 10_400, 10_400, id="before its first check"),
        pytest.param(1_000, 10_400, 10_000, id="from the first check on"),
        pytest.param(1_999, 65_400, 65_000, id="until the next"),
        pytest.param(2_000, 65_400, 64_800, id="a point of the line"),
        pytest.param(2_000, 400, 0, id="the other point"),
        pytest.param(2_000, 32_900, 32_400, id="half-way between them"),
        pytest.param(2_000, 97_900, 97_200, id="half as far again beyond"),
    ],
)
def test_the_check_in_force_corrects(at_ms: int, value_mc: int, judged_mc: int) -> None:
    assert as_judged(CHECKED, said(value_mc, at_ms)).value_mc == judged_mc


def test_nothing_told_changes_nothing() -> None:
    facts: list[Fact] = [said(1), Tick(2)]
    assert calibrated([PROBE], facts) is facts


def test_only_the_told_channel_is_corrected() -> None:
    other = Reading("chamber", 5_000, 10_400, 0)
    facts: list[Fact] = [said(10_400), other, Tick(6_000)]
    found = list(calibrated([CHECKED], facts))
    assert found[1:] == facts[1:]
    assert found[0] == as_judged(CHECKED, said(10_400)) != facts[0]


def test_exact_keeps_the_correction_and_no_doubt() -> None:
    channel = exact(replace(CHECKED, step_mc=63, drift_mc=100, lag_mc=400))
    found = as_judged(channel, said(65_400))
    assert (found.value_mc, found.uncertainty_mc) == (64_800, 0)


def test_the_lag_is_added_as_it_is() -> None:
    channel = replace(PROBE, lag_mc=400)
    assert as_judged(channel, said(0, within_mc=500)).uncertainty_mc == 900


def test_a_late_check_says_nothing_of_what_was_before() -> None:
    assert in_force((OFFSET, LINE), 999) is None
    assert in_force((OFFSET, LINE), 10**9) is LINE


@pytest.mark.parametrize(
    ("judged_mc", "answer"), [(74_800, True), (74_801, False), (54_799, False)]
)
def test_near_is_within_ten_kelvin(judged_mc: int, answer: bool) -> None:
    assert near(LINE, judged_mc) is answer


def test_a_line_that_goes_wrong_further_on() -> None:
    """0 and +0.5 K at ice, -1.5 K at 40: by 100 degC the line has gone to -4.5 K."""
    points = (Point(0, 500, 100), Point(40_000, 38_500, 100))
    assert beyond(points, 0, 100_000) == (100_000, -4_500)
    assert beyond(LINE.points, 0, 100_000) is None


amounts = st.integers(min_value=0, max_value=2_000)


@given(amounts, amounts, amounts, amounts, amounts)
def test_more_doubt_is_never_a_smaller_bound(
    accuracy: int, step: int, drift: int, within: int, more: int
) -> None:
    found = expanded_mc(accuracy, step, drift, within)
    assert found >= accuracy
    assert expanded_mc(accuracy + more, step, drift, within) >= found
    assert expanded_mc(accuracy, step + more, drift, within) >= found
    assert expanded_mc(accuracy, step, drift + more, within) >= found
    assert expanded_mc(accuracy, step, drift, within + more) >= found


@given(amounts, amounts, amounts, amounts)
def test_the_bound_is_rounded_up(a: int, s: int, d: int, w: int) -> None:
    """3 U^2 = 4 a^2 + s^2 + 4 d^2 + 3 w^2, by hand from u = a/sqrt 3 and so on."""
    thrice = 4 * a * a + s * s + 4 * d * d + 3 * w * w
    found = expanded_mc(a, s, d, w)
    if s or d or w:
        assert 3 * (found - 1) ** 2 < thrice <= 3 * found**2


@pytest.mark.parametrize("slope_mc_per_min", [3_000, -3_000])
def test_a_ramp_within_the_told_slope_stays_within_the_bounds(
    slope_mc_per_min: int,
) -> None:
    """A first-order probe says r (t - tau (1 - exp(-t / tau))) of a ramp r t.

    Rising it says too little, falling too much; the bounds hold the truth both times,
    so neither a heating nor a cooling limit gets credit that is not there.
    """
    channel, tau_s = replace(PROBE, lag_mc=400), 8.0
    for second in range(120):
        truth = slope_mc_per_min / 60 * second
        behind = slope_mc_per_min / 60 * tau_s * (1 - exp(-second / tau_s))
        found = as_judged(channel, said(round(truth - behind), second * 1_000))
        assert abs(truth - found.value_mc) <= found.uncertainty_mc + 1
        assert (found.value_mc <= truth) is (slope_mc_per_min > 0) or not second


@pytest.mark.parametrize(("from_c", "to_c"), [(70.0, 1.0), (4.0, 82.0)])
def test_in_a_fast_bath_the_truth_stays_within_the_bounds(
    from_c: float, to_c: float
) -> None:
    """What a first-order probe says of a core in a bath, integrated by SciPy."""
    tau_s, core_s = 8.0, 240.0
    slope_mc_per_s = abs(to_c - from_c) * 1_000 / core_s  # the steepest, at the start
    channel = replace(PROBE, lag_mc=ceil(tau_s * slope_mc_per_s))

    def truth_c(at_s: float) -> float:
        return to_c + (from_c - to_c) * exp(-at_s / core_s)

    def behind(at_s: float, says: NDArray[np.float64]) -> NDArray[np.float64]:
        return (truth_c(at_s) - says) / tau_s

    moments = list(range(0, 600, 5))
    solved = solve_ivp(behind, (0, 600), [from_c], t_eval=moments, rtol=1e-8, atol=1e-8)
    for at_s, says_c in zip(moments, solved.y[0], strict=True):
        found = as_judged(channel, said(round(says_c * 1_000), at_s * 1_000))
        truth_mc = truth_c(at_s) * 1_000
        assert abs(found.value_mc - truth_mc) <= found.uncertainty_mc + 1
        assert not at_s or (found.value_mc > truth_mc) is (to_c < from_c)


HEAT = schedule(
    """\
stages:
  - {stage: cook, chamber: 60 degC to 90 degC, ends: after 30 min}
limits:
  - {limit: hot, kind: hold, channel: core, during: cook, at or above: 65 degC}
"""
)


@pytest.mark.parametrize(
    ("check", "verdict"),
    [
        pytest.param(None, "met", id="taken at its word"),
        pytest.param(Check(0, "AB", (Point(65_000, 64_000, 0),)), "missed", id="high"),
        pytest.param(Check(0, "AB", (Point(65_000, 65_400, 0),)), "met", id="low"),
        pytest.param(
            Check(BEGUN_MS + 60 * MIN, "AB", (Point(65_000, 62_000, 0),)),
            "met",
            id="a check made afterwards",
        ),
        pytest.param(
            Check(0, "AB", (Point(65_000, 65_000, 1_000),)), "unproven", id="vague"
        ),
    ],
)
def test_a_cook_is_judged_by_what_the_check_makes_of_it(
    check: Check | None, verdict: str
) -> None:
    probe = replace(core("core"), checks=(check,) if check else ())
    readings = [*flat("chamber", 0, 40, 70), *flat("core", 0, 40, 65)]
    outcome = cook(HEAT, [chamber(), probe], readings, until_min=40)
    assert judged(outcome, "hot").verdict == verdict
