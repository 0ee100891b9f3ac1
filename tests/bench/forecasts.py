"""``deploy/forecasts``: how far forecasts are off on every shipped trace.

Each trace of ``deploy/example/traces`` is folded minute by minute, with the schedule
of the day that it was simulated from.  Every minute, each core is asked when it will be
at the marks still ahead of it: the end of its stage, 130 degF while it heats (where a
come-up clock stops), 80 and 40 degF while it chills (where the clocks of a cooling
option stop).  What the trace shows later is the truth.

``ours`` is the forecast's *error*: the distance between the time that it said to be
left and the time that was left, as a share of the latter, and no more than all of it;
"never" is off by all of it, too.  ``line`` is the error of a straight line (least
squares) through the same samples of the core.  ``minutes`` has the mean distances of
both where both named a time.  ``held`` is how often the truth lay
between the earliest and the latest time, give or take the minute of a sample; ``open``
is how often the latest was "never", which holds much too easily.  ``spoke`` is how
often there was a forecast at all; only there the two are compared.

The second table has the early signs of ``rules.signs`` that were told, and how long
after they had begun; the third how often each was told of each trace, and whether that
is what befell it.

    .venv/bin/python -m tests.bench.forecasts
"""

import sys
from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from pathlib import Path
from typing import NamedTuple

from daemon.script_file import read_script
from probes.script import Around, Script, Step
from probes.trace import Trace, median_period_ms, read
from rules import engine
from rules.channels import Channel, Role
from rules.facts import Fact, Reading, Subject, Tick
from rules.forecast import MINUTE_MS, NEVER, NONE_MC, WINDOW, Crossing
from rules.rehearsal import role_of
from rules.replay import fold
from rules.schedule import Schedule, read_schedule
from rules.signs import Sign
from rules.stages import Way
from rules.surroundings import chills

EXAMPLE = Path(__file__).parents[2] / "deploy" / "example"
NAMES = sorted(path.stem for path in (EXAMPLE / "traces").glob("*.csv"))
MOMENTS = (25, 50, 75)  # per cent of the way to the mark
RISING = {54_444: "130 degF"}
FALLING = {26_667: "80 degF", 4_444: "40 degF"}
# In which minute of a trace each sign began: of fire and door by the day's own file;
# read off the trace, the minute from which on the core rose by no more than 0.8 K in
# 20 min, and that of the coldest bath.
BEGAN = {
    ("dying-fire", "dying fire", "chamber"): (65,),
    ("opened-door", "opened door", "chamber"): (85, 170),
    ("stall", "stall", "core-1"): (217,),
    ("stall", "stall", "core-2"): (238,),
    ("warming-bath", "warming bath", "bath"): (208,),
}
ALMOST_C = 0.5  # a stage ends so much before what the day was told to wait for


class Asked(NamedTuple):
    """One question, what was answered and what became of it, in minutes from then."""

    trace: str
    goal: str
    core: str
    minute: int
    truth: float
    line: float
    ours: Crossing | None  # in minutes from then; None: no forecast

    @property
    def error(self) -> float:
        """How far the forecast was off, as a share of what was left [0 to 1]."""
        return _share(self.ours.likely if self.ours else NEVER, self.truth)

    @property
    def line_error(self) -> float:
        """How far the straight line was off [0 to 1]."""
        return _share(self.line, self.truth)

    @property
    def held(self) -> bool:
        """Whether the truth lay in the interval."""
        if self.ours is None:
            return False
        return self.ours.earliest - 1 <= self.truth <= self.ours.latest + 1

    @property
    def open(self) -> bool:
        """Whether it said that the mark may never be reached."""
        return self.ours is not None and self.ours.latest >= NEVER


class Told(NamedTuple):
    """An early sign, whose it is, and at which minute of the trace it was told."""

    trace: str
    sign: str
    channel: str
    minute: int

    @property
    def began(self) -> int:
        """The minute in which it began; its own where it never did, and was false."""
        began = BEGAN.get((self.trace, self.sign, self.channel), ())
        return max((at for at in began if at <= self.minute), default=self.minute)


