"""``deploy/bench``: how fast the whole road is against a bare subscriber.

Both take the same QoS 1 messages from the same broker in the same run, so the ratio
means something on any machine; the figures alone do not.  Printed too: resident
memory and start-up time of the daemon, what it writes, how soon it is back in the midst
of a long cook, how fast readings are screened, how fast the rules fold them, against
NumPy too, and how fast the simulated smokehouse tells a day.
"""

import argparse
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from subprocess import DEVNULL, PIPE

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from daemon.journal import Journal
from probes.company import company_of
from probes.company import fold as screen
from probes.days import long_day
from probes.simulator import simulate
from rules.channels import Channel, Role
from rules.facts import Reading
from rules.replay import replay
from rules.schedule import Schedule, read_schedule
from tests.bench import day, days, recovery, wear
from tests.servers import Mosquitto, mosquitto, unused_port

SETTINGS = """\
site: bench (invented)
journal: journal.db
records: records
key: device-key.pem
lateness: 10 min
broker: {{host: 127.0.0.1, port: {port}, client id: bench, in flight: 1000}}
channels:
  - {{channel: chamber, smokehouse: north, role: chamber, topic: bench/chamber,
     payload: senml, record: chamber, unit: degC, every: 1 s, quiet after: 1 h,
     accuracy: 1 K}}
  - {{channel: core-1, smokehouse: north, role: core, topic: bench/core-1,
     payload: senml, record: core-1, unit: degC, every: 1 s, quiet after: 1 h,
     accuracy: 0.5 K}}
page: {{port: {page}}}
"""

LINKS = Path(__file__).parents[1] / "end_to_end" / "links.yaml"


def main() -> int:
    """Measure, and print one line a figure."""
    parser = argparse.ArgumentParser(prog="deploy/bench", description=__doc__)
    parser.add_argument("--messages", type=int, default=50_000)
    messages = parser.parse_args().messages
    with tempfile.TemporaryDirectory() as folder, broker_at(Path(folder)) as broker:
        bare = _bare(broker, messages)
        print(f"bare paho subscriber      {bare:10,.0f} messages/s")
        with _daemon(Path(folder), broker) as (process, started_s):
            print(f"daemon: start-up          {started_s:10.2f} s")
            time.sleep(3)  # let it come to rest before its memory is read
            print(f"daemon: resident, idle    {_resident_mb(process):10.1f} MB")
            begin = ("begin", _untold(Path(folder)), "--lot", "B-1", "--who", "AB")
            subprocess.run(_command(Path(folder), *begin), check=True, stdout=DEVNULL)
        _publish(broker, messages)  # while nobody is there: the broker queues it
        with _daemon(Path(folder), broker) as (process, _):
            road = _road(Path(folder), messages)
            print(f"the whole road            {road:10,.0f} readings/s")
            print(f"the road against bare     {road / bare:10.2f}")
            print(f"daemon: resident, loaded  {_resident_mb(process):10.1f} MB")
            print(f"journal and its log       {_bytes(Path(folder), messages)}")
        for line in (*wear.measured(Path(folder)), *recovery.measured(Path(folder))):
            print(line)
    print(f"screening alone           {_screening():10,.0f} readings/s")
    print(f"rules alone               {_rules():10,.0f} readings/s")
    for line in day.measured():
        print(line)
    for every_s in (1, 30):
        print(f"simulator, every {every_s:2} s    {_simulated(every_s)}")
    return 0


def _untold(folder: Path) -> str:
    """The schedule without its alerts: how fast a phone answers is not measured."""
    path = folder / "links.yaml"
    path.write_text(LINKS.read_text().partition("alerts:")[0])
    return str(path)


def broker_at(folder: Path) -> AbstractContextManager[Mosquitto]:
    """A broker that keeps its queue in memory: its disk is not what is measured."""
    return mosquitto(
        folder, shipped="max_queued_messages 0\nmax_inflight_messages 1000"
    )


def _simulated(every_s: int) -> str:
    """How many seconds of a channel the simulator tells in one, of a whole day."""
    script = long_day(0, every_s * 1_000)
    began_s = time.process_time()
    samples = sum(1 for _ in simulate(script))
    took_s = time.process_time() - began_s
    seconds, values = samples * every_s / took_s, samples / took_s
    return f"{seconds:10,.0f} channel-seconds/s, {values:,.0f} samples/s"


