"""What the service manager is told, received as it would: one datagram a notice.

Outside the project: sd_notify(3) of systemd, for the socket, the variables, and the
``@`` of an address in the abstract namespace.
"""

import os
import socket
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Event

import pytest

from daemon.health import Notifier
from daemon.mqtt import Message
from daemon.run import Road
from probes.contract import Arrival
from tests.daemon.test_run import MIN, NOON_MS, SetClock, clock, road

__all__ = ["clock", "road"]

SILENT_S = 2.5  # of a road that moves once a second


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[socket.socket]:
    """The service manager's end."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(str(tmp_path / "notify"))
        listening.settimeout(30)
        yield listening


@pytest.fixture
def notifier(manager: socket.socket) -> Notifier:
    """The daemon's end."""
    return Notifier({"NOTIFY_SOCKET": manager.getsockname()})


def heard(manager: socket.socket) -> list[str]:
    """The lines of the next notice."""
    return manager.recv(4096).decode().split("\n")


def test_each_notice_is_one_datagram(
    manager: socket.socket, notifier: Notifier
) -> None:
    notifier.ready()
    notifier.alive("recording")
    notifier.busy("reading")
    notifier.stopping()
    assert [heard(manager) for _ in range(4)] == [
        ["READY=1"],
        ["WATCHDOG=1", "STATUS=recording"],
        ["WATCHDOG=1", "EXTEND_TIMEOUT_USEC=60000000", "STATUS=reading"],
        ["STOPPING=1"],
    ]


def test_an_address_may_be_an_abstract_one() -> None:
    name = f"fumarium-test-{os.getpid()}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(f"\0{name}")
        listening.settimeout(30)
        Notifier({"NOTIFY_SOCKET": f"@{name}"}).ready()
        assert heard(listening) == ["READY=1"]


def test_a_manager_that_is_gone_stops_nothing(tmp_path: Path) -> None:
    Notifier({"NOTIFY_SOCKET": str(tmp_path / "nobody")}).ready()
    Notifier({}).ready()


def test_a_long_start_asks_for_time_and_not_for_ever(
    manager: socket.socket, notifier: Notifier
) -> None:
    manager.settimeout(SILENT_S)
    with notifier.starting("looking", every_s=0.01, most_s=0.03):
        for _ in range(3):
            assert heard(manager)[1] == "EXTEND_TIMEOUT_USEC=60000000"
        with pytest.raises(TimeoutError):
            heard(manager)


def test_the_watchdog_s_notice_comes_from_the_road_alone(
    manager: socket.socket, notifier: Notifier, road: Road, clock: SetClock
) -> None:
    """It is stuck where a disk does not answer: inside a write to the journal."""
    road.notifier, road.pulsed_ms = notifier, NOON_MS + 60 * MIN
    turn(road, 1)
    status = ["WATCHDOG=1", "STATUS=recording; broker: not started; 1 messages"]
    assert heard(manager) == status
    clock.at_ms += 1_000
    answers = Event()
    connection = road.journal.connection
    connection.create_function("answers", 0, lambda: answers.wait(30))
    connection.execute(
        "CREATE TEMP TRIGGER stuck BEFORE INSERT ON main.refusal"
        " BEGIN SELECT answers(); END"
    )

    def watch() -> str:
        try:
            manager.settimeout(SILENT_S)
            return "\n".join(heard(manager))
        except TimeoutError:
            return "the watchdog would have barked"
        finally:
            answers.set()

    with ThreadPoolExecutor(1) as pool:
        watching = pool.submit(watch)
        turn(road, 2)
        assert watching.result(timeout=30) == "the watchdog would have barked"
    manager.settimeout(30)
    assert heard(manager)[0] == "WATCHDOG=1"


def turn(road: Road, packet: int) -> None:
    """One turn of the road, with a message that is refused."""
    arrival = Arrival("yard/cores", b"warm", road.clock.now_ms())
    road.taken = [Message(arrival, packet, 1, False, -1)]
    road.turn()
