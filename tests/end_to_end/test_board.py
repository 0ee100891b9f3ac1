"""A board's probes, from the kernel's files to readings, over a real broker.

The trees are those of ``tests.sysfs``; the publisher is the command itself, in its own
process, and what arrives is read by the subscriber and decoders of the daemon.  A
bus that hangs is a FIFO that nobody writes to: opening it does not come back.
"""

import json
import os
import signal
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import NamedTuple

import pytest

from daemon.clock import Clock
from daemon.mqtt import Message, Subscriber
from daemon.secrets import Secret
from daemon.settings import Broker
from probes.contract import Decoded, Probe, Refusal, Unit
from probes.decode import decode
from rules.channels import Role
from rules.facts import Quality, Reading
from tests.servers import Mosquitto, certificates, mosquitto, wait_for
from tests.sysfs import POWER_ON, WARM, Sysfs

PASSWORD = "invented-for-the-test"
ROOT = Path(__file__).parents[2]
TOPIC = "yard/north/board"
CORE = Probe(
    channel="core-1",
    smokehouse="north",
    role=Role.CORE,
    topic=TOPIC,
    form="senml",
    unit=Unit.CELSIUS,
    every_ms=1_000,
    quiet_ms=10_000,
    accuracy_mc=500,
    record="urn:dev:ow:10e2073a01080063",
)
CHAMBER = replace(CORE, channel="chamber", record="max31855:spi0.1:temp")
HUMIDITY = replace(
    CORE, channel="humidity", record="sht3x:1-0044:humidity1", unit=Unit.PERCENT
)
W1, CHIP, AMPLIFIER = "10-0008013a07e2", HUMIDITY.record, CHAMBER.record


class Board(NamedTuple):
    """One board: its tree, its settings, and the broker it speaks to."""

    tree: Sysfs
    path: Path
    broker: Mosquitto


@pytest.fixture
def board(tmp_path: Path) -> Iterator[Board]:
    """A board with three kinds of probe, and a broker that has not started."""
    with mosquitto(tmp_path, start=False) as broker:
        tree = Sysfs(tmp_path / "sys")
        path = tmp_path / "board.yaml"
        path.write_text(settings(broker))
        yield Board(tree, path, broker)


def settings(broker: Mosquitto, login: str = "version: 3.1.1") -> str:
    """The settings of a board that wants three probes."""
    wanted = "".join(
        f"  - {{probe: '{probe}', every: 1 s}}\n" for probe in (W1, CHIP, AMPLIFIER)
    )
    return (
        f"board: north-board\ntopic: {TOPIC}\nbuffer: board.db\nsysfs: sys\n"
        f"broker: {{port: {broker.port}, {login}}}\nprobes:\n{wanted}"
    )


class Running:
    """The command in a process of its own, and what it has said so far."""

    def __init__(self, board: Board) -> None:
        """Start it."""
        self.said: list[str] = []
        self.process = subprocess.Popen(
            [sys.executable, "-m", "daemon.cli", "probes", "publish", str(board.path)],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )
        self._reader = threading.Thread(target=self._read)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        with self.process.stdout as lines:
            for line in lines:
                self.said.append(line.rstrip())

    def end(self, how: signal.Signals) -> int:
        """End it and answer its exit code."""
        self.process.send_signal(how)
        code = self.process.wait(20)
        self._reader.join()
        return code


@contextmanager
def publishing(board: Board) -> Iterator[Running]:
    """The command, ended with the test."""
    running = Running(board)
    try:
        yield running
    finally:
        if running.process.poll() is None:
            running.end(signal.SIGKILL)


@contextmanager
def listening(board: Board, broker: Broker | None = None) -> Iterator["Heard"]:
    """A subscriber that keeps and acknowledges everything."""
    broker = broker or Broker(port=board.broker.port, client_id="listener")
    subscriber = Subscriber(broker, [TOPIC], Clock())
    subscriber.start()
    wait_for(lambda: subscriber.state.connected, "the subscriber")
    try:
        yield Heard(subscriber)
    finally:
        subscriber.stop()


