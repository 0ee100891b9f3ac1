"""What the broker tells everybody else of the daemon, seen with mosquitto's program.

The will is that of MQTT 3.1.1, 3.1.2.5, and 5.0, 3.1.2.5: the broker publishes it when
the connection ends without a DISCONNECT.
"""

import json
import signal
import subprocess
import sys
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from daemon.clock import Clock
from daemon.mqtt import Subscriber, pulse_topic, status_topic
from daemon.secrets import Secret
from daemon.settings import Version
from tests.daemon.subscribers import (
    TOPIC,
    VERSIONS,
    at,
    caught_up,
    connected,
    running,
)
from tests.servers import Mosquitto, mosquitto, wait_for
from tests.tools import tool

PULSE = pulse_topic("fumarium")

LIVES = """
import sys
from daemon.clock import Clock
from daemon.mqtt import Subscriber
from daemon.settings import Broker

broker = Broker(port=int(sys.argv[1]), version=sys.argv[2])
subscriber = Subscriber(broker, ["yard/north/cores"], Clock())
subscriber.start()
while True:
    subscriber.pulse()
    subscriber.acknowledge(subscriber.take(wait_s=0.1))
"""


def status(server: Mosquitto, client_id: str = "fumarium") -> dict[str, Any]:
    """The retained status; empty where there is none within a second."""
    command = [tool("mosquitto_sub"), "-h", "127.0.0.1", "-p", str(server.port)]
    command += ["-t", status_topic(client_id), "-C", "1", "-W", "1"]
    ran = subprocess.run(command, capture_output=True, timeout=30)
    return dict(json.loads(ran.stdout)) if ran.stdout else {}


def pulsed(subscriber: Subscriber, server: Mosquitto, word: str) -> bool:
    """Pulse as the road does, and look at the status."""
    subscriber.pulse()
    subscriber.acknowledge(subscriber.take(wait_s=0.05))
    return is_said(server, word)


def is_said(server: Mosquitto, word: str) -> bool:
    return status(server).get("status") == word


@VERSIONS
def test_it_is_online_while_it_is_connected(tmp_path: Path, version: Version) -> None:
    with mosquitto(tmp_path) as server:
        before_ms = Clock().now_ms()
        with running(at(server, version)) as subscriber:
            connected(subscriber)
            wait_for(partial(pulsed, subscriber, server, "online"), "the status")
            since_ms = subscriber.state.since_ms
            assert status(server) == {"status": "online", "since_ms": since_ms}
            assert before_ms <= since_ms <= Clock().now_ms()
        said = status(server)
        assert said["status"] == "offline"
        assert since_ms <= said["since_ms"] <= Clock().now_ms()


@VERSIONS
def test_when_it_is_killed_the_broker_says_so(tmp_path: Path, version: Version) -> None:
    with mosquitto(tmp_path) as server:
        for _ in range(2):  # and when it lives again, that too
            command = [sys.executable, "-c", LIVES, str(server.port), version]
            child = subprocess.Popen(command, stdin=subprocess.PIPE)
            wait_for(partial(is_said, server, "online"), "the status")
            child.send_signal(signal.SIGKILL)
            child.communicate(timeout=30)
            wait_for(partial(is_said, server, "offline"), "the will")
            assert status(server) == {"status": "offline", "since_ms": None}


@VERSIONS
def test_a_broker_that_starts_anew_is_told_again(
    tmp_path: Path, version: Version
) -> None:
    with mosquitto(tmp_path) as server, running(at(server, version)) as subscriber:
        connected(subscriber)
        wait_for(partial(pulsed, subscriber, server, "online"), "the status")
        server.stop()
        server.forget()
        server.start()
        again = partial(pulsed, subscriber, server, "online")
        wait_for(again, "the status", deadline_s=60)
        assert status(server)["since_ms"] == subscriber.state.since_ms


def test_who_may_not_say_his_status_still_hears(tmp_path: Path) -> None:
    acl = f"user fumarium\ntopic readwrite {TOPIC}\ntopic readwrite {PULSE}\n"
    with mosquitto(tmp_path, users={"fumarium": "moss"}, acl=acl) as server:
        broker = replace(at(server), user="fumarium", password=Secret("moss"))
        with running(broker) as subscriber:
            said: list[str] = []

            def told() -> bool:
                subscriber.pulse()
                subscriber.acknowledge(subscriber.take(wait_s=0.05))
                said.extend(trouble.why for trouble in subscriber.troubles())
                return any("so it is said no more" in why for why in said)

            wait_for(told, "the words", lambda: said, deadline_s=60)
            connected(subscriber)
            server.publish(TOPIC, ["heard"], options=("-u", "fumarium", "-P", "moss"))
            assert [one.arrival.payload for one in caught_up(subscriber)] == [b"heard"]
            assert subscriber.troubles() == []
    words = "the broker hangs up on the status on 'fumarium/fumarium/status', so it is"
    assert f"{words} said no more: may 'fumarium' write it?" in said
