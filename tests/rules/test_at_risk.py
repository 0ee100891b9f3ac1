"""Every clock limit is at risk by its forecast: too late is told early, in time is not.

The core is a lump behind a chamber or a bath that stays as it is, so each right instant
is worked out outside: by the closed form of Newton's law, and for integrated lethality
by SciPy's quadrature of the general method along it.
"""

import math
from collections.abc import Callable
from typing import NamedTuple

import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from rules import alerts, engine, replay
from rules.alerts import AlertRule
from rules.channels import Channel, Role
from rules.facts import Event, Fact, Reading, Subject, Tick
from rules.schedule import Schedule
from tests.rules.stories import BEGUN_MS, MIN, S, chamber, core, degf, schedule, told

TAU_MIN = 60.0
COOLER = Channel("cooler", Role.COOLER, MIN, 10 * MIN, 0)


class Lump(NamedTuple):
    """A core that starts somewhere and is drawn to one temperature, in degC."""

    starts: float
    around: float

    def at(self, minute: float) -> float:
        return self.around + (self.starts - self.around) * math.exp(-minute / TAU_MIN)

    def minute(self, degc: float) -> float:
        """When it is there."""
        share = (self.starts - self.around) / (degc - self.around)
        return TAU_MIN * math.log(share)

    def readings(self, until_min: int) -> list[Reading]:
        """Once a minute, with what surrounds it."""
        name = "chamber" if self.around > self.starts else "cooler"
        return [
            Reading(channel, BEGUN_MS + minute * MIN, round(degc * 1000), 0)
            for minute in range(until_min + 1)
            for channel, degc in ((name, self.around), ("core", self.at(minute)))
        ]


HEATED, REHEATED, CHILLED = Lump(8, 78), Lump(3, 95), Lump(60, 2)
D_MIN, Z_K, REFERENCE, LOGS = 2.0, 10.0, 65.0, 6.5


def filled_min() -> float:
    """When the general method's sum is full along the heated core, by SciPy."""

    def over(minute: float) -> float:
        rate = quad(lambda t: 10 ** ((HEATED.at(t) - REFERENCE) / Z_K), 0, minute)
        return float(rate[0]) / D_MIN - LOGS

    return float(brentq(over, 1, 600))


class Case(NamedTuple):
    """One kind of limit: what its author writes, and when it is right by then."""

    lump: Lump
    limit: str  # with its time to spare, in minutes, as {}
    right: Callable[[], float]  # the minute at which all that it asks is there
    begins: Callable[[], float] = lambda: 0.0  # the minute from which its clock runs
    hold_min: int = 0  # it is then held there for so long, both by then and in time
    stage: str = "{stage: cook, chamber: 74 degC to 82 degC, ends: after 10 h}"


CASES = {
    "time between": Case(
        HEATED,
        "{limit: x, kind: time between, channel: core, "
        "between: 50 degF and 130 degF, at most: {} min}",
        lambda: HEATED.minute(degf(130) / 1000),
        lambda: HEATED.minute(10),
    ),
    "reach within, upwards": Case(
        HEATED,
        "{limit: x, kind: reach within, channel: core, at or above: 65 degC, "
        "for: 5 min, at most: {} min}",
        lambda: HEATED.minute(65),
        hold_min=5,
    ),
    "reach within, down": Case(
        CHILLED,
        "{limit: x, kind: reach within, channel: core, at or below: 7 degC, "
        "at most: {} min}",
        lambda: CHILLED.minute(7),
        stage="{stage: chill, ends: after 10 h}",
    ),
    "reach within, since leaving": Case(
        HEATED,
        "{limit: x, kind: reach within, channel: core, at or above: 65 degC, "
        "since leaving: 20 degC, at most: {} min}",
        lambda: HEATED.minute(65),
        lambda: HEATED.minute(20),
    ),
    "integrated lethality": Case(
        HEATED,
        f"{{limit: x, kind: integrated lethality, channel: core, D: {D_MIN:g} min, "
        f"z: {Z_K:g} K, reference: {REFERENCE:g} degC, target: {LOGS}-log10, "
        "during: cook}",
        filled_min,
        stage="{stage: cook, chamber: 74 degC to 82 degC, ends: after {} min}",
    ),
}


