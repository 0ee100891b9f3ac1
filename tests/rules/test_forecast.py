"""The lag that a forecast fits, on courses worked out by Newton's law itself."""

import json
import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules import forecast
from rules.evidence import Sight
from rules.forecast import (
    KEPT,
    NEVER,
    NONE_MC,
    ONE,
    WINDOW,
    Around,
    Crossing,
    Fit,
    best,
    crossing,
    fitted,
    sampled,
)

STARTS_MC, AROUND_MC = 20_000, 78_000
TAU = 60.0


def course(
    minutes: int = WINDOW + 1, around_mc: int = AROUND_MC, tau: float = TAU
) -> tuple[int, ...]:
    """A lump's samples, one a minute."""
    return tuple(
        round(around_mc + (STARTS_MC - around_mc) * math.exp(-minute / tau))
        for minute in range(minutes)
    )


def steady(value_mc: int = AROUND_MC) -> tuple[int, ...]:
    return (value_mc,) * (WINDOW + 1)


def always(value_mc: int) -> list[Around]:
    return [Around(NEVER, value_mc, value_mc, value_mc)]


def fit_of(core: tuple[int, ...], around: tuple[int, ...] | None = None) -> Fit:
    found = fitted(core, around or steady())
    assert found
    return found


def test_a_lump_has_its_time_constant() -> None:
    fit = fit_of(course())
    assert ONE / fit.rate == pytest.approx(TAU, rel=0.002)
    assert abs(fit.core_mc - course()[-1]) < 5


def test_a_sample_is_a_fresh_reading_or_none() -> None:
    sight = Sight(True, 60_000, 9_500, 10_500, 60_000, quiet=False)
    assert sampled((), sight, 75_000, 15_000) == (10_000,)
    assert sampled((7,), sight, 75_001, 15_000) == (7, NONE_MC)


def test_no_more_samples_are_kept_than_the_window_asks_for() -> None:
    sight = Sight(True, 60_000, 9_500, 10_500, 60_000, quiet=False)
    full = (78_000,) * (KEPT + 1)
    assert sampled(full, sight, 60_000, 0) == (*full[1:], 10_000)


def test_too_few_samples_are_no_fit() -> None:
    assert fitted(course(7), steady()[:7]) is None
    assert fitted((NONE_MC,) * 21, steady()) is None


def test_a_short_gap_is_bridged_and_a_long_one_begins_anew() -> None:
    core = course()
    holes = {3, 4, 5, 9}
    gone = tuple(NONE_MC if i in holes else mc for i, mc in enumerate(core))
    assert ONE / fit_of(gone).rate == pytest.approx(TAU, rel=0.01)
    assert fitted((*core[:8], *(NONE_MC,) * 7, *core[15:]), steady()) is None


def test_a_core_that_goes_away_from_its_surroundings_has_others() -> None:
    assert fitted(course(), steady(0)) is None
    number, _ = best(course(), [steady(0), steady()]) or (None, None)
    assert number == 1


def test_a_probe_pulled_out_is_no_sausage() -> None:
    core = (*course(12), 77_000, *steady()[:8])
    assert fitted(core, steady()) is None


def test_a_core_that_stands_still_never_gets_there() -> None:
    core = tuple(59_400 + (i % 2) * 60 for i in range(WINDOW + 1))
    fit = fit_of(core)
    assert fit.rate == 0
    assert crossing(fit, always(79_000), 67_000) == Crossing(NEVER, NEVER, NEVER)


