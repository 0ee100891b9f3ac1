"""Where the cores are going: when a limit is met or lost, and a stage ends.

What surrounds a core is chosen by the stage: the chamber or a hot bath while it
heats, a bath, a cooler or a cold chamber while it chills; of several that are measured
the one that explains best what the core did.  It may draw the core at once, or some
minutes later; its surface may be dry or wet.  The likely time is that of a dry surface;
the interval holds every reason that explains the core nearly as well as the best does.

Rule 1: a forecast is made at whole minutes from what was known then, so that the
same readings give the same forecasts, whenever somebody looks.
Rule 2: where nothing measured explains the core there is no forecast.

Units: ``_ms`` milliseconds, ``_mc`` thousandths of a degree; 0 for a time that never
comes or is not known.
"""

from collections.abc import Sequence
from typing import NamedTuple

from rules import forecast, surroundings
from rules.forecast import MINUTE_MS, NEVER, NONE_MC, WINDOW, Around, Crossing, Fit
from rules.limit import Goal
from rules.stages import Way
from rules.surroundings import Moment, chills

BLANK = (NONE_MC,) * (forecast.KEPT + 1)
NEVER_MS = 1 << 62

# No source: a core that has not moved for so long in a stage will not begin to.
STILL_MS = 60 * MINUTE_MS
# No source: how long it may take to carry a load from its chamber to its bath.
MOVED_MS = 15 * MINUTE_MS
DELAYS = (5, 10)  # minutes; from thin links to thick chubs, see _delayed
NEARLY = 6  # quarters of the least scatter: what explains nearly as well


class Explained(NamedTuple):
    """What the core did, by one thing that may have drawn it, and what that will do."""

    fit: Fit
    path: tuple[Around, ...]


class Course(NamedTuple):
    """Where one core is going."""

    mark_ms: int
    channel: str
    accuracy_mc: int
    around: str  # the channel that surrounds it
    around_mc: int  # where that stands now
    likely: Explained
    others: tuple[Explained, ...]  # that explain it as well, or nearly
    rises: bool  # its stages are there to make it hotter

    @property
    def fit(self) -> Fit:
        """The likely fit."""
        return self.likely.fit

    @property
    def likeliest(self) -> "Course":
        """The same by its likely reason alone: where only the likely time is asked."""
        return self._replace(others=())

    def crossing(self, mark_mc: int, *, rises: bool) -> Crossing:
        """When a reading will surely show it at the mark or beyond."""
        sure_mc = mark_mc + (self.accuracy_mc if rises else -self.accuracy_mc)
        if (self.fit.core_mc >= sure_mc) is rises or self.fit.core_mc == sure_mc:
            return Crossing(0, 0, 0)
        found = [
            forecast.crossing(*one, sure_mc) for one in (self.likely, *self.others)
        ]
        return _spanned(found)

    def reaching(self, goal: Goal) -> Crossing:
        """When the core surely comes to a goal, or has had the heat it asks for."""
        if goal.sum is None:
            return self.crossing(goal.to_mc, rises=goal.rises)
        head = (goal.sum, self.accuracy_mc)
        found = [forecast.filled(*one, *head) for one in (self.likely, *self.others)]
        return _spanned(found)

    def at_ms(self, minutes: int) -> int:
        """The time after so many minutes; 0 for never."""
        return 0 if minutes >= NEVER else self.mark_ms + minutes * MINUTE_MS


def _spanned(found: Sequence[Crossing]) -> Crossing:
    """The first is the likely one; the interval holds all."""
    earliest = min(one.earliest for one in found)
    return Crossing(earliest, found[0].likely, max(one.latest for one in found))


class Foreseen(NamedTuple):
    """When one core will be where something asks it to be."""

    limit: str  # "" for the end of a stage
    part: str  # of the limit; the stage's name, where that has yet to begin
    channel: str
    mark_mc: int
    rises: bool
    hold_ms: int  # it is then to be held there
    deadline_ms: int
    earliest_ms: int
    likely_ms: int
    latest_ms: int
    around: str
    around_mc: int
    asks: str  # the heat that it has to have instead, in words; "" for none


