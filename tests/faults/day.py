"""A short invented cook on a whole site, to be disturbed while it goes on.

The clock goes so many times as fast that the probes publish more than 500 readings a
second; in the hour of the cook the fire dies and a probe goes quiet, so that
there are events and alerts to be lost.  Every part is the real one.
"""

import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import groupby
from pathlib import Path

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from daemon.journal import Cook, Journal
from daemon.outbox import Outbox
from probes.script import (
    MINUTE_MS,
    Around,
    Happening,
    House,
    Piece,
    Probe,
    Script,
    Shows,
    Step,
    What,
)
from probes.simulator import simulate
from rules.facts import Event, Subject
from rules.schedule import Schedule, read_schedule
from tests.end_to_end.site import BEGINS_MS, MISSED_MS, PASSWORD, Probes, Site
from tests.end_to_end.site import undisturbed as replayed
from tests.faults.row import Row, compared, events_against, together
from tests.receivers import HttpReceiver
from tests.servers import SHIPPED, Mosquitto, mosquitto, wait_for

SCHEDULE = Path(__file__).parent / "links.yaml"
LOT = "F-001"
NAMES = ("chamber", "core-1", "core-2", "core-3")
TIMES, EVERY_S = 680, 5  # 4 channels: 544 readings a second
QUICK = "max_queued_messages 0\nmax_inflight_messages 1000"  # no store at each change
RETURN_MS = 4_000  # instead of 15 s: probes here come back at once
BACK_OFF_S = 1  # instead of 30 s at the longest: every cut is to find a link
PATIENCE_S = 240.0


def short_day(begins_ms: int, every_ms: int, seed: int) -> Script:
    """A cook of more than an hour in which the fire dies and a probe goes quiet."""
    cores = NAMES[1:]
    return Script(
        begins_ms=begins_ms,
        every_ms=every_ms,
        pieces=tuple(
            Piece(name, 0.018 + n / 1000, 11.0, load_kg=4.0, moist=0.03)
            for n, name in enumerate(cores)
        ),
        probes=(
            Probe(NAMES[0], Shows.CHAMBER),
            *(Probe(name, Shows.CORE, name) for name in cores),
        ),
        steps=(
            Step("dry", Around.CHAMBER, 55.0, lasts_ms=12 * MINUTE_MS),
            Step("smoke", Around.CHAMBER, 60.0, lasts_ms=25 * MINUTE_MS),
            Step("cook", Around.CHAMBER, 79.0, until_c=70.2),
            Step("chill", Around.ICE_BATH, until_c=3.2),
            Step("cooler", Around.COOLER, 2.5, lasts_ms=5 * MINUTE_MS),
        ),
        happenings=(
            Happening(What.FIRE_OUT, 17 * MINUTE_MS, 27 * MINUTE_MS),
            Happening(What.QUIET, 25 * MINUTE_MS, 33 * MINUTE_MS, channel="core-2"),
        ),
        house=House(starts_c=30.0, walls_j_k=30_000.0),
        seed=seed,
    )


@dataclass
class FaultSite(Site):
    """A site whose daemon runs with what ``tests.faults.child`` is told."""

    child: tuple[str, ...] = ()
    running: Mosquitto = field(kw_only=True)  # which ``broker`` leads to
    starts: int = field(default=0, init=False)

    def start(self) -> None:
        """Start the daemon; return once its page has its port."""
        self.starts += 1
        options = [one.format(seed=self.starts) for one in self.child]
        command = [sys.executable, "-m", "tests.faults.child", *options]
        with (self.folder / "daemon.log").open("ab") as log:
            self.process = subprocess.Popen(
                [*command, "run", "--settings", str(self.path)],
                stdout=subprocess.PIPE,
                stderr=log,
                env=self.environment,
            )
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert line.startswith(b"page: "), (line, self.log())


@dataclass
class Keeping(Probes):
    """Probes that keep what the broker has not acknowledged, and send it again."""

    left: int = field(default=-1, init=False)  # what the broker never acknowledged
    spoke_s: float = field(default=0.0, init=False)  # from the first to the last sample

    @property
    def speak(self) -> bool:
        """Whether there is still something that they have to say."""
        return self._thread.is_alive()

    def publish(self) -> None:
        """Publish every sample at QoS 1; return when the broker has them all."""
        client = Client(CallbackAPIVersion.VERSION2, client_id="probes")
        client.username_pw_set("fumarium", PASSWORD)
        client.reconnect_delay_set(1, 1)
        client.max_inflight_messages_set(200)
        client.connect("127.0.0.1", self.site.broker.port)
        client.loop_start()
        probes = {probe.channel: probe for probe in self.site.settings.probes}
        clock, times = self.site.clock, self.site.times
        lag_ms = clock.now_ms() - self.samples[0].at_ms
        began_s = time.monotonic()
        for sample_ms, group in groupby(self.samples, key=lambda one: one.at_ms):
            at_ms = sample_ms + lag_ms
            early_ms = at_ms - clock.now_ms()
            if early_ms < -MISSED_MS:
                continue  # a starved machine: this probe has missed its moment
            time.sleep(max(0.0, early_ms / times / 1000))
            self._send(client, probes, list(group), at_ms)
        self.spoke_s = time.monotonic() - began_s
        # Nothing may be asked of the messages: what was published while nobody
        # listened is kept by paho all the same, and its answer says otherwise.
        end_s = time.monotonic() + PATIENCE_S
        while client._out_messages and time.monotonic() < end_s:
            time.sleep(0.05)
        self.left = len(client._out_messages)
        client.loop_stop()
        client.disconnect()