def _bare(broker: Mosquitto, messages: int) -> float:
    """What paho takes with an empty callback, acknowledging by itself."""
    with _subscribed(broker):
        pass  # the broker keeps the session, and queues for it
    _publish(broker, messages)
    times: list[float] = []
    done = threading.Event()

    def on_message(*_: object) -> None:
        times.append(time.monotonic())
        if len(times) == messages:
            done.set()

    with _subscribed(broker, on_message):
        assert done.wait(300)
    quarter = messages // 4  # what came while everything was still starting
    return (messages - quarter) / (times[-1] - times[quarter])


@contextmanager
def _subscribed(
    broker: Mosquitto, on_message: Callable[..., None] | None = None
) -> Iterator[None]:
    ready = threading.Event()
    client = Client(CallbackAPIVersion.VERSION2, client_id="bare", clean_session=False)
    if on_message:
        client.on_message = on_message

    def on_connect(*_: object) -> None:
        client.subscribe("bench/#", 1)

    client.on_connect = on_connect
    client.on_subscribe = lambda *_: ready.set()
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    assert ready.wait(10)
    yield
    client.disconnect()
    client.loop_stop()


def _road(folder: Path, messages: int) -> float:
    """What the daemon makes durable, with a cook going on, from first to last."""
    journal = Journal(folder / "journal.db")
    first_s, began = 0.0, 0
    end_s = time.monotonic() + 300
    while (durable := journal.counts().readings) < messages:
        assert time.monotonic() < end_s, f"only {durable} of {messages} are durable"
        if durable >= messages // 4 and not first_s:
            first_s, began = time.monotonic(), durable
        time.sleep(0.01)
    journal.close()
    return (messages - began) / (time.monotonic() - first_s)


def _publish(broker: Mosquitto, messages: int) -> None:
    """Publish from a process of its own, as fast as the broker takes it."""
    command = [sys.executable, "-m", "tests.bench.publish", str(broker.port)]
    subprocess.run([*command, str(messages)], check=True)


@contextmanager
def _daemon(
    folder: Path, broker: Mosquitto
) -> "Iterator[tuple[subprocess.Popen[bytes], float]]":
    settings = folder / "settings.yaml"
    settings.write_text(SETTINGS.format(port=broker.port, page=unused_port()))
    began_s = time.monotonic()
    process = subprocess.Popen(_command(folder, "run"), stdout=PIPE, stderr=DEVNULL)
    assert process.stdout is not None
    assert process.stdout.readline().startswith(b"page: ")
    started_s = time.monotonic() - began_s
    try:
        yield process, started_s
    finally:
        process.terminate()
        process.wait(30)


def _command(folder: Path, *words: str) -> list[str]:
    settings = str(folder / "settings.yaml")
    return [sys.executable, "-m", "daemon.cli", *words, "--settings", settings]


def _resident_mb(process: "subprocess.Popen[bytes]") -> float:
    status = Path(f"/proc/{process.pid}/status").read_text()
    line = next(one for one in status.splitlines() if one.startswith("VmRSS"))
    return int(line.split()[1]) / 1024


def _bytes(folder: Path, messages: int) -> str:
    sizes = [path.stat().st_size for path in folder.glob("journal.db*")]
    return f"{sum(sizes) / messages:10.1f} bytes/reading"


def _screening() -> float:
    """How many readings a second are screened, of one day's six probes at 10 s."""
    one = days.honest(days.script("steady", 1, 10_000))
    company = company_of(one.channels, one.diameter_um)
    began_s = time.process_time()
    kept = sum(1 for _ in screen(company, one.readings))
    return kept / (time.process_time() - began_s)


def _rules() -> float:
    """How many readings a second one whole cook is folded at."""
    schedule = read_schedule(str(LINKS), LINKS.read_text())
    assert isinstance(schedule, Schedule)
    names = {"chamber": Role.CHAMBER, "core-1": Role.CORE, "core-2": Role.CORE}
    channels = [Channel(n, role, 1_000, 60_000, 500) for n, role in names.items()]
    seconds = 8 * 3600
    readings = [
        Reading(name, second * 1000, _course_mc(name, second), 500)
        for second in range(seconds)
        for name in names
    ]
    began_s = time.monotonic()
    outcome = replay(schedule, channels, 0, readings, [], seconds * 1000)
    assert outcome.finished_ms
    return len(readings) / (time.monotonic() - began_s)


def _course_mc(name: str, second: int) -> int:
    """A plain course: up to 75 degC in five hours, then down to 2 degC in two."""
    if second < 18_000:
        return (60_000 if name == "chamber" else 10_000) + second * 65_000 // 18_000
    return max(75_000 - (second - 18_000) * 73_000 // 7_200, 2_000)


if __name__ == "__main__":
    sys.exit(main())
