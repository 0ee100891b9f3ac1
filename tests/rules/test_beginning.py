"""rules/beginning.py: a core in product that begins cold is believed once seen cold.

Sources: FSIS Appendix A (9 CFR 318.17), meat, 6.5-log10: 158 degF counts at once; and
the first-order lag of a probe, T = meat + (T0 - meat) * exp(-t / tau), in closed form.
"""

import json
from itertools import pairwise
from math import exp

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules import engine, keep
from rules.engine import State
from rules.facts import Entry, EntryKind, Event, Reading, Subject, Tick, Verdict
from rules.replay import Outcome, fold, in_order
from rules.schedule import Schedule, read_schedule
from tests.rules.stories import BEGUN_MS, MIN, cook, core, entry, judged, schedule
from tests.rules.test_laws_cook import (
    BY_THE_CORE,
    BY_TIME,
    CHANNELS,
    END_MS,
    entries,
    readings,
    replayed,
)
from tests.rules.test_laws_cook import in_order as facts_in_order
from tests.rules.test_stretch import plainly, quickly

COLD_C, HOT_C = 5.0, 78.0
HEAD = """\
schedule: story
revision: 1
product: {{meat: pork, form: comminuted, cured: yes{begins}}}
"""
REST = """\
stages:
  - {stage: cook, ends: when every core rises to 69 degC}
  - {stage: hold, ends: by hand}
limits:
  - {limit: row, kind: dwell table, channel: core,
     table: "FSIS Appendix A, meat, 6.5-log10"}
  - {limit: sum, kind: integrated lethality, channel: core,
     D: 10 s, z: 10 K, reference: 65 degC, target: 2-log10}
  - {limit: reached, kind: reach within, channel: core, at or above: 66 degC,
     for: 15 s, at most: 12 h}
"""


def told(begins: str) -> Schedule:
    """The story with what the product says of its beginning."""
    return schedule(REST, HEAD.format(begins=begins))


SAYS, HOT, NOTHING = (
    told(one) for one in (", begins: at most 15 degC", ", begins: hot", "")
)
LIMITS = ("row", "sum", "reached")


def meat_c(at_min: float, top_c: float) -> float:
    """Cold for half an hour, then half a kelvin a minute up to ``top_c`` [degC]."""
    return min(COLD_C + max(at_min - 30, 0) / 2, top_c)


def heard(
    top_c: float, first_c: float, tau_min: float, every_ms: int = MIN
) -> list[Reading]:
    """What a probe of that temperature says, put into the meat at the beginning."""
    found = []
    for at_ms in range(0, 240 * MIN, every_ms):
        at_min = at_ms / MIN
        behind_c = (first_c - COLD_C) * exp(-at_min / tau_min)
        said_mc = round((meat_c(at_min, top_c) + behind_c) * 1000)
        found.append(Reading("core", BEGUN_MS + at_ms, said_mc, 300))
    return found


def run(plan: Schedule, says: list[Reading], every_ms: int = MIN) -> Outcome:
    """The whole cook of one core."""
    return cook(plan, [core(every_ms=every_ms)], says, until_min=240)


def of_core(outcome: Outcome) -> list[Event]:
    """What was told of the channel."""
    return [one for one in outcome.events if one.subject is Subject.CHANNEL]


def met_ms(outcome: Outcome) -> dict[str, int]:
    """When each limit was met and the stage ended, first of all."""
    words = ("met", "ended")
    return {one.name: one.at_ms for one in reversed(outcome.events) if one.now in words}


def test_without_the_word_a_hot_probe_earns_what_the_meat_never_had() -> None:
    """The hazard itself: a piece that never passes 40 degC is shown as cooked."""
    outcome = run(NOTHING, heard(40, HOT_C, 2))
    assert judged(outcome, "row").verdict is Verdict.MET


