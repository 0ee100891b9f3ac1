"""The cooks that are going on: each with its schedule, its order and its state.

A running cook is a fold over the journal: ``Running.resumed`` reads back what is
durable and comes to the state in which the daemon stopped, and its events are those
that were found before, since the same facts give the same events.  It begins at the
last checkpoint, where there is one to be believed (``daemon.checkpoints``).

Units: ``_ms`` milliseconds since 1970-01-01T00:00:00Z.
"""

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from daemon import checkpoints, unjudged
from daemon.acting import acting
from daemon.checkpoints import Checkpoint
from daemon.health import Change
from daemon.journal import Cook, Journal
from rules import engine
from rules.alerts import AlertRule
from rules.engine import State
from rules.facts import Entry, EntryKind, Event, Reading, Tick
from rules.faults import render_all
from rules.moving import another_of, channels_after
from rules.order import Order
from rules.replay import fold
from rules.schedule import Schedule, read_schedule

NEVER_MS = 1 << 62
PAST_SHOWN = 3  # cooks that are over and still worth a look


class CookError(Exception):
    """A cook in the journal cannot be judged by this program; the words say why."""

    def __init__(self, words: str, fault: str) -> None:
        """Keep the words, and the first fault alone for where there is one line."""
        super().__init__(words)
        self.fault = fault


class Closed(NamedTuple):
    """What a cook has concluded: nothing older is taken for these channels."""

    channels: frozenset[str]
    begun_ms: int
    horizon_ms: int


class Running:
    """One cook, from its beginning until nothing can change its verdicts."""

    def __init__(self, cook: Cook) -> None:
        """Begin a cook.

        Raises:
            CookError: Its schedule is not one that this program understands.
        """
        schedule = read_schedule(cook.schedule_path, cook.schedule)
        if not isinstance(schedule, Schedule):
            first = schedule[0]
            raise CookError(
                f"lot {cook.lot}: the schedule that it was begun with is not "
                f"understood\n{render_all(schedule, cook.schedule)}",
                f"{first.path}:{first.line}: {first.found}",
            )
        self.cook, self.schedule = cook, schedule
        self.plan = engine.plan(schedule, cook.channels)
        self.state: State = engine.opened(self.plan, cook.begun_ms)
        self._order = Order(cook.begun_ms)
        self._begun = False
        self.replaced: list[Entry] = []  # that another probe is in a place
        self.spots: dict[str, Entry] = {}  # the last set by hand, of each stage
        self.kept_ms = cook.begun_ms  # the horizon of its last checkpoint
        self.channels = frozenset(channel.name for channel in cook.channels)

    @classmethod
    def resumed(
        cls, cook: Cook, journal: Journal, entries_seen: int, until_ms: int = NEVER_MS
    ) -> tuple["Running", list[Event]]:
        """Take up a cook where the journal has it; answer its events since then.

        Entries after number ``entries_seen`` are still to be read by the road.
        """
        running = cls(cook)
        names = sorted(running.channels)
        known = [k for k in journal.entries(cook.lot) if k.number <= entries_seen]
        if point := checkpoints.last(journal, cook.lot, known):
            running.begin_at(point)
        for reading in journal.readings(names, running.horizon_ms, until_ms):
            running.take(reading)
        for entry in acting(known):
            running.take(entry)
        events = running.advance(max(journal.horizon(cook.lot), cook.begun_ms))
        return running, events

    def begin_at(self, point: Checkpoint) -> None:
        """Go on from a state that was reached before."""
        self.state, self.kept_ms = point.state, point.horizon_ms
        self._order = Order(point.horizon_ms)
        self._begun = True

    @property
    def horizon_ms(self) -> int:
        """A fact from before this time comes too late."""
        return self._order.horizon_ms

    @property
    def finished_ms(self) -> int:
        """When the last stage ended; 0 while the cook goes on."""
        return engine.finished_ms(self.state)

    @property
    def settled(self) -> bool:
        """Whether nothing can change its verdicts any more."""
        return engine.settled(self.state)

    def take(self, fact: Reading | Entry) -> bool:
        """Take a durable fact in; False where it comes too late."""
        if isinstance(fact, Entry):  # from then on another probe may be in its place
            channels = channels_after(self.plan.channels, [fact])
            self.plan = replace(self.plan, channels=channels)
            if another_of(fact) is not None:
                self.replaced.append(fact)
            self._keep_set(fact)
        return self._order.take(fact)

    def _keep_set(self, entry: Entry) -> None:
        if entry.kind is EntryKind.SPOT_CHECK:
            before = self.spots.get(entry.about)
            if before is None or before.at_ms <= entry.at_ms:
                self.spots[entry.about] = entry

    def advance(self, horizon_ms: int) -> list[Event]:
        """Judge every fact from before the horizon; answer what became true."""
        if horizon_ms < self.horizon_ms:
            return []
        events = []
        if not self._begun:
            events.append(engine.opening_event(self.plan, self.cook.begun_ms))
            self._begun = True
        self.state, new = fold(self.plan, self.state, self._order.release(horizon_ms))
        self.state, last = engine.step(self.plan, self.state, Tick(horizon_ms))
        return [*events, *new, *last]


