"""rules/forecast.py against the conduction of heat in a long cylinder.

Source:    Cengel, Heat Transfer, Table 4-2: first root z1 of z J1(z) = Bi J0(z) and
           coefficient C1 of the one-term solution, which holds for Fo above 0.2.
           The course itself is the whole series, its Bessel functions and roots
           SciPy's.
Rows:      typed from the table; never printed by our own code.
Tolerance: the table's last digit for the roots; 2 % for a fitted time constant, which
           is what the other terms make out at most there by the same section; 2 %
           and the whole minutes for the time at which the axis is at a temperature.
"""

from itertools import pairwise
from typing import NamedTuple

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import j0, j1

from rules import engine, replay
from rules.facts import Reading, Tick
from rules.forecast import NEVER, ONE, WINDOW, Around, Fit, crossing, fitted
from tests.rules.stories import BEGUN_MS, MIN, chamber, core, schedule

TABLE = [  # Bi, z1 [rad], C1
    (0.1, 0.4417, 1.0246),
    (0.2, 0.6170, 1.0483),
    (0.5, 0.9408, 1.1143),
    (1, 1.2558, 1.2071),
    (2, 1.5995, 1.3384),
    (3, 1.7887, 1.4191),
    (5, 1.9898, 1.5029),
    (10, 2.1795, 1.5677),
]
TERMS = 30
AROUND_MC, STARTS_MC = 78_000, 4_000
AIR = [Around(NEVER, AROUND_MC, AROUND_MC, AROUND_MC)]
MARK_MC = 69_000
TAU_MIN = 50.0  # of the late part; the cylinder is as thick as that takes
COOKED = schedule("""\
stages:
  - {stage: cook, chamber: 74 degC to 82 degC, ends: when every core rises to 69 degC}
""")
FO_FROM = 0.2  # where one term is enough, says the table's head


class Stick(NamedTuple):
    """The axis of a cylinder, sample by sample, and its exact course."""

    z1: float
    c1: float
    samples_mc: list[int]  # one a minute
    fo_a_minute: float

    def minute(self, mark_mc: int) -> float:
        """When the axis is at the mark, by the one term: exact for Fo above 0.2."""
        share = (AROUND_MC - mark_mc) / (AROUND_MC - STARTS_MC)
        return float(np.log(self.c1 / share) / self.z1**2 / self.fo_a_minute)


def roots(bi: float) -> list[float]:
    def side(z: float) -> float:
        return float(z * j1(z) - bi * j0(z))

    steps = np.linspace(1e-6, np.pi * (TERMS + 2), 4_000)
    found = [brentq(side, a, b) for a, b in pairwise(steps) if side(a) * side(b) < 0]
    return found[:TERMS]


def stick(bi: float) -> Stick:
    z = np.array(roots(bi))
    c = 2 / z * j1(z) / (j0(z) ** 2 + j1(z) ** 2)
    fo_a_minute = 1 / (TAU_MIN * z[0] ** 2)
    fo = np.arange(6 * TAU_MIN) * fo_a_minute
    share = (c * np.exp(-np.outer(fo, z**2))).sum(axis=1)
    course = AROUND_MC + (STARTS_MC - AROUND_MC) * share
    return Stick(z[0], c[0], [round(one) for one in course], fo_a_minute)


def fits(one: Stick) -> list[tuple[int, Fit]]:
    """Every fit whose window lies where one term is enough, to 95 % of the way."""
    from_minute = int(FO_FROM / one.fo_a_minute) + WINDOW + 1
    last = next(i for i, mc in enumerate(one.samples_mc) if mc > AROUND_MC - 3_700)
    found = []
    for minute in range(from_minute, last):
        core = tuple(one.samples_mc[minute - WINDOW : minute + 1])
        fit = fitted(core, (AROUND_MC,) * len(core))
        assert fit
        found.append((minute, fit))
    return found