class Heard:
    """Everything that has come so far, decoded."""

    def __init__(self, subscriber: Subscriber) -> None:
        """Begin with nothing."""
        self._subscriber = subscriber
        self.messages: list[Message] = []

    def take(self) -> "Heard":
        """Take in what has come since."""
        group = self._subscriber.take(wait_s=0.2)
        self._subscriber.acknowledge(group)
        self.messages += [one for one in group if one.arrival.topic == TOPIC]
        return self

    def decoded(self) -> list[Decoded]:
        """Every reading and refusal."""
        return [
            given
            for one in self.messages
            for given in decode([CORE, CHAMBER, HUMIDITY], one.arrival)
        ]

    def readings(self, channel: str) -> list[Reading]:
        """The readings of one channel."""
        every = self.decoded()
        return [x for x in every if isinstance(x, Reading) and x.channel == channel]

    def refusals(self) -> list[str]:
        """Channel and reason of every refusal."""
        every = self.decoded()
        return [f"{x.channel}: {x.why}" for x in every if isinstance(x, Refusal)]

    def numbers(self, record: str) -> list[int]:
        """How the board has numbered what it sent of this record, as it came."""
        name = f"{record}:seq"
        packs = [json.loads(one.arrival.payload) for one in self.messages]
        return [one["v"] for pack in packs for one in pack if one["n"] == name]


def test_three_interfaces_become_readings(board: Board) -> None:
    board.broker.start()
    board.tree.w1(W1, {"w1_slave": WARM})
    board.tree.hwmon("1-0044", 0, {"name": "sht3x\n", "humidity1_input": "48500\n"})
    board.tree.iio(
        "spi0/spi0.1", 0, {"name": "max31855\n", "in_temp_raw": "285",
                           "in_temp_scale": "250.000000", "fault_oc": "0"},
    )  # fmt: skip
    before_ms = Clock().now_ms()
    with listening(board) as heard, publishing(board) as running:
        wait_for(
            lambda: all(
                len(heard.take().readings(one)) >= 2
                for one in ("core-1", "chamber", "humidity")
            ),
            "two readings of each",
        )
        assert running.end(signal.SIGTERM) == 0
    assert {one.value_mc for one in heard.readings("core-1")} == {23_125}
    assert {one.value_mc for one in heard.readings("chamber")} == {71_250}
    assert {one.value_mc for one in heard.readings("humidity")} == {48_500}
    assert heard.refusals() == []
    assert {one.qos for one in heard.messages} == {1}
    for reading in heard.readings("core-1"):
        assert before_ms < reading.at_ms <= Clock().now_ms()
        assert reading.quality is Quality.GOOD
    assert f"{W1}: read on w1_bus_master1, published as {CORE.record}" in running.said


def test_nothing_is_lost_while_the_broker_is_away_and_the_board_is_killed(
    board: Board,
) -> None:
    board.tree.w1(W1, {"w1_slave": WARM})
    for _ in range(2):
        with publishing(board) as running:
            enough = waiting(board) + 2
            wait_for(partial(reached, board, enough), "two samples")
            running.end(signal.SIGKILL)
    kept = waiting(board)
    board.broker.start()
    with listening(board) as heard, publishing(board) as running:
        wait_for(
            lambda: len(set(heard.take().numbers(CORE.record))) > kept, "what was kept"
        )
        board.broker.restart()
        now = max(heard.numbers(CORE.record))
        wait_for(
            lambda: max(heard.take().numbers(CORE.record)) >= now + 2, "what followed"
        )
        running.end(signal.SIGTERM)
        heard.take()
    numbers = set(heard.numbers(CORE.record))
    assert numbers == set(range(1, max(numbers) + 1))
    times = {one.at_ms for one in heard.readings("core-1")}
    assert len(times) == len(numbers)


def reached(board: Board, count: int) -> bool:
    """Whether so many samples are on the board's disk."""
    return waiting(board) >= count


def waiting(board: Board) -> int:
    """How many samples are on the board's disk."""
    path = board.path.with_name("board.db")
    if not path.exists():
        return 0
    db = sqlite3.connect(path)
    try:
        return int(db.execute("select count(*) from waiting").fetchone()[0])
    except sqlite3.OperationalError:  # its tables are being made
        return 0
    finally:
        db.close()


