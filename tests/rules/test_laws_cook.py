"""Laws of a whole cook, through the engine and the order that facts are put in.

Two schedules: one whose stages end by the core, by hand and by time, and one whose
stages end by time alone.  Only in the second are the windows of the limits the same
whatever the readings are, so only there a lost reading can do no more than widen.
"""

import json
from collections.abc import Sequence

from hypothesis import assume, given
from hypothesis import strategies as st

from rules import engine, keep, order
from rules.channels import Channel, Role
from rules.engine import Plan, State
from rules.facts import Entry, EntryKind, Event, Fact, Finding, Reading, Tick, Verdict
from rules.order import Order
from rules.replay import Outcome, fold, replay
from rules.replay import in_order as in_time
from rules.schedule import Schedule
from tests.rules.stories import schedule
from tests.rules.strategies import BEGUN_MS, DAY_MS, PERIOD_MS, moist, reachable

LIMITS = """\
limits:
  - {limit: come-up, kind: time between, channel: core, during: "dry, cook",
     between: 60 degC and 64 degC, at most: 60 s, warn: 20 s before}
  - {limit: recooked, kind: time between, channel: core, during: "dry, cook",
     between: 40 degC and 54 degC, at most: 60 s,
     begins anew after: "FSIS Appendix A, meat, 6.5-log10"}
  - {limit: lethality, kind: dwell table, channel: core, during: cook,
     table: "FSIS Appendix A, meat, 6.5-log10"}
  - {limit: sum, kind: integrated lethality, channel: core, during: "dry, cook",
     D: 10 s, z: 10 K, reference: 65 degC, target: 2-log10}
  - {limit: grown, kind: predicted growth, class: operating, channel: core,
     during: dry, model: "S. aureus, any meat, as if growth began at once, Rosso form"}
  - {limit: undone, kind: integrated lethality, channel: core, during: "cook, chill",
     D: 10 s, z: 10 K, reference: 65 degC, target: 2-log10, after growth: grown}
  - {limit: cooling, kind: cooling option, channel: core,
     option: "FSIS Appendix B 1999, option 1"}
  - {limit: slow, kind: cooling option, channel: core,
     option: "California 910.15, slow cooling"}
  - {limit: air, kind: band, channel: chamber, during: "dry, chill",
     within: 60 degC to 64 degC, grace: 25 s}
  - {limit: cold, kind: hold, channel: core, during: chill, at or below: 65 degC,
     grace: 30 s}
  - {limit: hot, kind: reach within, channel: core, during: "dry, cook",
     at or above: 66 degC, for: 15 s, at most: 90 s, warn: 20 s before}
  - {limit: down, kind: reach within, channel: core, during: chill,
     at or below: 63 degC, since leaving: 65 degC, at most: 40 s}
  - {limit: heard, kind: silence, channel: core, during: "dry, chill",
     at most: 25 s, settle: 12 s}
  - {limit: calm, kind: rate, channel: chamber, during: "dry, cook",
     falls at most: 3 K, over: 40 s}
"""
BY_THE_CORE = schedule(
    """\
stages:
  - {stage: dry, chamber: 58 degC to 64 degC, settle: 20 s, grace: 20 s,
     ends: after 45 s}
  - {stage: cook, ends: when every core rises to 66 degC, at most: 60 s}
  - {stage: rest, ends: by hand}
  - {stage: chill, ends: when every core falls to 63 degC}
"""
    + LIMITS
)
BY_TIME = schedule(
    """\
stages:
  - {stage: dry, chamber: 58 degC to 64 degC, settle: 20 s, grace: 20 s,
     ends: after 45 s}
  - {stage: cook, ends: after 1 min, at most: 30 s}
  - {stage: chill, ends: after 90 s}
"""
    + LIMITS
)
MOIST = moist("wet-bulb", pressure="980 hPa to 1040 hPa", during="dry, cook")
STEAM = MOIST.model_copy(
    update={
        "name": "steam",
        "channel": Role.CHAMBER,
        "name_of_option": "FSIS 2021, humidity option 1 (steam)",
    }
)
BY_THE_CORE, BY_TIME = (
    told.model_copy(update={"limits": (*told.limits, MOIST, STEAM)})
    for told in (BY_THE_CORE, BY_TIME)
)
CHANNELS = (
    Channel("core-1", Role.CORE, PERIOD_MS, 15_000, 0),
    Channel("core-2", Role.CORE, PERIOD_MS, 40_000, 0),
    Channel("chamber", Role.CHAMBER, PERIOD_MS, 20_000, 0),
    Channel("wet", Role.WET_BULB, PERIOD_MS, 20_000, 0),
)
MARKS_MC = (58_000, 60_000, 63_000, 64_000, 65_000, 66_000, 67_778, 68_889, 70_000)
END_MS = BEGUN_MS + DAY_MS

