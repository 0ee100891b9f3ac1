"""The engine: facts of one cook in, events out.

It names no kind of limit.  A ``Plan`` is what will judge the cook: the schedule and
the channels.  A ``State`` is all that is remembered between two facts; the same
facts give the same set of events, whatever ticks stand between them.

Facts come in the order of their times.  A reading is shown to the limits of its
channel; a tick lets time pass, so that silence and holes are noticed; an entry is
what a person did.

Rule 1: only a ``GOOD`` reading is evidence.
Rule 2: an event carries the time at which it became true, which may lie before
the time of the fact that showed it.
Rule 3: a reading belongs to the stage that it ends.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from rules import (
    beginning,
    deadlines,
    evidence,
    forecast,
    leaving,
    lines,
    moving,
    outlook,
    pairs,
    quiet,
    signs,
    spot_sets,
    stages,
)
from rules.channels import Role
from rules.evidence import Piece, Sight, Span
from rules.facts import (
    WAITING,
    Entry,
    EntryKind,
    Event,
    Fact,
    Finding,
    Quality,
    Reading,
    Subject,
    Tick,
    Verdict,
)
from rules.forecast import MINUTE_MS
from rules.leaving import Left
from rules.limit import Limit
from rules.lines import Line, Marks, Turning
from rules.outlook import Course, Foreseen
from rules.pairs import Pair, Paired
from rules.plan import Plan as Plan
from rules.plan import events as limit_events
from rules.plan import lacking as lacking
from rules.plan import plan as plan
from rules.signs import Seen
from rules.spot_sets import Doubted
from rules.stages import At, Lasts, Passed
from rules.surroundings import Moment
from rules.units import say_ms


class State(NamedTuple):
    """All that is remembered of a cook between two facts."""

    at_ms: int
    at: At
    sights: tuple[Sight, ...]
    lines: tuple[tuple[Line, ...], ...]  # of each channel, one for each of its limits
    samples: tuple[tuple[int, ...], ...]  # of each channel, one a minute
    signs: tuple[Seen, ...]  # of each channel
    pairs: tuple[Paired, ...]
    left: tuple[Left, ...] = ()  # what people have left out
    doubted: Doubted = spot_sets.NONE


def opened(plan: Plan, at_ms: int) -> State:
    """The state of a cook that begins now."""
    cores = sum(core >= 0 for core in plan.cores)
    at = stages.opened(plan.stages, cores, at_ms)
    rows = tuple((lines.NEW,) * len(judged) for judged in plan.judged)
    sights = beginning.sights(plan, at_ms)
    samples = (outlook.BLANK,) * len(plan.channels)
    shown = (Seen(),) * len(plan.channels)
    paired = tuple(pairs.opened(pair, at_ms) for pair in plan.pairs)
    state = State(at_ms, at, sights, rows, samples, shown, paired)
    return _turn_all(plan, state, -1, at_ms, [])


def opening_event(plan: Plan, at_ms: int) -> Event:
    """The event with which every cook begins."""
    title, first = plan.schedule.title, plan.stages[0].name
    why = f"{title}, revision {plan.schedule.revision}"
    return Event(at_ms, Subject.STAGE, first, "", WAITING, "begun", why)


def step(plan: Plan, state: State, fact: Fact) -> tuple[State, list[Event]]:
    """Take one fact; answer the new state and what became true.

    Raises:
        ValueError: The fact is older than the one before it.  Putting facts in
            order is the caller's work.
    """
    if fact.at_ms < state.at_ms:
        raise ValueError(f"{fact} is older than {state.at_ms} ms")
    events: list[Event] = []
    state = _minutes_passed(plan, state, fact.at_ms, events)
    state = _time_passed(plan, state, fact.at_ms, events)
    if isinstance(fact, Reading):
        i = plan.index.get(fact.channel)
        if i is not None and fact.quality is Quality.GOOD:
            state = _heard(plan, state, i, fact, events)
    elif isinstance(fact, Tick):
        for i in range(len(plan.channels)):
            state = _silent(plan, state, i, fact.at_ms, events)
    else:
        state = _entered(plan, state, fact, events)
    events = spot_sets.told(plan, state.doubted, events)
    return state._replace(at_ms=fact.at_ms), events


def marks(plan: Plan, state: State, i: int) -> Marks | None:
    """What can tell two readings of a channel apart; None where time alone may."""
    if any(
        i in pair.feeds and not paired.line.over
        for pair, paired in zip(plan.pairs, state.pairs, strict=True)
    ):
        return None
    found: set[int] = set()
    each = False
    for number, line in zip(plan.judged[i], state.lines[i], strict=True):
        if line.turnings:
            return None
        values = lines.marks(plan.limits[number], line)
        each = each or values is None
        found.update(values or ())
    core, at = plan.cores[i], state.at
    if core >= 0 and not at.reached[core]:
        found.add(plan.stages[at.number].ends.mc)
    return Marks(sorted(found), each)


def told(
    plan: Plan, state: State, i: int, each: Sequence[Span], whole: Sequence[Span]
) -> tuple[State, list[Event]]:
    """Tell a channel's limits readings that lie between the same marks.

    ``each`` has the spans of every reading, for the limits that ask for them;
    ``whole`` is the one from the first to the last, and the last reading.
    """
    row, events = [], []
    for number, line in zip(plan.judged[i], state.lines[i], strict=True):
        limit = plan.limits[number]
        counts = lines.marks(limit, line) is None
        line, moves = lines.told(limit, line, each if counts else whole)
        events += limit_events(plan, i, number, moves)
        row.append(line)
    _, at_ms, low_mc, high_mc = whole[-1]
    sight = Sight(True, at_ms, low_mc, high_mc, at_ms, quiet=False)
    state = _with(state, i, sight, tuple(row))
    state = _put_together(plan, state, i, [], events)
    return state, spot_sets.told(plan, state.doubted, events)


def mark_ms(state: State) -> int:
    """The next whole minute at which the channels are sampled, once it is past."""
    return -(-state.at_ms // MINUTE_MS) * MINUTE_MS


def courses(plan: Plan, state: State) -> dict[int, Course]:
    """Where every core is going, by the number of its channel, as far as is known."""
    return {} if state.at.finished_ms else _courses(_last_moment(plan, state))


def foreseen(plan: Plan, state: State) -> list[Foreseen]:
    """When every stage, limit and part that waits for a core will have what it asks.

    What has it already, for now, is not among them.
    """
    now, found = _last_moment(plan, state), []
    going = courses(plan, state)
    for i, course in going.items():
        reached = state.at.reached[plan.cores[i]]
        found += outlook.stage_end(now, course, reached=reached)
        found += outlook.later_end(now, course)
        for number, line in zip(plan.judged[i], state.lines[i], strict=True):
            limit, during = plan.limits[number], plan.during[number]
            goals = lines.goals(limit, line)
            until_ms = deadlines.until_ms(now, during, goals, going)
            found += outlook.towards(course, limit.name, goals, until_ms)
    return [one for one in found if not 0 < one.likely_ms <= now.mark_ms]


def finished_ms(state: State) -> int:
    """When the cook was finished; 0 while it goes on."""
    return state.at.finished_ms


def settled(state: State) -> bool:
    """Whether the cook is finished and no fact can change a verdict any more."""
    return bool(state.at.finished_ms) and all(
        not line.turnings
        for row in (*state.lines, [one.line for one in state.pairs])
        for line in row
    )


def passed(state: State) -> tuple[Passed, ...]:
    """The stages entered so far."""
    return state.at.passed


def findings(plan: Plan, state: State) -> list[Finding]:
    """What every channel shows of every limit, part by part, in schedule order."""
    found = []
    for number, limit in enumerate(plan.limits):
        for i, line in _lines(plan, state, number):
            channel = plan.channels[i]
            beside = (c.name for c in plan.channels if c.role is limit.beside)
            of = {channel.name, *beside}
            shown = leaving.told(state.left, of, line, lines.findings(limit, line))
            head = (state.doubted, number, limit, channel)
            found += [spot_sets.finding(*head, one) for one in shown]
    return found


def _before(plan: Plan, i: int, row: Sequence[Line]) -> Iterator[tuple[Limit, Line]]:
    """The limits of a channel that have come as far, each with its line."""
    for number, line in zip(plan.judged[i], row, strict=False):
        yield plan.limits[number], line


def _lines(plan: Plan, state: State, number: int) -> Iterator[tuple[int, Line]]:
    """What is remembered of one limit, by the number of the channel."""
    for i, judged in enumerate(plan.judged):
        if number in judged:
            yield i, state.lines[i][judged.index(number)]
    for pair, paired in zip(plan.pairs, state.pairs, strict=True):
        if pair.number == number:
            yield pair.feeds[0], paired.line


def _minutes_passed(plan: Plan, state: State, to_ms: int, events: list[Event]) -> State:
    """Sample the channels at every whole minute before ``to_ms``, and look ahead."""
    at_ms = mark_ms(state)
    while at_ms < to_ms and not state.at.finished_ms:
        state = _time_passed(plan, state, at_ms, events)
        samples = tuple(
            forecast.sampled(one, sight, at_ms, channel.joined_ms)
            for one, sight, channel in zip(
                state.samples, state.sights, plan.channels, strict=True
            )
        )
        state = state._replace(samples=samples)
        if not any(map(forecast.any_at, samples)):  # nor will there be until then
            break
        state = _looked_around(plan, state, at_ms, events)
        if at_ms % deadlines.JUDGED_MS == 0 and not state.at.finished_ms:
            state = _looked_ahead(plan, state, at_ms, events)
        at_ms += MINUTE_MS
    return state


def _looked_around(plan: Plan, state: State, at_ms: int, events: list[Event]) -> State:
    """Say which channels begin to show an early sign, and which no longer do."""
    if state.at.finished_ms:
        return state
    now, found = _moment(plan, state, at_ms), []
    for number, seen in enumerate(state.signs):
        after, why = signs.look(now, number, seen)
        if why:
            name = plan.channels[number].name
            events.append(signs.told(name, seen, after, why))
        found.append(after)
    return state._replace(signs=tuple(found))


def _looked_ahead(plan: Plan, state: State, at_ms: int, events: list[Event]) -> State:
    """Tell the stage and the limits on every core what is forecast of them."""
    now = _moment(plan, state, at_ms)
    asked = {
        i: [
            (place, number, goals)
            for place, number in enumerate(plan.judged[i])
            for goals in lines.parts(plan.limits[number], state.lines[i][place])
        ]
        for i, core in enumerate(plan.cores)
        if core >= 0
    }
    waits = deadlines.waits(now)
    courses = _courses(now) if waits or any(asked.values()) else {}
    late, channel, why = deadlines.stage_lost(now, courses)
    if late is not None:
        at, new = stages.foreseen(now.stage, state.at, at_ms, channel, why)
        events += new
        state = state._replace(at=at)
    for i, course in courses.items():
        row = list(state.lines[i])
        for place, number, goals in asked[i]:
            until_ms = deadlines.until_ms(now, plan.during[number], goals, courses)
            bad, why = deadlines.lost(course, goals, until_ms)
            if bad is not None:
                told = (plan.limits[number], row[place], at_ms, goals[0].part, why)
                row[place], moves = lines.foreseen(*told)
                events += limit_events(plan, i, number, moves)
        rows = (*state.lines[:i], tuple(row), *state.lines[i + 1 :])
        state = state._replace(lines=rows)
    return state


def _courses(now: Moment) -> dict[int, Course]:
    cores = [i for i, one in enumerate(now.channels) if one.role is Role.CORE]
    found = {i: outlook.course(now, i) for i in cores}
    return {i: course for i, course in found.items() if course}


def _last_moment(plan: Plan, state: State) -> Moment:
    return _moment(plan, state, mark_ms(state) - MINUTE_MS)


def _moment(plan: Plan, state: State, at_ms: int) -> Moment:
    head = (at_ms, state.at, plan.stages, plan.ways, plan.channels)
    return Moment(*head, state.samples)


def _time_passed(plan: Plan, state: State, to_ms: int, events: list[Event]) -> State:
    """Let the stages that end by time end, and notice those that last too long."""
    while not state.at.finished_ms:
        stage = plan.stages[state.at.number]
        due, late = stages.due_ms(stage, state.at), stages.overdue_ms(stage, state.at)
        if late is not None and late < to_ms and (due is None or late < due):
            why = f"has lasted for {say_ms(stage.at_most_ms)}, the longest it should"
            head = (late, Subject.STAGE, stage.name, "", str(state.at.lasts))
            events.append(Event(*head, str(Lasts.OVERDUE), why))
            state = state._replace(at=state.at._replace(lasts=Lasts.OVERDUE))
        elif due is not None and due <= to_ms:
            state = _move_on(plan, state, due, "", str(stage.ends), events)
        else:
            break
    return state


def _heard(
    plan: Plan, state: State, i: int, reading: Reading, events: list[Event]
) -> State:
    channel, sight = plan.channels[i], state.sights[i]
    if reading.at_ms < sight.settles_ms:
        return state
    if sight.cold_first and beginning.hot(plan, reading):
        sight = beginning.heard(plan, i, sight, reading, state.at.finished_ms, events)
        return _with(state, i, sight, state.lines[i])
    if not state.at.finished_ms:
        events += quiet.heard(channel, sight, reading.at_ms)
    elif quiet.fell(channel, sight, state.at.finished_ms, reading.at_ms):
        events.append(quiet.event(channel, sight))
    after, pieces = evidence.heard(channel, sight, reading)
    state = _shown(plan, state, i, sight, after, pieces, events)
    if plan.cores[i] >= 0 and not state.at.finished_ms:
        return _core_heard(plan, state, i, after, events)
    return state


def _silent(plan: Plan, state: State, i: int, at_ms: int, events: list[Event]) -> State:
    channel, sight = plan.channels[i], state.sights[i]
    if quiet.fell(channel, sight, state.at.finished_ms, at_ms):
        events.append(quiet.event(channel, sight))
        sight = sight._replace(quiet=True)
    after, pieces = evidence.passed(channel, sight, at_ms)
    if after is state.sights[i]:
        return state
    return _shown(plan, state, i, sight, after, pieces, events)


def _entered(plan: Plan, state: State, entry: Entry, events: list[Event]) -> State:
    if state.at.finished_ms:
        return state
    state = state._replace(left=leaving.written(state.left, entry))
    if entry.kind is EntryKind.NEXT_STAGE:
        # Pressed twice, or too late: it names the stage that it was to end.
        if entry.about not in ("", plan.stages[state.at.number].name):
            return state
        return _move_on(plan, state, entry.at_ms, "", f"by {entry.who}", events)
    if entry.kind is EntryKind.END:
        before, at_ms = state.at, entry.at_ms
        state = state._replace(at=stages.ended(plan.stages, before, at_ms))
        return _ended(plan, state, before, at_ms, "", f"by {entry.who}", events)
    if entry.kind in (EntryKind.SPOT_CHECK, EntryKind.LIFTED):
        state = _taken(plan, state, entry, events)
    if entry.kind is EntryKind.NOTE:
        found = pairs.written(plan.pairs, plan.limits, state.pairs, entry)
        return state._replace(pairs=found)
    i = plan.index.get(entry.about, -1)
    if entry.kind is EntryKind.MOVED and i >= 0:
        return _moved(plan, state, i, entry, events)
    return state


def _taken(plan: Plan, state: State, entry: Entry, events: list[Event]) -> State:
    """Doubt what a set by hand contradicts, or end that doubt: ``rules.spot_sets``."""
    before, shown = state.doubted, findings(plan, state)
    head = (plan, state.at, before, state.lines, entry)
    doubted, rows, at = spot_sets.after(*head)
    state = state._replace(doubted=doubted, lines=rows, at=at)
    told = (before, doubted, shown, findings(plan, state), entry)
    events += spot_sets.events(plan, *told)
    if before.stage == at.number != doubted.stage and all(at.reached):
        why = f"{plan.stages[at.number].ends}; borne out by {entry.who}"
        return _move_on(plan, state, entry.at_ms, "", why, events)
    return state


def _moved(
    plan: Plan, state: State, i: int, entry: Entry, events: list[Event]
) -> State:
    """Begin anew with a probe that is in another piece: see ``rules.moving``."""
    at_ms, sight, core = entry.at_ms, state.sights[i], plan.cores[i]
    after, pieces, told = moving.seen(plan.channels[i], sight, entry)
    events += told
    state = _shown(plan, state, i, sight, after, pieces, events)
    row = []
    for number, line in zip(plan.judged[i], state.lines[i], strict=True):
        head = (plan.limits[number], plan.facts, line, at_ms)
        line, moves = moving.line(*head, state.at.heat_ended_ms)
        events += limit_events(plan, i, number, moves)
        row.append(line)
    state = _with(state, i, after, tuple(row))
    samples = (*state.samples[:i], outlook.BLANK, *state.samples[i + 1 :])
    return state._replace(samples=samples, at=stages.unreached(state.at, core))


def _core_heard(
    plan: Plan, state: State, i: int, sight: Sight, events: list[Event]
) -> State:
    at, core = state.at, plan.cores[i]
    if at.reached[core]:
        return state
    stage, way = plan.stages[at.number], plan.ways[at.number]
    if not stages.core_reached(way, stage, sight.low_mc, sight.high_mc):
        return state
    reached = (*at.reached[:core], True, *at.reached[core + 1 :])
    state = state._replace(at=at._replace(reached=reached))
    if not all(reached) or state.doubted.stage == at.number:
        return state
    name = plan.channels[i].name
    why = f"{stage.ends}; {name} was the last"
    return _move_on(plan, state, sight.at_ms, name, why, events)


def _move_on(
    plan: Plan, state: State, at_ms: int, channel: str, why: str, events: list[Event]
) -> State:
    before = state.at
    after = stages.moved_on(plan.stages, plan.ways, before, at_ms)
    state = state._replace(at=after)
    return _ended(plan, state, before, at_ms, channel, why, events)


def _ended(
    plan: Plan,
    state: State,
    before: At,
    at_ms: int,
    channel: str,
    why: str,
    events: list[Event],
) -> State:
    """Say which stage ended and which began, and turn the limits."""
    was, name = str(before.lasts), plan.stages[before.number].name
    events.append(Event(at_ms, Subject.STAGE, name, channel, was, "ended", why))
    if state.at.finished_ms:
        why = "its last stage is over"
        title = plan.schedule.title
        events.append(Event(at_ms, Subject.COOK, title, "", "begun", "finished", why))
        none, why = Seen(signs.NONE, at_ms), "is no longer followed"
        for one, seen in zip(plan.channels, state.signs, strict=True):
            if seen.sign:
                events.append(signs.told(one.name, seen, none, why))
        state = state._replace(signs=(none,) * len(state.signs))
    else:
        name = plan.stages[state.at.number].name
        why = f"{plan.stages[state.at.number].ends}"
        events.append(Event(at_ms, Subject.STAGE, name, "", WAITING, "begun", why))
    return _turn_all(plan, state, before.number, at_ms, events)


def _turn_all(
    plan: Plan, state: State, before: int, at_ms: int, events: list[Event]
) -> State:
    """Tell every limit of every channel that the stage turned over."""
    turns = [lines.turn(during, before, state.at) for during in plan.during]
    rows = []
    for i, row in enumerate(state.lines):
        after: list[Line] = []
        for number, line in zip(plan.judged[i], row, strict=True):
            turn = turns[number]
            if turn is not None and not line.over:
                turning = Turning(at_ms, turn, state.at.heat_ended_ms)
                line = line._replace(turnings=(*line.turnings, turning))
            limit = plan.limits[number]
            line = lines.following(limit, line, _before(plan, i, after))
            line, moves = lines.turned(limit, plan.facts, line, state.sights[i])
            events += limit_events(plan, i, number, moves)
            after.append(line)
        rows.append(tuple(after))
    state = state._replace(lines=tuple(rows))
    found = []
    for pair, paired in zip(plan.pairs, state.pairs, strict=True):
        line, turn = paired.line, turns[pair.number]
        if turn is not None and not line.over and not pairs.over(line.turnings):
            turning = Turning(at_ms, turn, state.at.heat_ended_ms)
            line = line._replace(turnings=(*line.turnings, turning))
        limit = plan.limits[pair.number]
        paired = paired._replace(line=line)
        paired, moves = pairs.turned(limit, plan.facts, paired)
        events += limit_events(plan, pair.feeds[0], pair.number, moves)
        found.append(paired)
    return state._replace(pairs=tuple(found))


def _shown(
    plan: Plan,
    state: State,
    i: int,
    sight: Sight,
    after: Sight,
    pieces: list[Piece],
    events: list[Event],
) -> State:
    """Show pieces of one channel's evidence to each of its limits."""
    row: list[Line] = []
    for number, line in zip(plan.judged[i], state.lines[i], strict=True):
        if line.turnings:
            line = lines.following(plan.limits[number], line, _before(plan, i, row))
        watches = line.state is None and plan.limits[number].watched_mc is not None
        if line.in_force or line.turnings or watches:
            for piece in pieces:
                line, moves = lines.shown(
                    plan.limits[number], plan.facts, line, sight, piece
                )
                if moves:
                    events += limit_events(plan, i, number, moves)
        row.append(line)
    state = _with(state, i, after, tuple(row))
    return _put_together(plan, state, i, pieces, events)


