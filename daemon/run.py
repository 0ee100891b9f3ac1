"""The daemon: everything that goes on, one turn of the road after another.

::

    broker -> decode -> screen -> journal (durable, then acknowledged) -> cooks
           -> events -> journal -> outbox -> phone

``Road.turn`` is the whole road.  Nothing later on it calls anything earlier, and
every arrow may be cut by a crash: what was not acknowledged comes again, what was
durable is found again.

Time: a *pulse* of our own comes back through the broker and says up to when all that
was published has been handled (see ``daemon.mqtt``); the horizon of the cooks is that
time less the lateness.  Where nothing at all comes from the broker for
``PATIENCE_MS`` the clock itself moves the horizon, so that a dead broker does not stop
time; while a backlog is worked off, however long that takes, only pulses move it.
"""

import contextlib
import logging
import signal
import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import NamedTuple

from daemon import damaged_head
from daemon.acting import MOVES, late
from daemon.alarm import OURS, Alarm
from daemon.answers import acknowledge_topic, read_answer
from daemon.care import Care
from daemon.clock import Clock, clock_of
from daemon.cooks import Cooks, Running
from daemon.health import Notifier
from daemon.journal import Delivery, Journal, JournalError, Kept
from daemon.journal_swap import held
from daemon.lots import Lots
from daemon.mirror import Mirror, Target
from daemon.mqtt import Message, Subscriber, pulse_topic
from daemon.numbering import RECALL_MS, Numbering
from daemon.outbox import Outbox
from daemon.repeats import Repeats, delivery_of
from daemon.rescue import DAMAGE, open_sound
from daemon.sender import Sender
from daemon.settings import Settings
from daemon.show import Show
from daemon.steady import SteadyClock, Word
from daemon.unopened import Unopened
from daemon.unset import dated, decode_unset, own_times, untimed
from daemon.watching import Watching, bound
from daemon.web import Page, writer
from probes.contract import Arrival, Decoded, Probe, Refusal, numbers_of
from probes.decode import decode
from rules.facts import Entry, EntryKind, Event, Quality, Reading, Subject
from rules.units import say_ms

LOG = logging.getLogger(__name__)

PULSE_MS = 1_000
SHORTEST_MS = 100
PATIENCE_MS = 300_000
RETURN_MS = 15_000  # what probes get after a lost link to publish what they kept
AWAY_MS = 30_000  # a link lost for longer is told to people
RETRY_S = 1.0
RECALL_TURN_MS = 200  # of a turn, for what the page shows of the past
UNDATED = 10_000  # readings that wait for the board's clock to be set


class Group(NamedTuple):
    """What one group of messages came to, less what is durable already."""

    messages: list[Message]  # to be acknowledged once all the rest is durable
    readings: list[Reading]
    refusals: list[Refusal]
    deliveries: list[Delivery]
    entries: list[Entry]
    pulse_ms: int  # the newest stamp of ours that came back; 0 where none did