class Cooks:
    """Every cook that is not yet settled, by its lot."""

    def __init__(self, journal: Journal) -> None:
        """Take up what the journal says is going on."""
        self._journal = journal
        self._running: dict[str, Running] = {}
        self._ended: dict[str, Closed] = {}
        self._ended_ms = 0  # the newest horizon among them
        self.past: deque[Running] = deque(maxlen=PAST_SHOWN)
        self.troubles: dict[str, tuple[int, str]] = {}  # of lots: since when, and what
        self._unjudged: dict[str, str] = {}  # lots that are not settled, and why not
        self._given_up: set[str] = set()  # those of them that a person has ended
        self._told = unjudged.told(journal.events(""))
        self._unkept: dict[str, list[Event]] = {}  # not yet said to be durable
        self.entries_seen = max((k.number for k in journal.entries()), default=0)
        self.notice(self.entries_seen)

    def __iter__(self) -> Iterator[Running]:
        """The cooks that go on, in the order of the journal."""
        return iter(self._running.values())

    def of(self, lot: str) -> Running | None:
        """The running cook of a lot."""
        return self._running.get(lot)

    def notice(self, entries_seen: int) -> None:
        """Take up every cook that was begun since, with its entries so far."""
        self.entries_seen = entries_seen
        known = {*self._running, *self._ended}
        new = [cook for cook in self._journal.cooks() if cook.lot not in known]
        settled = self._journal.settled() if new else frozenset()
        over = [cook for cook in new if cook.lot in settled]
        for cook in over[:-PAST_SHOWN]:  # nobody looks at it: it is not read back
            self._close(cook.lot, _closed(cook, self._journal.horizon(cook.lot)))
        for cook in new:
            if cook.lot not in self._ended:
                self._take_up(cook, settled=cook.lot in settled)

    def news(self) -> list[Change]:
        """What is to be said of lots that cannot be judged; each is said once."""
        found = [*unjudged.changes(self._unjudged, self._told, self._running)]
        for lot in self._unjudged:
            self._told[lot] = unjudged.NOT_JUDGED
        for lot in self._running.keys() & self._told.keys():
            del self._told[lot]
        return found

    def unjudged(self) -> tuple[str, ...]:
        """The lots that cannot be judged, and whose end no person has entered."""
        return tuple(lot for lot in self._unjudged if lot not in self._given_up)

    def give_up(self, lot: str) -> None:
        """Take notice that a person has ended a lot that cannot be judged."""
        self._given_up.add(lot)

    def take(self, reading: Reading) -> None:
        """Show a new reading to the cooks that its channel belongs to."""
        for running in self._running.values():
            if reading.channel in running.channels:
                running.take(reading)

    def too_late(self, reading: Reading) -> int:
        """By how much a reading comes too late for a cook; 0 where it does not."""
        late_ms = 0
        for running in self:
            if reading.channel in running.channels:
                begun_ms = running.cook.begun_ms
                late_ms = max(late_ms, _late(reading, begun_ms, running.horizon_ms))
        if reading.at_ms < self._ended_ms:
            for one in self._ended.values():
                if reading.channel in one.channels:
                    late_ms = max(late_ms, _late(reading, one.begun_ms, one.horizon_ms))
        return late_ms

    def advance(self, horizon_ms: int) -> list[tuple[str, list[Event]]]:
        """Let time pass in every cook; answer what became true, lot by lot.

        It is answered again until ``kept`` says that it is durable.
        """
        for lot, running in self._running.items():
            if events := running.advance(horizon_ms):
                self._unkept.setdefault(lot, []).extend(events)
        return list(self._unkept.items())

    def kept(self, lot: str) -> None:
        """Take notice that all that became true of a lot is durable."""
        self._unkept.pop(lot, None)

    def keep_states(self, entries_seen: int) -> None:
        """Keep how far the cooks are judged whose checkpoint is old, or their last.

        Raises:
            JournalError: It could not be kept; a restart begins earlier.
        """
        for lot, running in self._running.items():
            at_ms = running.horizon_ms
            old = at_ms - running.kept_ms >= checkpoints.EVERY_MS
            if lot not in self._unkept and (old or running.settled):
                point = Checkpoint(at_ms, entries_seen, running.state)
                checkpoints.save(self._journal, lot, point)
                running.kept_ms = at_ms

    def settled(self) -> list[str]:
        """The lots of the cooks that can be let go."""
        return [lot for lot, running in self._running.items() if running.settled]

    def let_go(self, lot: str) -> None:
        """Forget a settled cook; what comes for it from now on comes too late.

        Raises:
            JournalError: It is not forgotten.
        """
        if len(self.past) == PAST_SHOWN:
            checkpoints.forget(self._journal, self.past[0].cook.lot)
        running = self._running.pop(lot)
        self._close(lot, _closed(running.cook, running.horizon_ms))
        self.past.append(running)

    def rules_of(self, lot: str, contacts: Iterable[str]) -> Sequence[AlertRule]:
        """Who is told of a lot; of the site, whoever is told of a running cook."""
        if lot:
            schedule = self._schedule_of(lot)
            return schedule.alert_rules if schedule else ()
        rules = [rule for one in self for rule in one.schedule.alert_rules]
        named = [rule for rule in rules if rule.when & SITE_TROUBLE]
        if named and not self.unjudged():
            return named
        # Everybody's, where no cook says whose it is, or one that nobody can read.
        return named + [
            AlertRule(tell=contact, when=SITE_TROUBLE, again_ms=SITE_AGAIN_MS)
            for contact in contacts
        ]

    def remedies_of(self, lot: str, limit: str) -> Sequence[str]:
        """What the lot's schedule says to do when a limit is missed."""
        schedule = self._schedule_of(lot)
        limits = schedule.limits if schedule else ()
        name = limit.split(": ")[0]
        return next((one.if_missed for one in limits if one.name == name), ())

    def _schedule_of(self, lot: str) -> Schedule | None:
        """The schedule of a cook that goes on, or of one that is over."""
        if running := self._running.get(lot):
            return running.schedule
        cook = self._journal.cook(lot)
        found = read_schedule(cook.schedule_path, cook.schedule) if cook else None
        return found if isinstance(found, Schedule) else None

    def _close(self, lot: str, closed: Closed) -> None:
        self._ended[lot] = closed
        self._ended_ms = max(self._ended_ms, closed.horizon_ms)

    def _take_up(self, cook: Cook, *, settled: bool) -> None:
        until_ms = self._journal.horizon(cook.lot) if settled else NEVER_MS
        try:
            running, events = Running.resumed(
                cook, self._journal, self.entries_seen, until_ms
            )
        except CookError as error:
            self.troubles[cook.lot] = cook.begun_ms, str(error)
            if not settled:
                self._unjudged[cook.lot] = error.fault
                entries = self._journal.entries(cook.lot)
                if any(kept.entry.kind is EntryKind.END for kept in entries):
                    self.give_up(cook.lot)
            self._close(cook.lot, _closed(cook, cook.begun_ms))
            return
        if settled:
            self._close(cook.lot, _closed(cook, running.horizon_ms))
            self.past.append(running)
            return
        self._running[cook.lot] = running
        self._unkept[cook.lot] = events


def _late(reading: Reading, begun_ms: int, horizon_ms: int) -> int:
    return horizon_ms - reading.at_ms if begun_ms <= reading.at_ms else 0


def _closed(cook: Cook, horizon_ms: int) -> Closed:
    names = frozenset(channel.name for channel in cook.channels)
    return Closed(names, cook.begun_ms, horizon_ms)


SITE_TROUBLE = frozenset({"probe fault"})
SITE_AGAIN_MS = 600_000