class Row(NamedTuple):
    """What the forecasts of some questions came to, as shares [0 to 1]."""

    spoke: float
    ours: float
    line: float
    held: float
    open: float
    ours_min: float  # where both named a time
    line_min: float

    @property
    def better(self) -> bool:
        """Whether ours was better than the straight line, in both ways of counting."""
        return self.ours < self.line and self.ours_min < self.line_min


def _share(said: float, truth: float) -> float:
    # A sample a minute shows nothing finer than a minute.
    return min(1.0, max(0.0, abs(said - truth) - 1) / truth) if truth else 0.0


def main() -> int:
    """Print every goal of every trace; 1 where a straight line does better."""
    traces = {name: _table(name) for name in NAMES}
    print("all traces")
    print(_shown("all", [one for asked in traces.values() for one in asked]))
    worse = [name for name, asked in traces.items() if not row(asked).better]
    print("a straight line does better on:", ", ".join(worse) or "no trace")
    goals = ", ".join(
        f"{name}'s {goal}" for name in NAMES for goal in lost(traces[name])
    )
    print("of single goals on:", goals or "none", end="\n\n")
    print(f"{'trace':<14}{'told':<16}{'of':<10}{'at':>8}{'began':>8}{'delay':>8}")
    signs = {name: told(name) for name in NAMES}
    for name in NAMES:
        print("\n".join(map(_line, signs[name])) or f"{name:<14}nothing")
    print("\n".join(["", *_apart(signs)]))
    return int(bool(worse or any(_wrong(signs[name], name) for name in NAMES)))


def _apart(signs: Mapping[str, Sequence[Told]]) -> Iterator[str]:
    """Each sign against each trace: how often it was told, and what is wrong."""
    kinds = [str(sign) for sign in Sign if sign]
    yield f"{'trace':<14}" + "".join(f"{kind:>14}" for kind in kinds)
    for name, shown in signs.items():
        counts = [sum(one.sign == kind for one in shown) for kind in kinds]
        cells = "".join(f"{count or '-':>14}" for count in counts)
        yield f"{name:<14}{cells}{_wrong(shown, name)}"


def _wrong(shown: Sequence[Told], name: str) -> str:
    """Which sign was told that had not begun, or was not told that had."""
    said = {(one.sign, one.channel, one.began) for one in shown}
    right = {
        (sign, channel, at)
        for (trace, sign, channel), minutes in BEGAN.items()
        for at in minutes
        if trace == name
    }
    return "".join(f"  WRONG: {sign} of {channel}" for sign, channel, _ in said ^ right)


def lost(asked: Sequence[Asked]) -> list[str]:
    """The goals of one trace of which a straight line has the smaller error."""
    goals = dict.fromkeys(one.goal for one in asked)
    rows = {goal: row([one for one in asked if one.goal == goal]) for goal in goals}
    return [goal for goal, one in rows.items() if one.spoke and one.ours >= one.line]


def _line(one: Told) -> str:
    minutes = (one.minute, one.began, one.minute - one.began)
    cells = "".join(f"{f'{minute} min':>8}" for minute in minutes)
    return f"{one.trace:<14}{one.sign:<16}{one.channel:<10}{cells}"


def _table(name: str) -> list[Asked]:
    """Print what is asked of one trace, goal by goal."""
    asked = list(questions(name))
    head = "".join(f"{f'at {percent} % of the way':>22}" for percent in MOMENTS)
    print(
        f"{name:<14}{head}{'ours':>8}{'line':>6}{'held':>6}{'open':>6}{'spoke':>7}{'minutes':>15}"
    )
    for goal in dict.fromkeys(one.goal for one in asked):
        print(_shown(goal, [one for one in asked if one.goal == goal]))
    print(_shown("all", asked), end="\n\n")
    return asked