@dataclass
class Road:
    """The parts of a running daemon, and what it remembers from turn to turn."""

    settings: Settings
    clock: Clock
    journal: Journal
    subscriber: Subscriber
    cooks: Cooks
    outbox: Outbox
    sender: Sender
    show: Show
    page: Page
    notifier: Notifier
    alarm: Alarm
    repeated: Repeats
    handled_ms: int  # monotonic: when the last message was handled, or the start
    mirror: Mirror | None = None
    care: Care | None = None
    steady: SteadyClock | None = None  # the clock; None where it is an invented one
    undated: list[Reading] = field(default_factory=list)  # until the clock is set
    later_ms: int = 0  # how much later they were, once it is
    stopping: threading.Event = field(default_factory=threading.Event)
    horizon_ms: int = 0
    entries_seen: int = 0
    pulsed_ms: int = 0
    shown_ms: int = 0
    lost_ms: int | None = None  # monotonic: when the link was lost
    back_ms: int = 0  # monotonic: pulses count again from here
    told_away: bool = False
    linked_before: bool = False  # so probes may hold something back after a return
    taken: list[Message] = field(default_factory=list)  # until they are durable
    group: Group | None = None  # what they came to
    unsaid: list[Event] = field(default_factory=list)  # of the site, not yet durable
    recording: str = ""  # why not; "" while all is well
    handled: int = 0
    journalled: int = 0
    watching: Watching = field(init=False)
    numbering: Numbering = field(default_factory=Numbering)

    def __post_init__(self) -> None:
        """Watch the channels of this journal's cooks."""
        self.watching = Watching(self.journal, bound(self.settings.probes))

    @property
    def pulse_ms(self) -> int:
        """How long a turn waits; on an invented clock that runs faster, less."""
        return max(PULSE_MS // self.show.pace, SHORTEST_MS)

    def turn(self) -> None:
        """One turn: everything that arrived is durable, judged and told."""
        self.watch_link()
        self.watch_clock()
        self.watch_board()
        self.taken = self.taken or self.subscriber.take(wait_s=self.pulse_ms / 1000)
        try:
            self.group = self.group or self.decoded(self.taken)
            self.keep_group(self.group)
            if self.taken:
                self.handled += len(self.taken)
                self.handled_ms = self.clock.monotonic_ms()
            pulse_ms, self.taken, self.group = self.group.pulse_ms, [], None
            self.read_entries()
            self.let_time_pass(pulse_ms)
            self.note_recording()
            self.collect()
            self.recall()
        except JournalError as error:
            # Not acknowledged: the broker keeps it, and so do we until it is durable.
            self.fail(error)
        self.tell()  # also while nothing can be recorded
        self.publish()

    def decoded(self, messages: Sequence[Message]) -> Group:
        """Every message as a reading, a refusal, an entry or a pulse."""
        group = Group(list(messages), [], [], [], [], 0)
        client_id = self.settings.broker.client_id
        for message in messages:
            topic = message.arrival.topic
            if topic == pulse_topic(client_id):
                stamp = message.arrival.payload
                if stamp.isdigit() and not message.arrival.retained:
                    group = group._replace(pulse_ms=max(group.pulse_ms, int(stamp)))
            elif topic == acknowledge_topic(client_id):
                self.acknowledged(message, group)
            else:
                self.read(message, group)
        for trouble in self.subscriber.troubles():
            LOG.warning("%s", trouble.why)
            if trouble.forgotten:
                self.say("broker queue", "reporting", "lost", trouble.why)
                self.say("broker queue", "lost", "reporting", "subscribed again")
            if trouble.message:
                arrival = trouble.message.arrival
                word = (arrival.topic, "", arrival.received_ms, trouble.why)
                group.refusals.append(Refusal(*word, arrival.payload))
                group.messages.append(trouble.message)
        if self.undated and self.later_ms:
            group.readings.extend(dated(self.undated, self.later_ms))
            self.undated.clear()
        return group

    def read(self, message: Message, group: Group) -> None:
        """Decode one message into the group; a repeated one adds nothing."""
        arrival = message.arrival
        probes = self.show.probes_on(arrival.topic)
        if message.qos and untimed(probes, arrival) and self.repeats(message, group):
            return
        for one in self.dated_parts(probes, arrival):
            if isinstance(one, Refusal):
                group.refusals.append(one)
            elif (late_ms := self.too_late(one)) > 0:
                why = (
                    f"it came {say_ms(late_ms)} too late to be put in its place; "
                    f"{say_ms(self.settings.lateness_ms)} are waited for"
                )
                word = (arrival.topic, one.channel, arrival.received_ms, why)
                group.refusals.append(Refusal(*word, arrival.payload))
            else:
                group.readings.append(one)

    def repeats(self, message: Message, group: Group) -> bool:
        """Whether a message is known already; from now on it is."""
        if not message.qos:
            return False
        delivery = delivery_of(message)
        known = self.repeated.has(message, delivery)
        if known or (message.duplicate and delivery in group.deliveries):
            return True
        group.deliveries.append(delivery)
        return False

    def dated_parts(
        self, probes: Sequence[Probe], arrival: Arrival
    ) -> Sequence[Decoded]:
        """What a message says, worth no more than the clock that stamped it."""
        if self.steady is None:
            return decode(probes, arrival)
        if self.steady.on_trial and not (arrival.waited or arrival.retained):
            for one in own_times(probes, arrival):
                self.steady.heard(one.at_ms)
        if self.steady.trusted_at(arrival.received_ms):
            return decode(probes, arrival)
        return decode_unset(probes, arrival)

    def too_late(self, reading: Reading) -> int:
        """By how much a reading comes too late; one as good as we have does not."""
        if reading.quality is not Quality.GOOD:
            return 0
        late_ms = self.cooks.too_late(reading)
        at_ms = reading.at_ms
        had = self.journal.readings([reading.channel], at_ms, at_ms) if late_ms else ()
        return 0 if any(one.quality is Quality.GOOD for one in had) else late_ms

    def acknowledged(self, message: Message, group: Group) -> None:
        """Take an acknowledgement that came as a message."""
        answer = read_answer(message.arrival, self.clock.now_ms())
        if isinstance(answer, Refusal):
            group.refusals.append(answer)
        # An old one answers nothing new: it may come again after the alert did.
        elif not (message.arrival.retained or self.repeats(message, group)):
            group.entries.append(answer)

    def keep_group(self, group: Group) -> None:
        """Make a group durable, show the cooks what is new in it, and acknowledge it.

        What is durable leaves the group, so that another try adds it only once.
        """
        screened = self.watching.screened(self.cooks, group.readings, group.refusals)
        if screened.events:  # first, so that no crash leaves a doubt untold
            self.keep("", screened.events)
        new = self.journal.append(
            screened.readings, group.refusals, group.deliveries, group.entries
        )
        self.watching.kept(screened)
        for refusal in group.refusals:
            self.show.refused(refusal)
        deliveries = [*group.deliveries]
        for part in (group.readings, group.refusals, group.deliveries, group.entries):
            part.clear()
        self.journalled += len(new)
        self.numbering.take(new)
        for reading in new:
            self.cooks.take(reading)
            self.show.heard(reading)
            if reading.quality is Quality.CLOCK_UNSET:
                self.undated.append(reading)
                del self.undated[:-UNDATED]
        self.repeated.kept(deliveries, len(group.messages))
        self.subscriber.acknowledge(group.messages)

    def read_entries(self) -> None:
        """Take in what people wrote since the last turn, and the cooks they began."""
        for kept in self.journal.entries(after=self.entries_seen):
            self.entries_seen = kept.number
            if kept.entry.kind is EntryKind.BEGIN:
                self.cooks.notice(kept.number)
            elif running := self.cooks.of(kept.lot):
                if not running.take(kept.entry):
                    self.act_late(running, kept)
            elif kept.entry.kind is EntryKind.END:
                self.cooks.give_up(kept.lot)
            if events := self.watching.written(kept):
                self.keep("", events)

    def act_late(self, running: Running, kept: Kept) -> None:
        """Let an entry act now whose time was already judged."""
        if kept.entry.kind in MOVES:
            at_ms = running.horizon_ms
            self.journal.add_entry(kept.lot, late(kept, at_ms, self.clock.now_ms()))
            running.take(kept.entry._replace(at_ms=at_ms))
            LOG.warning("entry %d came late and acts from now", kept.number)

    def let_time_pass(self, pulse_ms: int) -> None:
        """Move the horizon, and make durable whatever became true by then."""
        now_ms, lateness_ms = self.clock.now_ms(), self.settings.lateness_ms
        still_ms = self.clock.monotonic_ms()
        reached_ms = self.horizon_ms
        if pulse_ms and still_ms >= self.back_ms:
            reached_ms = min(pulse_ms, now_ms) - lateness_ms
        elif still_ms - self.handled_ms > PATIENCE_MS:
            # Nothing at all comes from the broker: the clock takes over, that late.
            reached_ms = now_ms - lateness_ms - PATIENCE_MS * self.show.pace
        self.horizon_ms = max(self.horizon_ms, reached_ms)
        for lot, events in self.cooks.advance(self.horizon_ms):
            self.keep(lot, events)
            self.cooks.kept(lot)
        self.unsaid += self.numbering.missing(self.horizon_ms)
        if self.unsaid:
            self.keep("", self.unsaid)
            self.unsaid.clear()
        self.cooks.keep_states(self.entries_seen)
        for lot in self.cooks.settled():
            # Durable before it is let go: up to here the record will judge it.
            self.journal.add_events(lot, [], now_ms, self.horizon_ms)
            self.journal.settle(lot)
            self.cooks.let_go(lot)

    def keep(self, lot: str, events: Iterable[Event]) -> None:
        """Make events durable."""
        now_ms, horizon_ms = self.clock.now_ms(), self.horizon_ms
        for noticed in self.journal.add_events(lot, list(events), now_ms, horizon_ms):
            event = noticed.event
            LOG.info("%s: %s %s %s", lot or "site", event.name, event.now, event.why)

    def collect(self) -> None:
        """Turn durable events into alerts."""
        contacts = self.settings.contacts
        self.outbox.collect(
            lambda lot: self.cooks.rules_of(lot, contacts),
            self.clock.now_ms(),
            self.cooks.remedies_of,
        )

    def recall(self) -> None:
        """Draw a little more of what was before the start; the road comes first."""
        began_ms = self.clock.monotonic_ms()
        while self.show.recall():
            if self.clock.monotonic_ms() - began_ms >= RECALL_TURN_MS:
                break

    def tell(self) -> None:
        """Send the notices that are due, and keep what became of them."""
        notices = self.alarm.due(self.clock.monotonic_ms())
        try:
            notices += self.outbox.due(self.clock.now_ms())
        except JournalError as error:
            self.fail(error)
        for notice in notices:
            self.sender.offer(notice, self.outbox.address(notice))
        self.note_answers()
        for news in self.mirror.news() if self.mirror else ():
            LOG.info("mirror: %s %s", news.condition, news.why)

    def note_answers(self) -> None:
        """Keep what became of the notices that were offered."""
        now_ms = self.clock.now_ms()
        for notice, outcome, why in self.sender.finished():
            if notice.alert == OURS:
                self.alarm.answered(notice, outcome, self.clock.monotonic_ms())
            else:
                self.outbox.told(notice, outcome, now_ms, why)

    def watch_link(self) -> None:
        """Pulse once a second, and see whether the broker is there."""
        now_ms, state = self.clock.monotonic_ms(), self.subscriber.state
        if now_ms - self.pulsed_ms >= self.pulse_ms:
            self.pulsed_ms = now_ms
            self.subscriber.pulse()
        well, lost = state.connected and not state.why, self.lost_ms is not None
        if self.linked_before and (not state.connected or (well and lost)):
            self.back_ms = now_ms + RETURN_MS
        if not well:  # lost, or let in but mute, deaf or again and again
            self.lost_ms = now_ms if self.lost_ms is None else self.lost_ms
            if now_ms - self.lost_ms > AWAY_MS and not self.told_away:
                self.told_away = True
                self.say("broker", "reporting", "away", f"broker: {state.why}")
        elif self.lost_ms is not None:
            self.lost_ms = None
            if self.told_away:
                self.told_away = False
                self.say("broker", "away", "reporting", "broker: it is back")
        self.linked_before = self.linked_before or state.connected

    def watch_clock(self) -> None:
        """See whether the board's clock was set, and what that makes known."""
        turned = self.steady.look() if self.steady else None
        if turned is None:
            return
        self.say("clock", turned.was, turned.now, turned.why)
        if turned.was is Word.UNSET:
            self.later_ms = turned.followed_ms

    def watch_board(self) -> None:
        """See what befell the board, and say that the road moves."""
        for change in self.cooks.news():
            self.say(*change)
        if self.care:
            now_ms = self.clock.monotonic_ms()
            for change in self.care.look(now_ms, recording=not self.recording):
                self.say(*change)

    def say(self, name: str, was: str, now: str, why: str) -> None:
        """Make an event of what befell the site; it is kept in this turn or a later."""
        at_ms = self.clock.now_ms()
        self.unsaid.append(Event(at_ms, Subject.CHANNEL, name, "", was, now, why))

    def note_recording(self) -> None:
        """All is recorded; if it was not for a while, the record has to show it."""
        self.recording = ""
        if words := self.alarm.well(self.clock.monotonic_ms()):
            self.say("journal", "not recording", "reporting", words)

    def fail(self, error: JournalError) -> None:
        """Say that nothing is being recorded, and let a moment pass.

        Raises:
            JournalError: The file is damaged: it has to be opened anew.
        """
        if error.trouble in DAMAGE:
            raise error
        if self.recording != str(error):
            LOG.error("not recording: %s", error)
        self.recording = str(error)
        self.alarm.failing(self.recording, self.clock.monotonic_ms())
        self.stopping.wait(RETRY_S)

    def publish(self) -> None:
        """Show how everything stands, once a second, and say that the road moves."""
        now_ms = self.clock.monotonic_ms()
        if now_ms - self.shown_ms < self.pulse_ms:
            return
        self.shown_ms = now_ms
        self.page.publish(self.show.view(self))
        link = self.subscriber.state
        state = (
            "recording" if not self.recording else f"NOT RECORDING: {self.recording}"
        )
        broker = "connected" if link.connected else f"broker: {link.why}"
        self.notifier.alive(f"{state}; {broker}; {self.handled} messages")

    def close(self) -> None:
        """End every part; what is not acknowledged comes again another time."""
        self.notifier.stopping()
        self.subscriber.stop()
        self.sender.close()
        self.note_answers()
        for part in (self.mirror, self.care):
            if part:
                part.close()
        self.page.stop()
        self.journal.close()


def run(
    settings: Settings, environment: Mapping[str, str], said: Callable[[str], None]
) -> None:
    """Run the daemon until it is told to stop.

    Raises:
        JournalError: The journal cannot be used.
        PageError: The page's port cannot be had.
        OSError: The certificate authority's file cannot be read.
    """
    stopping = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stopping.set())
    settings.journal.parent.mkdir(parents=True, exist_ok=True)
    # Not held meanwhile: on a disk that may only be read there is nothing to hold.
    unopened = Unopened(settings, clock_of(settings.pace), Notifier(environment))
    unopened.wait(stopping)
    try:
        with held(settings.journal):
            while not stopping.is_set():
                drive(settings, environment, said, stopping, unopened)
    finally:
        unopened.sender.close()


