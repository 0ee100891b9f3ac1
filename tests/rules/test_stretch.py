"""The fast fold against the plain one: fact by fact, with no stretch at all.

The plain fold is ``engine.step`` in a loop, so what is right does not come from the
code under test.
"""

from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules import engine, evidence, lines, stretch
from rules.channels import Channel
from rules.engine import State
from rules.facts import Event, Fact, Quality, Reading, Tick
from rules.limit import Opening
from rules.schedule import Schedule
from tests.rules.stories import schedule
from tests.rules.strategies import (
    BEGUN_MS,
    DAY_MS,
    FACTS,
    KINDS,
    PERIOD_MS,
    Followed,
    Kind,
    follow,
    series,
)
from tests.rules.test_laws_cook import (
    BY_THE_CORE,
    BY_TIME,
    CHANNELS,
    END_MS,
    MARKS_MC,
    entries,
    in_order,
    moments,
    readings,
)


def plainly(
    told: Schedule, channels: Sequence[Channel], facts: Sequence[Fact]
) -> tuple[State, list[Event]]:
    """What one step after another comes to."""
    plan = engine.plan(told, channels)
    state, events = engine.opened(plan, BEGUN_MS), []
    for fact in facts:
        state, new = engine.step(plan, state, fact)
        events += new
    return state, events


def quickly(
    told: Schedule, channels: Sequence[Channel], facts: Sequence[Fact]
) -> tuple[State, list[Event]]:
    """The same with stretches."""
    plan = engine.plan(told, channels)
    folded = stretch.Fold(plan, engine.opened(plan, BEGUN_MS))
    folded.take(facts)
    folded.end()
    return folded.state, folded.events


levels = st.lists(
    st.tuples(
        st.sampled_from([mark + by for mark in MARKS_MC for by in (0, 1, -1, 500)]),
        st.sampled_from([0, 0, 1, -1, 40, -40]),
        st.sampled_from([0, 0, 1, 300]),
        st.integers(1, 8),
        st.sampled_from([0, 0, 0, 1, 4]),
    ),
    max_size=5,
)
qualities = st.sampled_from([Quality.GOOD] * 12 + [Quality.SUSPECT])


@st.composite
def calm(draw: st.DrawFn) -> list[Reading]:
    """Steps from level to level, and on each level long calm; now and then a reading
    on a mark, of poor quality, of another uncertainty, or missing.
    """
    found: list[Reading] = []
    beside_ms = draw(st.sampled_from([0, 5_000]))
    for channel in CHANNELS:
        at_ms = BEGUN_MS + beside_ms
        for level_mc, slope_mc, within_mc, count, missing in draw(levels):
            for place in range(count):
                at_ms += PERIOD_MS
                value_mc, quality = level_mc + place * slope_mc, draw(qualities)
                found.append(Reading(channel.name, at_ms, value_mc, within_mc, quality))
            at_ms += missing * PERIOD_MS
    return found


@pytest.mark.parametrize("told", [BY_THE_CORE, BY_TIME], ids=["by core", "by time"])
@settings(max_examples=3 * settings().max_examples)
@given(data=st.data())
def test_a_stretch_changes_nothing(told: Schedule, data: st.DataObject) -> None:
    """The same state to the last integer, and the same events for the same reasons."""
    heard = data.draw(st.one_of(calm(), calm(), readings()))
    hand = data.draw(entries())
    looks = data.draw(st.lists(moments.map(Tick), max_size=3))
    facts = [*in_order(heard, hand, looks), Tick(END_MS)]
    state, events = plainly(told, CHANNELS, facts)
    quick, found = quickly(told, CHANNELS, facts)
    assert quick == state
    assert sorted(found) == sorted(events)


def alike(kind: Kind, marks_mc: Sequence[int], data: st.DataObject) -> list[Reading]:
    """Joined readings, all between the same two marks, or anywhere where none are."""
    most_mc = max(kind.marks_mc) + 5_000
    ends = sorted({min(kind.marks_mc) - 5_000, *marks_mc, most_mc})
    place = data.draw(st.integers(0, len(ends) - 2))
    value = st.integers(ends[place] + 1, ends[place + 1] - 1)
    step = st.integers(1, kind.channel.joined_ms)
    points = data.draw(st.lists(st.tuples(step, value), min_size=2, max_size=12))
    at_ms, found = BEGUN_MS + DAY_MS, []
    for step_ms, value_mc in points:
        at_ms += step_ms
        found.append(Reading("core", at_ms, value_mc, 0))
    return found


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
@given(data=st.data())
def test_what_a_kind_says_of_its_marks_is_true(kind: Kind, data: st.DataObject) -> None:
    """One span for many readings between its marks comes to the same as each of them;
    and a kind without marks may take many at once.
    """
    heat_ended_ms = data.draw(st.sampled_from([0, BEGUN_MS]))
    state = kind.limit.opened(Opening(BEGUN_MS, heat_ended_ms, FACTS))
    line = lines.NEW._replace(state=state, in_force=True, from_ms=BEGUN_MS)
    before = Followed(evidence.opened(BEGUN_MS), line)
    before, _ = follow(kind, before, data.draw(series(kind)))
    marks_mc = kind.limit.marks(before.line.state)
    first, *later = alike(kind, marks_mc or (), data)
    before, _ = follow(kind, before, [first])
    after, moves = follow(kind, before, later)
    spans = stretch.spans(before.sight, later if marks_mc is None else later[-1:])
    assert lines.told(kind.limit, before.line, spans) == (after.line, moves)


@pytest.mark.parametrize("last_mc", [65_999, 66_000])
def test_a_stage_that_ends_by_the_core_ends_in_the_midst_of_calm(last_mc: int) -> None:
    """No limit has a mark near 66 degC; the stage has."""
    told = schedule(
        "stages: [{stage: cook, ends: when every core rises to 66 degC}]\n"
        "limits:\n"
        "  - {limit: hot, kind: hold, channel: core, at or below: 90 degC}\n"
    )
    facts = [
        Reading("core-1", BEGUN_MS + place * PERIOD_MS, last_mc - 5 + place, 0)
        for place in range(6)
    ]
    state, _ = quickly(told, CHANNELS[:1], facts)
    assert bool(state.at.finished_ms) is (last_mc == 66_000)
    assert state == plainly(told, CHANNELS[:1], facts)[0]


def test_what_a_limit_watches_for_ends_the_calm() -> None:
    """Before the chill a core creeps below the hottest end of a cooling band, 54.444
    degC, while no limit is in force: the time is remembered.
    """
    told = schedule(
        "stages:\n"
        "  - {stage: rest, ends: after 2 min}\n"
        "  - {stage: chill, ends: by hand}\n"
        "limits:\n"
        "  - {limit: cooling, kind: cooling option, channel: core,\n"
        '     option: "FSIS Appendix B 1999, option 1"}\n'
    )
    facts = [
        Reading("core-1", BEGUN_MS + place * PERIOD_MS, 54_447 - place, 0)
        for place in range(9)
    ]
    state, _ = quickly(told, CHANNELS[:1], facts)
    assert state.lines[0][0].hot_ms == BEGUN_MS + 3 * PERIOD_MS
    assert state == plainly(told, CHANNELS[:1], facts)[0]
