"""rules/growth.py against SciPy: the sums of a course, the fastest, the ends.

Source:    the parameters in rules/standards/growth.py, typed again here, and to be
           verified as is said there.  Rosso, Lobry, Flandrois 1993 for what cardinal
           temperatures are.
Rows:      none of a published course: those are in test_growth_checks.py.
Tolerance: 0.005 log10 against SciPy, for the steps of a minute.
"""

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp
from scipy.optimize import minimize_scalar

from rules.growth import (
    between_e9,
    fastest_mc,
    growth_mlog10,
    medium_e9,
    rate_e9,
)
from rules.standards.growth import GROWTH_MODELS
from tests.standards.courses import OPTION_1, Legs, ours

PARAMETERS = {  # a, tmin, b, tmax, q0; typed again
    "beef": (0.05, 10.15, 0.238, 53.0, 0.0699),
    "chicken": (0.048, 9.74, 0.208, 52.1, 0.0105),
    "pork": (0.047, 10.69, 0.252, 52.8, 0.0137),
}
HAM = "C. perfringens, cooked cured pork, as if growth began at once, Juneja 2006"
LE_MARC = (
    "C. perfringens, bulk meat by pH and salt, as if growth began at once, Le Marc 2008"
)
AUREUS = "S. aureus, any meat, as if growth began at once, Rosso form"


def name(meat: str) -> str:
    return f"C. perfringens, cooked uncured {meat}, Juneja 2011"


def rate(meat: str, at_c: float) -> float:
    """Ln per hour."""
    a, tmin, b, tmax, _ = PARAMETERS[meat]
    if not tmin < at_c < tmax:
        return 0.0
    above = (a * (at_c - tmin)) ** 2
    return above * (1 - math.exp(b * (at_c - tmax))) * math.log(10)


def by_scipy(meat: str, *legs: tuple[float, float, float]) -> float:
    """log10 growth: the two differential equations, and no closed form."""
    ln_q, grown = math.log(PARAMETERS[meat][4]), 0.0
    for from_c, to_c, hours in legs:

        def slopes(
            at_h: float,
            state: list[float],
            leg: tuple[float, ...] = (from_c, to_c, hours),
        ) -> list[float]:
            mu = rate(meat, leg[0] + (leg[1] - leg[0]) * at_h / leg[2])
            return [mu, mu / (1 + math.exp(-state[0]))]

        found = solve_ivp(slopes, (0, hours), [ln_q, grown], rtol=1e-8, max_step=0.02)
        ln_q, grown = (float(one[-1]) for one in found.y)
    return grown / math.log(10)


@pytest.mark.parametrize("meat", PARAMETERS)
@pytest.mark.parametrize(
    "legs", [OPTION_1, ((54.4, 27, 3.0),), ((60, 40, 2.0), (40, 45, 1.0), (45, 5, 4.0))]
)
def test_the_sum_is_what_scipy_integrates(meat: str, legs: Legs) -> None:
    assert ours(name(meat), *legs) == pytest.approx(
        by_scipy(meat, *legs), rel=0, abs=0.005
    )


@pytest.mark.parametrize("meat", PARAMETERS)
def test_the_fastest_is_where_scipy_finds_it(meat: str) -> None:
    _, tmin, _, tmax, _ = PARAMETERS[meat]
    found = minimize_scalar(
        lambda at_c: -rate(meat, at_c), bounds=(tmin, tmax), method="bounded"
    )
    peak_mc = fastest_mc(name(meat))
    assert peak_mc / 1000 == pytest.approx(found.x, rel=0, abs=0.02)
    highest = rate_e9(name(meat), peak_mc)
    assert highest / 1e9 == pytest.approx(-found.fun, rel=1e-6)
    assert between_e9(name(meat), 20_000, 52_000)[1] == highest
    assert between_e9(name(meat), 20_000, 30_000)[1] == rate_e9(name(meat), 30_000)


def ham(at_c: float) -> float:
    """Ln per hour; the unit that its source does not state is read as log10."""
    rate = 0.00243 * (at_c - 13.5) ** 2 * (1 - math.exp(0.41 * (at_c - 50.6)))
    return rate * math.log(10)


