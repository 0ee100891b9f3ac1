"""``fumarium demo``: an invented cook, from fire to signed record, in half a minute.

Nothing is pre-computed.  Simulated probes publish through a real broker, the daemon
of every day runs as its own process on a clock that goes faster, alerts go to a
receiver on this machine, and the record is written and verified by the commands a
person would type.  Juniper Yard, its sausage and its people do not exist.
"""

import contextlib
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib import resources
from pathlib import Path

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from daemon.cli import BAD_COMMAND, GOOD, MACHINE, CommandError, main
from daemon.clock import Clock, Pace, clock_of
from daemon.journal import Journal
from daemon.settings import Settings, load
from probes.contract import Probe
from probes.days import long_day
from probes.encode import encode_all
from probes.script import HOUR_MS
from probes.simulator import Sample, simulate
from probes.stamps import say_stamp
from rules.facts import Event
from rules.units import say_mc

SITE = "Juniper Yard (invented)"
LOT = "JY-2026-014"
BEGINS = "2026-01-10T05:00:00Z"
BEGINS_MS = 1_768_021_200_000
EVERY_MS = 30_000
MOSQUITTO = ("mosquitto", "/usr/sbin/mosquitto", "/usr/local/sbin/mosquitto")
FIRE_OUT = "the fire is out"


def demo(*, stay: bool, port: int, seconds: float, built_in: bool) -> int:
    """Run the demonstration; the last line printed is the path of the record's PDF."""
    if not 5 <= seconds <= 3600:
        raise CommandError("--seconds is from 5 to 3600", BAD_COMMAND)
    # Whoever ends us ends the broker and the daemon with us.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(MACHINE))
    samples = list(simulate(long_day(BEGINS_MS, EVERY_MS)))
    lasts_ms = samples[-1].at_ms - samples[0].at_ms
    times = max(1, round(lasts_ms / (seconds * 1000)))
    folder = Path(tempfile.mkdtemp(prefix="fumarium-demo-"))
    print(f"{SITE}: an invented smokehouse and lot; nothing here is real product.")
    print(f"A cook of {lasts_ms / HOUR_MS:.1f} h in about {seconds:.0f} s, in {folder}")
    with contextlib.ExitStack() as running:
        broker_port = running.enter_context(_broker(folder, built_in))
        receiver = running.enter_context(_receiver())
        pace = Pace(BEGINS_MS, times, Clock().now_ms())
        settings = _settings(folder, broker_port, receiver, port, pace)
        path = str(folder / "settings.yaml")
        _typed("key", "create", "--settings", path)
        page = running.enter_context(_daemon(folder))
        print(f"page:   {page}", flush=True)
        schedule = str(folder / "links.yaml")
        begin = ("begin", schedule, "--lot", LOT, "--who", "JY", "--settings", path)
        _typed(*begin)
        _cook(settings, samples, clock_of(pace))
        finished = _wait_until_judged(settings)
        if not finished:
            words = "the cook did not come to its end; see daemon.log there"
            raise CommandError(f"{words}: {folder}", MACHINE)
        _typed("lots", "--settings", path)
        _typed("record", LOT, "--settings", path)
        record = settings.records / f"{LOT}.record.pdf"
        public = settings.records / f"{LOT}.public.pem"
        for file in (settings.records / f"{LOT}.record.jsonl", record):
            _typed("verify", str(file), "--key", str(public))
        print(f"page:   {page}")
        print(record, flush=True)
        if stay:
            print("Ctrl-C ends it", file=sys.stderr)
            with contextlib.suppress(KeyboardInterrupt):
                threading.Event().wait()
    return GOOD


def _typed(*words: str) -> None:
    """Type a command as a person would, and show it."""
    print(f"$ fumarium {' '.join(words)}", flush=True)
    code = main(words)
    if code:
        raise CommandError(f"'fumarium {words[0]}' ended with {code}", code)


# The parts that a smokehouse has and a demonstration must bring.


