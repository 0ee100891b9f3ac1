"""What a running cook is told of where its cores are going.

The cores follow what surrounds them by Newton's law, so the times expected here are
those of the closed form.
"""

import json
import math
from collections.abc import Callable, Sequence
from itertools import pairwise

import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from rules import engine, keep, replay
from rules.channels import Channel, Role
from rules.engine import State
from rules.facts import Event, Fact, Reading, Tick
from rules.outlook import Foreseen
from rules.schedule import Schedule
from tests.rules.stories import BEGUN_MS, MIN, S, chamber, core, schedule, told

TAU_MIN = 70
OUTSIDE_C = 18

SMOKED_TEXT = """\
stages:
  - {stage: dry, chamber: 50 degC to 60 degC, ends: after 45 min}
  - {stage: smoke, chamber: 57 degC to 63 degC, ends: after 2 h}
  - {stage: cook, chamber: 74 degC to 82 degC, ends: when every core rises to 69 degC}
  - {stage: chill, ends: when every core falls to 4 degC}
limits:
  - limit: come-up
    kind: time between
    channel: core
    between: 50 degF and 130 degF
    during: dry, smoke, cook
    at most: 5 h
    warn: 30 min before
  - limit: lethality
    kind: dwell table
    channel: core
    table: FSIS Appendix A, meat, 6.5-log10
  - limit: cooling
    kind: cooling option
    channel: core
    option: FSIS Appendix B, option 1
"""
SMOKED = schedule(SMOKED_TEXT)
# The same with everything else that hears of forecasts: a stage, and a sum of heat.
WHOLE = schedule(
    SMOKED_TEXT.replace(
        "ends: when every core rises to 69 degC}",
        "ends: when every core rises to 69 degC, at most: 60 min}",
    )
    + """\
  - {limit: sum, kind: integrated lethality, channel: core, during: "dry, smoke, cook",
     D: 10.4 s, z: 6 K, reference: 70 degC, target: 60-log10}
"""
)
BATH = Channel("bath", Role.BATH, MIN, 10 * MIN, 0)
CHANNELS = [chamber(), core(), BATH]


def fire(minute: float, dead: Sequence[tuple[float, float]] = ()) -> float:
    """What the fire gives: the middle of each stage's band, or the cold outside."""
    if any(from_min <= minute < to_min for from_min, to_min in dead):
        return OUTSIDE_C
    return 55 if minute < 45 else 60 if minute < 165 else 78


def day(
    until_min: int,
    around: Callable[[float], float] = fire,
    bath: Callable[[float], float] = lambda _: 1.0,
    chilled_from: float = math.inf,
) -> list[Reading]:
    """Readings once a minute of a chamber, a core and a bath."""
    air, inside = 20.0, 8.0
    readings: list[Reading] = []
    for minute in range(until_min + 1):
        at_ms = BEGUN_MS + minute * MIN
        values = {"chamber": air, "core": inside, "bath": bath(minute)}
        readings += [
            Reading(name, at_ms, round(degc * 1000), 0) for name, degc in values.items()
        ]
        before = air
        air = around(minute) + (air - around(minute)) * math.exp(-1 / 5)
        now = bath(minute) if minute >= chilled_from else (before + air) / 2
        tau = 25 if minute >= chilled_from else TAU_MIN
        inside = now + (inside - now) * math.exp(-1 / tau)
    return readings


def run(
    readings: Sequence[Fact], told_by: Schedule = SMOKED
) -> tuple[engine.Plan, State, list[Event]]:
    plan = engine.plan(told_by, CHANNELS)
    state = engine.opened(plan, BEGUN_MS)
    state, events = replay.fold(plan, state, readings)
    return plan, state, events


def foreseen(until_min: int, readings: Sequence[Reading]) -> dict[str, Foreseen]:
    """What is foreseen a second after that minute, by limit and part."""
    heard = [one for one in readings if one.at_ms <= BEGUN_MS + until_min * MIN]
    plan, state, _ = run([*heard, Tick(BEGUN_MS + until_min * MIN + S)])
    return {one.limit + one.part: one for one in engine.foreseen(plan, state)}


def minute_of(at_ms: int) -> float:
    return (at_ms - BEGUN_MS) / MIN