@settings(max_examples=15)
@given(
    st.floats(50, 98),
    st.floats(0.5, 6),
    st.sampled_from([10.0, 30.0]),
    st.sampled_from([MIN, MIN // 4]),
)
def test_no_credit_before_the_probe_was_as_cold_as_the_meat(
    first_c: float, tau_min: float, top_c: float, every_ms: int
) -> None:
    """The meat is never hot enough for anything, however hot its probe came to it."""
    outcome = run(SAYS, heard(top_c, first_c, tau_min, every_ms), every_ms)
    assert not met_ms(outcome)
    assert {judged(outcome, name).verdict for name in LIMITS}.isdisjoint({Verdict.MET})


@settings(max_examples=10)
@given(st.floats(50, 98), st.floats(0.5, 3))
def test_a_cook_is_met_when_the_meat_alone_meets_it(
    first_c: float, tau_min: float
) -> None:
    """Once it was seen cold it earns as the probe that was cold from the first."""
    hot_says = run(SAYS, heard(75, first_c, tau_min))
    found, alone = met_ms(hot_says), met_ms(run(NOTHING, heard(75, COLD_C, tau_min)))
    assert {*found} == {*alone} == {*LIMITS, "cook"}
    # After ten time constants 4 mK of the lag are left, half a second of the rise.
    assert all(abs(at_ms - alone[name]) < 2_000 for name, at_ms in found.items())


def test_a_probe_that_is_never_seen_cold_proves_nothing_and_is_told() -> None:
    says = [Reading("core", BEGUN_MS + at * MIN, 75_000, 300) for at in range(240)]
    end = entry(EntryKind.END, 239)
    outcome = cook(SAYS, [core()], says, end, until_min=240)
    assert {judged(outcome, name).verdict for name in LIMITS} == {Verdict.UNPROVEN}
    assert not {one.name for one in outcome.events if one.now == "met"}
    (event,) = of_core(outcome)
    assert (event.was, event.now) == ("waiting", "not seen cold")
    assert event.at_ms == BEGUN_MS + 5 * MIN
    assert "fumarium moved LOT core" in event.why


def test_a_probe_that_comes_cold_soon_is_worth_no_alarm() -> None:
    (event,) = of_core(run(SAYS, heard(40, HOT_C, 1)))
    assert event.now == "reporting"
    assert "seen as cold as the product begins" in event.why


def test_one_that_falls_silent_meanwhile_is_told_quiet_and_heard_again() -> None:
    says = heard(40, HOT_C, 20)
    says = says[:8] + says[40:]
    moves = [(one.was, one.now) for one in of_core(run(SAYS, says))]
    assert moves[0] == ("waiting", "not seen cold")
    assert moves[1][0] == "not seen cold" and moves[1][1] == "quiet"
    assert all(a[1] == b[0] for a, b in pairwise(moves))


def test_a_person_who_says_that_it_was_moved_is_believed_after_it_has_settled() -> None:
    says = [Reading("core", BEGUN_MS + at * MIN, 75_000, 300) for at in range(60)]
    said = entry(EntryKind.MOVED, 10, about="core")
    outcome = cook(SAYS, [core()], says, said, until_min=59)
    assert met_ms(outcome)["row"] == BEGUN_MS + 15 * MIN


def test_product_that_begins_hot_says_so_and_is_believed_at_once() -> None:
    says = [Reading("core", BEGUN_MS + at * MIN, 75_000, 300) for at in range(60)]
    assert run(HOT, says).events[1:] == run(NOTHING, says).events[1:]


@pytest.mark.parametrize(
    ("value_mc", "now"), [(14_700, "reporting"), (14_701, "not seen cold")]
)
def test_a_reading_is_cold_with_its_uncertainty(value_mc: int, now: str) -> None:
    says = [Reading("core", BEGUN_MS + at * MIN, value_mc, 300) for at in range(9)]
    (event,) = of_core(cook(SAYS, [core()], says, until_min=9))
    assert event.now == now


@pytest.mark.parametrize(
    ("begins", "found"),
    [
        ("cold", "'cold' does not say how warm it begins"),
        ("15 degC", "'15 degC' does not say how warm it begins"),
        ("at most 15", "15"),
    ],
)
def test_what_is_no_beginning_is_a_fault(begins: str, found: str) -> None:
    text = HEAD.format(begins=f", begins: {begins}") + REST
    faults = read_schedule("story.yaml", text)
    assert isinstance(faults, list)
    assert [found in one.found for one in faults] == [True]


def straddling(plan: Schedule) -> Schedule:
    """The law's cook, its product at most as cold as about half of the readings."""
    product = plan.product.model_copy(update={"begins_mc": 64_000})
    return plan.model_copy(update={"product": product})


BY_CORE, TIMED = straddling(BY_THE_CORE), straddling(BY_TIME)


@settings(max_examples=25)
@given(st.sampled_from([BY_CORE, TIMED]), readings(), entries(), st.data())
def test_fast_fold_restart_and_ticks_change_nothing(
    plan_of: Schedule, says: list[Reading], hand: list[Entry], data: st.DataObject
) -> None:
    """One after another, in stretches, restarted from JSON, and with more ticks."""
    facts = [*facts_in_order(says, hand), Tick(END_MS)]
    plan = engine.plan(plan_of, CHANNELS)
    state, events = plainly(plan_of, CHANNELS, facts)
    assert quickly(plan_of, CHANNELS, facts) == (state, events)
    cut = data.draw(st.integers(0, len(facts)))
    half, before = fold(plan, engine.opened(plan, BEGUN_MS), facts[:cut])
    kept = keep.load(State, json.loads(json.dumps(keep.dump(half))))
    end, after = fold(plan, kept, facts[cut:])
    assert (end, in_order([*before, *after])) == (state, in_order(events))
    looks = data.draw(st.lists(st.sampled_from(facts), max_size=8))
    ticks = [Tick(one.at_ms) for one in looks]
    ticked = sorted([*ticks, *facts], key=lambda fact: fact.at_ms)
    assert set(plainly(plan_of, CHANNELS, ticked)[1]) == set(events)


@settings(max_examples=25)
@given(readings(), entries())
def test_the_word_never_lets_anything_be_met_earlier(
    says: list[Reading], hand: list[Entry]
) -> None:
    """By time: where a core ends stages, a later stage asks other things later."""
    met = [
        {
            (one.name, one.channel): one.at_ms
            for one in reversed(replayed(plan, says, hand).events)
            if one.subject is Subject.LIMIT and one.now == "met"
        }
        for plan in (BY_TIME, TIMED)
    ]
    for name, at_ms in met[1].items():
        assert met[0].get(name, at_ms + 1) <= at_ms, name
