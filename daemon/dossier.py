"""A dossier: all that the record of one cook is made from, gathered in one value.

Rule 1: the journal is read, nothing is written and no clock is asked.
Rule 2: the cook is judged anew from its readings and entries, twice: as they are,
and as if every probe were exact.  The second gives the measured figures that
stand beside the two bounds; no verdict comes from it.

Units: ``_ms`` and ``_mc`` as in ``rules.facts``.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import chain
from typing import NamedTuple

from daemon import VERSION
from daemon.acting import acting
from daemon.journal import Cook, Journal, Noticed
from daemon.outbox import Alert, Attempt, Outbox
from probes.contract import Refusal
from rules import calibration, engine, order
from rules.facts import Entry, EntryKind, Fact, Finding, Reading, Subject, Tick, Verdict
from rules.faults import render_all
from rules.replay import Outcome, fold, replay
from rules.schedule import Schedule, read_schedule

PROGRAM = f"fumarium {VERSION}"
PAGE = 1000  # refusals read at a time


class Told(NamedTuple):
    """An alert: what it was about, who was told and who answered."""

    number: int
    lot: str  # "" for the whole site
    subject: Subject
    name: str
    standing: str
    title: str
    since_ms: int
    answer: bool  # whether somebody had to acknowledge it
    acknowledged_ms: int  # 0 where nobody has
    acknowledged_by: str
    returned_ms: int  # to normal; 0 where it has not
    attempts: tuple[Attempt, ...]


class Measured(NamedTuple):
    """A figure at face value: had every probe been exact, and no credit in a hole."""

    figure: int
    required: int  # another row of a table may have been the first to be full


@dataclass(frozen=True, slots=True)
class Dossier:
    """All that a record is made from, and all that can be read back from one."""

    program: str
    site: str
    cook: Cook
    readings: tuple[Reading, ...]  # by channel and time; those of no use too
    refusals: tuple[Refusal, ...]
    entries: tuple[Entry, ...]
    events: tuple[Noticed, ...]  # of the lot, and of the site meanwhile (lot "")
    alerts: tuple[Told, ...]
    outcome: Outcome
    measured: tuple[Measured | None, ...]  # of each finding, where there is one
    until_ms: int  # facts up to here were judged
    closed_ms: int  # when the record was made

    @property
    def judged(self) -> tuple[Reading, ...]:
        """The readings as they were judged: corrected by the checks of their probes."""
        channels = {channel.name: channel for channel in self.cook.channels}
        return tuple(
            calibration.as_judged(channels[one.channel], one) for one in self.readings
        )


class Judgement(NamedTuple):
    """A cook judged from its evidence, and the figures at face value."""

    outcome: Outcome
    measured: tuple[Measured | None, ...]


def gather(
    journal: Journal,
    outbox: Outbox,
    lot: str,
    *,
    site: str,
    closed_ms: int,
    program: str = PROGRAM,
) -> Dossier | list[str]:
    """Collect all that there is about a lot, or say why no record can be made yet."""
    cook = journal.cook(lot)
    if cook is None:
        return [_unknown(lot, journal.cooks())]
    schedule = read_schedule(cook.schedule_path, cook.schedule)
    if isinstance(schedule, list):
        return [
            f"lot {lot}: this program ({program}) does not understand the schedule "
            "that the cook was begun with",
            render_all(schedule, cook.schedule),
        ]
    if pruned_ms := journal.pruned(lot):
        date = datetime.fromtimestamp(pruned_ms / 1000, UTC).date()
        return [
            f"lot {lot}: its readings were removed on {date}, after the time for "
            "which they have to be kept; the record written before is the only one"
        ]
    until_ms = journal.horizon(lot)
    names = [channel.name for channel in cook.channels]
    readings = sorted(
        reading._replace(received_ms=0)
        for reading in journal.readings(names, cook.begun_ms, until_ms)
    )
    kept = journal.entries(lot)
    entries = acting(one for one in kept if one.entry.kind is not EntryKind.ADDENDUM)
    found = judge_again(schedule, cook, readings, entries, until_ms)
    if not found.outcome.finished_ms:
        return [
            f"lot {lot}: the cook is still running; a record is made when it has ended"
            f"\n  it ends with its last stage, or by: fumarium end {lot}"
        ]
    if not _settled(schedule, cook, readings, entries, until_ms, found.outcome):
        return [
            f"lot {lot}: the cook has only just ended, and a reading that still counts "
            "may be on its way; ask again in a minute"
        ]
    return Dossier(
        program=program,
        site=site,
        cook=cook,
        readings=tuple(readings),
        refusals=_refusals(journal, cook, until_ms),
        entries=tuple(entries),
        events=_events(journal, cook, found.outcome, until_ms),
        alerts=_alerts(outbox, cook, until_ms),
        outcome=found.outcome,
        measured=found.measured,
        until_ms=until_ms,
        closed_ms=closed_ms,
    )


def judge_again(
    schedule: Schedule,
    cook: Cook,
    readings: Sequence[Reading],
    entries: Sequence[Entry],
    until_ms: int,
) -> Judgement:
    """Judge a cook from its evidence alone, as anybody who holds it can."""
    begun_ms = cook.begun_ms
    outcome = replay(schedule, cook.channels, begun_ms, readings, entries, until_ms)
    exact = [reading._replace(uncertainty_mc=0) for reading in readings]
    channels = [calibration.exact(channel) for channel in cook.channels]
    face = replay(schedule, channels, begun_ms, exact, entries, until_ms)
    figures = {_place(one): Measured(one.least, one.required) for one in face.findings}
    measured = tuple(figures.get(_place(finding)) for finding in outcome.findings)
    return Judgement(outcome, measured)


def _settled(
    schedule: Schedule,
    cook: Cook,
    readings: Sequence[Reading],
    entries: Sequence[Entry],
    until_ms: int,
    outcome: Outcome,
) -> bool:
    """Whether nothing still to come can change a verdict."""
    if all(one.verdict is not Verdict.RUNNING for one in outcome.judged):
        return True
    plan = engine.plan(schedule, cook.channels)
    both = chain[Fact](readings, entries)
    facts = [fact for fact in both if fact.at_ms <= until_ms]
    facts.sort(key=order.key)
    state, _ = fold(plan, engine.opened(plan, cook.begun_ms), facts)
    state, _ = engine.step(plan, state, Tick(max(until_ms, state.at_ms)))
    return engine.settled(state)


def _place(finding: Finding) -> tuple[str, str, str]:
    return (finding.limit, finding.part, finding.channel)


def _unknown(lot: str, cooks: Iterable[Cook]) -> str:
    known = [cook.lot for cook in cooks]
    if not known:
        return f"no lot {lot} in the journal; no cook was ever begun here"
    return f"no lot {lot} in the journal\n  the latest are: {', '.join(known[-5:])}"


def _refusals(journal: Journal, cook: Cook, until_ms: int) -> tuple[Refusal, ...]:
    """Those of the cook's channels, and those whose channel nobody could tell."""
    names = {"", *(channel.name for channel in cook.channels)}
    found: list[Refusal] = []
    after = 0
    while page := journal.refusals(after, PAGE):
        after = page[-1][0]
        found += [
            refusal
            for _, refusal in page
            if refusal.channel in names
            and cook.begun_ms <= refusal.received_ms <= until_ms
        ]
    return tuple(found)