values = st.sampled_from([mark + step for mark in MARKS_MC for step in (0, 1, -1, 300)])
jitters = st.sampled_from([0, 0, 2_499, -2_499, 800])
beside = st.sampled_from([0, 0, 1, -1, 2_499, 5_000])
moments = st.tuples(st.integers(1, 26), beside).map(
    lambda two: BEGUN_MS + two[0] * PERIOD_MS + two[1]
)


@st.composite
def readings(draw: st.DrawFn) -> list[Reading]:
    """All four channels on the jittered grid, some readings missing."""
    found: list[Reading] = []
    for channel in CHANNELS:
        within_mc = draw(st.sampled_from([0, 1, 300]))
        missing = st.sampled_from([False] * 7 + [True])
        points = draw(st.lists(st.tuples(values, jitters, missing), max_size=24))
        mine: list[Reading] = []
        for place, (value_mc, jitter_ms, lost) in enumerate(points, start=1):
            at_ms = BEGUN_MS + place * PERIOD_MS + jitter_ms
            if mine:
                value_mc = reachable(mine[-1], at_ms, value_mc)
            if not lost:
                mine.append(Reading(channel.name, at_ms, value_mc, within_mc))
        found += mine
    return found


KINDS = [EntryKind.NEXT_STAGE] * 3 + [EntryKind.END, EntryKind.NOTE, EntryKind.MOVED]


@st.composite
def entries(draw: st.DrawFn) -> list[Entry]:
    """What a person did, at most once at one moment."""
    kind = st.sampled_from(KINDS)
    found = draw(st.dictionaries(moments, kind, max_size=4))
    steam = st.sampled_from(["steam on", "steam off", "it smells good"])
    noted = draw(st.dictionaries(moments, steam, max_size=2))
    done = [
        Entry(kind, at_ms, at_ms, "ab", "settling 20 s", "core-1")
        if kind is EntryKind.MOVED
        else Entry(kind, at_ms, at_ms, "ab")
        for at_ms, kind in found.items()
    ]
    said = [
        Entry(EntryKind.NOTE, at_ms, at_ms, "ab", text, "steam")
        for at_ms, text in noted.items()
    ]
    return [*done, *said]


def in_order(*facts: Sequence[Fact]) -> list[Fact]:
    return sorted((one for some in facts for one in some), key=order.key)


def cook(told: Schedule, facts: Sequence[Fact]) -> tuple[Plan, State, list[Event]]:
    """Fold facts that are in order, and let all time pass."""
    plan = engine.plan(told, CHANNELS)
    start = engine.opened(plan, BEGUN_MS)
    state, events = fold(plan, start, [*facts, Tick(END_MS)])
    return plan, state, events


def replayed(
    told: Schedule, facts: Sequence[Reading], hand: Sequence[Entry]
) -> Outcome:
    return replay(told, CHANNELS, BEGUN_MS, facts, hand, END_MS)


@given(readings(), entries(), st.integers(0, 100))
def test_a_restart_changes_nothing(
    heard: list[Reading], hand: list[Entry], cut: int
) -> None:
    """Stopping after any fact and going on from what JSON kept gives the same."""
    facts = [*in_order(heard, hand), Tick(END_MS)]
    plan = engine.plan(BY_THE_CORE, CHANNELS)
    start = engine.opened(plan, BEGUN_MS)
    whole = fold(plan, start, facts)
    half, before = fold(plan, start, facts[:cut])
    kept = json.loads(json.dumps(keep.dump(half)))
    end, after = fold(plan, keep.load(State, kept), facts[cut:])
    assert (end, in_time([*before, *after])) == whole


@given(readings(), entries(), st.lists(moments, max_size=12))
def test_ticks_change_nothing(
    heard: list[Reading], hand: list[Entry], looks: list[int]
) -> None:
    """The same events with the same words, and the same findings at the end.

    A tick comes before the readings of its own moment, and once more after them.
    """
    facts = in_order(heard, hand)
    plan, state, events = cook(BY_THE_CORE, facts)
    ticks = [Tick(at_ms) for at_ms in looks]
    ticked = sorted([*ticks, *facts, *ticks], key=lambda fact: fact.at_ms)
    _, after, new = cook(BY_THE_CORE, ticked)
    assert set(new) == set(events)
    assert len({event.key for event in new}) == len(set(new))
    assert engine.findings(plan, after) == engine.findings(plan, state)
    assert engine.passed(after) == engine.passed(state)


def moved(event: Event, ms: int) -> Event:
    return event._replace(at_ms=event.at_ms + ms)


