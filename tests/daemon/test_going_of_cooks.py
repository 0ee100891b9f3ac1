"""Where whole cooks are going, in words: every clock, texture, and lethality.

The right instants are worked out outside: by the closed form and SciPy for a lump, and
on the shipped trace of a stall from the rows of FSIS Appendix A as they were typed.
"""

import json
import re
from datetime import UTC
from fractions import Fraction
from typing import Any

import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from daemon import going
from daemon.going import House
from daemon.script_file import read_script
from daemon.seen import cook_view
from daemon.view import View, as_json
from probes.script import Script
from rules import engine, replay
from rules.channels import Role
from rules.facts import Fact, Reading, Tick
from rules.schedule import Schedule, read_schedule
from rules.surface import NONE as NO_HUMIDITY
from rules.units import fahrenheit_mc
from tests.bench.forecasts import EXAMPLE, day, written
from tests.browser.yard import yard
from tests.rules.stories import BEGUN_MS, MIN, S, chamber, core, schedule
from tests.rules.test_at_risk import CASES, COOLER, TAU_MIN
from tests.rules.test_at_risk import written as limited
from tests.standards.rows_appendix_a import MEAT

SENTENCE = re.compile(
    r"^core must (be|have) .+ by (\d\d):(\d\d); "
    r"at this rate (\d\d):(\d\d) \((\d\d):(\d\d) (at the earliest|to (\d\d):(\d\d))\)$"
)


def tree_of(plan: engine.Plan, facts: list[Fact], begun_ms: int) -> dict[str, Any]:
    """A cook as the page gets it."""
    state, _ = replay.fold(plan, engine.opened(plan, begun_ms), facts)
    cook = cook_view("L-1", "north", plan, replay.outcome(plan, state, ()), state)
    invented = yard(facts[-1].at_ms)
    view = View("s", facts[-1].at_ms, 0, invented.broker, invented.recording, (cook,))
    shown: dict[str, Any] = json.loads(as_json(view))["cooks"][0]
    return shown


def minutes(hour: str, minute: str) -> int:
    """Since 05:00, when these cooks begin."""
    return int(hour) * 60 + int(minute) - 300


@pytest.mark.parametrize("kind", CASES)
def test_every_clock_limit_says_by_when_and_when_and_between_which(kind: str) -> None:
    case = CASES[kind]
    told_by, deadline = limited(case, 20)
    now = deadline // 2 + 10
    plan = engine.plan(told_by, [chamber(), core(), COOLER])
    facts: list[Fact] = [*case.lump.readings(now), Tick(BEGUN_MS + now * MIN + S)]
    shown = tree_of(plan, facts, BEGUN_MS)["limits"]
    (limit,) = [one for one in shown if one["name"] == "x"]
    words = going.ahead(limit["ahead"], House(UTC, BEGUN_MS + now * MIN))
    found = SENTENCE.match(words)
    assert found, words
    assert abs(minutes(*found.group(2, 3)) - deadline) <= 1
    right = case.right() + case.hold_min
    likely, earliest = minutes(*found.group(4, 5)), minutes(*found.group(6, 7))
    assert likely == pytest.approx(right, abs=2 + 0.06 * (right - now))
    assert earliest <= right + 1
    if found[9]:
        assert right <= minutes(*found.group(9, 10)) + 1
    if "lethality" not in kind:  # a sum is met, and has nothing to lose by itself
        assert limit["lose_ms"] == limit["ahead"]["deadline_ms"]


def stalled(minute: int) -> tuple[dict[str, Any], House, int]:
    """The shipped stall after so many minutes, its house, and when it began."""
    _, channels, readings = day("stall")
    path = EXAMPLE / "days" / "stall.yaml"
    script = read_script(str(path), path.read_text(encoding="utf-8"))
    assert isinstance(script, Script)
    limits = """\
limits:
  - {limit: lethality, kind: dwell table, channel: core, during: "smoke, cook",
     table: "FSIS Appendix A, meat, 6.5-log10"}
"""
    text = written(script).replace(
        "  - stage: chill", "    at most: 7 h\n  - stage: chill"
    )
    found = read_schedule("stall.yaml", text + limits)
    assert isinstance(found, Schedule), found
    begun_ms = readings[0].at_ms
    until_ms = begun_ms + minute * MIN
    facts: list[Fact] = [one for one in readings if one.at_ms <= until_ms]
    tree = tree_of(engine.plan(found, channels), [*facts, Tick(until_ms + S)], begun_ms)
    return tree, House(UTC, until_ms), begun_ms


