"""A whole invented site for a test: broker, receiver, settings, daemon, probes.

Every part is the real one, started on free loopback ports and ended with the test.
The daemon runs as its own process on a clock that goes ``times`` as fast.
"""

import subprocess
import sys
import threading
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import groupby
from pathlib import Path

from paho.mqtt.client import Client, MQTTMessageInfo
from paho.mqtt.enums import CallbackAPIVersion

from daemon.clock import Clock, Pace, PacedClock
from daemon.journal import Cook, Journal, Noticed
from daemon.settings import Settings, load
from probes.contract import Probe
from probes.encode import encode_all
from probes.simulator import Sample
from probes.stamps import say_stamp
from rules.facts import Event, Reading
from rules.replay import Outcome, replay
from rules.schedule import Schedule, read_schedule
from tests.receivers import HttpReceiver
from tests.servers import Mosquitto, unused_port, wait_for

BEGINS_MS = 1_768_021_200_000  # 2026-01-10T05:00:00Z, an invented morning

SETTINGS = """\
site: Juniper Yard (invented)
journal: journal.db
records: records
key: device-key.pem
lateness: {lateness}
broker:
  host: 127.0.0.1
  port: {port}
  client id: fumarium-test
  user: fumarium
  password: {{environment: FUMARIUM_TEST_PASSWORD}}
  in flight: 1000
channels:
  - {{channel: chamber, smokehouse: north, role: chamber, topic: yard/chamber,
     payload: json, value at: /chamber, time at: /at, unit: degF, every: {every},
     quiet after: 5 min, accuracy: 1 K}}
  - {{channel: core-1, smokehouse: north, role: core, topic: yard/cores,
     payload: senml, record: core-1, unit: degC, every: {every},
     quiet after: 5 min, accuracy: 0.5 K}}
  - {{channel: core-2, smokehouse: north, role: core, topic: yard/cores,
     payload: senml, record: core-2, unit: degC, every: {every},
     quiet after: 5 min, accuracy: 0.5 K}}
  - {{channel: core-3, smokehouse: north, role: core, topic: yard/cores,
     payload: senml, record: core-3, unit: degC, every: {every},
     quiet after: 5 min, accuracy: 0.5 K}}
  - {{channel: cooler, smokehouse: north, role: cooler, topic: yard/cooler,
     payload: number, unit: degC, every: 1 h, quiet after: 20 h, accuracy: 1 K}}
contacts:
  - {{contact: operator, address: "{address}"}}
page: {{port: {page}}}
pace: {{begins: 2026-01-10T05:00:00Z, times: {times}, since: {since}}}
"""

ROOT = Path(__file__).parents[2]
MISSED_MS = 300_000
PASSWORD = "invented-for-the-test"


@dataclass
class Site:
    """One site in a folder of its own."""

    folder: Path
    broker: Mosquitto
    receiver: HttpReceiver
    times: int
    every: str = "30 s"
    lateness: str = "20 min"
    password: str = field(default=PASSWORD, init=False)
    pace: Pace = field(init=False)
    settings: Settings = field(init=False)
    process: "subprocess.Popen[bytes] | None" = field(default=None, init=False)

    def __post_init__(self) -> None:
        """Write the settings and make the key."""
        self.pace = Pace(BEGINS_MS, self.times, Clock().now_ms())
        self.clock = PacedClock(self.pace)
        text = SETTINGS.format(
            port=self.broker.port,
            address=self.receiver.address,
            page=unused_port(),
            times=self.times,
            since=say_stamp(self.pace.since_ms),
            every=self.every,
            lateness=self.lateness,
        )
        self.path.write_text(text)
        found = load(self.path, self.environment)
        assert isinstance(found, Settings), found
        self.settings = found
        self.command("key", "create")

    @property
    def path(self) -> Path:
        """The settings file."""
        return self.folder / "settings.yaml"

    @property
    def environment(self) -> dict[str, str]:
        """What the daemon's process is given."""
        return {
            "PYTHONPATH": str(ROOT),
            "FUMARIUM_TEST_PASSWORD": self.password,
            "PATH": "/usr/bin:/bin",
        }

    def start(self) -> None:
        """Start the daemon; return once its page has its port."""
        command = [sys.executable, "-m", "daemon.cli", "run"]
        with (self.folder / "daemon.log").open("ab") as log:
            self.process = subprocess.Popen(
                [*command, "--settings", str(self.path)],
                stdout=subprocess.PIPE,
                stderr=log,
                env=self.environment,
            )
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert line.startswith(b"page: "), (line, self.log())

    def kill(self) -> None:
        """End the daemon as a power cut does."""
        assert self.process is not None
        self.process.kill()
        self._gone()

    def stop(self) -> None:
        """End the daemon as a service manager does."""
        if self.process is not None:
            self.process.terminate()
            self._gone()

    def _gone(self) -> None:
        assert self.process is not None
        assert self.process.stdout is not None
        self.process.stdout.close()
        self.process.wait(30)
        self.process = None

    def log(self) -> str:
        """What the daemon has said."""
        return (self.folder / "daemon.log").read_text()

    def command(self, *words: str, code: int = 0) -> str:
        """Type a command; answer what it printed, or fail on another exit code."""
        at = ["--settings", str(self.path)] if words[0] not in WITHOUT else []
        done = subprocess.run(
            [sys.executable, "-m", "daemon.cli", *words, *at],
            capture_output=True,
            text=True,
            env=self.environment,
            cwd=self.folder,
            timeout=60,
        )
        assert done.returncode == code, (words, done.returncode, done.stderr)
        return done.stdout + done.stderr

    @contextmanager
    def journal(self) -> Iterator[Journal]:
        """The daemon's journal, opened beside it."""
        journal = Journal(self.settings.journal)
        try:
            yield journal
        finally:
            journal.close()

    def events(self, lot: str) -> list[Noticed]:
        """The durable events of a lot."""
        with self.journal() as journal:
            return journal.events(lot)

    def wait_until_judged(self, lot: str, deadline_s: float = 60.0) -> None:
        """Wait until the cook has ended and its last verdict is durable."""

        def judged() -> bool:
            with self.journal() as journal:
                ends = [e for e in journal.events(lot) if e.event.subject == "cook"]
                return bool(ends) and journal.horizon(lot) > ends[0].event.at_ms

        wait_for(judged, f"lot {lot} to be judged", self.log, deadline_s)

    def wait_until_kept(self, readings: int, deadline_s: float = 60.0) -> None:
        """Wait until so many readings are durable."""

        def kept() -> int:
            with self.journal() as journal:
                return journal.counts().readings

        wait_for(lambda: kept() >= readings, f"{readings} readings", kept, deadline_s)


