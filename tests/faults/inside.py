"""A site inside the test's own process, on a clock that the test moves by hand.

The road, the journal, the outbox and its sender, the broker and the receiver are the
real ones; only the board's clock is a value.  Between two steps no time passes, so
that every reading's time is known exactly, whatever the machine is busy with.
"""

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from daemon.clock import Clock
from daemon.journal import Cook, Journal
from daemon.mqtt import Subscriber, pulse_topic
from daemon.run import Road, assembled
from daemon.settings import Settings, load
from probes.contract import Probe
from probes.encode import encode_all
from probes.script import MINUTE_MS
from probes.simulator import Sample, simulate
from rules.facts import Quality, Reading
from rules.replay import replay
from tests.end_to_end.site import BEGINS_MS
from tests.faults import day
from tests.faults.row import Row, compared, events_against
from tests.receivers import HttpReceiver
from tests.servers import Mosquitto, mosquitto, unused_port, wait_for

SETTINGS = """\
site: Juniper Yard (invented)
journal: journal.db
records: records
key: device-key.pem
lateness: 10 min
broker: {{host: 127.0.0.1, port: {port}, client id: inside, in flight: 1000}}
channels:
  - {{channel: chamber, smokehouse: north, role: chamber, topic: yard/chamber,
     payload: number, unit: degC, every: 1 min, quiet after: 5 min, accuracy: 1 K}}
  - {{channel: core-1, smokehouse: north, role: core, topic: yard/core-1,
     payload: senml, record: core-1, unit: degC, every: 10 s, quiet after: 5 min,
     accuracy: 0.5 K}}
  - {{channel: core-2, smokehouse: north, role: core, topic: yard/core-2,
     payload: senml, record: core-2, unit: degC, every: 10 s, quiet after: 5 min,
     accuracy: 0.5 K}}
  - {{channel: core-3, smokehouse: north, role: core, topic: yard/core-3,
     payload: senml, record: core-3, unit: degC, every: 10 s, quiet after: 5 min,
     accuracy: 0.5 K}}
contacts:
  - {{contact: operator, address: "{address}"}}
page: {{port: {page}}}
"""

EVERY_MS = 10_000
AFTER_MIN = 25  # the last verdict is certain so long after the cook
AT_ONCE = f"{day.QUICK}\nset_tcp_nodelay true"


@dataclass
class Board(Clock):
    """The clocks of a board, as somebody sets them."""

    board_ms: int
    count_ms: int = 5_000

    def now_ms(self) -> int:
        """What the board takes for the time of day."""
        return self.board_ms

    def monotonic_ms(self) -> int:
        """What it counts."""
        return self.count_ms

    def passes(self, ms: int) -> None:
        """Let time pass."""
        self.board_ms += ms
        self.count_ms += ms