def lethal_ms(channel: str) -> int:
    """When the first row of the table is full on a core of the trace, by hand."""
    series = [one for one in day("stall")[2] if one.channel == channel]
    found = []
    for degf, dwell_s in ((row[0], row[1]) for row in MEAT):
        since_ms = None
        for one in series:
            if one.value_mc < fahrenheit_mc(Fraction(degf)):
                since_ms = None
                continue
            since_ms = one.at_ms if since_ms is None else since_ms
            if one.at_ms - since_ms >= dwell_s * 1_000:
                found.append(since_ms + dwell_s * 1_000)
                break
    return min(found)


def test_a_stalled_core_that_was_lethal_hours_ago_says_so_on_a_line_of_its_own() -> (
    None
):
    tree, house, begun_ms = stalled(400)
    cores = [one.name for one in day("stall")[1] if one.role is Role.CORE]
    met_ms = max(map(lethal_ms, cores))
    assert house.now_ms - met_ms > 2 * 60 * MIN
    ((well, words),) = going.lethality(tree["limits"], house)
    assert well
    assert words.startswith(f"lethality: met since {going.clock(met_ms, house)}, held ")
    assert words.endswith(f"; surface: {NO_HUMIDITY}")
    (stage,) = [one for one in tree["stages"] if one["from_ms"] and not one["to_ms"]]
    texture = going.ahead(stage["ahead"], house)
    by = going.clock(begun_ms + (90 + 7 * 60) * MIN, house)
    assert texture.startswith(f"core-2 must be past 67.5 degC by {by}; at this rate ")
    assert {one["sign"] for one in tree["signs"]} == {"stall"}


def test_every_stage_says_when_it_ends_as_far_as_that_is_known() -> None:
    """Two by time, one by a core that is known by SciPy, and one that nobody knows."""
    told_by = schedule("""\
stages:
  - {stage: dry, chamber: 50 degC to 60 degC, ends: after 40 min}
  - {stage: smoke, chamber: 57 degC to 63 degC, ends: after 60 min}
  - stage: cook
    chamber: 74 degC to 82 degC
    ends: when every core rises to 69 degC
    at most: 4 h
  - {stage: chill, ends: when every core falls to 4 degC}
""")

    def air(minute: float) -> float:
        return 55 if minute < 40 else 60 if minute < 100 else 78

    def law(minute: float, inside: list[float]) -> list[float]:
        return [(air(minute) - inside[0]) / TAU_MIN]

    lag = solve_ivp(law, (0, 400), [8.0], dense_output=True, max_step=1.0).sol
    there = brentq(lambda minute: lag(minute)[0] - 69, 100, 400)
    now = 30
    facts: list[Fact] = [
        Reading(name, BEGUN_MS + minute * MIN, round(degc * 1000), 0)
        for minute in range(now + 1)
        for name, degc in (("chamber", air(minute)), ("core", lag(minute)[0]))
    ]
    plan = engine.plan(told_by, [chamber(), core()])
    stages = tree_of(plan, [*facts, Tick(BEGUN_MS + now * MIN + S)], BEGUN_MS)["stages"]
    dry, smoke, cook, chill = stages
    assert [one["due_ms"] for one in stages] == [
        BEGUN_MS + 40 * MIN,
        BEGUN_MS + 100 * MIN,
        0,
        0,
    ]
    assert (dry["ahead"], smoke["ahead"], chill["ahead"]) == (None, None, None)
    ahead = cook["ahead"]
    likely, earliest = (
        (ahead[key] - BEGUN_MS) / MIN for key in ("likely_ms", "earliest_ms")
    )
    # It takes the chamber for a while into each band: that is not known beforehand.
    assert likely == pytest.approx(there, abs=15)
    assert earliest <= there
    assert ahead["deadline_ms"] == BEGUN_MS + (100 + 4 * 60) * MIN