def drive(
    settings: Settings,
    environment: Mapping[str, str],
    said: Callable[[str], None],
    stopping: threading.Event,
    unopened: Unopened,
) -> None:
    """Run until it is told to stop, or until the journal has to be opened anew."""
    with Notifier(environment).starting("looking over the journal"):
        road = assembled(settings, environment, clock_of(settings.pace))
    road.stopping = stopping
    road.alarm, road.sender = unopened.alarm, unopened.sender
    try:
        road.care = Care(settings, road.journal, partial(last_word, road.journal))
        road.page.start()
        road.subscriber.start()
        said(f"page: http://{settings.page.listen}:{road.page.port}/")
        said(f"broker: {settings.broker.host}:{settings.broker.port}")
        road.notifier.ready()
        while not stopping.is_set():
            road.turn()
    except JournalError as error:
        if error.trouble not in DAMAGE:
            raise
        LOG.error("the journal is damaged, and is opened anew: %s", error)
        stopping.wait(RETRY_S)
    finally:
        road.close()


def assembled(settings: Settings, environment: Mapping[str, str], board: Clock) -> Road:
    """The road of a site, ready for its first turn.

    Raises:
        JournalError: The journal cannot be used.
        PageError: The page's port cannot be had.
        OSError: The certificate authority's file cannot be read.
    """
    settings.journal.parent.mkdir(parents=True, exist_ok=True)
    notifier = Notifier(environment)
    journal, rescued = open_sound(
        settings.journal,
        board.now_ms(),
        lambda: notifier.busy("reading a damaged journal over"),
    )
    for loss in rescued.losses if rescued else ():
        LOG.error("lost with the damaged journal: %s", loss)
    steady = None if settings.pace else SteadyClock(board, last_known_ms(journal))
    clock = steady or board
    cooks = Cooks(journal)
    for _, trouble in cooks.troubles.values():
        LOG.error("%s", trouble)
    topics = (*settings.topics, acknowledge_topic(settings.broker.client_id))
    heard = bool(journal.latest())  # so the broker has kept a session for us
    contacts = {name: one.reveal() for name, one in settings.contacts.items()}
    show = Show(settings)
    show.remember(journal, clock.now_ms())
    numbering = Numbering()
    counted = [numbers_of(name) for name in show.channels]
    numbering.take(journal.readings(counted, clock.now_ms() - RECALL_MS, 1 << 62))
    page = Page(
        settings.page.listen,
        settings.page.port,
        writer(settings.journal),
        now_ms=clock.now_ms,
        lots=Lots(settings.journal, settings.records),
    )
    mirror = None
    if to := settings.mirror:
        target = (to.url, to.organisation, to.bucket, settings.site, to.token.reveal())
        mirror = Mirror(Target(*target), settings.journal)
    road = Road(
        settings=settings,
        clock=clock,
        journal=journal,
        subscriber=Subscriber(settings.broker, topics, clock, known=heard),
        cooks=cooks,
        outbox=Outbox(journal, contacts),
        sender=Sender(),
        show=show,
        page=page,
        notifier=notifier,
        alarm=Alarm(contacts),
        repeated=Repeats(journal),
        handled_ms=clock.monotonic_ms(),
        mirror=mirror,
        steady=steady,
        entries_seen=cooks.entries_seen,
        numbering=numbering,
    )
    with contextlib.suppress(OSError):  # on a full disk another start is soon enough
        damaged_head.save(journal.connection, settings.journal)
    if steady:
        steady.say_before(last_word(journal, "clock"))
    if last_word(journal, "broker") == "away":
        road.told_away, road.lost_ms = True, clock.monotonic_ms()
    return road


def last_known_ms(journal: Journal) -> int:
    """The newest time of the site that the journal knows of; 0 where there is none."""
    received = [one.received_ms for one in journal.latest().values()]
    concluded = [journal.horizon(cook.lot) for cook in journal.cooks()]
    return max([0, *received, *concluded])


def last_word(journal: Journal, name: str) -> str:
    """How this part of the site stood when it was last told of; "" if it never was."""
    told = (noticed.event for noticed in journal.events(""))
    return next((one.now for one in reversed([*told]) if one.name == name), "")
