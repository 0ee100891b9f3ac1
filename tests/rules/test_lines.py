"""A limit on a channel while stages turn over: within spans and within holes.

Minutes and degrees Fahrenheit; 145 degF for 4 min is a row of FSIS Appendix A, 1999.
"""

import pytest

from rules import engine
from rules.facts import EntryKind, Fact, Tick, Verdict
from rules.replay import fold, outcome
from rules.verdicts import on_hold
from tests.rules.stories import (
    BEGUN_MS,
    MIN,
    S,
    chamber,
    cook,
    core,
    entry,
    judged,
    limit_moves,
    schedule,
    series,
    series_f,
)

COOK = """\
stages:
  - {stage: warm, ends: WARM}
  - {stage: cook, ends: by hand}
  - {stage: rest, ends: by hand}
limits:
  - {limit: lethality, kind: dwell table, channel: core, during: cook,
     table: "FSIS Appendix A, meat, 6.5-log10"}
  - {limit: come-up, kind: time between, channel: core, during: cook,
     between: 50 degF and 150 degF, at most: 6 h}
"""


def figures(told: engine.Plan, state: engine.State, name: str) -> tuple[int, int]:
    """Both bounds of a limit."""
    (one,) = [f for f in engine.findings(told, state) if f.limit == name]
    return one.least, one.most


def test_a_stage_that_turns_between_two_readings_cuts_their_span() -> None:
    """Cooking begins at 5 min 30 s, halfway between two readings at 145 degF."""
    told = schedule(COOK.replace("WARM", "after 5.5 min"))
    readings = series_f("core", *((at, 145) for at in range(12)))
    result = cook(
        told, [core()], readings, entry(EntryKind.NEXT_STAGE, 11), until_min=12
    )
    assert limit_moves(result, "lethality") == [(9.5 * MIN, "met")]
    assert limit_moves(result, "come-up") == [(11 * MIN, "met")]
    (come_up,) = [one for one in result.findings if one.limit == "come-up"]
    assert (come_up.least, come_up.most) == (5.5 * MIN, 5.5 * MIN)


def test_a_stage_that_begins_in_a_hole_is_in_the_dark_from_then_on() -> None:
    """Nothing is heard from 3 to 9 min; cooking begins at 5 min 30 s."""
    told = schedule(COOK.replace("WARM", "after 5.5 min"))
    points = [(at, 145) for at in range(15) if not 3 < at < 9]
    result = cook(
        told,
        [core()],
        series_f("core", *points),
        entry(EntryKind.NEXT_STAGE, 14),
        until_min=15,
    )
    assert limit_moves(result, "lethality") == [(13 * MIN, "met")]
    (come_up,) = [one for one in result.findings if one.limit == "come-up"]
    assert (come_up.least, come_up.most) == (8.5 * MIN, 5 * MIN)


def test_a_hole_that_began_before_a_stage_errs_on_the_wide_side() -> None:
    """70 s unseen, the last 20 s of them cooking's: as hot as it got in all of them."""
    told = schedule(COOK.replace("WARM", "after 5 min"))
    early = series_f("core", *((at / 6, 120) for at in range(26)))
    late = series_f("core", *((at / 6, 120) for at in range(32, 62)))
    stop = entry(EntryKind.NEXT_STAGE, 10)
    channels = [core(every_ms=10 * S)]
    result = cook(told, channels, [*early, *late], stop, until_min=11)
    assert judged(result, "lethality").verdict is Verdict.UNPROVEN
    (come_up,) = [one for one in result.findings if one.limit == "come-up"]
    assert (come_up.least, come_up.most) == (300 * S, 280 * S)


@pytest.mark.parametrize("tick_min", [None, 8, 9.5, 10])
def test_a_limit_that_ends_in_a_hole_may_have_been_met_in_it(
    tick_min: float | None,
) -> None:
    """The same, whether or not somebody looked at the clock at that very moment."""
    told = schedule(COOK.replace("WARM", "after 1 min"))
    plan = engine.plan(told, [core()])
    facts: list[Fact] = [*series_f("core", *((at, 120) for at in range(7)))]
    if tick_min is not None:
        facts.append(Tick(BEGUN_MS + round(tick_min * MIN)))
    facts.append(entry(EntryKind.NEXT_STAGE, 10))
    facts.append(Tick(BEGUN_MS + 20 * MIN))
    state, events = fold(plan, engine.opened(plan, BEGUN_MS), facts)
    result = outcome(plan, state, events)
    assert limit_moves(result, "lethality") == [(10 * MIN, "unproven")]
    assert figures(plan, state, "come-up") == (9 * MIN, 5 * MIN)


