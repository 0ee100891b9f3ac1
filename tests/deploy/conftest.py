"""A board laid out under a directory by deploy/install, and the broker it describes."""

import getpass
import queue
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from tests.test_layers import ROOT
from tests.tools import tool

WAIT_S = 60


class Board(NamedTuple):
    """Where a board was laid out, and what the installer said."""

    root: Path
    said: str

    def password(self, name: str) -> str:
        """The password that the installer made for a user of the broker."""
        settings = self.root / "etc" / "fumarium"
        kept = settings / "probes" / f"{name}.password"
        path = settings / "broker.password" if name == "fumarium" else kept
        return path.read_text(encoding="utf-8").removesuffix("\n")


def install(root: Path, *options: str) -> subprocess.CompletedProcess[str]:
    """Run the installer under ``root``, with the program that runs these tests."""
    script = str(ROOT / "deploy" / "install")
    return subprocess.run(
        [script, "--root", str(root), "--program", sys.prefix, *options],
        capture_output=True,
        text=True,
    )


@pytest.fixture
def board(tmp_path_factory: pytest.TempPathFactory) -> Board:
    """A board on which the installer has run once."""
    tool("mosquitto_passwd")
    root = tmp_path_factory.mktemp("board")
    ran = install(root)
    assert ran.returncode == 0, ran.stderr
    return Board(root, ran.stdout)


class Broker:
    """The real broker with the very files that were installed; only its port differs.

    As on Debian, a main file says where the queue is kept and takes in ``conf.d``.
    """

    def __init__(self, board: Board, port: int) -> None:
        """Lay out the main file and start."""
        self.board = board
        self.port = port
        self.queue = board.root / "queue"
        self._log = board.root / "broker.log"
        self._main = self._laid_out()
        self.start()

    def start(self) -> None:
        """Start, and come back when it answers."""
        # Into a file: a pipe that nobody reads holds the broker up once it is full.
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                [tool("mosquitto"), "-c", self._main], stderr=log
            )
        until = time.monotonic() + 20
        while time.monotonic() < until and self._process.poll() is None:
            with socket.socket() as client:
                if client.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.02)
        self.kill()
        pytest.fail(f"the broker does not answer: {self._log.read_text('utf-8')}")

    def kill(self) -> None:
        """End it as a power cut would."""
        self._process.kill()
        self._process.wait(timeout=10)

    def _laid_out(self) -> Path:
        folder = self.board.root / "etc" / "mosquitto"
        ours = folder / "conf.d" / "fumarium.conf"
        text, count = re.subn(
            "(?m)^listener 1883$",
            f"listener {self.port} 127.0.0.1",
            ours.read_text(encoding="utf-8"),
        )
        assert count == 1
        ours.write_text(text, encoding="utf-8")
        self.queue.mkdir()
        main = folder / "mosquitto.conf"
        main.write_text(
            f"user {getpass.getuser()}\n"
            f"persistence true\npersistence_location {self.queue}/\n"
            f"include_dir {folder / 'conf.d'}\n",
            encoding="utf-8",
        )
        return main


@pytest.fixture
def broker(board: Board, free_port: int) -> Iterator[Broker]:
    """A running broker, configured by the installer."""
    running = Broker(board, free_port)
    yield running
    running.kill()


class Ear:
    """A subscriber, and what has come to it."""

    def __init__(self, broker: Broker, user: str, topic: str) -> None:
        """Connect, subscribe, and wait for the broker's answer."""
        self._came: queue.Queue[str] = queue.Queue()
        self._answers: queue.Queue[str] = queue.Queue()
        self._topic = topic
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2, f"{user}-1", clean_session=False
        )
        client.username_pw_set(user, broker.board.password(user))
        client.on_connect = self._on_connect
        client.on_message = self._on_message
        client.on_subscribe = self._on_answer
        client.connect("127.0.0.1", broker.port)
        client.loop_start()
        self._client = client
        self._answers.get(timeout=WAIT_S)

    def take(self, count: int) -> list[str]:
        """The next messages, each as topic and text."""
        return [self._came.get(timeout=WAIT_S) for _ in range(count)]

    def heard_by_now(self) -> list[str]:
        """Every message that the broker had for us when this was called.

        The broker hands over in order: what it had comes before the answer to a
        request made now.
        """
        self._client.subscribe(self._topic, qos=1)
        self._answers.get(timeout=WAIT_S)
        self.leave()
        return self.take(self._came.qsize())

    def leave(self) -> None:
        """Go; the session stays."""
        self._client.disconnect()
        self._client.loop_stop()

    def _on_connect(self, client: mqtt.Client, *_: object) -> None:
        client.subscribe(self._topic, qos=1)

    def _on_answer(self, *_: object) -> None:
        self._answers.put("subscribed")

    def _on_message(
        self, _: mqtt.Client, __: object, message: mqtt.MQTTMessage
    ) -> None:
        self._came.put(f"{message.topic} {message.payload.decode()}")