def row(asked: Sequence[Asked]) -> Row:
    """What the forecasts among these came to; the rest only lowers ``spoke``."""
    spoke = [one for one in asked if one.ours]
    count = max(len(spoke), 1)
    both = [
        (abs(one.ours.likely - one.truth), abs(one.line - one.truth))
        for one in spoke
        if one.ours and max(one.ours.likely, one.line) < NEVER
    ]
    named = max(len(both), 1)
    return Row(
        spoke=len(spoke) / max(len(asked), 1),
        ours=sum(one.error for one in spoke) / count,
        line=sum(one.line_error for one in spoke) / count,
        held=sum(one.held for one in spoke) / count,
        open=sum(one.open for one in spoke) / count,
        ours_min=sum(ours for ours, _ in both) / named,
        line_min=sum(line for _, line in both) / named,
    )


def _shown(goal: str, asked: Sequence[Asked]) -> str:
    cells = [f"  {goal:<12}"]
    for percent in MOMENTS:
        one = row(moments(asked, percent))
        cells.append(f"{f'{one.ours:.0%} / {one.line:.0%}' if one.spoke else '-':>22}")
    one = row(asked)
    shares = (one.ours, one.line, one.held, one.open)
    cells += [f"{share:>6.0%}" if one.spoke else f"{'-':>6}" for share in shares]
    minutes = f"{one.ours_min:.1f} / {one.line_min:.1f}" if one.spoke else "-"
    return "".join([*cells, f"{one.spoke:>7.0%}{minutes:>15}"])


def moments(asked: Sequence[Asked], percent: int) -> list[Asked]:
    """Of each goal of each core, the question at this share of the way to it."""
    found = []
    for key in dict.fromkeys((one.trace, one.goal, one.core) for one in asked):
        way = [one for one in asked if (one.trace, one.goal, one.core) == key]
        from_minute, to_minute = way[0].minute, way[0].minute + way[0].truth
        at = from_minute + (to_minute - from_minute) * percent / 100
        found.append(min(way, key=lambda one: abs(one.minute - at)))
    return found