def course(now: Moment, i: int) -> Course | None:
    """Where the core on channel ``i`` is going; None where nothing says."""
    channel, since_ms = now.channels[i], _since_ms(now)
    count = min((now.mark_ms - since_ms) // MINUTE_MS, WINDOW) + 1
    core = now.samples[i][-count:]
    numbers = surroundings.candidates(now, core[-1])
    if not numbers or core[-1] == NONE_MC:
        return None
    found = forecast.best(core, [now.samples[n][-count:] for n in numbers])
    if found is None:
        return None
    number, fit = numbers[found[0]], found[1]
    around_mc = surroundings.level(now.samples[number])
    if around_mc == NONE_MC:  # it is not measured any more
        return None
    if not fit.rate and now.mark_ms - since_ms < STILL_MS:
        return None
    if now.cold and fit.around_mc > fit.core_mc and now.mark_ms - since_ms < MOVED_MS:
        return None
    around = (now.channels[number].name, around_mc)
    head = (now.mark_ms, channel.name, channel.accuracy_mc, *around)
    return Course(*head, *_explained(now, core, number, fit), rises=not now.cold)


def _explained(
    now: Moment, core: forecast.Samples, number: int, plain: Fit
) -> tuple[Explained, tuple[Explained, ...]]:
    """The likely reason for what the core did, and others that are as good."""
    levels, role = now.samples[number], now.channels[number].role
    path = surroundings.path(now, levels, role, 0)
    likely = Explained(plain, path)
    found = [likely]
    for drop in surroundings.drops(now, number) if plain.rate else ():
        series, drop_mc = surroundings.lowered(levels, drop), surroundings.level(drop)
        path = surroundings.path(now, levels, role, drop_mc)
        delays = DELAYS if not any(drop) else (0, *DELAYS)
        fits = (_delayed(core, series, delay, path) for delay in delays)
        found += [one for one in fits if one]
        if not any(drop):
            likely = min(found, key=_scatter)
    most_mc = min(map(_scatter, found)) * NEARLY // 4
    return likely, tuple(one for one in found if _scatter(one) <= most_mc)


def _scatter(one: Explained) -> int:
    return one.fit.scatter_mc


def _delayed(
    core: forecast.Samples,
    series: forecast.Samples,
    delay: int,
    path: tuple[Around, ...],
) -> Explained | None:
    """A fit to what surrounded the core so many minutes before.

    Heat is some time on its way to the axis: the coefficient C1 of the cylinder's one
    term is a delay of ln(C1) time constants.
    """
    count = len(core)
    if count <= delay:
        return None
    fit = forecast.fitted(core[delay:], series[-count : len(series) - delay])
    if fit is None or not fit.rate:
        return None
    past = [one for one in series[len(series) - delay :] if one != NONE_MC]
    mean_mc = sum(past) // len(past) if past else fit.around_mc
    on_its_way = (Around(delay, mean_mc, mean_mc, mean_mc),) if delay else ()
    return Explained(fit, (*on_its_way, *path))


def stage_end(now: Moment, course: Course, *, reached: bool) -> list[Foreseen]:
    """When the core will be where the stage asks it to be, if it does and is not."""
    if reached or now.ways[now.at.number] not in (Way.RISES, Way.FALLS):
        return []
    goal = stage_goal(now)
    return [_foreseen(course, "", goal, course.reaching(goal))]


def later_end(now: Moment, course: Course) -> list[Foreseen]:
    """When the core ends the stage after those that end by time, if one does.

    Its part is the stage's name; it does not end before it begins.
    """
    number, begins_ms = now.at.number, now.at.since_ms
    while number < len(now.stages) and now.ways[number] is Way.AFTER:
        begins_ms += now.stages[number].ends.ms
        number += 1
    if number in (now.at.number, len(now.stages)) or now.cold:
        return []
    stage, way = now.stages[number], now.ways[number]
    if way is not Way.RISES or any(
        chills(now.stages[i], now.ways[i]) for i in range(now.at.number, number + 1)
    ):
        return []
    goal = Goal(stage.name, True, stage.ends.mc)
    if stage.at_most_ms:
        goal = goal._replace(left_ms=stage.at_most_ms, runs_ms=begins_ms)
    seen = _foreseen(course, "", goal, course.reaching(goal))
    earliest_ms, likely_ms, latest_ms = (
        at_ms and max(at_ms, begins_ms)
        for at_ms in (seen.earliest_ms, seen.likely_ms, seen.latest_ms)
    )
    return [
        seen._replace(earliest_ms=earliest_ms, likely_ms=likely_ms, latest_ms=latest_ms)
    ]


def stage_goal(now: Moment) -> Goal:
    """Where a stage that a core ends waits for it, and how long it should at most."""
    stage, way = now.stage, now.ways[now.at.number]
    goal = Goal("", way is Way.RISES, stage.ends.mc)
    if not stage.at_most_ms:
        return goal
    return goal._replace(left_ms=stage.at_most_ms, runs_ms=now.at.since_ms)


def towards(
    course: Course, name: str, goals: Sequence[Goal], until_ms: int = 0
) -> list[Foreseen]:
    """When every part of a limit is reached, by whichever of its goals comes first.

    A goal without a clock has to be reached before its stages end by time alone, which
    is at ``until_ms``; 0 where that is not known.
    """
    first: dict[str, tuple[tuple[int, int], Goal, Crossing]] = {}
    for goal in goals:
        crossing = course.reaching(goal)
        ends_ms = [
            begins_ms + goal.hold_ms if begins_ms else NEVER_MS
            for begins_ms in (goal.held_ms or course.at_ms(one) for one in crossing)
        ]
        # Of what is likely never reached, by what may be first; else the nearest.
        found = (ends_ms[1], ends_ms[0]), goal, crossing
        if goal.part not in first or found[0] < first[goal.part][0]:
            first[goal.part] = found
    return [_foreseen(course, name, *one[1:], until_ms) for one in first.values()]


def _foreseen(
    course: Course, name: str, goal: Goal, crossing: Crossing, until_ms: int = 0
) -> Foreseen:
    earliest_ms, likely_ms, latest_ms = (
        begins_ms + goal.hold_ms if begins_ms else 0
        for begins_ms in (goal.held_ms or course.at_ms(one) for one in crossing)
    )
    return Foreseen(
        limit=name,
        part=goal.part,
        channel=course.channel,
        mark_mc=goal.to_mc,
        rises=goal.rises,
        hold_ms=goal.hold_ms,
        deadline_ms=until_ms if goal.left_ms is None else _deadline_ms(course, goal),
        earliest_ms=earliest_ms,
        likely_ms=likely_ms,
        latest_ms=latest_ms,
        around=course.around,
        around_mc=course.around_mc,
        asks=goal.asks,
    )


def _deadline_ms(course: Course, goal: Goal) -> int:
    if goal.left_ms is None:  # no clock runs
        return 0
    if goal.runs_ms:
        return goal.runs_ms + goal.left_ms
    minutes = course.likeliest.crossing(goal.from_mc, rises=goal.rises).likely
    begins_ms = course.at_ms(minutes)
    return begins_ms + goal.left_ms if begins_ms else 0


def _since_ms(now: Moment) -> int:
    """Since when the stages have all heated, or all chilled."""
    since_ms = now.at.since_ms
    for number in range(now.at.number - 1, -1, -1):
        if chills(now.stages[number], now.ways[number]) is not now.cold:
            break
        since_ms = now.at.passed[number].from_ms
    return since_ms
