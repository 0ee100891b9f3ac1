"""Limits that no stage can reach, and stages that can never end.

What a chamber never has, a core in it never gets.  Where a stage has no chamber band,
nothing is said of it.
"""

from collections.abc import Callable, Iterator

from rules.cooling import CoolingLimit
from rules.dwell import DwellTableLimit
from rules.faults import Fault
from rules.hold import HoldLimit
from rules.limit import Limit
from rules.reach import Reaching
from rules.reader import Path
from rules.reheating import ReheatingLimit
from rules.schedule import Schedule
from rules.stages import Way
from rules.standards.tables import needed
from rules.time_between import TimeBetween
from rules.units import say_mc, say_ms

Ask = Callable[[Path, str, str], Fault]

# Common practice, no source: a core takes longer than this over its last degrees.
PASSES_MS = 60_000

CHAMBER = "make the chamber's band reach it, or the limit another"


def unreached(schedule: Schedule, ask: Ask) -> Iterator[Fault]:
    """Every limit and stage that cannot come to its end."""
    for i, limit in enumerate(schedule.limits):
        yield from _too_hot(i, limit, schedule, ask)
        yield from _too_cold(i, limit, schedule, ask)
        if isinstance(limit, TimeBetween):
            yield from _no_way_out(i, limit, schedule, ask)
        if isinstance(limit, DwellTableLimit):
            yield from _too_short(i, limit, schedule, ask)
    yield from _never_settled(schedule, ask)
    for i, (stage, way) in enumerate(zip(schedule.stages, schedule.ways, strict=True)):
        band, target_mc = stage.chamber, stage.ends.mc
        if not band or way not in (Way.RISES, Way.FALLS):
            continue
        never = target_mc > band.high_mc
        if way is Way.FALLS:
            never = target_mc < band.low_mc
        if never:
            found = f"the core comes to {say_mc(target_mc)} in no chamber of this band"
            yield ask(("stages", i, "ends"), found, CHAMBER)


def _too_hot(i: int, limit: Limit, schedule: Schedule, ask: Ask) -> Iterator[Fault]:
    """A temperature that no stage of the limit can give."""
    if isinstance(limit, DwellTableLimit):
        asks_mc, key = min(limit.table.rows).temp_mc, "table"
    elif isinstance(limit, HoldLimit) and limit.at_or_above_mc is not None:
        asks_mc, key = limit.at_or_above_mc, "at or above"
    elif isinstance(limit, Reaching) and limit.asked.rises:
        asks_mc = limit.asked.goal_mc
        key = "option" if isinstance(limit, ReheatingLimit) else "at or above"
    else:
        return
    bands = [schedule.stages[n].chamber for n in schedule.during(limit)]
    tops_mc = [band.high_mc if band else asks_mc for band in bands]
    if tops_mc and max(tops_mc) < asks_mc:
        found = (
            f"limit {limit.name!r} asks for {say_mc(asks_mc)}, and no stage that it is "
            f"judged in is hotter than {say_mc(max(tops_mc))}"
        )
        yield ask(("limits", i, key), found, CHAMBER)


def _no_way_out(
    i: int, limit: TimeBetween, schedule: Schedule, ask: Ask
) -> Iterator[Fault]:
    """A band of temperatures that no stage is hot enough, or cold enough, to leave."""
    bands = [schedule.stages[n].chamber for n in schedule.during(limit)]
    low_mc, high_mc = limit.between
    if bands and all(
        band and low_mc <= band.low_mc and band.high_mc < high_mc for band in bands
    ):
        found = (
            f"limit {limit.name!r} waits for {say_mc(high_mc)}, and every stage that "
            f"it is judged in stays between that and {say_mc(low_mc)}"
        )
        yield ask(("limits", i, "between"), found, CHAMBER)


def _never_settled(schedule: Schedule, ask: Ask) -> Iterator[Fault]:
    """A stage that is over before its chamber has to be in its band."""
    for i, stage in enumerate(schedule.stages):
        if stage.chamber and stage.ends.ms and stage.settle_ms >= stage.ends.ms:
            found = (
                f"the chamber may settle for {say_ms(stage.settle_ms)}, and stage "
                f"{stage.name!r} is over by then: its band is never judged"
            )
            yield ask(("stages", i, "settle"), found, "let it settle in less time")


def _too_cold(i: int, limit: Limit, schedule: Schedule, ask: Ask) -> Iterator[Fault]:
    """A final temperature that its last stage does not wait for, or cannot give."""
    if not isinstance(limit, CoolingLimit):
        return
    last = max(schedule.during(limit), default=-1)
    if last < 0:
        return
    stage, way, final_mc = (
        schedule.stages[last],
        schedule.ways[last],
        limit.option.final_mc,
    )
    if way is Way.FALLS and stage.ends.mc > final_mc:
        found = (
            f"stage {stage.name!r} ends at {say_mc(stage.ends.mc)}, and limit "
            f"{limit.name!r} goes on to {say_mc(final_mc)}: it will be unproven"
        )
        right = f"let the stage go on: when every core falls to {say_mc(final_mc)}"
        yield ask(("stages", last, "ends"), found, right)
    if stage.chamber and stage.chamber.low_mc > final_mc:
        found = (
            f"limit {limit.name!r} asks for {say_mc(final_mc)}, and stage "
            f"{stage.name!r} is never colder than {say_mc(stage.chamber.low_mc)}"
        )
        yield ask(("limits", i, "option"), found, CHAMBER)


def _too_short(
    i: int, limit: DwellTableLimit, schedule: Schedule, ask: Ask
) -> Iterator[Fault]:
    """A heat that ends when the core is hot, before it was hot for long enough."""
    stages = schedule.during(limit)
    rising = [n for n in stages if schedule.ways[n] is Way.RISES]
    if not rising:
        return
    last = rising[-1]
    following = last + 1 in stages and schedule.ways[last + 1] is not Way.FALLS
    ends_mc = schedule.stages[last].ends.mc
    dwell_ms = needed(limit.table, ends_mc)
    if following or (dwell_ms is not None and dwell_ms <= PASSES_MS):
        return
    asks = (
        "is below every row" if dwell_ms is None else f"asks {say_ms(dwell_ms)} there"
    )
    found = (
        f"stage {schedule.stages[last].name!r} ends as soon as every core is at "
        f"{say_mc(ends_mc)}, and limit {limit.name!r} {asks}"
    )
    right = "end it hotter, or add a stage that holds the heat for so long"
    yield ask(("stages", last, "ends"), found, right)