def test_another_channel_s_turn_finds_a_hole_told_already() -> None:
    """One core ends the stage at the moment up to which the other is a known hole."""
    told = schedule(
        """\
stages:
  - {stage: cook, ends: by hand}
  - {stage: rest, ends: by hand}
limits:
  - {limit: lethality, kind: dwell table, channel: core, during: cook,
     table: "FSIS Appendix A, meat, 6.5-log10"}
"""
    )
    plan = engine.plan(told, [core("a"), core("b")])
    facts: list[Fact] = [
        *series_f("a", (0, 120)),
        *series_f("b", (0, 120)),
        Tick(BEGUN_MS + 5 * MIN),
        entry(EntryKind.NEXT_STAGE, 5),
    ]
    state, _ = fold(plan, engine.opened(plan, BEGUN_MS), facts)
    verdicts = {one.verdict for one in engine.findings(plan, state)}
    assert verdicts == {Verdict.UNPROVEN}


def test_the_moment_of_a_turn_is_told_by_its_own_reading() -> None:
    """40 degC a minute ago, 60 degC now that smoking begins: it begins inside."""
    told = schedule(
        """\
stages:
  - {stage: dry, ends: after 10 min}
  - {stage: smoke, chamber: 57 degC to 63 degC, grace: 0 s, ends: after 10 min}
"""
    )
    points = [(at, 40 if at < 10 else 60) for at in range(22)]
    result = cook(told, [chamber()], series("chamber", *points), until_min=21)
    assert limit_moves(result, "smoke chamber") == [(20 * MIN, "met")]


def test_a_reading_belongs_to_the_stage_that_it_ends() -> None:
    """158 degF ends the cook, and is shown to the limit of the cook."""
    told = schedule(
        COOK.replace("WARM", "after 1 min").replace(
            "{stage: cook, ends: by hand}",
            "{stage: cook, ends: when every core rises to 158 degF}",
        )
    )
    result = cook(
        told, [core()], series_f("core", (0, 100), (1, 100), (2, 158)), until_min=3
    )
    assert limit_moves(result, "lethality") == [(2 * MIN, "met")]
    assert result.stages[1].to_ms == BEGUN_MS + 2 * MIN


@pytest.mark.parametrize("kind", ["lethality", "come-up"])
def test_a_limit_whose_stages_never_began_is_unproven(kind: str) -> None:
    """The cook is ended by hand before it came to what the limit is about."""
    told = schedule(COOK.replace("WARM", "by hand"))
    readings = series_f("core", *((at, 100) for at in range(6)))
    result = cook(told, [core()], readings, entry(EntryKind.END, 5), until_min=6)
    assert limit_moves(result, kind) == [(5 * MIN, "unproven")]
    one = judged(result, kind)
    assert (one.verdict, one.since_ms) == (Verdict.UNPROVEN, BEGUN_MS + 5 * MIN)
    never, _, surface = one.why.partition("; surface: ")
    assert never == "core: its stages never began"
    assert surface == ("no humidity evidence" if kind == "lethality" else "")
    assert on_hold(result.judged)


def test_a_limit_waits_until_its_stages_begin() -> None:
    told = schedule(COOK.replace("WARM", "by hand"))
    result = cook(told, [core()], series_f("core", (0, 100)), until_min=1)
    one = judged(result, "lethality")
    assert (one.standing, one.verdict) == ("waiting", "running")
    assert not on_hold(result.judged)


def test_a_verdict_waits_for_evidence_up_to_the_end_of_its_stages() -> None:
    """When cooking ends, the last reading is half a minute old: not yet a hole."""
    told = schedule(COOK.replace("WARM", "after 1 min"))
    readings = series_f("core", *((at, 145) for at in range(5)))
    stop = entry(EntryKind.NEXT_STAGE, 5.25)
    waits = cook(told, [core()], readings, stop, until_min=5.5)
    assert judged(waits, "lethality").verdict is Verdict.RUNNING
    next_one = series_f("core", (5.5, 145))
    result = cook(told, [core()], [*readings, *next_one], stop, until_min=5.5)
    assert limit_moves(result, "lethality") == [(5 * MIN, "met")]