def crossed(readings: Sequence[Reading], degc: float) -> float:
    """The minute at which the core surely passes a temperature, upwards or down."""
    series = [(minute_of(r.at_ms), r.value_mc) for r in readings if r.channel == "core"]
    mark = degc * 1000
    return next(b for (_, one), (b, two) in pairwise(series) if one < mark <= two)


def test_come_up_is_forecast_through_the_stages_still_to_come() -> None:
    """In the smoke at 60 degC, which by itself would be much too slow."""
    whole = day(300)
    one = foreseen(120, whole)["come-up"]
    assert minute_of(one.likely_ms) == pytest.approx(crossed(whole, 54.444), abs=8)
    assert one.earliest_ms <= one.likely_ms <= one.latest_ms
    entered = crossed(whole, 10.0) - 1
    assert minute_of(one.deadline_ms) == pytest.approx(entered + 300, abs=1)


def test_the_stage_and_the_lethality_are_forecast_apart() -> None:
    whole = day(420)
    seen = foreseen(190, whole)
    assert seen[""].mark_mc == 69_000
    assert minute_of(seen[""].likely_ms) == pytest.approx(crossed(whole, 69), abs=4)
    lethal = seen["lethality"]
    ((met_ms, standing),) = told(run(whole)[2], "lethality")
    assert standing == "met"
    assert minute_of(lethal.likely_ms) == pytest.approx(met_ms / MIN, abs=2)
    assert lethal.likely_ms < seen[""].likely_ms


def test_chilling_is_forecast_by_the_bath() -> None:
    begins = crossed(day(500), 69.0)
    whole = day(500, chilled_from=begins)
    seen = foreseen(int(begins) + 16, whole)
    band = seen["cooling54.4 degC to 26.7 degC"]
    assert (band.around, band.rises) == ("bath", False)
    # From 69 to 26.7 degC at 1 degC with 25 min: 25 * ln(68 / 25.667)
    passes = begins + 25 * math.log(68 / 25.667)
    assert minute_of(band.likely_ms) == pytest.approx(passes, abs=3)
    assert minute_of(band.deadline_ms) == pytest.approx(
        begins + 25 * math.log(68 / 53.444) + 90, abs=2
    )


def test_an_ordinary_day_frightens_nobody() -> None:
    begins = crossed(day(500), 69.0)
    _, state, events = run(day(500, chilled_from=begins))
    assert engine.finished_ms(state)
    assert not [one for one in events if one.now == "at risk" and one.channel == "core"]


def test_a_fire_that_dies_is_told_hours_before_come_up_is_lost() -> None:
    def dying(minute: float) -> float:
        return fire(minute, dead=[(60, 600)])

    _, _, events = run(day(400, dying))
    (warned, *_), *_ = told(events, "come-up"), ()
    at_ms, standing = warned
    assert standing == "at risk"
    assert at_ms <= 90 * MIN  # it might have been the door, at first
    (lost,) = [one for one in events if one.now == "missed" and one.channel == "core"]
    assert minute_of(lost.at_ms) > 300


def test_the_sentence_says_by_when_and_when() -> None:
    def weak(minute: float) -> float:
        return min(fire(minute), 55)

    _, _, events = run(day(340, weak))
    (why,) = [one.why for one in events if one.now == "at risk" and "must" in one.why]
    assert why.startswith("core must be past 130.0 degF by 10:05 UTC; at this rate ")
    assert why.endswith("(chamber at 131.0 degF)")


def test_a_fire_lit_again_is_within_again() -> None:
    _, _, events = run(day(330, lambda at: fire(at, dead=[(60, 100)])))
    standings = [standing for _, standing in told(events, "come-up")]
    assert standings == ["at risk", "within", "met"]


def test_an_opened_door_is_no_risk() -> None:
    _, _, events = run(day(250, lambda at: fire(at, dead=[(100, 106), (200, 206)])))
    assert told(events, "come-up") == []


def test_nothing_measured_around_it_is_no_forecast() -> None:
    heard = [one for one in day(200) if one.channel != "chamber"]
    assert foreseen(200, heard) == {}


def test_a_quiet_core_has_no_forecast() -> None:
    heard = [
        r for r in day(200) if r.channel != "core" or r.at_ms < BEGUN_MS + 180 * MIN
    ]
    assert foreseen(200, heard) == {}


