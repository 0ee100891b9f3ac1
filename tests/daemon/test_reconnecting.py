"""A link that comes and goes, against a real mosquitto: storms, rivals, lost rights.

``Wire`` is a real relay between us and the broker, cut at random moments.
"""

import os
import random
import threading
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest

from daemon import mqtt
from daemon.clock import Clock
from daemon.mqtt import STOOD_MS, Message
from daemon.secrets import Secret
from daemon.settings import Broker, Version
from tests.daemon.subscribers import (
    TOPIC,
    VERSIONS,
    SteppedClock,
    at,
    connected,
    running,
    said,
)
from tests.faults.wire import Wire
from tests.servers import mosquitto, wait_for

CUTS, QUEUE = 50, 50
RIVAL = (
    "lost again and again soon after being let in: does another client use the id "
    "'fumarium', or does the network come and go?"
)


def open_files() -> int:
    return len(os.listdir("/proc/self/fd"))


def test_fifty_losses_in_a_row_cost_nothing_and_leave_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever comes a second time says that it does: the road counts on it."""
    monkeypatch.setattr(mqtt, "BACK_OFF_S", (0.02, 0.02))
    chance, payloads = random.Random(7), [b"%d" % n for n in range(20 * CUTS)]
    with mosquitto(tmp_path) as server:
        wire = Wire(server.port)
        broker = Broker(port=wire.port, in_flight=100)
        with running(broker, queue_size=QUEUE) as subscriber:
            connected(subscriber)
            threads, files = threading.active_count(), open_files()
            found: list[Message] = []

            def take() -> None:
                """Some are acknowledged and some are not, as when a write fails."""
                group = subscriber.take(wait_s=0.02)
                found.extend(group)
                subscriber.acknowledge(group[: chance.randrange(len(group) + 1)])
                assert len(subscriber._queue) <= QUEUE

            def lost(connection: int) -> bool:
                take()  # the network's thread may wait for room
                return subscriber._connection > connection

            for number in range(CUTS):
                if number % 5 == 0:
                    server.publish(TOPIC, payloads[number * 20 : number * 20 + 100])
                take()
                wire.cut(0.0)
                wait_for(partial(lost, number), "the loss")
                connected(subscriber)

            def all_came() -> bool:
                group = subscriber.take(wait_s=0.1)
                subscriber.acknowledge(group)
                found.extend(group)
                return set(payloads) <= {one.arrival.payload for one in found}

            wait_for(all_came, "all of them", lambda: len(found))
            assert threading.active_count() <= threads
            assert open_files() <= files
        wire.close()
    known: set[bytes] = set()
    for one in found:
        assert one.duplicate or one.arrival.payload not in known, one
        known.add(one.arrival.payload)
    assert known == set(payloads)


@VERSIONS
def test_two_clients_with_one_id_are_named_and_do_not_fight(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, version: Version
) -> None:
    """With a fiftieth of the time to wait; each at once after the other were 260."""
    monkeypatch.setattr(mqtt, "BACK_OFF_S", (0.02, 0.64))
    clock = SteppedClock()
    with (
        mosquitto(tmp_path) as server,
        running(at(server, version), clock) as first,
        running(at(server, version)) as second,
    ):
        begun_ms = Clock().monotonic_ms()
        wait_for(lambda: Clock().monotonic_ms() - begun_ms > 6_000, "a while")
        fights = server.log().count("already connected, closing old connection")
        assert 3 <= fights <= 40
        assert RIVAL in [one.why for one in first.troubles() + second.troubles()]
        wait_for(lambda: first.state[::2] == (True, RIVAL), "it while we are in")
        second.stop()
        connected(first)
        clock.ahead_ms += STOOD_MS
        first.pulse()
        assert first.state[::2] == (True, "")


def test_a_password_that_is_taken_back_is_said_and_another_heals(
    tmp_path: Path,
) -> None:
    with mosquitto(tmp_path, users={"fumarium": "moss", "probe": "bark"}) as server:
        probe = ("-u", "probe", "-P", "bark")
        broker = replace(at(server), user="fumarium", password=Secret("moss"))
        with running(broker) as subscriber:
            connected(subscriber)
            server.set_password("fumarium", "fern")
            server.publish(TOPIC, ["1"], options=probe)
            said(subscriber, "refused: wrong user name or password")
            server.publish(TOPIC, ["2"], options=probe)
            refused = server.log().count("not authorised")
            begun_ms = Clock().monotonic_ms()
            wait_for(lambda: Clock().monotonic_ms() - begun_ms > 5_000, "a while")
            assert server.log().count("not authorised") - refused <= 3
            server.set_password("fumarium", "moss")
            connected(subscriber)
            assert subscriber.state.why == ""
