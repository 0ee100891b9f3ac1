"""By when a core has to be where a limit asks, and whether it will be: at risk or not.

A clock says so itself.  Heat without a clock of its own has the time until its stages
end: by time, or when the last core is forecast to be where the stage waits for it.

Rule: what is near its deadline is left as it was, or it flaps.

Units: ``_ms`` milliseconds, ``_mc`` thousandths of a degree; 0 for a time that never
comes or is not known.
"""

from collections.abc import Mapping, Sequence

from rules import forecast, stages
from rules.channels import Role
from rules.forecast import MINUTE_MS
from rules.limit import Goal, say_at
from rules.outlook import Course, Foreseen, stage_goal, towards
from rules.stages import Way
from rules.surroundings import Moment, chills
from rules.units import say_mc, say_ms

JUDGED_MS = 5 * MINUTE_MS  # how often a limit hears of its forecast
UNSURE = forecast.ONE // 4  # a rate doubted by more may not frighten anybody


def lost(
    course: Course, goals: Sequence[Goal], until_ms: int
) -> tuple[bool | None, str]:
    """Whether a clock runs out before the goals of one part, and what to say of it.

    ``until_ms`` is when nobody asks any more; 0 where that is not known.  None where
    it is too near to say, or no clock runs: a limit is then as it was.
    """
    (seen,) = towards(course.likeliest, "", goals, until_ms)
    deadline_ms, clock = seen.deadline_ms, goals[0].left_ms is not None
    if not (deadline_ms or clock):
        return None, ""
    if not deadline_ms or (clock and 0 < until_ms <= deadline_ms):
        return False, ""
    if seen.likely_ms and seen.likely_ms <= deadline_ms:
        # It must come well before, or it flaps.
        room_ms = max(JUDGED_MS, (deadline_ms - course.mark_ms) // 20)
        return (False if seen.likely_ms <= deadline_ms - room_ms else None), ""
    (seen,) = towards(course, "", goals, until_ms)
    unsure = course.fit.doubt > UNSURE and course.fit.rate
    if unsure and 0 < seen.earliest_ms <= deadline_ms:
        return None, ""
    return True, words(seen)


def waits(now: Moment) -> bool:
    """Whether the stage waits for cores that may be late."""
    late, way = stages.overdue_ms(now.stage, now.at), now.ways[now.at.number]
    return late is not None and way in (Way.RISES, Way.FALLS)


def stage_lost(
    now: Moment, courses: Mapping[int, Course]
) -> tuple[bool | None, str, str]:
    """Whether the stage will last longer than it should, by which core, and why.

    None where the stage waits for no core, or where it is too near to say of one.
    """
    cores = [i for i, one in enumerate(now.channels) if one.role is Role.CORE]
    answers: list[bool | None] = []
    for i, reached in zip(cores, now.at.reached, strict=True):
        if reached or not waits(now):
            continue
        course = courses.get(i)
        bad, why = lost(course, [stage_goal(now)], 0) if course else (None, "")
        if course and bad:
            return True, course.channel, f"{course.channel} {why}"
        answers.append(bad)
    return (False if answers and None not in answers else None), "", ""


def words(seen: Foreseen) -> str:
    """What has to be when, and when it will be, in one sentence without its subject."""
    has = f"must {asked(seen)} by {say_at(seen.deadline_ms)}"
    rate = f"at this rate {say_at(seen.likely_ms)}"
    will = rate if seen.likely_ms else "at this rate it never is"
    return f"{has}; {will} ({seen.around} at {say_mc(seen.around_mc, seen.mark_mc)})"


def asked(seen: Foreseen) -> str:
    """What has to be: ``be past 54.4 degC for 2 min``, or ``have 6.50-log10``."""
    if seen.asks:
        return f"have {seen.asks}"
    verb = "be past" if seen.rises else "be down to"
    hold = f" for {say_ms(seen.hold_ms)}" if seen.hold_ms else ""
    return f"{verb} {say_mc(seen.mark_mc)}{hold}"


def until_ms(
    now: Moment,
    during: frozenset[int],
    goals: Sequence[Goal],
    courses: Mapping[int, Course],
) -> int:
    """When these stages end, and with them the time for the goals; 0: not known.

    Heat that has no clock of its own has the time until the last of them that heats.
    """
    heat = any(goal.rises and goal.left_ms is None for goal in goals)
    if heat:
        return _heated_until_ms(now, during, courses)
    last = max(during, default=-1)
    end_ms = now.at.since_ms
    for number in range(now.at.number, last + 1):
        stage = now.stages[number]
        if stage.ends.way is not Way.AFTER:
            return 0
        end_ms += stage.ends.ms
    return end_ms


def _heated_until_ms(
    now: Moment, during: frozenset[int], courses: Mapping[int, Course]
) -> int:
    """When the last of these stages that heats is forecast to end; 0: not known.

    By time, or when the last core is likely to be where the first stage that waits for
    them asks; what comes after another such stage nobody knows.
    """
    hot = [i for i in during if not chills(now.stages[i], now.ways[i])]
    end_ms, waited = now.at.since_ms, False
    for number in range(now.at.number, max(hot, default=-1) + 1):
        way, ends = now.ways[number], now.stages[number].ends
        if way is Way.AFTER:
            end_ms += ends.ms
            continue
        if waited or way is not Way.RISES or now.cold:
            return 0
        last_ms, waited = _last_ms(now, number, courses), True
        if not last_ms:
            return 0
        end_ms = max(end_ms, last_ms)
    return end_ms if hot and max(hot) >= now.at.number else 0


def _last_ms(now: Moment, number: int, courses: Mapping[int, Course]) -> int:
    """When the last core is likely to be where the stage asks; 0: not known."""
    mark_mc, reached = now.stages[number].ends.mc, iter(now.at.reached)
    found = [now.mark_ms]
    for i, channel in enumerate(now.channels):
        if channel.role is not Role.CORE:
            continue
        if next(reached) and number == now.at.number:
            continue
        if i not in courses:
            return 0
        course = courses[i].likeliest
        found.append(course.at_ms(course.crossing(mark_mc, rises=True).likely))
    return max(found) if all(found) else 0