def written(case: Case, spare_min: int) -> tuple[Schedule, int]:
    """A schedule whose limit has so many minutes more than are needed; its deadline."""
    allowed = round(case.right() - case.begins()) + spare_min
    texts = (one.replace("{}", f"{allowed}") for one in (case.stage, case.limit))
    stage, limit = texts
    rest = "{stage: rest, ends: after 30 min}"
    text = f"stages:\n  - {stage}\n  - {rest}\nlimits:\n  - {limit}\n"
    return schedule(text), round(case.begins()) + allowed + case.hold_min


def run(case: Lump, told_by: Schedule, until_min: int) -> list[Event]:
    channels = [chamber(), core(), COOLER]
    plan = engine.plan(told_by, channels)
    tick = Tick(BEGUN_MS + until_min * MIN + S)
    facts: list[Fact] = [*case.readings(until_min), tick]
    _, events = replay.fold(plan, engine.opened(plan, BEGUN_MS), facts)
    return replay.in_order(events)


def clock(minute: float) -> str:
    return f"{5 + int(minute) // 60:02}:{int(minute) % 60:02} UTC"


@pytest.mark.parametrize("kind", CASES)
def test_too_late_is_at_risk_long_before(kind: str) -> None:
    """With a quarter of an hour too little; it says when it will be right by then."""
    case = CASES[kind]
    told_by, deadline = written(case, -15)
    events = run(case.lump, told_by, deadline + 20)
    (risk_ms, standing), *_ = told(events, "x")
    assert standing == "at risk"
    assert risk_ms / MIN <= deadline / 2 + 10
    (why,) = [one.why for one in events if one.name == "x" and one.now == "at risk"]
    assert f" by {clock(deadline)}" in why or f" by {clock(deadline - 1)}" in why
    said = why.partition("at this rate ")[2][:9]
    right = case.right() + case.hold_min
    left = right - risk_ms / MIN
    near = range(round(right - 0.06 * left) - 2, round(right + 0.06 * left) + 3)
    assert said in [clock(minute) for minute in near]


@pytest.mark.parametrize("kind", CASES)
def test_in_time_is_never_at_risk(kind: str) -> None:
    case = CASES[kind]
    told_by, deadline = written(case, 20)
    events = run(case.lump, told_by, deadline + 20)
    standings = {standing for _, standing in told(events, "x")}
    assert standings <= {"met", "unproven"}  # the cook is cut off
    assert ("met" in standings) is (kind != "time between")


@pytest.mark.parametrize(
    ("around", "standings"),
    [
        # 60 min * ln(87 / 17.2) = 97 min to 165 degF, and 15 s more
        pytest.param(91.09, ["met"], id="in time"),
        # 60 min * ln(79 / 8.11) = 137 min
        pytest.param(82.0, ["at risk", "missed"], id="too late"),
    ],
)
def test_reheating_has_two_hours(around: float, standings: list[str]) -> None:
    """Source of the figures: FDA Food Code 3-403.11, 165 degF for 15 s within 2 h."""
    told_by = schedule("""\
stages:
  - {stage: reheat, chamber: 78 degC to 95 degC, ends: after 4 h}
limits:
  - {limit: x, kind: reheating, channel: core,
     option: "FDA Food Code 3-403.11(A)"}
""")
    lump = Lump(3, around)
    assert (lump.minute(degf(165) / 1000) < 120) is (standings == ["met"])
    found = told(run(lump, told_by, 125), "x")
    assert [standing for _, standing in found][: len(standings)] == standings
    if standings[0] == "at risk":
        assert found[0][0] <= 70 * MIN


@pytest.mark.parametrize("limits", ["during: cook, ", ""])
@pytest.mark.parametrize(
    ("ends_at", "stays_min", "standings"),
    [
        # Of 57.8 degC (136 degF) 28 min are asked, by FSIS Appendix A, 1999, 6.5-log10.
        pytest.param(62, 14, ["at risk", "missed"], id="over too soon"),
        pytest.param(68, 42, ["met"], id="over late enough"),
    ],
)
def test_a_core_may_end_its_stage_before_a_row_is_full(
    limits: str, ends_at: int, stays_min: float, standings: list[str]
) -> None:
    """From 57.8 degC on: 60 min * ln(20.2 / (78 - ends)), and no row asks for less."""
    told_by = schedule(f"""\
stages:
  - stage: cook
    chamber: 74 degC to 82 degC
    ends: when every core rises to {ends_at} degC
  - {{stage: chill, ends: when every core falls to 4 degC}}
limits:
  - {{limit: x, kind: dwell table, channel: core, {limits}
     table: "FSIS Appendix A, meat, 6.5-log10"}}
""")
    ends = math.ceil(HEATED.minute(ends_at))
    assert ends - HEATED.minute(57.778) == pytest.approx(stays_min, abs=2)
    chilled = Lump(HEATED.at(ends), 2)
    readings = [
        *HEATED.readings(ends),
        *(
            one._replace(at_ms=one.at_ms + ends * MIN)
            for one in chilled.readings(250)
            if one.at_ms > BEGUN_MS
        ),
    ]
    plan = engine.plan(told_by, [chamber(), core(), COOLER])
    _, events = replay.fold(plan, engine.opened(plan, BEGUN_MS), readings)
    assert [standing for _, standing in told(events, "x")] == standings
    if standings[0] == "at risk":
        (why,) = [one.why for one in events if one.name == "x" if one.now == "at risk"]
        assert any(f" by {clock(ends + off)};" in why for off in (-2, -1, 0, 1, 2))