def _put_together(
    plan: Plan, state: State, i: int, pieces: Sequence[Piece], events: list[Event]
) -> State:
    """Show what a channel adds to each limit that is judged on several at once."""
    if not plan.pairs:
        return state
    found = []
    for pair, paired in zip(plan.pairs, state.pairs, strict=True):
        limit = plan.limits[pair.number]
        paired = pairs.heard(pair, paired, i, pieces)
        waits = i in pair.waits and not paired.line.over
        if waits and (may_ms := _may_end_ms(plan, state, pair)):
            paired = pairs.may_end(limit, paired, may_ms)
        end_ms = _ended_ms(plan, state, pair) if waits else None
        if end_ms is not None:
            paired = pairs.ending(paired, end_ms, state.at.heat_ended_ms)
        to_ms = min(state.sights[n].front_ms for n in (*pair.feeds, *pair.waits))
        paired, moves = pairs.passed(limit, plan.facts, paired, to_ms)
        events += limit_events(plan, pair.feeds[0], pair.number, moves)
        found.append(paired)
    return state._replace(pairs=tuple(found))


def _ended_ms(plan: Plan, state: State, pair: Pair) -> int | None:
    """When the limit that a pair ends with was met on the last of its channels."""
    shown = [
        one
        for _, line in _lines(plan, state, pair.ends)
        for one in lines.findings(plan.limits[pair.ends], line)
    ]
    if any(one.verdict is not Verdict.MET for one in shown):
        return None
    return max((one.since_ms for one in shown), default=None)


def _may_end_ms(plan: Plan, state: State, pair: Pair) -> int:
    """When that limit may have been met on the last of them, at the earliest."""
    limit = plan.limits[pair.ends]
    found = [
        limit.may_be_met_ms(line.state) if line.state is not None else 0
        for _, line in _lines(plan, state, pair.ends)
    ]
    return max(found, default=0) if all(found) else 0


def _with(state: State, i: int, sight: Sight, row: tuple[Line, ...]) -> State:
    return state._replace(
        sights=(*state.sights[:i], sight, *state.sights[i + 1 :]),
        lines=(*state.lines[:i], row, *state.lines[i + 1 :]),
    )