@contextlib.contextmanager
def _broker(folder: Path, built_in: bool) -> Iterator[int]:
    """A broker on a free port of this machine: mosquitto, or an embedded one."""
    port = _free_port()
    program = next((found for p in MOSQUITTO if (found := shutil.which(p))), None)
    if program and not built_in:
        config = folder / "broker.conf"
        config.write_text(
            f"listener {port} 127.0.0.1\nallow_anonymous true\n"
            "max_queued_messages 0\nmax_inflight_messages 1000\n" + _as_root()
        )
        command = [program, "-c", str(config)]
        print("broker: mosquitto", flush=True)
    else:
        command = [sys.executable, "-m", "daemon.demo_broker", str(port)]
        print("broker: embedded, since no mosquitto is installed", flush=True)
    with (folder / "broker.log").open("wb") as log:
        process = subprocess.Popen(command, stdout=log, stderr=log)
    try:
        _wait_for_port(port, process, folder / "broker.log")
        yield port
    finally:
        _end(process)


def _as_root() -> str:
    return "user root\n" if os.geteuid() == 0 else ""


@contextlib.contextmanager
def _receiver() -> Iterator[int]:
    """Where the alerts go: it prints what it is told, as a phone would show it."""

    class Phone(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            length = int(self.headers.get("Content-Length", 0))
            told = json.loads(self.rfile.read(length))
            first = str(told.get("message", "")).strip().split("\n")[0]
            print(f"  ALERT  {told.get('title', '')}\n         {first}", flush=True)
            self.send_response(200)
            self.end_headers()

        def log_message(self, format: str, *args: object) -> None:
            """Say nothing: the alert itself is shown."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Phone)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield server.server_address[1]
    finally:
        server.shutdown()
        server.server_close()


@contextlib.contextmanager
def _daemon(folder: Path) -> Iterator[str]:
    """The daemon as its own process; answers the page's address once it is up."""
    settings = folder / "settings.yaml"
    command = [sys.executable, "-m", "daemon.cli", "run", "--settings", str(settings)]
    with (folder / "daemon.log").open("wb") as log:
        process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=log)
    try:
        assert process.stdout is not None
        first = process.stdout.readline().decode().strip()
        if not first.startswith("page: "):
            said = (folder / "daemon.log").read_text().strip().split("\n")[-1]
            raise CommandError(f"the daemon did not start: {said}", MACHINE)
        yield first.removeprefix("page: ")
    finally:
        _end(process)


# What happens during the day.


def _cook(settings: Settings, samples: list[Sample], clock: Clock) -> None:
    """Publish every sample when its time has come, and act as a person would."""
    # The probes' day begins when the cook was begun, not when the clock was.
    lag_ms = clock.now_ms() - samples[0].at_ms
    probes = {probe.channel: probe for probe in settings.probes}
    client = Client(CallbackAPIVersion.VERSION2, client_id="invented-probes")
    client.connect(settings.broker.host, settings.broker.port)
    client.loop_start()
    with contextlib.closing(Journal(settings.journal)) as journal:
        person = _Person(journal, settings)
        waiting: dict[str, list[tuple[Probe, int]]] = {}
        at_ms = samples[0].at_ms
        for sample in samples:
            if sample.at_ms != at_ms:
                _publish(client, waiting, at_ms + lag_ms)
                at_ms = sample.at_ms
                times = settings.pace.times if settings.pace else 1
                early_ms = at_ms + lag_ms - clock.now_ms()
                time.sleep(max(0.0, early_ms / times / 1000))
                person.looks(at_ms + lag_ms)
            probe = probes[sample.channel]
            person.hears(sample)
            waiting.setdefault(probe.topic, []).append((probe, sample.value_mc))
        _publish(client, waiting, at_ms + lag_ms)
    client.loop_stop()
    client.disconnect()


def _publish(
    client: Client, waiting: dict[str, list[tuple[Probe, int]]], at_ms: int
) -> None:
    for topic, sent in waiting.items():
        client.publish(topic, encode_all(sent, at_ms), qos=1)
    waiting.clear()