FIT = Fit(50_000, 78_000, ONE // 60, ONE // 20, 0)


@pytest.mark.parametrize(
    ("mark_mc", "course", "minutes"),
    [
        pytest.param(50_000, always(78_000), 0, id="there already"),
        # 60 min * ln(28 / 14)
        pytest.param(64_000, always(78_000), 42, id="half way"),
        pytest.param(78_000, always(78_000), NEVER, id="where it never quite gets"),
        pytest.param(80_000, always(78_000), NEVER, id="above its surroundings"),
        # after 10 min at 60 degC: 51.535; then 60 min * ln(26.465 / 14) more
        pytest.param(
            64_000,
            [Around(10, 60_000, 60_000, 60_000), *always(78_000)],
            49,
            id="first a colder stage",
        ),
        # 60 min * ln(48 / 8)
        pytest.param(10_000, always(2_000), 108, id="falling"),
        pytest.param(1_000, always(2_000), NEVER, id="colder than the bath"),
    ],
)
def test_when_a_lump_gets_there(
    mark_mc: int, course: list[Around], minutes: int
) -> None:
    assert crossing(FIT, course, mark_mc).likely == minutes


def test_the_interval_widens_with_the_horizon() -> None:
    widths = []
    for mark_mc in (52_000, 60_000, 70_000, 76_000):
        found = crossing(FIT, always(78_000), mark_mc)
        assert found.earliest <= found.likely <= found.latest
        widths.append(found.latest - found.earliest)
    assert widths == sorted(widths)
    assert widths[0] < widths[-1]


def test_what_surrounds_it_widens_the_interval_too() -> None:
    sure = crossing(FIT, always(78_000), 70_000)
    unsure = crossing(FIT, [Around(NEVER, 74_000, 78_000, 82_000)], 70_000)
    assert unsure.likely == sure.likely
    assert unsure.earliest < sure.earliest
    assert unsure.latest > sure.latest


@given(
    st.lists(st.integers(1, WINDOW - 1), unique=True, max_size=WINDOW),
    st.integers(22_000, 76_000),
)
def test_less_evidence_is_a_wider_interval(gone: list[int], mark_mc: int) -> None:
    """Or none: a minute more or less, in which a core's samples are read."""
    whole = fit_of(course(tau=120.0))
    core = list(course(tau=120.0))
    for minute in gone:
        core[minute] = NONE_MC
    less = fitted(tuple(core), steady())
    if less is not None:
        one, other = (
            crossing(fit, always(AROUND_MC), mark_mc) for fit in (whole, less)
        )
        assert other.earliest <= one.earliest + 1
        assert other.latest >= one.latest - 1


MARK_MC = 69_000


def noisy(seed: int, tau: float, noise_mc: int) -> tuple[tuple[int, ...], float]:
    """A lump read with noise somewhere on its way; the minutes that it has left."""
    chance = random.Random(seed)
    begins = chance.randrange(40)
    whole = course(begins + WINDOW + 1, tau=tau)[begins:]
    left = tau * math.log((AROUND_MC - STARTS_MC) / (AROUND_MC - MARK_MC))
    core = tuple(round(mc + chance.gauss(0, noise_mc)) for mc in whole)
    return core, left - begins - WINDOW


def thinned(core: tuple[int, ...], seed: int, percent: int) -> tuple[int, ...]:
    """The same with so many samples gone, never the newest."""
    chance = random.Random(seed)
    *others, last = core
    return (
        *(NONE_MC if chance.randrange(100) < percent else mc for mc in others),
        last,
    )


def width(found: Crossing) -> int:
    return min(found.latest, forecast.HORIZON) - found.earliest


@pytest.mark.parametrize("tau", [40.0, 70.0, 120.0])
@pytest.mark.parametrize("noise_mc", [30, 100, 200])
def test_of_noisy_courses_less_evidence_is_wider_on_the_average(
    tau: float, noise_mc: int
) -> None:
    """And the truth, by the closed form, stays in the interval."""
    before = 1.0
    for percent in (10, 30, 50):
        widths, held = [], 0
        for seed in range(100):
            core, left = noisy(seed, tau, noise_mc)
            less = fitted(thinned(core, seed, percent), steady())
            if less is None or not less.rate:
                continue
            one, other = (
                crossing(fit, always(AROUND_MC), MARK_MC)
                for fit in (fit_of(core), less)
            )
            widths.append((width(one), width(other)))
            held += other.earliest - 1 <= left <= other.latest + 1
        assert len(widths) > 60
        assert held >= 0.98 * len(widths)
        wider = sum(b for _, b in widths) / sum(a for a, _ in widths)
        assert wider > before
        before = wider


@given(
    st.lists(st.integers(-5_000, 90_000), min_size=21, max_size=21),
    st.lists(st.integers(-5_000, 90_000), min_size=21, max_size=21),
    st.integers(-5_000, 90_000),
)
def test_whatever_is_seen_there_is_an_answer_of_whole_numbers(
    core: list[int], around: list[int], mark_mc: int
) -> None:
    fit = fitted(tuple(core), tuple(around))
    if fit is not None:
        assert json.loads(json.dumps(fit)) == list(fit)
        found = crossing(fit, always(fit.around_mc), mark_mc)
        assert found.earliest <= found.likely <= found.latest


@given(st.integers(1, forecast.FASTEST), st.integers(ONE // 1000, ONE))
def test_the_minutes_to_a_share_are_the_fewest(rate: int, share: int) -> None:
    """By the closed form in floats, to the minute either side."""
    needed = forecast._needed(rate, share)
    kept = (2 * ONE - rate) / (2 * ONE + rate)
    exact = math.log(share / ONE) / math.log(kept) if share < ONE else 0.0
    assert min(exact, 2_000) - 1.5 <= min(needed, 2_000) <= exact + 2
