"""What a set of spot checks takes from what the probes have shown, until when.

A fixed core probe sits in one piece; a set by hand is of several, and its lowest piece
governs.  Where a set is not surely at the end point that a probe has shown, that probe
was not in the coldest piece, and what rests on it is unproven.

Rule 1: only a set counts that a calibrated thermometer took (``spots.counted``), and
only for the end point of the stage that it is about.
Rule 2: a set can raise a doubt and end one.  It never meets a limit, and no higher
piece hides a lower one: a doubt ends by a later set whose lowest piece is surely there.
Rule 3: heat that was credited before such a set is not the coldest piece's: it is
counted anew from there on, where the limit is still in force.  Elsewhere only an entry
that lifts the doubt of the stage or the limit ends it, and who wrote it and why is on
the record.  A note lifts nothing, whatever it is about.

Units: ``_ms`` milliseconds since 1970-01-01T00:00:00Z.
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from rules import moving, spots
from rules.channels import Channel, Role
from rules.cooling import CoolingLimit
from rules.facts import (
    REPORTING,
    Entry,
    EntryKind,
    Event,
    Finding,
    Standing,
    Subject,
    Verdict,
)
from rules.limit import Limit, Move, Shown
from rules.lines import Line
from rules.plan import Plan
from rules.plan import events as limit_events
from rules.reach import Reaching
from rules.stages import At, Way
from rules.units import say_mc

NAME, BELOW = "spot check", "not borne out"


class Doubted(NamedTuple):
    """What a set has made doubtful."""

    stage: int = -1  # it does not end until a set bears its end out; -1: none
    name: str = ""  # of the stage
    at_ms: int = 0
    why: str = ""
    limits: tuple[int, ...] = ()  # what rests on it, by number


NONE = Doubted()
Rows = tuple[tuple[Line, ...], ...]  # of each channel, one for each of its limits


def taken(plan: Plan, at: At, doubted: Doubted, entry: Entry) -> Doubted:
    """What is doubtful after a set, or after a person has lifted a doubt."""
    if entry.kind is EntryKind.LIFTED:
        return _lifted(plan, doubted, entry.about)
    taken_by_hand = spots.counted(entry.text)
    number = next((n for n, s in enumerate(plan.stages) if s.name == entry.about), -1)
    if taken_by_hand is None or not 0 <= number <= at.number:
        return doubted
    way, end_mc = plan.ways[number], plan.stages[number].ends.mc
    if way not in (Way.RISES, Way.FALLS):
        return doubted
    if spots.at_end(taken_by_hand, end_mc, rises=way is Way.RISES):
        return _borne_out(plan, at, doubted) if doubted.name == entry.about else doubted
    if number == at.number and not any(at.reached):
        return doubted  # no probe has shown more
    worst_mc = taken_by_hand.least_mc if way is Way.RISES else taken_by_hand.most_mc
    why = (
        f"a spot check by {entry.who} shows a piece that may be at "
        f"{say_mc(worst_mc, end_mc)}, and stage {entry.about} ends at "
        f"{say_mc(end_mc)}: unproven until a later set bears it out, or somebody "
        "lifts that"
    )
    limits = {*doubted.limits, *_resting(plan, number, way)}
    return Doubted(number, entry.about, entry.at_ms, why, tuple(sorted(limits)))


def after(
    plan: Plan, at: At, doubted: Doubted, rows: Rows, entry: Entry
) -> tuple[Doubted, Rows, At]:
    """What is doubtful after a set or a lifting; the lines and the stage by that."""
    now = taken(plan, at, doubted, entry)
    if now.stage == at.number and now != doubted:
        at = at._replace(reached=(False,) * len(at.reached))
    if entry.kind is EntryKind.SPOT_CHECK and now.at_ms != entry.at_ms:
        anew = {*doubted.limits} - {*now.limits}
        rows = tuple(
            tuple(
                _anew(plan, line, number, entry.at_ms, at) if number in anew else line
                for number, line in zip(judged, row, strict=True)
            )
            for judged, row in zip(plan.judged, rows, strict=True)
        )
    return now, rows, at


def finding(
    doubted: Doubted, number: int, limit: Limit, channel: Channel, shown: Shown
) -> Finding:
    """What is shown of a limit on a channel, less what is doubtful."""
    one = Finding(limit.name, shown.part, channel.name, *shown[1:])
    if number not in doubted.limits or one.standing is not Standing.MET:
        return one
    why = f"{doubted.why}; by its probe: {one.why}"
    return one._replace(
        standing=Standing.UNPROVEN,
        verdict=Verdict.UNPROVEN,
        since_ms=doubted.at_ms,
        why=why,
    )


def told(plan: Plan, doubted: Doubted, events: list[Event]) -> list[Event]:
    """Events, where no limit is met that rests on what is doubtful."""
    if not doubted.limits:  # at nearly every reading
        return events
    names = {plan.limits[number].name for number in doubted.limits}
    return [
        one._replace(now=Standing.UNPROVEN, why=f"{one.why}; but {doubted.why}")
        if one.subject is Subject.LIMIT
        and one.now == Standing.MET
        and one.name.split(": ")[0] in names
        else one
        for one in events
    ]


def events(
    plan: Plan,
    before: Doubted,
    now: Doubted,
    stood: Sequence[Finding],
    stand: Sequence[Finding],
    entry: Entry,
) -> list[Event]:
    """That a doubt was raised or ended, and how limits came to stand by that."""
    if now == before:
        return []
    why = now.why if now.name else f"by a set of {entry.who}: {entry.text}"
    if entry.kind is EntryKind.LIFTED:
        why = f"lifted for {entry.about} by {entry.who}: {entry.text}"
    was, is_now = (BELOW if one.name else REPORTING for one in (before, now))
    head = (entry.at_ms, Subject.CHANNEL, NAME, "")
    return [Event(*head, was, is_now, why), *_moves(plan, stood, stand, entry.at_ms)]


def _moves(
    plan: Plan, before: Iterable[Finding], after: Iterable[Finding], at_ms: int
) -> Iterator[Event]:
    numbers = {limit.name: number for number, limit in enumerate(plan.limits)}
    for was, now in zip(before, after, strict=True):
        if was.standing is not now.standing:
            move = Move(at_ms, now.part, was.standing, now.standing, now.why)
            where = (plan.index[now.channel], numbers[now.limit])
            yield from limit_events(plan, *where, [move])


def _anew(plan: Plan, line: Line, number: int, at_ms: int, at: At) -> Line:
    limit = plan.limits[number]
    return moving.line(limit, plan.facts, line, at_ms, at.heat_ended_ms)[0]


def _borne_out(plan: Plan, at: At, doubted: Doubted) -> Doubted:
    """What a set cannot mend: a limit that is over, or that asked for a time."""
    left = tuple(
        number
        for number in doubted.limits
        if not plan.limits[number].earned or at.number not in plan.during[number]
    )
    return doubted._replace(stage=-1, limits=left) if left else NONE


def _lifted(plan: Plan, doubted: Doubted, about: str) -> Doubted:
    """What is left of a doubt: nothing by its stage, by a limit all but that one."""
    if not doubted.name or about == doubted.name:
        return NONE
    limits = tuple(n for n in doubted.limits if plan.limits[n].name != about)
    return doubted._replace(limits=limits) if limits or doubted.stage >= 0 else NONE


def _resting(plan: Plan, stage: int, way: Way) -> Iterable[int]:
    """The limits on a core whose verdict rests on the end point of a stage."""
    for number, limit in enumerate(plan.limits):
        if limit.channel is not Role.CORE or stage not in plan.during[number]:
            continue
        rises = limit.earned
        if isinstance(limit, Reaching):
            rises = limit.asked.rises
        elif not limit.earned and not isinstance(limit, CoolingLimit):
            continue
        if rises is (way is Way.RISES):
            yield number