@dataclass
class Inside:
    """A site, and the true time that its probes know."""

    folder: Path
    broker: Mosquitto
    receiver: HttpReceiver
    settings: Settings
    board: Board = field(default_factory=lambda: Board(BEGINS_MS))
    true_ms: int = BEGINS_MS
    published: list[Reading] = field(default_factory=list)
    undated: int = 0  # bare numbers published while the board's clock was not set
    road: Road | None = field(default=None, init=False)
    client: Client = field(init=False)

    def __post_init__(self) -> None:
        """Let the probes connect, and take note of what each is."""
        self.probes = {probe.channel: probe for probe in self.settings.probes}
        self.client = Client(CallbackAPIVersion.VERSION2, client_id="probes")
        self.client.max_inflight_messages_set(500)
        self.client.connect("127.0.0.1", self.broker.port)
        self.client.loop_start()

    def start(self) -> Road:
        """Start the road; return once it is connected and its pulse has come back."""
        self.road = assembled(self.settings, {}, self.board)
        self.road.subscriber.start()
        road = self.road
        wait_for(lambda: road.subscriber.state.connected, "the broker")
        self.take_in()
        return road

    def stop(self) -> None:
        """End the road."""
        if self.road:
            self.road.page.start()  # what was never started cannot be stopped
            self.road.close()
            self.road = None

    def begin(self) -> None:
        """Begin the cook."""
        journal = Journal(self.settings.journal)
        cook = Cook(
            day.LOT,
            "north",
            day.SCHEDULE.read_text(),
            str(day.SCHEDULE),
            self.settings.channels("north"),
            self.true_ms,
            "AB",
        )
        journal.begin(cook, self.true_ms)
        journal.close()

    def samples(self) -> Iterator[list[Sample]]:
        """The cook's samples minute by minute, those of the chamber thinned out."""
        script = day.short_day(self.true_ms, EVERY_MS, seed=5)
        minute: list[Sample] = []
        until_ms = self.true_ms + MINUTE_MS
        for sample in simulate(script):
            if sample.at_ms >= until_ms:
                yield minute
                minute, until_ms = [], until_ms + MINUTE_MS
            minute.append(sample)

    def minute(self, samples: Sequence[Sample], *, undated: bool = False) -> None:
        """Let a minute pass, and the probes publish what they saw in it."""
        self.send(self.seen(samples, undated=undated))

    def seen(
        self, samples: Sequence[Sample], *, undated: bool = False
    ) -> list[tuple[str, bytes]]:
        """Let a minute pass; answer what the probes have to publish then."""
        self.passes(MINUTE_MS)
        seen = [(one, one.at_ms) for one in samples if one.channel != "chamber"]
        chamber = [one for one in samples if one.channel == "chamber"][-1:]
        seen += [(one, self.true_ms) for one in chamber]
        self.undated += undated and len(chamber)
        for sample, at_ms in seen:
            probe = self.probes[sample.channel]
            reading = (sample.channel, at_ms, sample.value_mc, probe.accuracy_mc)
            self.published.append(Reading(*reading))
        return [self.message(*one) for one in seen]

    def message(self, sample: Sample, at_ms: int) -> tuple[str, bytes]:
        """One sample as a message."""
        probe: Probe = self.probes[sample.channel]
        return probe.topic, encode_all([(probe, sample.value_mc)], at_ms)

    def passes(self, ms: int) -> None:
        """Let time pass, for the board and in truth."""
        self.true_ms += ms
        self.board.passes(ms)

    def send(self, messages: Iterable[tuple[str, bytes]]) -> None:
        """Publish, behind a pulse, and let the road take it all in."""
        self.publish(messages)
        if self.road:
            self.take_in()

    def publish(self, messages: Iterable[tuple[str, bytes]]) -> None:
        """Publish, behind a pulse; return when the broker has it all."""
        if self.road:
            self.pulse(self.road.subscriber)
        sent = [self.client.publish(*message, qos=1) for message in messages]
        for one in sent:
            one.wait_for_publish(60)

    def pulse(self, subscriber: Subscriber) -> None:
        """Send a pulse, and wait until it has vouched for what comes behind it."""
        now_ms = self.board.count_ms
        subscriber.pulse()
        _soon(lambda: subscriber._vouched_ms == now_ms, "the pulse")

    def take_in(self) -> None:
        """Turn the road until all that was published by now has been handled."""
        queued = self.come_in()
        assert self.road is not None
        while queued():
            self.road.turn()

    def come_in(self) -> Callable[[], list[bytes]]:
        """Wait until all that was published is here; answer what shows the queue."""
        assert self.road is not None
        subscriber, topic = self.road.subscriber, pulse_topic("inside")
        mark = b"%d" % (self.road.clock.now_ms() - 1)  # unlike a pulse of the road's

        def queued() -> list[bytes]:
            with subscriber._changed:
                return [one.arrival.payload for one in subscriber._queue]

        self.client.publish(topic, mark, qos=1)
        _soon(lambda: mark in queued(), "what was published to come in")
        return queued

    def finish(self, fault: str, tried: int, remarks: Sequence[str] = ()) -> Row:
        """Let the last verdict become certain, and count."""
        for _ in range(AFTER_MIN):
            self.passes(MINUTE_MS)
            self.send([])
        with Journals(self.settings.journal) as journal:
            kept = list(journal.readings(day.NAMES, 0, 1 << 62))
            cook, until_ms = journal.cook(day.LOT), journal.horizon(day.LOT)
            events = [noticed.event for noticed in journal.events(day.LOT)]
            refusals = [refusal.why for _, refusal in journal.refusals()]
        assert cook is not None
        plan = (day.schedule_in(cook), cook.channels, cook.begun_ms)
        mine = [one for one in self.published if one.at_ms >= cook.begun_ms]
        wanted = replay(*plan, mine, [], until_ms).events
        unset = [one for one in kept if one.quality is Quality.CLOCK_UNSET]
        counts = compared(self.published, [one for one in kept if one not in unset])
        words = [*remarks, *(f"refused: {why}" for why in refusals[:3])]
        if len(unset) != self.undated:
            words.append(f"{len(unset)} readings are marked of {self.undated}")
        due = day.alerts_due(self.settings.journal, wanted)
        delivered = self.delivered(due)
        against = events_against(events, wanted)
        return Row(fault, tried, *counts, against, len(due), delivered, tuple(words))

    def delivered(self, due: day.Subjects) -> int:
        """How many of the alerts that are due have arrived, once all should."""

        def arrived() -> bool:
            if self.road:
                self.passes(1_000)
                self.take_in()
            return day.arrived(self.settings.journal, self.receiver) >= due

        try:
            wait_for(arrived, "every alert to arrive", deadline_s=60)
        except AssertionError:
            return len(day.arrived(self.settings.journal, self.receiver) & due)
        return len(due)


def _soon(true: Callable[[], object], what: str) -> None:
    """Return once ``true`` says so: it does within a millisecond or two, as a rule."""
    for _ in range(50):
        if true():
            return
        time.sleep(0.001)
    wait_for(true, what, deadline_s=60)


@contextmanager
def Journals(path: Path) -> Iterator[Journal]:
    """A journal that is closed at the end."""
    journal = Journal(path)
    try:
        yield journal
    finally:
        journal.close()


@contextmanager
def inside(folder: Path) -> Iterator[Inside]:
    """A site inside this process, its parts started, its road not yet."""
    folder.mkdir(parents=True, exist_ok=True)
    with mosquitto(folder, shipped=AT_ONCE) as broker, HttpReceiver() as receiver:
        path = folder / "settings.yaml"
        text = SETTINGS.format(
            port=broker.port, address=receiver.address, page=unused_port()
        )
        path.write_text(text)
        settings = load(path, {})
        assert isinstance(settings, Settings), settings
        site = Inside(folder, broker, receiver, settings)
        try:
            yield site
        finally:
            site.stop()
            site.client.loop_stop()
            site.client.disconnect()