def cook_of(at_most_min: int) -> Schedule:
    return schedule(f"""\
stages:
  - stage: cook
    chamber: 74 degC to 82 degC
    ends: when every core rises to 69 degC
    at most: {at_most_min} min
  - {{stage: chill, ends: after 3 h}}
""")


def stage_events(events: list[Event]) -> list[tuple[str, str]]:
    return [(one.was, one.now) for one in events if one.name == "cook"]


def test_a_stage_that_will_last_too_long_is_at_risk_long_before() -> None:
    """Its core is there after 60 min * ln(70 / 9)."""
    ends = HEATED.minute(69)
    late = run(HEATED, cook_of(round(ends) - 15), math.ceil(ends) + 5)
    assert stage_events(late) == [
        ("begun", "at risk"),
        ("at risk", "overdue"),
        ("overdue", "ended"),
    ]
    (risk,) = [one for one in late if one.now == "at risk"]
    assert (risk.at_ms - BEGUN_MS) / MIN <= ends / 2
    assert f"must be past 69.0 degC by {clock(round(ends) - 15)}; at" in risk.why
    assert (risk.channel, risk.why[:5]) == ("core", "core ")
    in_time = run(HEATED, cook_of(round(ends) + 20), math.ceil(ends) + 5)
    assert stage_events(in_time) == [("begun", "ended")]


def test_a_stage_whose_fire_is_lit_again_is_in_time_again() -> None:
    weak = Lump(8, 74)
    strong = Lump(weak.at(60), 98)
    both = [
        *weak.readings(60),
        *(
            r._replace(at_ms=r.at_ms + 60 * MIN)
            for r in strong.readings(90)
            if r.at_ms > BEGUN_MS
        ),
    ]
    plan = engine.plan(cook_of(145), [chamber(), core(), COOLER])
    _, events = replay.fold(plan, engine.opened(plan, BEGUN_MS), both)
    assert stage_events(events)[:2] == [
        ("begun", "at risk"),
        ("at risk", "in time again"),
    ]
    assert stage_events(events)[-1] == ("in time again", "ended")


def test_who_asks_for_what_is_at_risk_is_told_of_a_stage_too() -> None:
    event = Event(0, Subject.STAGE, "cook", "core", "begun", "at risk", "why")
    for word, told_of in {"at risk": True, "stage": True, "missed": False}.items():
        rule = AlertRule("ab", frozenset({word}), 0)
        assert alerts.wanted(rule, event) is told_of


@pytest.mark.parametrize(
    ("around", "standings"),
    [
        # 60 min * ln((54.44 - around) / (26.67 - around)): 64 min, and 116
        pytest.param(12, ["met"], id="in time"),
        pytest.param(22, ["at risk", "unproven", "missed"], id="too late"),
    ],
)
def test_the_first_band_of_cooling_has_an_hour_and_a_half(
    around: float, standings: list[str]
) -> None:
    """Source of the figure: FSIS-GD-2021-14, Appendix B, option 1, 130 to 80 degF."""
    told_by = schedule("""\
stages:
  - {stage: chill, ends: after 10 h}
limits:
  - {limit: x, kind: cooling option, channel: core,
     option: "FSIS Appendix B, option 1"}
""")
    lump = Lump(65, around)
    begins, ends = (lump.minute(degf(mark) / 1000) for mark in (130, 80))
    assert (ends - begins < 90) is (standings == ["met"])
    found = told(run(lump, told_by, 150), "x: 54.4 degC to 26.7 degC")
    assert [standing for _, standing in found] == standings
    if standings[0] == "at risk":
        assert found[0][0] <= (begins + 45) * MIN