class _Person:
    """Somebody in the yard: reads the events, answers alerts, relights the fire."""

    def __init__(self, journal: Journal, settings: Settings) -> None:
        self._journal = journal
        self._settings = str(settings.journal.parent / "settings.yaml")
        self._seen = 0
        self._looked_s = 0.0
        self._progress_ms = 0
        self._latest: dict[str, int] = {}

    def hears(self, sample: Sample) -> None:
        """Remember what a probe shows, for the line of progress."""
        self._latest[sample.channel] = sample.value_mc

    def looks(self, at_ms: int) -> None:
        """Look at the journal twice a second, and at the clock every half hour."""
        if at_ms - self._progress_ms >= HOUR_MS // 2:
            self._progress_ms = at_ms
            shown = ", ".join(f"{n} {say_mc(v)}" for n, v in self._latest.items())
            print(f"{_clock(at_ms)} ... {shown}", flush=True)
        now_s = time.monotonic()
        if now_s - self._looked_s < 0.5:
            return
        self._looked_s = now_s
        for noticed in self._journal.events(LOT, after=self._seen):
            self._seen = noticed.number
            event = noticed.event
            print(f"{_clock(event.at_ms)} {event.name}: {event.now} - {event.why}")
            self._answers(event)
        sys.stdout.flush()

    def _answers(self, event: Event) -> None:
        """Relight a dead fire, see to a quiet probe, and say so."""
        settings = ("--who", "JY", "--settings", self._settings)
        action = ACTIONS.get((event.name, event.now))
        if action and event.was != "waiting":
            _typed("acknowledge", "all", *settings)
            about = ("--corrective", "--about", event.name)
            _typed("note", LOT, action, *about, *settings)


ACTIONS = {
    ("smoke chamber", "deviation"): "the fire had died; relit it, added dry wood",
    ("core-2", "reporting"): "pushed the plug of core-2 home; it reports again",
    ("smoke chamber", "missed"): "cause was damp wood; wood now kept under cover",
}


def _clock(at_ms: int) -> str:
    hours, minutes = divmod((at_ms - BEGINS_MS) // 60_000, 60)
    return f"{hours:>3}:{minutes:02}"


def _wait_until_judged(settings: Settings, patience_s: float = 30.0) -> bool:
    """Wait until the cook's end is in the journal and nothing can change it."""
    end_s = time.monotonic() + patience_s
    with contextlib.closing(Journal(settings.journal)) as journal:
        while time.monotonic() < end_s:
            ends = [e for e in journal.events(LOT) if e.event.subject == "cook"]
            if ends and journal.horizon(LOT) > ends[0].event.at_ms:
                return True
            time.sleep(0.05)
    return False


# Set-up.


def _settings(
    folder: Path, broker_port: int, receiver: int, port: int, pace: Pace
) -> Settings:
    """Write the demonstration's settings and schedule, and read them back."""
    page_port = port or _free_port()
    template = resources.files("daemon").joinpath("demo_settings.yaml").read_text()
    text = template.format(
        site=SITE,
        broker_port=broker_port,
        receiver=receiver,
        page_port=page_port,
        begins=BEGINS,
        times=pace.times,
        since=say_stamp(pace.since_ms),
    )
    path = folder / "settings.yaml"
    path.write_text(text)
    schedule = resources.files("daemon").joinpath("demo_links.yaml").read_text()
    (folder / "links.yaml").write_text(schedule)
    settings = load(path, os.environ)
    if not isinstance(settings, Settings):
        raise CommandError(f"{path}: {settings}", MACHINE)
    return settings


def _free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


def _wait_for_port(
    port: int, process: "subprocess.Popen[bytes]", log: Path, patience_s: float = 15.0
) -> None:
    end_s = time.monotonic() + patience_s
    while time.monotonic() < end_s and process.poll() is None:
        with (
            contextlib.suppress(OSError),
            socket.create_connection(("127.0.0.1", port), 1),
        ):
            return
        time.sleep(0.02)
    raise CommandError(f"the broker did not start: {log.read_text()}", MACHINE)


def _end(process: "subprocess.Popen[bytes]") -> None:
    process.terminate()
    try:
        process.wait(10)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
