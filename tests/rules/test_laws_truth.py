"""The bounds of every limit hold what a denser, exact course comes to.

The course is straight in small pieces, none steeper than ``FASTEST_MC_PER_S``, and
rises or falls without a turn between two moments of the grid: the engine's declared
rule is that between two joined readings the truth lies between them, each widened by
its uncertainty.  A probe samples it on the jittered grid, off by no more than its
accuracy, and some of its readings are lost.  The figures of the course are worked out
in ``truth``, with fractions.
"""

import math
from collections.abc import Callable
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.polynomial.legendre import leggauss

from rules.band import Bounded
from rules.cooling import CoolingLimit
from rules.evidence import FASTEST_MC_PER_S
from rules.facts import Reading, Verdict
from rules.integrated import IntegratedLimit
from rules.limit import Shown
from rules.rate import RateLimit
from rules.reach import Reaching, ReachWithin
from rules.reheating import ReheatingLimit
from rules.standards.cooling import Clock
from rules.standards.tables import DWELL_TABLES, DwellRow
from rules.time_between import TimeBetween
from tests.rules import truth
from tests.rules.strategies import (
    BEGUN_MS,
    KINDS,
    OTHER_WAYS,
    SLOW_MS,
    Kind,
    Window,
    jitters,
    judged,
    values,
    written,
)
from tests.rules.truth import Point, Where

BY_NAME = {kind.name: kind for kind in (*KINDS, *OTHER_WAYS)}


class Sampled(NamedTuple):
    """A course, when it is judged, and what a probe showed of it."""

    course: list[tuple[int, int]]
    window: Window
    readings: list[Reading]

    def points(self, *marks_mc: int) -> list[Point]:
        """The course in the window, with a point wherever it crosses a mark."""
        window = self.window
        return truth.cut(self.course, window.begin_ms, window.over_ms, *marks_mc)

    def parts(self, *marks_mc: int) -> list[list[Point]]:
        """The same, without what lies in the pause: one part before it, one after."""
        window = self.window
        if not window.pause_ms:
            return [self.points(*marks_mc)]
        return [
            truth.cut(self.course, window.begin_ms, window.pause_ms, *marks_mc),
            truth.cut(self.course, window.resume_ms, window.over_ms, *marks_mc),
        ]


def between(one: tuple[int, int], other: tuple[int, int], part: int, way: int) -> int:
    """A value that can be passed on the way, with no turn; both in hundredths."""
    (at_ms, value_mc), (to_ms, end_mc) = one, other
    middle_ms = at_ms + (to_ms - at_ms) * part // 100
    wanted = value_mc + (end_mc - value_mc) * way // 100
    there = reach_mc(middle_ms - at_ms)
    back = reach_mc(to_ms - middle_ms)
    lowest = max(min(value_mc, end_mc), value_mc - there, end_mc - back)
    highest = min(max(value_mc, end_mc), value_mc + there, end_mc + back)
    return max(lowest, min(wanted, highest))


def reach_mc(ms: int) -> int:
    return ms * FASTEST_MC_PER_S // 1000