def trouble() -> list[Reading]:
    """A day with a dying fire and a silence: every fifth reading is lost, too."""
    readings = day(420, lambda at: fire(at, dead=[(60, 100)]), chilled_from=330)
    silent = range(BEGUN_MS + 120 * MIN, BEGUN_MS + 150 * MIN)
    return [
        one
        for number, one in enumerate(readings)
        if number % 5 and not (one.channel == "core" and one.at_ms in silent)
    ]


def test_ticks_change_no_forecast() -> None:
    readings = trouble()
    plan, state, events = run([*readings, Tick(BEGUN_MS + 421 * MIN)], WHOLE)
    ticks = [Tick(BEGUN_MS + at * 7_000) for at in range(421 * 60 // 7)]
    mixed: list[Fact] = [*readings, *ticks]
    mixed.sort(key=lambda fact: fact.at_ms)
    _, ticked, new = run([*mixed, Tick(BEGUN_MS + 421 * MIN)], WHOLE)
    assert set(new) == set(events)
    at_risk = {one.name for one in events if one.now == "at risk"}
    assert at_risk >= {"come-up", "sum", "cook"}
    assert ticked.samples == state.samples
    assert engine.foreseen(plan, ticked) == engine.foreseen(plan, state)


def test_a_restart_changes_no_forecast() -> None:
    readings = trouble()
    plan, state, events = run(readings, WHOLE)
    for cut in range(0, len(readings), 97):
        _, half, before = run(readings[:cut], WHOLE)
        kept = keep.load(State, json.loads(json.dumps(keep.dump(half))))
        end, after = replay.fold(plan, kept, readings[cut:])
        assert end == state
        assert set(before + after) == set(events)


def test_a_forecast_changes_no_verdict(monkeypatch: pytest.MonkeyPatch) -> None:
    readings: list[Fact] = [*trouble(), Tick(BEGUN_MS + 421 * MIN)]
    plan, state, events = run(readings, WHOLE)
    with monkeypatch.context() as patch:
        patch.setattr(engine, "_looked_ahead", lambda _plan, state, *_: state)
        _, blind, fewer = run(readings, WHOLE)
    assert fewer != events
    assert [one.verdict for one in engine.findings(plan, state)] == [
        one.verdict for one in engine.findings(plan, blind)
    ]


def test_a_chamber_that_was_quiet_for_minutes_is_no_forecast() -> None:
    heard = [
        r for r in day(200) if r.channel != "chamber" or r.at_ms < BEGUN_MS + 190 * MIN
    ]
    assert foreseen(200, heard) == {}


def test_a_load_that_is_still_being_carried_to_its_bath_frightens_nobody() -> None:
    begins = int(crossed(day(500), 69.0)) + 1
    heard = [one for one in day(500) if one.at_ms <= BEGUN_MS + (begins + 12) * MIN]
    plan, state, _ = run([*heard, Tick(BEGUN_MS + (begins + 12) * MIN + S)])
    assert engine.passed(state)[-1].to_ms == 0
    assert engine.foreseen(plan, state) == []


def test_a_wet_surface_may_hold_a_core_back_for_ever_or_dry() -> None:
    """A core drawn to a wet bulb of 62 degC, in a chamber at 78 degC, wants 69 degC."""
    wet = Channel("wet-bulb", Role.WET_BULB, MIN, 10 * MIN, 0)
    cook = schedule("""\
stages:
  - {stage: cook, chamber: 74 degC to 82 degC, ends: when every core rises to 69 degC}
""")
    plan = engine.plan(cook, [*CHANNELS, wet])
    facts: list[Fact] = [
        Reading(name, BEGUN_MS + minute * MIN, value_mc, 0)
        for minute in range(101)
        for name, value_mc in (
            ("chamber", 78_000),
            ("wet-bulb", 62_000),
            ("core", 62_000 - round(54_000 * math.exp(-minute / 50))),
        )
    ]
    tick = Tick(BEGUN_MS + 100 * MIN + S)
    state, _ = replay.fold(plan, engine.opened(plan, BEGUN_MS), [*facts, tick])
    (end,) = engine.foreseen(plan, state)
    assert end.latest_ms == 0  # never, as long as it is wet
    # Dry from now on: 50 min * ln((78 - 54.7) / (78 - 69))
    dries = 100 + 50 * math.log((78 - 54.69) / 9)
    assert minute_of(end.earliest_ms) <= dries + 1
    assert minute_of(end.earliest_ms) == pytest.approx(dries, abs=8)
    assert end.earliest_ms < end.likely_ms


SHORT = schedule("""\
stages:
  - {stage: cook, chamber: 74 degC to 82 degC, ends: after 90 min}
  - {stage: chill, ends: when every core falls to 4 degC}
limits:
  - limit: lethality
    kind: dwell table
    channel: core
    during: cook
    table: FSIS Appendix A, meat, 6.5-log10
""")


def test_a_cook_too_short_for_its_lethality_is_at_risk_early() -> None:
    """A lag of 70 min behind 78 degC is too little for 90 min; that is seen soon."""
    whole = day(121, lambda _: 78)
    _, _, events = run(whole, SHORT)
    (risk_ms, standing), (over_ms, missed) = told(events, "lethality")
    assert (standing, missed) == ("at risk", "missed")
    assert risk_ms <= 60 * MIN
    assert over_ms == 90 * MIN
    (why,) = [
        one.why for one in events if one.now == "at risk" and one.channel == "core"
    ]
    assert why.startswith("core must be past ")
    assert " by 06:30 UTC; at this rate " in why


def test_a_cook_that_becomes_hot_enough_is_at_risk_no_more() -> None:
    def late(minute: float) -> float:
        return 62 if minute < 30 else 110

    _, _, events = run(day(121, late), SHORT)
    standings = [standing for _, standing in told(events, "lethality")]
    assert standings[-1] == "met"
    assert standings in (["met"], ["at risk", "within", "met"], ["at risk", "met"])


def test_of_rows_that_are_never_reached_the_one_that_may_be_first_is_named() -> None:
    """At 50 degC none is likely; in a chamber in its band one would be first."""
    lethal = foreseen(200, day(200, lambda _: 50))["lethality"]
    assert lethal.likely_ms == 0
    assert lethal.earliest_ms > BEGUN_MS + 200 * MIN
    assert lethal.hold_ms > 0


def test_what_is_past_its_mark_is_no_longer_ahead() -> None:
    whole = day(300)
    past = int(crossed(whole, 54.444))
    assert "come-up" in foreseen(past - 10, whole)
    assert "come-up" not in foreseen(past + 10, whole)


@pytest.mark.parametrize("now_min", [100, 130, 150])
def test_a_chamber_on_its_way_up_goes_on_to_the_middle_of_its_band(
    now_min: int,
) -> None:
    """From 45 degC at 0.2 K a minute to 78 degC, which is there after 165 min.

    The core's right instant is SciPy's, for Newton's law behind that ramp.
    """

    def air(minute: float) -> float:
        return min(45 + 0.2 * minute, 78)

    def law(minute: float, inside: list[float]) -> list[float]:
        return [(air(minute) - inside[0]) / TAU_MIN]

    found = solve_ivp(law, (0, 400), [8.0], dense_output=True, max_step=1.0)
    there = brentq(lambda minute: found.sol(minute)[0] - 69, 100, 400)
    cook = schedule("""\
stages:
  - {stage: cook, chamber: 74 degC to 82 degC, ends: when every core rises to 69 degC}
""")
    facts: list[Fact] = [
        Reading(name, BEGUN_MS + minute * MIN, round(degc * 1000), 0)
        for minute in range(now_min + 1)
        for name, degc in (("chamber", air(minute)), ("core", found.sol(minute)[0]))
    ]
    plan = engine.plan(cook, CHANNELS)
    tick = Tick(BEGUN_MS + now_min * MIN + S)
    state, _ = replay.fold(plan, engine.opened(plan, BEGUN_MS), [*facts, tick])
    (end,) = engine.foreseen(plan, state)
    left = there - now_min
    assert minute_of(end.likely_ms) - now_min == pytest.approx(left, rel=0.05, abs=2)
    latest = minute_of(end.latest_ms) if end.latest_ms else math.inf
    assert minute_of(end.earliest_ms) <= there <= latest