def aureus(at_c: float) -> float:
    """Ln per hour: 20 min a doubling at 37, none at 7 and at 50 degC."""
    span, above = 37 - 7, at_c - 7
    below = span * (span * (at_c - 37) - (37 - 50) * (37 + 7 - 2 * at_c))
    return 3 * math.log(2) * above**2 * (at_c - 50) / below


@pytest.mark.parametrize(
    ("model", "typed", "leg"),
    [(HAM, ham, (49.0, 15.0, 5.0)), (AUREUS, aureus, (8.0, 48.0, 6.0))],
)
def test_with_no_lag_the_growth_is_the_rate_added_up(
    model: str, typed: Callable[[float], float], leg: tuple[float, float, float]
) -> None:
    from_c, to_c, hours = leg
    found, _ = quad(lambda h: typed(from_c + (to_c - from_c) * h / hours), 0, hours)
    assert ours(model, leg) == pytest.approx(found / math.log(10), rel=0, abs=0.005)


@pytest.mark.parametrize(("ph", "salt"), [(6.2, 0.5), (5.0, 4.0), (5.8, 2.0)])
def test_acidity_and_salt_lower_the_rate(ph: float, salt: float) -> None:
    """7.45 (T - 12.20)^2 (1 - exp(0.095 (T - 54.47))) by aw and pH, ln per hour."""
    aw = 1 - salt * (5.2471 + 0.12206 * salt) / 1000
    held = (aw - 0.9755) * (2 - aw - 0.9755) * (ph - 4.76)
    rate = 7.45 * (43 - 12.20) ** 2 * (1 - math.exp(0.095 * (43 - 54.47))) * held
    factor_e9 = medium_e9(LE_MARC, round(ph * 1000), round(salt * 1000))
    found = growth_mlog10(LE_MARC, rate_e9(LE_MARC, 43_000) * 3_600_000, factor_e9)
    assert found == pytest.approx(rate / math.log(10) * 1000, rel=0, abs=1)


@given(st.integers(5_000, 6_199), st.integers(500, 3_999))
def test_less_acid_or_less_salt_is_never_less_growth(ph: int, salt: int) -> None:
    here = medium_e9(LE_MARC, ph, salt)
    assert 0 <= medium_e9(LE_MARC, ph, salt + 1) <= here
    assert here <= medium_e9(LE_MARC, ph + 1, salt)


def test_a_cardinal_temperature_is_what_it_is_called() -> None:
    """None at the lowest and beyond the highest, the most at the best, as Rosso has it.

    A doubling in 20 min, from memory, to be verified, is 0.301 log10.
    """
    assert fastest_mc(AUREUS) == 37_000
    sum_e9ms = rate_e9(AUREUS, 37_000) * 20 * 60_000
    assert growth_mlog10(AUREUS, sum_e9ms) == round(math.log10(2) * 1000)
    assert rate_e9(AUREUS, 7_000) == 0 < rate_e9(AUREUS, 7_100)


def test_none_above_120_degf() -> None:
    """FSIS-GD-2021-14; 120 degF are 48.89 degC."""
    assert rate_e9(AUREUS, 48_890) == 0 < rate_e9(AUREUS, 48_889)
    assert between_e9(AUREUS, 48_000, 60_000) == (0, rate_e9(AUREUS, 48_000))


names = st.sampled_from(sorted(GROWTH_MODELS))
temps_mc = st.integers(min_value=5_000, max_value=55_000)
sums = st.integers(min_value=0, max_value=10**18)


@given(names, sums, sums)
def test_more_of_the_rate_is_never_less_growth(one: str, some: int, more: int) -> None:
    assert growth_mlog10(one, some) <= growth_mlog10(one, some + more)


@given(names, st.tuples(temps_mc, temps_mc, temps_mc))
def test_a_rate_lies_within_those_of_its_span(
    one: str, temperatures_mc: tuple[int, int, int]
) -> None:
    low_mc, at_mc, high_mc = sorted(temperatures_mc)
    slow, fast = between_e9(one, low_mc, high_mc)
    assert 0 <= slow <= rate_e9(one, at_mc) <= fast


@given(st.sampled_from(sorted(PARAMETERS)), sums)
def test_growth_with_a_lag_is_never_more_than_at_once(meat: str, some: int) -> None:
    """The same rate added up, and no lag: what is told where the lag is not known."""
    at_once = some / 3.6e15 / math.log(10) * 1000
    assert growth_mlog10(name(meat), some) <= at_once + 1