@pytest.mark.parametrize(("bi", "z1", "c1"), TABLE)
def test_the_series_has_the_published_root_and_coefficient(
    bi: float, z1: float, c1: float
) -> None:
    one = stick(bi)
    assert one.z1 == pytest.approx(z1, rel=0, abs=0.000_051)
    assert one.c1 == pytest.approx(c1, rel=0, abs=0.000_051)


@pytest.mark.parametrize(("bi", "z1", "c1"), TABLE)
def test_the_fitted_time_constant_is_that_of_the_first_root(
    bi: float, z1: float, c1: float
) -> None:
    one = stick(bi)
    tau_min = 1 / (z1**2 * one.fo_a_minute)
    for _, fit in fits(one):
        assert ONE / fit.rate == pytest.approx(tau_min, rel=0.02)


@pytest.mark.parametrize(("bi", "z1", "c1"), TABLE)
def test_the_axis_is_at_a_temperature_when_the_table_says(
    bi: float, z1: float, c1: float
) -> None:
    one = stick(bi)
    share = (AROUND_MC - MARK_MC) / (AROUND_MC - STARTS_MC)
    at_minute = np.log(c1 / share) / z1**2 / one.fo_a_minute
    forecasts = [found for found in fits(one) if found[0] < at_minute - 1]
    assert len(forecasts) > TAU_MIN / 2
    for minute, fit in forecasts:
        left = at_minute - minute
        found = crossing(fit, AIR, MARK_MC)
        assert abs(found.likely - left) <= 0.02 * left + 1
        assert found.earliest - 1 <= left <= found.latest


@pytest.mark.parametrize("bi", [row[0] for row in TABLE])
def test_it_is_better_than_a_straight_line_as_soon_as_it_speaks(bi: float) -> None:
    """Also while heat is still on its way to the axis, where it may be silent."""
    one = stick(bi)
    at_minute = one.minute(MARK_MC)
    ours = line = 0.0
    held = spoken = 0
    for minute in range(WINDOW, int(at_minute)):
        core = tuple(one.samples_mc[minute - WINDOW : minute + 1])
        fit = fitted(core, (AROUND_MC,) * len(core))
        if fit is None:
            continue
        left = at_minute - minute
        found = crossing(fit, AIR, MARK_MC)
        slope = np.polyfit(np.arange(len(core)), core, 1)[0]
        ours += abs(found.likely - left)
        line += abs((MARK_MC - core[-1]) / slope - left)
        held += found.earliest - 1 <= left <= found.latest
        spoken += 1
    assert ours < line / 4
    assert spoken > 0.9 * (at_minute - WINDOW)
    assert held > 0.95 * spoken


@pytest.mark.parametrize("percent", [25, 50, 75])
@pytest.mark.parametrize("bi", [row[0] for row in TABLE])
def test_early_readings_say_within_which_times_the_axis_gets_there(
    bi: float, percent: int
) -> None:
    """Through the engine: a core and its chamber, read once a minute from loading."""
    one = stick(bi)
    at_minute = one.minute(MARK_MC)
    now = round(at_minute * percent / 100)
    plan = engine.plan(COOKED, [chamber(), core()])
    state, _ = replay.fold(
        plan,
        engine.opened(plan, BEGUN_MS),
        [
            Reading(name, BEGUN_MS + minute * MIN, value_mc, 0)
            for minute in range(now + 1)
            for name, value_mc in (
                ("chamber", AROUND_MC),
                ("core", one.samples_mc[minute]),
            )
        ]
        + [Tick(BEGUN_MS + now * MIN + 1)],
    )
    ((_, course),) = engine.courses(plan, state).items()
    found = course.crossing(MARK_MC, rises=True)
    left = at_minute - now
    assert found.earliest - 1 <= left <= found.latest + 1
    # Early, its surface may still be wet, for all that is known, and hold it back.
    assert found.latest < NEVER or percent == 25
    assert abs(found.likely - left) <= 0.25 * left + 1


def test_no_row_was_lost() -> None:
    assert len(TABLE) == 8