def test_a_bus_that_hangs_holds_up_no_other(board: Board) -> None:
    board.broker.start()
    folder = board.tree.w1(W1, {})
    os.mkfifo(folder / "w1_slave")
    board.tree.hwmon("1-0044", 0, {"name": "sht3x\n", "humidity1_input": "48500\n"})
    with listening(board) as heard, publishing(board) as running:
        wait_for(lambda: len(heard.take().readings("humidity")) >= 3, "the other bus")
        assert heard.readings("core-1") == []
        (folder / "w1_slave").open("w").close()  # lets the read come back, with nothing
        wait_for(lambda: heard.take().refusals(), "why there is no value")
        assert "core-1: " in heard.refusals()[0]
        assert running.end(signal.SIGTERM) == 0


def test_a_probe_may_be_pulled_and_plugged_in_elsewhere(board: Board) -> None:
    board.broker.start()
    folder = board.tree.w1(W1, {"w1_slave": WARM})
    with listening(board) as heard, publishing(board) as running:
        wait_for(lambda: heard.take().readings("core-1"), "the probe")
        board.tree.unplug(folder)
        wait_for(lambda: f"{W1}: not plugged in" in running.said, "that it is gone")
        count = len(heard.take().readings("core-1"))
        board.tree.w1(W1, {"w1_slave": WARM}, master=2)
        wait_for(lambda: len(heard.take().readings("core-1")) > count + 1, "it again")
        assert f"{W1}: read on w1_bus_master2, published as {CORE.record}" in (
            running.said
        )
        running.end(signal.SIGTERM)


def test_a_value_that_is_not_one_is_refused_with_its_reason(board: Board) -> None:
    board.broker.start()
    folder = board.tree.w1(W1, {"w1_slave": POWER_ON})
    with listening(board) as heard, publishing(board) as running:
        wait_for(lambda: heard.take().refusals(), "a refusal")
        why = "power-on value: 85 degC since its power came on, nothing measured yet"
        assert heard.refusals() == [f"core-1: {why}"]
        (folder / "w1_slave").write_text(WARM)
        wait_for(lambda: heard.take().readings("core-1"), "the value")
        running.end(signal.SIGTERM)
    assert len(heard.refusals()) == 1  # it is told once, not at every read


def test_a_broker_that_asks_for_a_name_over_tls(tmp_path: Path) -> None:
    papers = certificates(tmp_path / "papers")
    users = {"board": PASSWORD, "listener": PASSWORD}
    with mosquitto(tmp_path, users=users, tls=papers) as broker:
        tree, path = Sysfs(tmp_path / "sys"), tmp_path / "board.yaml"
        tree.w1(W1, {"w1_slave": WARM})
        login = f"user: board, password: {PASSWORD}"
        login += f", certificate authority: {papers.authority}"
        path.write_text(settings(broker, login))
        named = Broker(
            port=broker.port,
            client_id="listener",
            user="listener",
            password=Secret(PASSWORD),
            ca=papers.authority,
        )
        board = Board(tree, path, broker)
        with listening(board, named) as heard, publishing(board) as running:
            wait_for(
                lambda: heard.take().readings("core-1"),
                "a reading",
                lambda: running.said,
            )
            running.end(signal.SIGTERM)
        assert not [words for words in running.said if PASSWORD in words]


def test_what_a_broker_refuses_is_kept_until_it_takes_it(tmp_path: Path) -> None:
    """MQTT 5 says that a message was refused; 3.1.1 has no word for it."""
    users = {"board": PASSWORD}
    acl = "user board\ntopic write somewhere/else\n"
    with mosquitto(tmp_path, users=users, acl=acl) as broker:
        tree, path = Sysfs(tmp_path / "sys"), tmp_path / "board.yaml"
        tree.w1(W1, {"w1_slave": WARM})
        login = f'user: board, password: {PASSWORD}, version: "5"'
        path.write_text(settings(broker, login))
        board = Board(tree, path, broker)
        with publishing(board) as running:
            wait_for(
                lambda: any(
                    "refuses what we publish: not auth" in x for x in running.said
                ),
                "its refusal",
                running.said.copy,
            )
            wait_for(partial(reached, board, 3), "what is kept")
            running.end(signal.SIGTERM)
        assert waiting(board) >= 3