@given(readings(), entries(), st.integers(1, 4_000))
def test_the_date_does_not_matter(
    heard: list[Reading], hand: list[Entry], days: int
) -> None:
    """Whole days later the same happens, so many days later."""
    later_ms = days * DAY_MS
    outcome = replayed(BY_THE_CORE, heard, hand)
    later = replay(
        BY_THE_CORE,
        CHANNELS,
        BEGUN_MS + later_ms,
        [one._replace(at_ms=one.at_ms + later_ms) for one in heard],
        [one._replace(at_ms=one.at_ms + later_ms) for one in hand],
        END_MS + later_ms,
    )
    assert later.events == tuple(moved(one, later_ms) for one in outcome.events)
    verdicts = [(one.limit, one.verdict, one.channel, one.why) for one in later.judged]
    assert verdicts == [
        (one.limit, one.verdict, one.channel, one.why) for one in outcome.judged
    ]


@given(readings(), entries(), st.randoms(use_true_random=False))
def test_a_replay_takes_facts_in_any_order(
    heard: list[Reading], hand: list[Entry], chance: object
) -> None:
    shuffled = list(heard)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    assert replayed(BY_THE_CORE, shuffled, hand) == replayed(BY_THE_CORE, heard, hand)


LATE_MS = 15_000


@given(readings(), entries(), st.data())
def test_arrival_within_the_lateness_changes_nothing(
    heard: list[Reading], hand: list[Entry], data: st.DataObject
) -> None:
    """Each fact up to 15 s late, released at arrival less 15 s: the same cook."""
    facts = in_order(heard, hand)
    delay = st.sampled_from([0, 1, 5_000, LATE_MS - 1, LATE_MS])
    delays = data.draw(st.lists(delay, min_size=len(facts), max_size=len(facts)))
    arrivals = sorted(
        zip(facts, delays, strict=True), key=lambda one: one[0].at_ms + one[1]
    )
    plan = engine.plan(BY_THE_CORE, CHANNELS)
    state, waiting, events = engine.opened(plan, BEGUN_MS), Order(BEGUN_MS), []
    for fact, delay_ms in arrivals:
        horizon_ms = fact.at_ms + delay_ms - LATE_MS
        ready = waiting.release(horizon_ms)
        state, new = fold(plan, state, [*ready, Tick(max(horizon_ms, state.at_ms))])
        events += new
        assert waiting.take(fact)
    state, new = fold(plan, state, [*waiting.release(END_MS), Tick(END_MS)])
    _, whole, expected = cook(BY_THE_CORE, facts)
    assert set(events + new) == set(expected)
    assert engine.findings(plan, state) == engine.findings(plan, whole)


@given(st.lists(moments, min_size=1), st.integers(1, LATE_MS))
def test_what_comes_too_late_is_refused(taken: list[int], late_ms: int) -> None:
    """From before the horizon: told apart, kept out, and nothing else is lost."""
    waiting = Order(BEGUN_MS)
    for at_ms in taken:
        assert waiting.take(Reading("core-1", at_ms, 0, 0))
    newest_ms = max(taken)
    released = waiting.release(newest_ms)
    late = Reading("core-1", newest_ms - late_ms, 99_000, 0)
    assert not waiting.take(late)
    rest = waiting.release(newest_ms + 1)
    assert [fact.at_ms for fact in [*released, *rest]] == sorted(taken)


def never_narrower(before: Outcome, after: Outcome) -> None:
    """No verdict of the second that is not the first's, or unproven."""
    for one, other in zip(before.findings, after.findings, strict=True):
        assert key(one) == key(other)
        assert other.verdict in (one.verdict, Verdict.UNPROVEN), (one, other)
    for was, now in zip(before.judged, after.judged, strict=True):
        if now.verdict is Verdict.MET:
            assert was.verdict is Verdict.MET


def key(finding: Finding) -> tuple[str, str, str]:
    return finding.limit, finding.part, finding.channel


@given(readings(), st.data())
def test_removing_readings_only_widens(
    heard: list[Reading], data: st.DataObject
) -> None:
    """Where stages end by time: no lost reading makes anything met, or missed.

    For its domain see the law of the same name in ``test_laws``.
    """
    assume(heard)
    lost = data.draw(st.sets(st.integers(0, len(heard) - 1), min_size=1))
    left = [one for i, one in enumerate(heard) if i not in lost]
    never_narrower(replayed(BY_TIME, heard, []), replayed(BY_TIME, left, []))


@given(readings(), st.data())
def test_adding_uncertainty_only_widens(
    heard: list[Reading], data: st.DataObject
) -> None:
    """Where stages end by time: no doubt makes anything met, or missed."""
    doubt = st.sampled_from([0, 0, 1, 300, 5_000])
    doubts = data.draw(st.lists(doubt, min_size=len(heard), max_size=len(heard)))
    doubted = [
        one._replace(uncertainty_mc=one.uncertainty_mc + doubt_mc)
        for one, doubt_mc in zip(heard, doubts, strict=True)
    ]
    never_narrower(replayed(BY_TIME, heard, []), replayed(BY_TIME, doubted, []))
