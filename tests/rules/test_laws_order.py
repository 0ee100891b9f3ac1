"""Laws of order: more heat, more time and a wider allowance each act one way.

The tables are in ``orderings``: every kind of limit has its lines there.  A verdict is
better the nearer it is to ``met``, and so is every figure, under either truth.
"""

from collections.abc import Sequence
from typing import get_args

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from rules import lines
from rules.facts import Reading, Verdict
from rules.limit import Limit, Shown
from rules.schedule import AnyLimit
from tests.rules.orderings import (
    BY_NAME,
    EASIER,
    HELPS,
    HOTTER,
    HURTS,
    LONGER,
    NOTHING,
    NOTHING_ASKED,
    Hotter,
    Longer,
    Way,
    steeper,
    worse,
)
from tests.rules.strategies import (
    BEGUN_MS,
    KINDS,
    OTHER_WAYS,
    PERIOD_MS,
    Kind,
    Window,
    follow,
    judged,
    opened,
    series,
    values,
    windows,
)

tried = settings(max_examples=max(settings().max_examples * 2 // 5, 1))
STEPS_MC = st.sampled_from([0, 0, 1, 300, 2_500, 5_000])


def named(row: Hotter | Longer) -> str:
    return f"{row.name}, {row.way.value}"


def in_order(
    kind: Kind, way: Way, one: Sequence[Shown], other: Sequence[Shown]
) -> None:
    """More of it gave ``other``: it is on the right side of ``one``, part by part."""
    assert [shown.part for shown in one] == [shown.part for shown in other]
    for before, after in zip(one, other, strict=True):
        up = kind.limit.counts_up
        if way in (HELPS, NOTHING):
            assert not worse(before, after, counts_up=up), (before, after)
        if way in (HURTS, NOTHING):
            assert not worse(after, before, counts_up=up), (before, after)


def clipped(one: Reading, above_mc: int | None, below_mc: int | None) -> Reading:
    """The nearest that is surely above the one and below the other."""
    value_mc, within_mc = one.value_mc, one.uncertainty_mc
    if above_mc is not None:
        value_mc = max(value_mc, above_mc + within_mc + 1)
    if below_mc is not None:
        value_mc = min(value_mc, below_mc - within_mc - 1)
    return one._replace(value_mc=value_mc)


def part(row: Hotter, found: list[Shown]) -> list[Shown]:
    return found if row.part is None else found[row.part : row.part + 1]


@pytest.mark.parametrize("row", HOTTER, ids=named)
@tried
@given(st.data())
def test_a_hotter_course(row: Hotter, data: st.DataObject) -> None:
    """Each reading higher by as much as it likes: the limit stands as its line says.

    What heat has earned is then earned no later.  A rate does not ask how hot it is,
    and is tried on a steeper course.
    """
    kind = row.kind
    readings = [
        clipped(one, row.above_mc, row.below_mc) for one in data.draw(series(kind))
    ]
    steps = data.draw(
        st.lists(STEPS_MC, min_size=len(readings), max_size=len(readings))
    )
    assume(readings)
    changed = row.change(readings, steps)
    hotter = [clipped(one, row.above_mc, row.below_mc) for one in changed]
    if row.start_mc is not None:
        lead = Reading("core", BEGUN_MS - 1, row.start_mc, 0)
        readings, hotter = [lead, *readings], [lead, *hotter]
        readings, hotter = (
            [one._replace(at_ms=one.at_ms + 1) for one in some]
            for some in (readings, hotter)
        )
    window = data.draw(windows(kind))
    if row.change is steeper:  # a piece that is cut is not as much steeper
        window = Window(readings[0].at_ms, 0, 0, readings[-1].at_ms + 1, 0)
    cool, _ = judged(kind, window, readings)
    hot, _ = judged(kind, window, hotter)
    in_order(kind, row.way, part(row, cool), part(row, hot))
    if kind.limit.earned and cool[0].verdict is Verdict.MET:
        assert hot[0].since_ms <= cool[0].since_ms


def stayed(
    readings: Sequence[Reading],
    place: int,
    for_ms: int,
    every_ms: int,
    *,
    unheard: bool,
) -> list[Reading]:
    """The course, staying for so long where it is at one reading."""
    last = readings[place]
    copies = [
        last._replace(at_ms=last.at_ms + after_ms)
        for after_ms in range(every_ms, for_ms + 1, every_ms)
    ]
    later = [one._replace(at_ms=one.at_ms + for_ms) for one in readings[place + 1 :]]
    return [*readings[: place + 1], *([] if unheard else copies), *later]


@st.composite
def slopes(draw: st.DrawFn, row: Longer) -> tuple[list[Reading], Window]:
    """A course that only rises, or only falls, judged from its first reading on.

    It is shown all the way, for more than a window: what a short course or one with
    holes does not show of a rate, a longer one may.
    """
    found = draw(st.lists(values(row.kind, 0), min_size=6, max_size=20))
    places = enumerate(sorted(found, reverse=row.slope < 0))
    readings = [Reading("core", BEGUN_MS + n * PERIOD_MS, mc, 0) for n, mc in places]
    return readings, Window(BEGUN_MS, 0, 0, readings[-1].at_ms, 0)


def least_of(shown: Shown) -> Shown:
    """What it shows under the least favourable truth alone."""
    met = shown.verdict is Verdict.MET
    return shown._replace(most=0, verdict=Verdict.MET if met else Verdict.UNPROVEN)


@pytest.mark.parametrize("row", LONGER, ids=named)
@tried
@given(st.data())
def test_a_longer_course(row: Longer, data: st.DataObject) -> None:
    """The course stays where it is at one moment, and goes on later as it did.

    A stay shows more of a rate than was to be seen before, so of a rate the less
    favourable figure is compared, and whether it is met.
    """
    kind = row.kind
    if row.slope:
        readings, window = data.draw(slopes(row))
    else:
        readings, window = data.draw(series(kind)), data.draw(windows(kind))
    assume(readings)
    place = data.draw(st.integers(0, len(readings) - 1))
    readings[place] = clipped(readings[place], row.above_mc, row.below_mc)
    at_ms = readings[place].at_ms
    for_ms = data.draw(st.sampled_from([2, 4])) * kind.every_ms
    longer = stayed(readings, place, for_ms, kind.every_ms, unheard=row.unheard)
    later = Window(*(one + for_ms if one > at_ms else one for one in window))
    if row.slope:
        later = later._replace(over_ms=longer[-1].at_ms)
    short, _ = judged(kind, window, readings)
    long, _ = judged(kind, later, longer)
    if row.slope:
        short, long = ([least_of(one) for one in some] for some in (short, long))
    in_order(kind, row.way, short, long)


@pytest.mark.parametrize("name", EASIER)
@tried
@given(st.data())
def test_a_wider_allowance(name: str, data: st.DataObject) -> None:
    """More time, or a lower target: nothing is worse, and the evidence is the same."""
    kind = BY_NAME[name]
    window, readings = data.draw(windows(kind)), data.draw(series(kind))
    strict, _ = judged(kind, window, readings)
    easy, _ = judged(kind._replace(limit=EASIER[name]), window, readings)
    in_order(kind, HELPS, strict, easy)


@pytest.mark.parametrize("kind", (*KINDS, *OTHER_WAYS), ids=lambda kind: kind.name)
@tried
@given(st.data())
def test_what_is_decided_stays(kind: Kind, data: st.DataObject) -> None:
    """As time goes on no verdict changes but a running one, and no count goes back."""
    window, readings = data.draw(windows(kind)), data.draw(series(kind))
    state, before = opened(window), dict[str, Shown]()
    for reading in readings:
        state, _ = follow(kind, state, [reading])
        if state.line.state is None:
            continue
        for now in lines.findings(kind.limit, state.line):
            was = before.get(now.part, now)
            assert was.verdict in (Verdict.RUNNING, now.verdict), (was, now)
            if kind.limit.counts_up and now.unit == "ms":
                assert was.least <= now.least, (was, now)
                assert was.most <= now.most, (was, now)
            before[now.part] = now


KINDS_WRITTEN = {
    word
    for one in get_args(get_args(AnyLimit)[0])
    for word in get_args(one.model_fields["kind"].annotation)
}


def kind_of(limit: Limit) -> str:
    """The word that a schedule has for it."""
    return str(limit.kind)  # type: ignore[attr-defined]


def test_every_kind_has_its_lines() -> None:
    """A kind that a schedule can name is in each table, and so is each limit tried."""
    assert {kind_of(kind.limit) for kind in BY_NAME.values()} == KINDS_WRITTEN
    assert {row.name for row in HOTTER} == set(BY_NAME)
    assert {row.name for row in LONGER} == set(BY_NAME)
    assert set(EASIER) | NOTHING_ASKED == set(BY_NAME)
