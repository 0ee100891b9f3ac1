"""A whole cook at once: everything that was heard and written, judged again.

The daemon after a restart, a rehearsal, the record and its verification all come
through here, so that the same facts give the same answer.
"""

from collections.abc import Iterable, Sequence
from itertools import chain
from typing import NamedTuple

from rules import engine, moving, order, surface
from rules.calibration import calibrated
from rules.channels import Channel
from rules.engine import Plan, State
from rules.facts import Entry, Event, Fact, Finding, Reading, Subject, Tick
from rules.schedule import Schedule
from rules.stages import Passed as StageSpan
from rules.stretch import Fold
from rules.verdicts import Judged, judge


class Outcome(NamedTuple):
    """What a cook came to."""

    events: tuple[Event, ...]  # in the order of their times
    findings: tuple[Finding, ...]
    judged: tuple[Judged, ...]
    stages: tuple[StageSpan, ...]
    finished_ms: int  # 0 while it goes on


def replay(
    schedule: Schedule,
    channels: Sequence[Channel],
    begun_ms: int,
    readings: Iterable[Reading],
    entries: Iterable[Entry],
    until_ms: int,
) -> Outcome:
    """Judge a cook from its facts up to ``until_ms``, in whatever order they come.

    Raises:
        ValueError: A fact is older than the beginning of the cook.
    """
    entries = list(entries)
    plan = engine.plan(schedule, moving.channels_after(channels, entries))
    facts: Iterable[Fact] = chain[Fact](readings, entries)
    ordered = sorted((f for f in facts if f.at_ms <= until_ms), key=order.key)
    state, events = fold(plan, engine.opened(plan, begun_ms), ordered)
    state, last = engine.step(plan, state, Tick(max(until_ms, state.at_ms)))
    opening = engine.opening_event(plan, begun_ms)
    return outcome(plan, state, [opening, *events, *last])


def fold(plan: Plan, state: State, facts: Iterable[Fact]) -> tuple[State, list[Event]]:
    """Step through facts that are already in order; events by when they came true.

    Raises:
        ValueError: A fact is older than the one before it.
    """
    folded = Fold(plan, state)
    folded.take(calibrated(plan.channels, facts))
    folded.end()
    return folded.state, in_order(folded.events)


def outcome(plan: Plan, state: State, events: Iterable[Event]) -> Outcome:
    """What a cook has come to so far."""
    found = surface.beside(plan.schedule, engine.findings(plan, state))
    return Outcome(
        tuple(in_order(events)),
        found,
        judge(plan, found),
        engine.passed(state),
        engine.finished_ms(state),
    )


def in_order(events: Iterable[Event]) -> list[Event]:
    """Events by the time they became true, each once.

    Of what became true at one moment, channels and signs come first, then
    limits, then the stage that ended and the one that began, and the cook last.
    """
    once = {event.key: event for event in events}
    return sorted(once.values(), key=_place)


SUBJECTS = (
    *(Subject.CHANNEL, Subject.SIGN, Subject.LIMIT, Subject.STAGE, Subject.COOK),
)


def _place(event: Event) -> tuple[int, int, bool, tuple[int, str, str, str, str]]:
    began = event.now == "begun"
    return (event.at_ms, SUBJECTS.index(event.subject), began, event.key)