def told(name: str) -> list[Told]:
    """The early signs that were told of a trace, in order."""
    schedule, channels, readings = day(name)
    plan = engine.plan(schedule, channels)
    begun_ms, last_ms = readings[0].at_ms, readings[-1].at_ms
    facts: list[Fact] = [*readings, Tick(last_ms + MINUTE_MS)]
    _, events = fold(plan, engine.opened(plan, begun_ms), facts)
    return [
        Told(name, one.now, one.channel, (one.at_ms - begun_ms) // MINUTE_MS)
        for one in events
        if one.subject is Subject.SIGN and one.now in set(Sign)
    ]


def questions(name: str, every: int = 1) -> Iterator[Asked]:
    """Every question, each so many minutes, of a trace that shows the answer."""
    schedule, channels, readings = day(name)
    plan = engine.plan(schedule, channels)
    state = engine.opened(plan, readings[0].at_ms)
    cores = [i for i, channel in enumerate(channels) if channel.role is Role.CORE]
    series = [[r for r in readings if r.channel == one.name] for one in channels]
    for minute, heard in groupby(readings, key=lambda one: -(-one.at_ms // MINUTE_MS)):
        state, _ = fold(plan, state, [*heard, Tick(minute * MINUTE_MS + 1)])
        if engine.finished_ms(state):
            return
        courses = engine.courses(plan, state) if minute % every == 0 else None
        for i in cores if courses is not None else ():
            for goal, mark_mc, rises in marks(plan, state, i):
                truth = crossed(series[i], minute, mark_mc, rises=rises)
                if truth is not None:
                    core, course = state.samples[i], (courses or {}).get(i)
                    ours = course and course.crossing(mark_mc, rises=rises)
                    asked = (name, goal, channels[i].name, minute, truth)
                    yield Asked(*asked, straight(core, mark_mc), ours)


def marks(
    plan: engine.Plan, state: engine.State, i: int
) -> Iterator[tuple[str, int, bool]]:
    """The marks that lie ahead of a core in this stage, and whether it rises."""
    number, core_mc = state.at.number, state.samples[i][-1]
    stage, way = plan.stages[number], plan.ways[number]
    rises = not chills(stage, way)
    ahead = {**(RISING if rises else FALLING)}
    if stage.ends.mc and way in (Way.RISES, Way.FALLS):
        ahead[stage.ends.mc] = f"{stage.name} ends"
    for mark_mc, goal in ahead.items():
        if core_mc != NONE_MC and core_mc != mark_mc and (core_mc < mark_mc) is rises:
            yield goal, mark_mc, rises


def crossed(
    series: Sequence[Reading], minute: int, mark_mc: int, *, rises: bool
) -> float | None:
    """In how many minutes the trace shows the core at the mark; None for never."""
    for one in series:
        past = one.value_mc >= mark_mc if rises else one.value_mc <= mark_mc
        if one.at_ms > minute * MINUTE_MS and past:
            return one.at_ms / MINUTE_MS - minute
    return None


def straight(core: Sequence[int], mark_mc: int) -> float:
    """When a straight line through the window's samples is at the mark."""
    recent = core[-WINDOW - 1 :]
    points = [(i, mc) for i, mc in enumerate(recent) if mc != NONE_MC]
    count = len(points)
    mean_x = sum(x for x, _ in points) / count
    mean_y = sum(y for _, y in points) / count
    over = sum((x - mean_x) * (y - mean_y) for x, y in points)
    slope = over / (sum((x - mean_x) ** 2 for x, _ in points) or 1)
    ahead = mark_mc - (mean_y + slope * (len(recent) - 1 - mean_x))
    return ahead / slope if slope and ahead / slope > 0 else NEVER


def day(name: str) -> tuple[Schedule, list[Channel], list[Reading]]:
    """A trace, its channels, and the schedule of the day it was simulated from."""
    path = EXAMPLE / "days" / f"{name}.yaml"
    script = read_script(str(path), path.read_text(encoding="utf-8"))
    assert isinstance(script, Script)
    path = EXAMPLE / "traces" / f"{name}.csv"
    exact = {one.channel: 0 for one in script.probes}
    trace = read(str(path), path.read_text(encoding="utf-8"), exact)
    assert isinstance(trace, Trace)
    every_ms = median_period_ms(trace.readings)
    channels = [
        Channel(one.name, role_of(one.name) or Role.MEAT, every_ms, 10 * every_ms, 0)
        for one in trace.channels
    ]
    schedule = read_schedule("day.yaml", written(script))
    assert isinstance(schedule, Schedule), schedule
    return schedule, channels, sorted(trace.readings, key=lambda one: one.at_ms)


def written(script: Script) -> str:
    """The day's steps as the stages of a schedule."""
    lines = ["schedule: a simulated day", "revision: 1"]
    lines += ["product: {meat: pork, form: comminuted, cured: yes}", "stages:"]
    for step in script.steps:
        lines.append(f"  - stage: {step.name}")
        if step.around is Around.CHAMBER:
            low, high = step.target_c - 4, step.target_c + 4
            lines.append(f"    chamber: {low:g} degC to {high:g} degC")
        if step.until_c is None:
            lines.append(f"    ends: after {step.lasts_ms // MINUTE_MS} min")
        else:
            verb, by = ("rises", -ALMOST_C) if _rises(step) else ("falls", ALMOST_C)
            degc = f"{step.until_c + by:g} degC"
            lines.append(f"    ends: when every core {verb} to {degc}")
    return "\n".join(lines) + "\n"


def _rises(step: Step) -> bool:
    return step.until_c is not None and step.around is Around.CHAMBER


if __name__ == "__main__":
    sys.exit(main())