@contextmanager
def site(
    folder: Path,
    *child: str,
    shipped: str = SHIPPED,
    through: Callable[[int], int] = int,
    times: int = TIMES,
    every: str = f"{EVERY_S} s",
    lateness: str = "20 min",
) -> Iterator[FaultSite]:
    """A running site in a folder; ``through`` may put a wire before the broker."""
    users = {"fumarium": PASSWORD}
    folder.mkdir(parents=True, exist_ok=True)
    with (
        mosquitto(folder, users, shipped=shipped) as broker,
        HttpReceiver() as receiver,
    ):
        seen = Mosquitto(broker.folder, through(broker.port))
        back_off = ("--back-off-s", str(BACK_OFF_S))
        options = ("--return-ms", str(RETURN_MS), *back_off, *child)
        made = FaultSite(
            *(folder, seen, receiver, times, every, lateness),
            child=options,
            running=broker,
        )
        made.start()
        try:
            yield made
        finally:
            made.stop()


def disturbed(
    fault: str, site: FaultSite, at_most: int, disturb: Callable[[], None], seed: int
) -> Row:
    """One cook while whose probes speak ``disturb`` does its worst; the count."""
    site.command("begin", str(SCHEDULE), "--lot", LOT, "--who", "AB")
    script = short_day(BEGINS_MS, EVERY_S * 1000, seed)
    probes = Keeping(site, list(simulate(script)))
    probes.start()
    tried = 0
    while tried < at_most and probes.speak:
        disturb()
        tried += 1
    probes.done(PATIENCE_S)
    assert probes.left == 0, f"the broker never took {probes.left} messages"
    site.wait_until_judged(LOT, PATIENCE_S)
    return counted(fault, site, tried, probes)


def cooks(folder: Path, times: int, cook: Callable[[Path, int, int], Row]) -> Row:
    """As many cooks, each with another seed, as it takes to try so often."""
    rows: list[Row] = []
    while (tried := sum(row.tried for row in rows)) < times:
        rows.append(cook(folder / str(len(rows)), times - tried, len(rows)))
    return together(rows)


def counted(fault: str, site: FaultSite, tried: int, probes: Keeping) -> Row:
    """What the site's journal and receiver hold against what should be there."""
    with site.journal() as journal:
        kept = compared(probes.published, journal.readings(NAMES, 0, 1 << 62))
        refusals = [refusal.why for _, refusal in journal.refusals()]
        intact = journal.integrity()
    wanted = replayed(site, LOT, probes.published).events
    events = [noticed.event for noticed in site.events(LOT)]
    due = alerts_due(site.settings.journal, wanted)
    delivered = delivered_of(site, due)
    remarks = [f"refused: {why}" for why in refusals[:3]]
    if intact != "ok":
        remarks.append(f"integrity: {intact}")
    against = events_against(events, wanted)
    told = (against, len(due), delivered, tuple(remarks))
    return Row(fault, tried, *kept, *told, spoke_s=probes.spoke_s)


Subjects = set[tuple[Subject, str]]


def alerts_due(journal: Path, events: Sequence[Event]) -> Subjects:
    """What an outbox that nothing ever disturbed calls people for."""
    path = journal.parent / "undisturbed.db"
    path.unlink(missing_ok=True)
    quiet, real = Journal(path), Journal(journal)
    cook = real.cook(LOT)
    assert isinstance(cook, Cook)
    quiet.begin(cook, cook.begun_ms)
    quiet.add_events(LOT, events, cook.begun_ms, cook.begun_ms)
    outbox = Outbox(quiet, {})
    outbox.collect(lambda _: schedule_in(cook).alert_rules, cook.begun_ms)
    due = {(alert.subject, alert.name) for alert in outbox.alerts(LOT)}
    quiet.close()
    real.close()
    return due


def schedule_in(cook: Cook) -> Schedule:
    """The schedule that the cook was begun with."""
    schedule = read_schedule(cook.schedule_path, cook.schedule)
    assert isinstance(schedule, Schedule)
    return schedule


def arrived(journal: Path, receiver: HttpReceiver) -> Subjects:
    """What the lot's alerts that have really arrived are about.

    One that waits for an answer bears its number; any other is known by its title.
    """
    came = receiver.arrived
    opened = Journal(journal)
    alerts = Outbox(opened, {}).alerts(LOT)
    opened.close()
    return {
        (alert.subject, alert.name)
        for alert in alerts
        if any(
            f"Alert {alert.number}." in one.body
            if alert.answer
            else one.title == alert.title
            for one in came
        )
    }


def delivered_of(site: Site, due: Subjects) -> int:
    """How many of the alerts that are due have really arrived, once all should."""
    where = (site.settings.journal, site.receiver)
    try:
        wait_for(lambda: arrived(*where) >= due, "every alert to arrive", deadline_s=60)
    except AssertionError:
        return len(arrived(*where) & due)
    return len(due)
