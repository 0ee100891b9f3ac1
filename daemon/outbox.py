"""The outbox: which events became alerts, who is still to be told, and who was.

Rule 1: an event is durable before anybody is told.  ``collect`` reads durable
events past its own durable cursor and writes alerts and cursor in one transaction:
a crash between two steps loses no alert and makes none twice.
Rule 2: only ``Outcome.SENT`` counts as told.  What failed is tried again after 10 s,
20 s, 40 s ... at most 5 min, until it is sent or somebody acknowledges.
Rule 3: a notice is handed out once until ``told`` answers for it.  After a crash
between sending and noting it is told again: twice is better than never.
Rule 4: no clock here.  Waiting goes by a *steady* time: the given one, held from
ever going back, so that a clock set back an hour puts off no repeat for an hour.

Addresses are secrets: they are in no table, no ``repr`` and no message.
"""

import contextlib
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from daemon.alert_tables import (
    SILENT,
    Alert,
    AlertTables,
    Attempt,
    Happened,
    Key,
)
from daemon.journal import Journal, JournalError, Kept, Noticed
from rules.alerts import (
    ACKNOWLEDGE,
    CALLING,
    NEXT,
    NORMAL,
    NOTED,
    SAME,
    WORSE,
    AlertRule,
    Condition,
    Notice,
    Outcome,
    Signal,
    Telling,
    Words,
    closing,
    due_ms,
    failures,
    follow,
    severity,
    tellings,
    wanted,
    words,
    words_together,
)
from rules.facts import QUIET, EntryKind, Event, Subject
from rules.together import Gathered, Silent, gather, members

__all__ = ["Alert", "Attempt", "Outbox"]

# How many lots are kept in memory; an older one is read again when it speaks.
LOTS_AT_HAND = 64

RulesOf = Callable[[str], Sequence[AlertRule]]
RemediesOf = Callable[[str, str], Sequence[str]]


class _Taking(NamedTuple):
    """One event on its way to people."""

    number: int  # in the journal
    key: Key
    event: Event
    rules: Sequence[AlertRule]
    remedies_of: RemediesOf
    steady_ms: int


@dataclass(slots=True)
class _Remembered:
    """What is remembered of one lot between two events."""

    conditions: dict[Key, Condition] = field(default_factory=dict)
    silent: tuple[Silent, ...] = ()

    def take(
        self, key: Key, event: Event, *, asked: bool
    ) -> tuple[Key, Gathered, Signal | None]:
        """Take one event; whose alert it is, with whom, and what it means for it."""
        gathered = gather(self.silent if key.lot else (), event)
        if key.lot:
            self.silent = gathered.silent
        key = key._replace(name=gathered.alert)
        condition = self.conditions.get(key, Condition())
        self.conditions[key], signal = follow(
            condition, event, asked=asked, joined=gathered.joined
        )
        return key, gathered, signal