def _events(
    journal: Journal, cook: Cook, outcome: Outcome, until_ms: int
) -> tuple[Noticed, ...]:
    """What was noticed, and what only this judging found (number 0)."""
    noticed = journal.events(cook.lot)
    known = {one.event.key for one in noticed}
    late = [
        Noticed(0, cook.lot, event, 0)
        for event in outcome.events
        if event.key not in known
    ]
    site = [
        one
        for one in journal.events("")
        if cook.begun_ms <= one.event.at_ms <= until_ms
    ]
    places = {event.key: place for place, event in enumerate(outcome.events)}
    last = len(places)

    def when(one: Noticed) -> tuple[int, int, int]:
        return (one.event.at_ms, places.get(one.event.key, last), one.number)

    return tuple(sorted([*noticed, *late, *site], key=when))


def _alerts(outbox: Outbox, cook: Cook, until_ms: int) -> tuple[Told, ...]:
    of_site = [
        alert
        for alert in outbox.alerts("")
        if cook.begun_ms <= alert.since_ms <= until_ms
    ]
    found = sorted([*outbox.alerts(cook.lot), *of_site], key=lambda one: one.number)
    return tuple(map(_told, found))


def _told(alert: Alert) -> Told:
    return Told(
        number=alert.number,
        lot=alert.lot,
        subject=alert.subject,
        name=alert.name,
        standing=alert.standing,
        title=alert.title,
        since_ms=alert.since_ms,
        answer=alert.answer,
        acknowledged_ms=alert.acknowledged_ms,
        acknowledged_by=alert.acknowledged_by,
        returned_ms=alert.returned_ms,
        attempts=alert.attempts,
    )