WITHOUT = ("verify", "check", "rehearse")


@dataclass
class Probes:
    """Simulated probes that publish through the broker when their time has come."""

    site: Site
    samples: Sequence[Sample]
    published: list[Reading] = field(default_factory=list)
    numbers: list[str] = field(default_factory=list)

    def start(self) -> None:
        """Publish in the background."""
        self._thread = threading.Thread(target=self.publish, daemon=True)
        self._thread.start()

    def done(self, deadline_s: float = 120.0) -> None:
        """Wait until everything is published."""
        self._thread.join(deadline_s)
        assert not self._thread.is_alive()

    def publish(self) -> None:
        """Publish every sample at QoS 1; return when the broker has them all."""
        client = Client(CallbackAPIVersion.VERSION2, client_id="probes")
        client.username_pw_set("fumarium", PASSWORD)
        client.connect("127.0.0.1", self.site.broker.port)
        client.loop_start()
        probes = {probe.channel: probe for probe in self.site.settings.probes}
        clock, times = self.site.clock, self.site.times
        lag_ms = clock.now_ms() - self.samples[0].at_ms
        for sample_ms, group in groupby(self.samples, key=lambda one: one.at_ms):
            at_ms = sample_ms + lag_ms
            early_ms = at_ms - clock.now_ms()
            if early_ms < -MISSED_MS:
                continue  # a starved machine: this probe has missed its moment
            time.sleep(max(0.0, early_ms / times / 1000))
            last = self._send(client, probes, list(group), at_ms)
        last.wait_for_publish(30)
        client.loop_stop()
        client.disconnect()

    def _send(
        self, client: Client, probes: dict[str, Probe], group: list[Sample], at_ms: int
    ) -> MQTTMessageInfo:
        topics: dict[str, list[tuple[Probe, int]]] = {}
        for sample in group:
            probe = probes[sample.channel]
            topics.setdefault(probe.topic, []).append((probe, sample.value_mc))
            reading = (probe.channel, at_ms, sample.value_mc, probe.accuracy_mc)
            self.published.append(Reading(*reading))
        for topic, sent in topics.items():
            last = client.publish(topic, encode_all(sent, at_ms), qos=1)
        return last


def undisturbed(site: Site, lot: str, readings: Iterable[Reading]) -> Outcome:
    """What the cook comes to if every reading is judged and nothing ever fails."""
    with site.journal() as journal:
        cook = journal.cook(lot)
        entries = [kept.entry for kept in journal.entries(lot)]
        until_ms = journal.horizon(lot)
    assert isinstance(cook, Cook)
    schedule = read_schedule(cook.schedule_path, cook.schedule)
    assert isinstance(schedule, Schedule)
    mine = [one for one in readings if one.at_ms >= cook.begun_ms]
    return replay(schedule, cook.channels, cook.begun_ms, mine, entries, until_ms)


def plain(events: Iterable[Event]) -> list[Event]:
    """Events in an order that does not depend on when they were noticed."""
    return sorted(events, key=lambda event: event.key)
