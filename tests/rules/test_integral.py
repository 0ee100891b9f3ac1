"""What holds for the general method whatever the samples are."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.integral import (
    E9,
    log_reduction,
    lower,
    rate_e9,
    trapezoid,
    upper,
)

REFERENCE_MC, Z_MC = 70_000, 10_000

values_mc = st.integers(-40_000, 120_000)
courses = st.lists(
    st.tuples(st.integers(1, 60_000), values_mc), min_size=1, max_size=30
).map(
    lambda steps: [
        (sum(ms for ms, _ in steps[: n + 1]), value_mc)
        for n, (_, value_mc) in enumerate(steps)
    ]
)


def test_the_rate_at_the_reference_is_one() -> None:
    assert rate_e9(REFERENCE_MC, REFERENCE_MC, Z_MC) == E9


@pytest.mark.parametrize(
    ("decades", "expected_e9"), [(-10, 0), (-9, 1), (-1, E9 // 10), (3, 1000 * E9)]
)
def test_a_whole_z_is_a_whole_decade(decades: int, expected_e9: int) -> None:
    assert rate_e9(REFERENCE_MC + decades * Z_MC, REFERENCE_MC, Z_MC) == expected_e9


@given(values_mc, st.integers(1, 5_000))
def test_hotter_never_counts_less(value_mc: int, more_mc: int) -> None:
    cooler = rate_e9(value_mc, REFERENCE_MC, Z_MC)
    assert cooler <= rate_e9(value_mc + more_mc, REFERENCE_MC, Z_MC)


@given(courses)
def test_the_three_figures_are_in_order(course: list[tuple[int, int]]) -> None:
    low = lower(course, REFERENCE_MC, Z_MC)
    middle = trapezoid(course, REFERENCE_MC, Z_MC)
    high = upper(course, REFERENCE_MC, Z_MC)
    assert low <= middle <= high


@given(courses, st.integers(0, 2_000))
def test_more_doubt_only_widens_the_bounds(
    course: list[tuple[int, int]], doubt_mc: int
) -> None:
    colder = [(at_ms, value_mc - doubt_mc) for at_ms, value_mc in course]
    hotter = [(at_ms, value_mc + doubt_mc) for at_ms, value_mc in course]
    assert lower(colder, REFERENCE_MC, Z_MC) <= lower(course, REFERENCE_MC, Z_MC)
    assert upper(hotter, REFERENCE_MC, Z_MC) >= upper(course, REFERENCE_MC, Z_MC)


@given(courses, st.integers(0, 1 << 40))
def test_the_date_does_not_matter(course: list[tuple[int, int]], later_ms: int) -> None:
    moved = [(at_ms + later_ms, value_mc) for at_ms, value_mc in course]
    assert trapezoid(moved, REFERENCE_MC, Z_MC) == trapezoid(course, REFERENCE_MC, Z_MC)


@given(courses, st.integers(0, 30))
def test_taking_the_course_apart_credits_no_more(
    course: list[tuple[int, int]], place: int
) -> None:
    """A hole cut at a sample leaves the sum; rounding gives at most a millisecond."""
    first, rest = course[: place + 1], course[place:]
    apart = lower(first, REFERENCE_MC, Z_MC) + lower(rest, REFERENCE_MC, Z_MC)
    whole = lower(course, REFERENCE_MC, Z_MC)
    assert apart <= whole <= apart + 1


@given(courses.filter(lambda course: len(course) > 2), st.data())
def test_a_sample_taken_away_never_credits_its_stretch(
    course: list[tuple[int, int]], data: st.DataObject
) -> None:
    """What was beside a missing sample is not joined, and counts for nothing."""
    gone = data.draw(st.integers(1, len(course) - 2))
    before, after = course[:gone], course[gone + 1 :]
    left = lower(before, REFERENCE_MC, Z_MC) + lower(after, REFERENCE_MC, Z_MC)
    assert left <= lower(course, REFERENCE_MC, Z_MC)


@pytest.mark.parametrize(
    ("samples", "figures"),
    [
        pytest.param([(0, 60_000), (5, 60_000)], (0, 1, 1), id="half a millisecond"),
        pytest.param([(0, 60_000), (4, 60_000)], (0, 0, 1), id="less than half"),
        pytest.param([(0, 60_000), (6, 60_000)], (0, 1, 1), id="more than half"),
        pytest.param([(0, 60_000), (10, 60_000)], (1, 1, 1), id="a whole one"),
    ],
)
def test_credit_is_rounded_down_and_risk_up(
    samples: list[tuple[int, int]], figures: tuple[int, int, int]
) -> None:
    """One z below the reference, ten milliseconds are worth one."""
    low = lower(samples, REFERENCE_MC, Z_MC)
    middle = trapezoid(samples, REFERENCE_MC, Z_MC)
    assert (low, middle, upper(samples, REFERENCE_MC, Z_MC)) == figures


@pytest.mark.parametrize("samples", [[], [(0, 80_000)]])
def test_fewer_than_two_samples_last_no_time(samples: list[tuple[int, int]]) -> None:
    for integral in (lower, trapezoid, upper):
        assert integral(samples, REFERENCE_MC, Z_MC) == 0


@pytest.mark.parametrize(
    ("equivalent_ms", "mlog10"),
    [(0, 0), (59, 0), (60, 1), (389_999, 6_499), (390_000, 6_500)],
)
def test_a_log_reduction_is_rounded_down(equivalent_ms: int, mlog10: int) -> None:
    assert log_reduction(equivalent_ms, 60_000) == mlog10


def test_what_cannot_be_integrated_is_refused() -> None:
    with pytest.raises(ValueError, match="z = 0 is not above 0"):
        rate_e9(70_000, 70_000, 0)
    with pytest.raises(ValueError, match="D = 0 ms is not above 0"):
        log_reduction(1, 0)
    with pytest.raises(ValueError, match="is older than"):
        lower([(1, 70_000), (0, 70_000)], REFERENCE_MC, Z_MC)