@st.composite
def sampled(draw: st.DrawFn, kind: Kind, *, pauses: bool = False) -> Sampled:
    """A course of the kind's own temperatures, and the readings of a probe in it."""
    within_mc = draw(st.sampled_from([0, 1, 300, 1_000]))
    part = st.sampled_from([1, 10, 50, 90, 99])
    noise = st.sampled_from([-within_mc, 0, within_mc, within_mc // 2])
    lost = st.sampled_from([False] * 4 + [True])
    # Half of the time it stays where it is, so that there are long runs.
    value = st.none() | values(kind, within_mc)
    point = st.tuples(value, jitters(kind), part, part, noise, lost)
    points = draw(st.lists(point, min_size=2, max_size=30))
    course = [(BEGUN_MS, draw(values(kind, within_mc)))]
    readings = []
    if draw(st.booleans()):
        readings.append(Reading("core", *course[0], within_mc))
    for place, (wanted_mc, jitter, when, way, noise_mc, gone) in enumerate(points, 1):
        at_ms = BEGUN_MS + place * kind.every_ms + jitter
        last_ms, last_mc = course[-1]
        reach = reach_mc(at_ms - last_ms)
        value_mc = last_mc if wanted_mc is None else wanted_mc
        value_mc = max(min(value_mc, last_mc + reach), last_mc - reach)
        middle_ms = last_ms + (at_ms - last_ms) * when // 100
        middle = between(course[-1], (at_ms, value_mc), when, way)
        course += [(middle_ms, middle), (at_ms, value_mc)]
        if not gone:
            readings.append(Reading("core", at_ms, value_mc + noise_mc, within_mc))
    end_ms = course[-1][0]
    begin_ms = BEGUN_MS + draw(st.sampled_from([0, 1, kind.every_ms * 2]))
    over_ms = max(end_ms - draw(st.sampled_from([0, 1, kind.every_ms])), begin_ms + 1)
    if over_ms > end_ms:
        course.append((over_ms, course[-1][1]))
    pause_ms = resume_ms = 0
    third_ms = (over_ms - begin_ms) // 3
    if pauses and third_ms and draw(st.booleans()):
        pause_ms = begin_ms + third_ms
        resume_ms = pause_ms + draw(st.sampled_from([1, third_ms // 2 + 1, third_ms]))
    window = Window(begin_ms, pause_ms, resume_ms, over_ms, heat_ended_ms=begin_ms)
    return Sampled(course, window, readings)


def at_least(mark_mc: int) -> Where:
    return lambda mc: mc >= mark_mc


def below(mark_mc: int) -> Where:
    return lambda mc: mc < mark_mc


def above(mark_mc: int) -> Where:
    return lambda mc: mc > mark_mc


def at_most(mark_mc: int) -> Where:
    return lambda mc: mc <= mark_mc


def inside(low_mc: int, high_mc: int) -> Where:
    return lambda mc: low_mc < mc < high_mc


def outside(low_mc: int | None, high_mc: int | None) -> Where:
    def is_out(mc: Fraction) -> bool:
        too_low = low_mc is not None and mc < low_mc
        return too_low or (high_mc is not None and mc > high_mc)

    return is_out


def holds(shown: Shown, figure: Fraction) -> None:
    """Least favourable is the larger one where an allowance is used up."""
    assert shown.most <= figure <= shown.least, (shown, figure)
    if shown.verdict is Verdict.MET:
        assert figure <= shown.required
    if shown.verdict is Verdict.MISSED:
        assert figure > shown.required


def time_between(kind: Kind, one: Sampled) -> None:
    """All of it, before a pause and after it."""
    assert isinstance(kind.limit, TimeBetween)
    low, high = kind.limit.between
    (shown,), _ = judged(kind, one.window, one.readings)
    parts = one.parts(low, high)
    figure = sum(truth.total_ms(part, inside(low, high)) for part in parts)
    holds(shown, Fraction(figure))


def come_up(kind: Kind, one: Sampled) -> None:
    """The longest count; it begins anew wherever some row of the table is full."""
    assert isinstance(kind.limit, TimeBetween) and kind.limit.lethal
    low, high = kind.limit.between
    (shown,), _ = judged(kind, one.window, one.readings)
    rows = kind.limit.lethal.rows
    points = one.points(low, high, *(row.temp_mc for row in rows))
    full = [
        start + row.dwell_ms
        for row in rows
        for start, stop in truth.runs(points, at_least(row.temp_mc))
        if stop - start >= row.dwell_ms
    ]
    ends = [points[0].at_ms, *sorted(full), points[-1].at_ms]
    counts = [
        sum(
            max(min(other.at_ms, to_ms) - max(one.at_ms, from_ms), Fraction(0))
            for one, other in truth.stretches(points, inside(low, high))
        )
        for from_ms, to_ms in pairwise(ends)
    ]
    holds(shown, Fraction(max(counts)))


def excursion(kind: Kind, one: Sampled) -> None:
    """The longest, from the end of the settling time, or from when it came inside.

    The course comes into the band before any reading shows it, so what it does until
    then counts for the least favourable truth alone.
    """
    assert isinstance(kind.limit, Bounded)
    bounds = kind.limit.bounds
    (shown,), _ = judged(kind, one.window, one.readings)
    is_out = outside(*bounds)
    marks = [mark for mark in bounds if mark is not None]
    if one.window.pause_ms:
        parts = [part for part in one.parts(*marks) if part]
        holds(shown, max(truth.longest_ms(part, is_out) for part in parts))
        return
    armed_ms = one.window.begin_ms + kind.limit.settle_ms
    came_ms = truth.first_ms(one.points(*marks), lambda mc: not is_out(mc))
    if came_ms is not None:
        armed_ms = min(armed_ms, math.ceil(came_ms))
    judged_from = truth.cut(one.course, armed_ms, one.window.over_ms, *marks)
    if judged_from:
        holds(shown, truth.longest_ms(judged_from, is_out))


def longest_run(kind: Kind, one: Sampled) -> None:
    """The longest at some row of the table."""
    (shown,), _ = judged(kind, one.window, one.readings)
    rows = DWELL_TABLES["FSIS Appendix A, meat, 6.5-log10"].rows
    runs: dict[DwellRow, Fraction] = {}
    for row in rows:
        hot = at_least(row.temp_mc)
        parts = [part for part in one.parts(row.temp_mc) if part]
        if any(truth.first_ms(part, hot) is not None for part in parts):
            runs[row] = max(truth.longest_ms(part, hot) for part in parts)
    full = [row for row, ran_ms in runs.items() if ran_ms >= row.dwell_ms]
    if shown.verdict is Verdict.MET:
        assert full
    if shown.verdict is Verdict.MISSED:
        assert not full
    # Some rows ask for no time at all: one of them is meant.
    named = [runs.get(row, 0) for row in rows if row.dwell_ms == shown.required]
    if shown.verdict is Verdict.MET:
        assert max(named) >= shown.required
    else:
        assert any(shown.least <= ran_ms <= shown.most for ran_ms in named)
    if shown.verdict is Verdict.UNPROVEN and shown.required:
        assert shown.least < shown.required <= shown.most


def integral(kind: Kind, one: Sampled) -> None:
    """To two thousandths of a decade: sums are kept in whole thousandths."""
    limit = kind.limit
    assert isinstance(limit, IntegratedLimit)
    (shown,), _ = judged(kind, one.window, one.readings)
    figure = sum(
        truth.decades(part, limit.reference_mc, limit.z_mc, limit.d_ms)
        for part in one.parts()
    )
    assert shown.least <= figure * 1000 + 2
    assert figure * 1000 <= shown.most + 2
    if shown.verdict is Verdict.MET:
        assert figure * 1000 >= limit.target_mlog10 - 1
    if shown.verdict is Verdict.MISSED:
        assert figure * 1000 < limit.target_mlog10 + 1


def cooling_clocks(kind: Kind, one: Sampled) -> None:
    """Each band by its own clock, and the final temperature."""
    assert isinstance(kind.limit, CoolingLimit)
    found, _ = judged(kind, one.window, one.readings)
    option = kind.limit.option
    for band, shown in zip(option.bands, found, strict=False):
        points = one.points(band.from_mc, band.to_mc)
        reached = truth.first_ms(points, at_most(band.to_mc))
        if band.clock is Clock.DWELL:
            figure = truth.total_ms(points, inside(band.to_mc, band.from_mc))
        else:
            crossed = truth.first_ms(points, below(band.from_mc))
            stop = Fraction(one.window.over_ms) if reached is None else reached
            figure = stop - (stop if crossed is None else min(crossed, stop))
        holds(shown, figure)
        if shown.verdict is Verdict.MET:
            assert reached is not None
    final = [one for one in found if one.part.startswith("down to")]
    if final and final[0].verdict is Verdict.MET:
        cold = truth.first_ms(one.points(), at_most(option.final_mc))
        assert cold is not None


def said(limit: Reaching) -> tuple[bool, int, int, int]:
    """Whether it rises, where to, for how long and within which time, as written."""
    if isinstance(limit, ReheatingLimit):
        option = limit.option
        return True, option.to_mc, option.run_ms, option.at_most_ms
    assert isinstance(limit, ReachWithin)
    above_mc, below_mc = limit.at_or_above_mc, limit.at_or_below_mc
    goal_mc = above_mc if below_mc is None else below_mc
    assert goal_mc is not None
    return below_mc is None, goal_mc, limit.run_ms, limit.at_most_ms


def time_it_took(kind: Kind, one: Sampled) -> None:
    """From where the clock begins to the end of the first run that was full."""
    limit = kind.limit
    assert isinstance(limit, Reaching)
    (shown,), _ = judged(kind, one.window, one.readings)
    rises, goal_mc, run_ms, at_most_ms = said(limit)
    assert shown.required == at_most_ms + run_ms
    goal = at_least(goal_mc) if rises else at_most(goal_mc)
    gone = (above if rises else below)(limit.since_mc or 0)
    points = one.points(*kind.marks_mc)
    begins = Fraction(one.window.begin_ms)
    if limit.since_mc is not None:
        left = truth.first_ms(points, gone)
        begins = Fraction(one.window.over_ms) if left is None else left
    runs = truth.runs(points, goal)
    full = [start for start, stop in runs if stop - start >= run_ms]
    ends = full[0] + run_ms if full else Fraction(one.window.over_ms)
    holds(shown, max(ends - begins, Fraction(0)))
    if shown.verdict is Verdict.MET:
        assert full


def change(kind: Kind, one: Sampled) -> None:
    """Of a straight line's two ends the difference is greatest where one has a turn."""
    limit = kind.limit
    assert isinstance(limit, RateLimit)
    (shown,), _ = judged(kind, one.window, one.readings)
    low, high = limit.between or (-(10**9), 10**9)
    changes = [
        after - before if limit.asked.rises else before - after
        for before, after in truth.windows(one.points(low, high), limit.over_ms)
        if low <= before <= high and low <= after <= high
    ]
    if limit.asked.at_most and changes:
        holds(shown, max(*changes, Fraction(0)))
    if not limit.asked.at_most and changes:
        figure = min(changes)
        assert min(shown.least, shown.required) <= max(figure, Fraction(0))
        assert min(figure, Fraction(shown.required)) <= shown.most
        if shown.verdict is Verdict.MET:
            assert figure >= shown.required
        if shown.verdict is Verdict.MISSED:
            assert figure < shown.required
    if not changes:
        assert shown.verdict is Verdict.UNPROVEN


def moist_time(kind: Kind, one: Sampled) -> None:
    """All of it, before a pause and after it."""
    (shown,), _ = judged(kind, one.window, one.readings)
    moist = at_least(64_000)
    # The longer of half of the cooking time and a minute: see ``strategies``.
    cooked_ms = one.window.over_ms - one.window.begin_ms
    assert shown.required == max(math.ceil(cooked_ms / 2), 60_000)
    figure = sum(truth.total_ms(part, moist) for part in one.parts(64_000))
    assert shown.least <= figure <= shown.most
    if shown.verdict is Verdict.MET:
        assert figure >= shown.required
    if shown.verdict is Verdict.MISSED:
        assert figure < shown.required


# Of the model for pork: a, tmin, b and tmax in degC, q0, as published.
A, TMIN, B, TMAX, Q0 = 0.047, 10.69, 0.252, 52.8, 0.0137
# Gauss and Legendre's, of five points.
NODES, WEIGHTS = leggauss(5)


def growth(kind: Kind, one: Sampled) -> None:
    """The model of ``tests/standards/test_growth.py``, by Gauss's quadrature."""
    (shown,), _ = judged(kind, one.window, one.readings)
    total = added_up(one.points(round(TMAX * 1000), round(TMIN * 1000)), log10_per_hour)
    grown = math.log10((1 + Q0 * 10**total) / (1 + Q0)) * 1000
    assert shown.most - 2 <= grown <= shown.least + 2, (shown, grown)
    assert shown.verdict is Verdict.UNPROVEN


def added_up(points: list[Point], rate: Callable[[float], float]) -> float:
    """A rate by the hour, added up along a course with a point at each of its kinks."""
    total = 0.0
    for start, stop in pairwise(points):
        half_h = float(stop.at_ms - start.at_ms) / 7_200_000
        middle_c = float(start.value_mc + stop.value_mc) / 2_000
        rise_c = float(stop.value_mc - start.value_mc) / 2_000
        found = (rate(middle_c + rise_c * float(node)) for node in NODES)
        each = zip(WEIGHTS, found, strict=True)
        total += half_h * sum(float(weight) * one for weight, one in each)
    return total


def log10_per_hour(at_c: float) -> float:
    """The rate that the model gives at a temperature."""
    if not TMIN < at_c < TMAX:
        return 0.0
    return (A * (at_c - TMIN)) ** 2 * (1 - math.exp(B * (at_c - TMAX)))


AT_ONCE = Kind(
    "growth at once",
    written(
        **{"kind": "predicted growth", "class": "operating"},
        model="S. aureus, any meat, as if growth began at once, Rosso form",
    ),
    (7_000, 37_000, 48_889),
    SLOW_MS,
)


def doublings_per_hour(at_c: float) -> float:
    """Three at 37 degC, none at 7 and above 48.889 (Rosso's form, 50 degC its end)."""
    if not 7 < at_c <= 48.889:
        return 0.0
    below = 30 * (30 * (at_c - 37) + 13 * (37 + 7 - 2 * at_c))
    return 3 * (at_c - 7) ** 2 * (at_c - 50) / below


@given(sampled(AT_ONCE))
def test_growth_at_once_is_no_less_than_that_of_the_course(one: Sampled) -> None:
    """The least is none at all, since the lag may last; the most holds the truth."""
    (shown,), _ = judged(AT_ONCE, one.window, one.readings)
    total = added_up(one.points(*AT_ONCE.marks_mc), doublings_per_hour)
    assert shown.most == 0
    assert total * math.log10(2) * 1000 <= shown.least + 2


def longest_silence(kind: Kind, one: Sampled) -> None:
    """From one reading to the next, from the beginning and to the end."""
    (shown,), _ = judged(kind, one.window, one.readings)
    begin_ms, over_ms = one.window.begin_ms, one.window.over_ms
    heard = [each.at_ms for each in one.readings if begin_ms <= each.at_ms < over_ms]
    ends = pairwise([begin_ms, *heard, over_ms])
    longest_ms = max(after - before for before, after in ends)
    assert (shown.least, shown.most) == (longest_ms, 0)
    in_time = bool(heard) and longest_ms <= shown.required
    assert shown.verdict is (Verdict.MET if in_time else Verdict.UNPROVEN)


class Truth(NamedTuple):
    """How the figures of one limit are held, and whether its courses may pause."""

    holds: Callable[[Kind, Sampled], None]
    pauses: bool = False


TRUTHS = {
    "time between": Truth(time_between, pauses=True),
    "come-up": Truth(come_up),
    "dwell table": Truth(longest_run, pauses=True),
    "integrated": Truth(integral, pauses=True),
    "remains between": Truth(cooling_clocks),
    "since crossing": Truth(cooling_clocks),
    "slow cooling": Truth(cooling_clocks),
    "band": Truth(excursion),
    "hold": Truth(excursion, pauses=True),
    "reach above": Truth(time_it_took),
    "reach below": Truth(time_it_took),
    "reheating": Truth(time_it_took),
    "rate": Truth(change),
    "rate of fall": Truth(change),
    "calm": Truth(change),
    "rate of rise": Truth(change),
    "predicted growth": Truth(growth),
    "humidity": Truth(moist_time, pauses=True),
    "silence": Truth(longest_silence),
}


@pytest.mark.parametrize("name", BY_NAME)
@given(st.data())
def test_the_bounds_hold_the_truth(name: str, data: st.DataObject) -> None:
    """Whatever the kind of limit; one that has no line here fails."""
    kind, (held, pauses) = BY_NAME[name], TRUTHS[name]
    held(kind, data.draw(sampled(kind, pauses=pauses)))


def level(kind: Kind) -> list[int]:
    """Every mark and a thousandth beside it, where it is known when a clock began."""
    found = {mark + step for mark in kind.marks_mc for step in (-1, 0, 1)}
    limit = kind.limit
    if limit.watched_mc is None:
        return sorted(found)
    begun = limit.watched_mc
    if limit.watched_below:
        return sorted(value for value in found if value <= begun)
    return sorted(value for value in found if value >= begun)


def held_level(kind: Kind, value_mc: int, lost: int, dip_mc: int) -> list[Shown]:
    """Judge a course that stays at a value, but for what it does at a lost reading."""
    moments = [BEGUN_MS + n * kind.every_ms for n in range(31)]
    course = [(at_ms, value_mc) for at_ms in moments]
    readings = [Reading("core", *point, 0) for point in course]
    if lost:
        course[lost] = (moments[lost], value_mc + dip_mc)
        del readings[lost]
    window = Window(BEGUN_MS, 0, 0, moments[-1], heat_ended_ms=BEGUN_MS)
    TRUTHS[kind.name].holds(kind, Sampled(course, window, readings))
    return judged(kind, window, readings)[0]


@pytest.mark.parametrize("name", BY_NAME)
def test_a_level_course_leaves_no_doubt(name: str) -> None:
    """Seen all the way, exactly, and on a mark or beside it: the bounds are one figure.

    So a bound is no wider than it has to be, and each mark belongs to one side only.
    Of a silence only the less favourable figure is known: the longest there was.
    """
    kind = BY_NAME[name]
    for value_mc in level(kind):
        for shown in held_level(kind, value_mc, 0, 0):
            least, most = shown.least, shown.most
            if not kind.limit.counts_up:  # what came after is nobody's credit
                least, most = min(least, shown.required), min(most, shown.required)
            assert least == most or name == "silence", shown


@pytest.mark.parametrize("name", BY_NAME)
@pytest.mark.parametrize("lost", [1, 15])
def test_what_a_hole_hides(name: str, lost: int) -> None:
    """Level on a mark before and after, and far off it while nobody looked."""
    kind = BY_NAME[name]
    dip_mc = min(reach_mc(kind.every_ms), 10_000)
    for value_mc in set(level(kind)) & set(kind.marks_mc):
        for way in (dip_mc, -dip_mc):
            assert held_level(kind, value_mc, lost, way)


def test_the_course_is_measured_rightly() -> None:
    """By hand: up from 0 to 10 in 10 s, level for 5 s, down to 4 in 3 s."""
    course = [(0, 0), (10_000, 10), (15_000, 10), (18_000, 4)]
    points = truth.cut(course, 0, 18_000, 4, 8)
    assert truth.total_ms(points, inside(4, 8)) == 4_000 + 2_000
    assert truth.longest_ms(points, at_least(8)) == 2_000 + 5_000 + 1_000
    assert truth.first_ms(points, lambda mc: mc > 8) == 8_000
    assert truth.runs(points, at_least(8)) == [(Fraction(8_000), Fraction(16_000))]
    changes = [after - before for before, after in truth.windows(points, 2_000)]
    assert [float(min(changes)), float(max(changes))] == [-4, 2]
    # 10 units are one decade: 9 / ln 10 of 10 s rising, 5 s at ten times the rate.
    rising = truth.decades(truth.cut(course, 0, 15_000), 0, 10, 1_000)
    assert rising == pytest.approx(10 * 9 / 2.302585093 + 50)