class Outbox:
    """Alerts made from the journal's events, and the notices still to be sent."""

    def __init__(self, journal: Journal, contacts: Mapping[str, str]) -> None:
        """Open the outbox of a journal; ``contacts`` gives each name's address."""
        self._journal = journal
        self._tables = AlertTables(journal)
        self._contacts = dict(contacts)
        self._conditions: dict[str, _Remembered] = {}
        self._offered: set[tuple[int, str]] = set()
        self._unnoted: deque[tuple[Notice, Attempt, int]] = deque()
        self._ahead_ms = 0
        self._steadied_ms = self._tables.last_steady_ms()
        self._live = set(self._tables.unfinished())

    def collect(
        self,
        rules_of: RulesOf,
        now_ms: int,
        remedies_of: RemediesOf = lambda lot, limit: (),
    ) -> int:
        """Turn what is new in the journal into alerts; answer how many changes.

        ``rules_of`` answers a lot's alert rules ("" for the site); ``remedies_of``
        what the lot's schedule says to do if a limit is missed.
        """
        steady_ms = self._steady(now_ms)
        # Entries first: nobody has seen, or can answer, what is only told below.
        entries = self._journal.entries(after=self._tables.reached("entry"))
        events = self._journal.events(after=self._tables.reached("event"))
        if not entries and not events:
            return 0
        made = 0
        try:
            with self._journal.writing():
                for kept in entries:
                    made += self._acknowledge(kept, steady_ms)
                    self._tables.move_on("entry", kept.number)
                for noticed in events:
                    taking = _taking(noticed, rules_of, remedies_of, steady_ms)
                    made += self._take(taking)
                    self._tables.move_on("event", noticed.number)
        except BaseException:
            self._conditions.clear()  # they ran ahead of the tables
            raise
        return made

    def due(self, now_ms: int) -> list[Notice]:
        """The notices to send now, each handed out once until it is answered for."""
        steady_ms = self._steady(now_ms)
        self._note()
        return [
            notice
            for number in sorted(self._live)
            for notice in self._due_of(number, steady_ms)
        ]

    def told(self, notice: Notice, outcome: Outcome, at_ms: int, why: str = "") -> None:
        """Keep what became of a notice.

        It never fails: what the journal cannot take now is kept with the next one.
        """
        attempt = Attempt(at_ms, notice.contact, outcome, why)
        self._unnoted.append((notice, attempt, self._steady(at_ms)))
        self._note()

    def address(self, notice: Notice) -> str:
        """The secret address of the notice's contact; "" where there is none."""
        return self._contacts.get(notice.contact, "")

    def open_alerts(self) -> list[Alert]:
        """Every alert that is not normal, the worst first."""
        alerts = map(self._tables.alert, self._tables.not_normal())
        return sorted(alerts, key=lambda alert: (-alert.severity, alert.number))

    def alerts(self, lot: str) -> list[Alert]:
        """Every alert there was of a lot ("" for the site), in the order they came."""
        return [self._tables.alert(number) for number in self._tables.of_lot(lot)]

    def _due_of(self, number: int, steady_ms: int) -> Iterator[Notice]:
        """What is due of one alert, which is let go when nothing ever will be."""
        newest = self._tables.newest(number)
        calling = newest is not None and newest.state in CALLING
        noted = newest is not None and newest.signal is NOTED
        waits = calling
        for row, telling in self._tables.tellings(number) if calling or noted else ():
            tried = self._tables.tried(row)
            when_ms = due_ms(telling, tried, repeats=calling)
            waits = waits or when_ms is not None
            key = (number, telling.contact)
            if when_ms is None or when_ms > steady_ms or key in self._offered:
                continue
            self._offered.add(key)
            yield self._notice(number, row, telling, failures(tried))
        if not waits:
            self._live.discard(number)

    def _note(self) -> None:
        # A full disk shows on the road itself; here it must not stop the telling.
        with contextlib.suppress(JournalError):
            while self._unnoted:
                notice, attempt, steady_ms = self._unnoted[0]
                with self._journal.writing():
                    self._tables.add_attempt(notice, attempt, steady_ms)
                self._offered.discard((notice.alert, notice.contact))
                self._unnoted.popleft()

    def _take(self, taking: _Taking) -> int:
        """Let an event do to alerts what it does."""
        event, of_lot = taking.event, self._conditions_of(taking.key.lot, taking.number)
        asked = any(wanted(rule, event) for rule in taking.rules)
        key, gathered, signal = of_lot.take(taking.key, event, asked=asked)
        made = 0
        number = self._tables.latest(key)
        if signal is WORSE:
            if number is None or self._tables.state(number) is NORMAL:
                number = self._tables.open(key, answer=True)
            made += self._tell(number, WORSE, taking)
        elif number is not None:
            state = self._tables.state(number)
            if state is not NORMAL and (gathered.joined or gathered.parted):
                self._name_all(number, gathered, taking)
                made += 1
            elif signal and NEXT[state, signal] is not state:
                self._signal(number, signal, taking)
                made += 1
        if asked and not severity(event.subject, event.now):
            number = self._tables.open(key, answer=False)
            made += self._tell(number, NOTED, taking)
        return made

    def _name_all(self, number: int, gathered: Gathered, taking: _Taking) -> None:
        """Let the alert name every channel that is silent with the first one."""
        lot, cook = taking.key.lot, self._journal.cook(taking.key.lot)
        house = cook.smokehouse if cook else ""
        say = words_together(taking.event, members(gathered), lot, house)
        self._signal(number, SAME, taking, say, standing=QUIET)

    def _tell(self, number: int, signal: Signal, taking: _Taking) -> int:
        key, event = taking.key, taking.event
        cook = self._journal.cook(key.lot) if key.lot else None
        is_limit = event.subject is Subject.LIMIT
        remedies = taking.remedies_of(key.lot, event.name) if is_limit else ()
        house = cook.smokehouse if cook else ""
        earlier = self._tables.unanswered(number)
        cause = self._signal(
            number, signal, taking, words(event, key.lot, house, remedies)
        )
        for one in tellings(taking.rules, event, taking.steady_ms, earlier):
            self._tables.add_telling(number, cause, one)
        return 1

    def _signal(
        self,
        number: int,
        signal: Signal,
        taking: _Taking,
        say: Words = SILENT,
        standing: str = "",
    ) -> int:
        event, standing = taking.event, standing or taking.event.now
        self._live.add(number)
        return self._tables.add_signal(
            Happened(
                alert=number,
                signal=signal,
                state=NEXT[self._tables.state(number), signal],
                at_ms=event.at_ms,
                steady_ms=taking.steady_ms,
                event=taking.number,
                standing=standing,
                severity=severity(event.subject, standing),
                words=say,
            )
        )

    def _acknowledge(self, kept: Kept, steady_ms: int) -> int:
        entry = kept.entry
        if entry.kind is not EntryKind.ACKNOWLEDGE:
            return 0
        meant = self._meant(kept)
        for number in meant:
            state = NEXT[self._tables.state(number), ACKNOWLEDGE]
            self._tables.add_signal(
                Happened(
                    *(number, ACKNOWLEDGE, state, entry.at_ms, steady_ms),
                    who=entry.who,
                )
            )
        return len(meant)

    def _meant(self, kept: Kept) -> list[int]:
        """The unfinished alerts that are meant: a number, or "all" of a lot."""
        unfinished = self._tables.unfinished()
        about = kept.entry.about.strip()
        if about == "all":
            lot = kept.lot
            return [n for n in unfinished if lot in ("", self._tables.key(n).lot)]
        return [n for n in unfinished if str(n) == about]

    def _conditions_of(self, lot: str, before: int) -> _Remembered:
        """What is remembered of a lot; its events are folded again after a restart."""
        if lot in self._conditions:
            return self._conditions[lot]
        if len(self._conditions) >= LOTS_AT_HAND:
            self._conditions.clear()
        worse = self._tables.worse_events(lot)
        of_lot = self._conditions[lot] = _Remembered()
        for noticed in self._journal.events(lot):
            if noticed.number >= before:
                break
            key, event = _about(noticed)
            of_lot.take(key, event, asked=noticed.number in worse)
        return of_lot

    def _notice(self, number: int, row: int, telling: Telling, failed: int) -> Notice:
        title, body = self._tables.words(number)
        state = self._tables.state(number)
        if state in CALLING:
            told = self._tables.was_told(number, telling.contact)
            body = f"{body}\n{closing(number, state, told=told)}"
        return Notice(number, telling.contact, title, body, failed, row)

    def _steady(self, now_ms: int) -> int:
        self._ahead_ms = max(self._ahead_ms, self._steadied_ms - now_ms)
        self._steadied_ms = now_ms + self._ahead_ms
        return self._steadied_ms


def _taking(
    noticed: Noticed, rules_of: RulesOf, remedies_of: RemediesOf, steady_ms: int
) -> _Taking:
    key, event = _about(noticed)
    rules = rules_of(noticed.lot)
    return _Taking(noticed.number, key, event, rules, remedies_of, steady_ms)


def _about(noticed: Noticed) -> tuple[Key, Event]:
    """The alert's key and the event; what befalls the site is trouble of a channel."""
    lot, event = noticed.lot, noticed.event
    if not lot:
        event = event._replace(subject=Subject.CHANNEL)
    return Key(lot, event.subject, event.name), event
