"""Where the cores are going: when a limit is met or lost, and a stage ends.

What surrounds a core is chosen by the stage: the chamber or a hot bath while it
heats, a bath, a cooler or a cold chamber while it chills; of several that are measured
the one that explains best what the core did.

Ahead, the surroundings are taken to stay as they are, and where the stage ends by time
to become what the schedule has written for the stages after it.  A chamber that is not
in the band of its own stage is not believed to come into the next one.

Rule 1: a forecast is made at whole minutes from what was known then, so that the
same readings give the same forecasts, whenever somebody looks.
Rule 2: where nothing measured explains the core there is no forecast.

Units: ``_ms`` milliseconds, ``_mc`` thousandths of a degree; 0 for a time that never
comes or is not known.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from rules import forecast
from rules.channels import Channel, Role
from rules.cooling import CHILLING
from rules.forecast import MINUTE_MS, NEVER, NONE_MC, WINDOW, Around, Crossing, Fit
from rules.limit import Goal, say_at
from rules.stages import At, Stage, Way
from rules.units import say_mc

BLANK = (NONE_MC,) * (WINDOW + 1)
JUDGED_MS = 5 * MINUTE_MS  # how often a limit hears of its forecast

# No source: how long a chamber may take into its band, beyond what is written.
RAMP_MS = 15 * MINUTE_MS
# No source: a core that has not moved for so long in a stage will not begin to.
STILL_MS = 60 * MINUTE_MS
UNSURE = forecast.ONE // 4  # a rate doubted by more may not frighten anybody
BACK_SAMPLES, BACK_MC = 4, 1_500  # no source: in 3 min by 1.5 K is on its way back
NEAR_MC = 1_000  # a chamber this near to its band is in it, for a forecast

HEATED_BY = (Role.CHAMBER, Role.BATH)
CHILLED_BY = (Role.BATH, Role.COOLER, Role.CHAMBER)


class Moment(NamedTuple):
    """What a forecast is made from."""

    mark_ms: int
    at: At
    stages: Sequence[Stage]
    ways: Sequence[Way | None]
    channels: Sequence[Channel]
    samples: Sequence[forecast.Samples]  # of each channel


class Course(NamedTuple):
    """Where one core is going."""

    mark_ms: int
    channel: str
    accuracy_mc: int
    around: str  # the channel that surrounds it
    fit: Fit
    path: tuple[Around, ...]

    def crossing(self, mark_mc: int, *, rises: bool) -> Crossing:
        """When a reading will surely show it at the mark or beyond."""
        sure_mc = mark_mc + (self.accuracy_mc if rises else -self.accuracy_mc)
        if (self.fit.core_mc >= sure_mc) is rises or self.fit.core_mc == sure_mc:
            return Crossing(0, 0, 0)
        return forecast.crossing(self.fit, self.path, sure_mc)

    def at_ms(self, minutes: int) -> int:
        """The time after so many minutes; 0 for never."""
        return 0 if minutes >= NEVER else self.mark_ms + minutes * MINUTE_MS


class Foreseen(NamedTuple):
    """When one core will be where something asks it to be."""

    limit: str  # "" for the end of the stage
    part: str
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


def chills(stage: Stage, way: Way | None) -> bool:
    """Whether the stage is there to make the cores colder."""
    return way is Way.FALLS or stage.name in CHILLING


def course(now: Moment, i: int) -> Course | None:
    """Where the core on channel ``i`` is going; None where nothing says."""
    at, channel = now.at, now.channels[i]
    cold = chills(now.stages[at.number], now.ways[at.number])
    since_ms = _since_ms(now, cold)
    count = min((now.mark_ms - since_ms) // MINUTE_MS, WINDOW) + 1
    roles = CHILLED_BY if cold else HEATED_BY
    numbers = [
        n for role in roles for n, one in enumerate(now.channels) if one.role is role
    ]
    core = now.samples[i][-count:]
    if not numbers or core[-1] == NONE_MC:
        return None
    found = forecast.best(core, [now.samples[n][-count:] for n in numbers])
    if found is None:
        return None
    number, fit = found
    if not fit.rate and now.mark_ms - since_ms < STILL_MS:
        return None
    around = now.channels[numbers[number]]
    levels = now.samples[numbers[number]][-count:]
    path = tuple(_path(now, fit.around_mc, levels, around.role, cold=cold))
    return Course(
        now.mark_ms, channel.name, channel.accuracy_mc, around.name, fit, path
    )


def stage_end(now: Moment, course: Course, *, reached: bool) -> list[Foreseen]:
    """When the core will be where the stage asks it to be, if it does and is not."""
    stage, way = now.stages[now.at.number], now.ways[now.at.number]
    if reached or way not in (Way.RISES, Way.FALLS):
        return []
    goal = Goal("", way is Way.RISES, stage.ends.mc)
    return [_foreseen(course, "", goal)]


def towards(course: Course, name: str, goals: Sequence[Goal]) -> list[Foreseen]:
    """When every part of a limit is reached, by whichever of its goals comes first."""
    first: dict[str, tuple[int, Goal]] = {}
    for goal in goals:
        minutes = course.crossing(goal.to_mc, rises=goal.rises).likely
        begins_ms = goal.held_ms or course.at_ms(minutes) or NEVER * MINUTE_MS
        found = begins_ms + goal.hold_ms, goal
        if goal.part not in first or found[0] < first[goal.part][0]:
            first[goal.part] = found
    return [_foreseen(course, name, goal) for _, goal in first.values()]


def _foreseen(course: Course, name: str, goal: Goal) -> Foreseen:
    found = course.crossing(goal.to_mc, rises=goal.rises)
    earliest_ms, likely_ms, latest_ms = (
        begins_ms + goal.hold_ms if begins_ms else 0
        for begins_ms in (goal.held_ms or course.at_ms(minutes) for minutes in found)
    )
    return Foreseen(
        limit=name,
        part=goal.part,
        channel=course.channel,
        mark_mc=goal.to_mc,
        rises=goal.rises,
        hold_ms=goal.hold_ms,
        deadline_ms=_deadline_ms(course, goal),
        earliest_ms=earliest_ms,
        likely_ms=likely_ms,
        latest_ms=latest_ms,
        around=course.around,
        around_mc=course.fit.around_mc,
    )


def lost(course: Course, goal: Goal, until_ms: int) -> tuple[bool | None, str]:
    """Whether a clock runs out before its goal, and what to say of it.

    ``until_ms`` is when nobody asks any more; 0 where that is not known.  None where
    it is too near to say: a limit is then as it was.
    """
    seen = _foreseen(course, "", goal)
    deadline_ms = seen.deadline_ms
    if not deadline_ms or 0 < until_ms <= deadline_ms:
        return False, ""
    if seen.likely_ms and seen.likely_ms <= deadline_ms:
        # It must come well before, or it flaps.
        room_ms = max(JUDGED_MS, (deadline_ms - course.mark_ms) // 20)
        return (False if seen.likely_ms <= deadline_ms - room_ms else None), ""
    unsure = course.fit.doubt > UNSURE and course.fit.rate
    if unsure and 0 < seen.earliest_ms <= deadline_ms:
        return None, ""
    return True, words(seen)


def words(seen: Foreseen) -> str:
    """What has to be when, and when it will be, in one sentence without its subject."""
    verb = "be past" if seen.rises else "be down to"
    has = f"must {verb} {say_mc(seen.mark_mc)} by {say_at(seen.deadline_ms)}"
    rate = f"at this rate {say_at(seen.likely_ms)}"
    will = rate if seen.likely_ms else "at this rate it never is"
    return f"{has}; {will} ({seen.around} at {say_mc(seen.around_mc)})"


def until_ms(now: Moment, during: frozenset[int]) -> int:
    """When the last of these stages ends by time alone; 0 where that is not known."""
    last = max(during, default=-1)
    end_ms = now.at.since_ms
    for number in range(now.at.number, last + 1):
        stage = now.stages[number]
        if stage.ends.way is not Way.AFTER:
            return 0
        end_ms += stage.ends.ms
    return end_ms


def _deadline_ms(course: Course, goal: Goal) -> int:
    if goal.left_ms is None:
        return 0
    if goal.runs_ms:
        return goal.runs_ms + goal.left_ms
    minutes = course.crossing(goal.from_mc, rises=goal.rises).likely
    begins_ms = course.at_ms(minutes)
    return begins_ms + goal.left_ms if begins_ms else 0


def _since_ms(now: Moment, cold: bool) -> int:
    """Since when the stages have all heated, or all chilled."""
    since_ms = now.at.since_ms
    for number in range(now.at.number - 1, -1, -1):
        if chills(now.stages[number], now.ways[number]) is not cold:
            break
        since_ms = now.at.passed[number].from_ms
    return since_ms


def _path(
    now: Moment, level_mc: int, levels: forecast.Samples, role: Role, *, cold: bool
) -> Iterator[Around]:
    """What will surround the core, as far as the schedule says."""
    stage, since_ms = now.stages[now.at.number], now.at.since_ms
    band = stage.chamber if role is Role.CHAMBER else None
    was = now.stages[now.at.number - 1].chamber if now.at.number else None
    settles = now.mark_ms < since_ms + stage.settle_ms + RAMP_MS
    settles = settles and (was is None or level_mc >= was.low_mc - NEAR_MC)
    settles = settles or _comes_back(levels)
    middle = sorted(one for one in levels if one != NONE_MC)
    quarter = len(middle) // 4
    low, high = middle[quarter], middle[-quarter - 1]
    here = (min(low, level_mc), level_mc, max(high, level_mc))
    if band and settles and not band.low_mc <= level_mc <= band.high_mc:
        here = (band.low_mc, (band.low_mc + band.high_mc) // 2, band.high_mc)
    elif cold or (band and not _in_band(level_mc, band)):
        yield Around(NEVER, *here)
        return
    number, ends_ms = now.at.number, since_ms + stage.ends.ms
    lasts = max(0, (ends_ms - now.mark_ms) // MINUTE_MS)
    while stage.ends.way is Way.AFTER and number + 1 < len(now.stages):
        number += 1
        following = now.stages[number]
        if chills(following, now.ways[number]):
            break
        yield Around(lasts, *here)
        stage, lasts = following, following.ends.ms // MINUTE_MS
        if stage.chamber and role is Role.CHAMBER:
            low, high = stage.chamber
            here = (low, (low + high) // 2, high)
    yield Around(NEVER, *here)


def _comes_back(levels: forecast.Samples) -> bool:
    """Whether the chamber grows hotter: a door was closed, or a fire lit again."""
    recent = levels[-BACK_SAMPLES:]
    return NONE_MC not in recent and recent[-1] - recent[0] >= BACK_MC


def _in_band(level_mc: int, band: tuple[int, int]) -> bool:
    return band[0] - NEAR_MC <= level_mc <= band[1] + NEAR_MC
