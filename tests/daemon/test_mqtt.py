"""The subscriber against a real mosquitto: what is kept, what waited, what recovers.

Messages are published with mosquitto's own program.  Reason codes and redelivery are
those of MQTT 3.1.1 and 5.0 (OASIS Standards), as this broker carries them out.
"""

import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from daemon import mqtt
from daemon.clock import Clock
from daemon.mqtt import pulse_topic
from daemon.secrets import Secret
from daemon.settings import Version
from tests.daemon.subscribers import (
    TOPIC,
    VERSIONS,
    SteppedClock,
    at,
    caught_up,
    connected,
    running,
    said,
    taken,
)
from tests.servers import mosquitto, wait_for

ROOT = Path(__file__).parents[2]


@VERSIONS
def test_all_that_was_published_comes_once_and_in_order(
    tmp_path: Path, version: Version
) -> None:
    with mosquitto(tmp_path) as server, running(at(server, version)) as subscriber:
        connected(subscriber)
        published = [b"%d" % number for number in range(5000)]
        publisher = threading.Thread(target=server.publish, args=(TOPIC, published))
        publisher.start()
        found = taken(subscriber, len(published))
        publisher.join()
    assert [one.arrival.payload for one in found] == published
    assert {one.qos for one in found} == {1}
    assert not any(one.duplicate for one in found)
    assert not subscriber.troubles()


def test_a_broker_with_a_small_window_does_not_stall(tmp_path: Path) -> None:
    shipped = "max_inflight_messages 20\nmax_queued_messages 0\n"
    with mosquitto(tmp_path, shipped=shipped) as server:
        for in_flight in (20, 1000):  # told rightly, and told wrongly
            with running(at(server, in_flight=in_flight)) as subscriber:
                connected(subscriber)
                begun_ms = Clock().monotonic_ms()
                server.publish(TOPIC, [b"1"] * 400)
                taken(subscriber, 400)
                # Waiting a second for each window would take 20 s.
                assert Clock().monotonic_ms() - begun_ms < 10_000


def test_small_groups_come_at_most_once_in_the_time_to_wait(tmp_path: Path) -> None:
    with mosquitto(tmp_path) as server, running(at(server)) as subscriber:
        connected(subscriber)
        server.publish(TOPIC, ["first"])
        assert subscriber.take(wait_s=5)
        begun_ms = Clock().monotonic_ms()
        server.publish(TOPIC, ["second"])
        server.publish(TOPIC, ["third"])
        group = subscriber.take(wait_s=1)
        assert [one.arrival.payload for one in group] == [b"second", b"third"]
        assert Clock().monotonic_ms() - begun_ms >= 900


def test_nothing_comes_as_nothing_when_the_time_is_up(tmp_path: Path) -> None:
    with mosquitto(tmp_path) as server, running(at(server)) as subscriber:
        connected(subscriber)
        begun_ms = Clock().monotonic_ms()
        assert subscriber.take(wait_s=0.2) == []
        assert 200 <= Clock().monotonic_ms() - begun_ms < 5_000


DIES = """
import sys
from daemon.clock import Clock
from daemon.mqtt import Subscriber
from daemon.settings import Broker

broker = Broker(port=int(sys.argv[1]), version=sys.argv[2], in_flight=1000)
subscriber = Subscriber(broker, ["yard/north/cores"], Clock())
subscriber.start()
seen = 0
while True:
    for message in subscriber.take():
        if message.arrival.payload == b"kept":
            subscriber.acknowledge([message])
        print(message.arrival.payload.decode(), flush=True)
    if subscriber.state.connected and not seen:
        seen = 1
        print("ready", flush=True)
"""


@VERSIONS
def test_what_was_not_acknowledged_comes_again_after_a_kill(
    tmp_path: Path, version: Version
) -> None:
    with mosquitto(tmp_path) as server:
        process = subprocess.Popen(
            [sys.executable, "-c", DIES, str(server.port), version],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        server.publish(TOPIC, ["kept"])
        assert process.stdout.readline() == "kept\n"
        server.publish(TOPIC, ["one", "two"])
        assert [process.stdout.readline() for _ in "12"] == ["one\n", "two\n"]
        process.send_signal(signal.SIGKILL)
        process.wait(20)
        process.stdout.close()
        server.publish(TOPIC, ["while away"])

        with running(at(server, version)) as subscriber:
            found = taken(subscriber, 3)
            server.publish(TOPIC, ["live"])
            found += taken(subscriber, 1)
    assert [(one.arrival.payload, one.duplicate) for one in found] == [
        (b"one", True),
        (b"two", True),
        (b"while away", False),
        (b"live", False),
    ]


@VERSIONS
def test_what_stop_leaves_behind_is_not_sent_again(
    tmp_path: Path, version: Version
) -> None:
    with mosquitto(tmp_path) as server:
        with running(at(server, version)) as subscriber:
            connected(subscriber)
            server.publish(TOPIC, ["acknowledged"])
            taken(subscriber, 1)
        assert subscriber.state.why == "stopped"
        with running(at(server, version)) as subscriber:
            connected(subscriber)
            assert caught_up(subscriber) == []


@VERSIONS
def test_what_waited_in_the_queue_is_told_from_what_is_live(
    tmp_path: Path, version: Version
) -> None:
    with mosquitto(tmp_path) as server:
        with running(at(server, version)) as subscriber:
            connected(subscriber)
        server.publish(TOPIC, ["old", "older"])
        with running(at(server, version)) as subscriber:
            connected(subscriber)
            waited = caught_up(subscriber)
            server.publish(TOPIC, ["live"])
            live = taken(subscriber, 1)
    assert [one.arrival.payload for one in waited] == [b"old", b"older"]
    assert all(one.arrival.waited for one in waited)
    assert [one.arrival.waited for one in live] == [False]


def test_a_pulse_of_long_ago_vouches_for_nothing(tmp_path: Path) -> None:
    """While the road stands still the broker queues, and the link stays up."""
    clock = SteppedClock()
    with mosquitto(tmp_path) as server, running(at(server), clock) as subscriber:
        connected(subscriber)
        caught_up(subscriber)
        clock.ahead_ms += 6_000
        server.publish(TOPIC, ["queued for who knows how long"])
        assert [one.arrival.waited for one in taken(subscriber, 1)] == [True]
        caught_up(subscriber)
        server.publish(TOPIC, ["live"])
        assert [one.arrival.waited for one in taken(subscriber, 1)] == [False]


def test_the_pulse_of_an_earlier_life_vouches_for_nothing(tmp_path: Path) -> None:
    with mosquitto(tmp_path) as server:
        with running(at(server)) as subscriber:
            connected(subscriber)
            subscriber.pulse()
        server.publish(pulse_topic("fumarium"), ["1700000000000"])
        server.publish(TOPIC, ["old"])
        with running(at(server)) as subscriber:
            connected(subscriber)
            assert [one.arrival.waited for one in taken(subscriber, 1)] == [True]


def test_a_pulse_that_never_comes_back_is_told_once(tmp_path: Path) -> None:
    """It may be written, so the broker has no quarrel with us, but not be read."""
    clock = SteppedClock()
    pulse = pulse_topic("fumarium")
    acl = f"user fumarium\ntopic read {TOPIC}\ntopic write {pulse}\n"
    with mosquitto(tmp_path, users={"fumarium": "moss"}, acl=acl) as server:
        broker = replace(at(server), user="fumarium", password=Secret("moss"))
        with running(broker, clock) as subscriber:
            connected(subscriber)
            for _ in range(3):
                subscriber.pulse()
                clock.ahead_ms += 61_000
            troubles = [one.why for one in subscriber.troubles()]
    assert troubles == [
        "the pulse on 'fumarium/fumarium/pulse' has not come back for 60 s: is the "
        "broker working off a long queue, and may 'fumarium' write and read it?"
    ]


def test_a_broker_that_hangs_up_on_the_pulse_is_told_as_that(tmp_path: Path) -> None:
    """So mosquitto 2.0 refuses to MQTT 3.1.1; two clients with one id look alike."""
    acl = f"user fumarium\ntopic read {TOPIC}\n"
    with mosquitto(tmp_path, users={"fumarium": "moss"}, acl=acl) as server:
        broker = replace(at(server), user="fumarium", password=Secret("moss"))
        with running(broker) as subscriber:
            words = (
                "the broker hangs up on the pulse on 'fumarium/fumarium/pulse': may "
                "'fumarium' write and read it?"
            )

            pulsed: set[int] = set()

            def told(word: str) -> bool:
                state = subscriber.state
                if state.connected and state.since_ms not in pulsed:
                    pulsed.add(state.since_ms)  # each connection takes one, and ends
                    subscriber.pulse()
                return state.why == word

            wait_for(lambda: told(f"lost: {words}"), words, deadline_s=60)
            wait_for(lambda: told(words), "the same once it is let in again")
            assert [one.why for one in subscriber.troubles()] == [
                f"lost: 127.0.0.1:{server.port} closed the connection",
                f"lost: {words}",
            ]


def test_with_version_5_a_pulse_that_is_not_allowed_is_told_at_once(
    tmp_path: Path,
) -> None:
    acl = f"user fumarium\ntopic read {TOPIC}\n"
    with mosquitto(tmp_path, users={"fumarium": "moss"}, acl=acl) as server:
        broker = replace(at(server, "5"), user="fumarium", password=Secret("moss"))
        with running(broker) as subscriber:
            connected(subscriber)
            subscriber.pulse()
            said(subscriber, "the broker refuses what we publish: not authorized")


@VERSIONS
def test_a_retained_message_says_so(tmp_path: Path, version: Version) -> None:
    with mosquitto(tmp_path) as server:
        server.publish(TOPIC, ["of unknown age"], retain=True)
        with running(at(server, version)) as subscriber:
            connected(subscriber)
            server.publish(TOPIC, ["live"])
            found = taken(subscriber, 2)
    assert [(one.arrival.payload, one.arrival.retained) for one in found] == [
        (b"of unknown age", True),
        (b"live", False),
    ]


@VERSIONS
def test_a_broker_that_starts_again_costs_nothing(
    tmp_path: Path, version: Version
) -> None:
    with mosquitto(tmp_path) as server, running(at(server, version)) as subscriber:
        connected(subscriber)
        server.publish(TOPIC, ["before"])
        before = taken(subscriber, 1, acknowledge=False)
        server.stop()
        wait_for(lambda: not subscriber.state.connected, "the loss")
        server.start()
        connected(subscriber)
        server.publish(TOPIC, ["after"])
        found = taken(subscriber, 2)
        # An acknowledgement for the connection that is gone goes nowhere.
        subscriber.acknowledge(before)
        server.publish(TOPIC, ["and still"])
        found += taken(subscriber, 1)
    assert [one.arrival.payload for one in found] == [b"before", b"after", b"and still"]
    assert not any(one.forgotten for one in subscriber.troubles())
    assert before[0].connection < found[0].connection


def test_a_broker_that_is_killed_keeps_what_waits_for_us(tmp_path: Path) -> None:
    """The settings that are shipped make it write its store as it goes."""
    with mosquitto(tmp_path) as server:
        with running(at(server)) as subscriber:
            connected(subscriber)
        published = [b"%d" % number for number in range(1200)]
        server.publish(TOPIC, published)
        server.kill()
        server.start()
        with running(at(server)) as subscriber:
            found = taken(subscriber, len(published))
    assert [one.arrival.payload for one in found] == published


@VERSIONS
def test_a_broker_that_forgot_us_does_not_leave_us_deaf(
    tmp_path: Path, version: Version
) -> None:
    with mosquitto(tmp_path) as server, running(at(server, version)) as subscriber:
        connected(subscriber)
        server.kill()
        server.forget()
        wait_for(lambda: not subscriber.state.connected, "the loss")
        server.start()
        connected(subscriber)
        wait_for(lambda: "SUBACK" in server.log().split("mosquitto version")[-1], "it")
        server.publish(TOPIC, ["after"])
        assert [one.arrival.payload for one in taken(subscriber, 1)] == [b"after"]
    assert [one.why for one in subscriber.troubles() if one.forgotten] == [
        f"127.0.0.1:{server.port} knew nothing of the client 'fumarium': it lost its "
        "store, or it is another broker; what it kept for us while we were away is lost"
    ]


def test_an_old_acknowledgement_cannot_hit_a_new_message(tmp_path: Path) -> None:
    """The broker forgot everything, and gives a new message the same packet id."""
    with mosquitto(tmp_path) as server:
        with running(at(server)) as subscriber:
            connected(subscriber)
            server.publish(TOPIC, ["first life"])
            old = taken(subscriber, 1, acknowledge=False)
            server.kill()
            server.forget()
            wait_for(lambda: not subscriber.state.connected, "the loss")
            server.start()
            connected(subscriber)
            caught_up_log = server.log
            wait_for(lambda: caught_up_log().count("SUBACK") >= 2, "the subscription")
            server.publish(TOPIC, ["second life"])
            new = taken(subscriber, 1, acknowledge=False)
            assert [one.packet for one in new] == [one.packet for one in old]
            subscriber.acknowledge(old)
        with running(at(server)) as subscriber:
            again = taken(subscriber, 1)
    assert [one.arrival.payload for one in again] == [b"second life"]
    assert again[0].duplicate


class FailingClock(Clock):
    """A clock that breaks when the test says so."""

    broken = False

    def now_ms(self) -> int:
        if self.broken:
            raise OverflowError("the clock broke")
        return super().now_ms()


def test_a_fault_while_taking_a_message_in_ends_nothing(tmp_path: Path) -> None:
    clock = FailingClock()
    with mosquitto(tmp_path) as server:
        with running(at(server), clock) as subscriber:
            connected(subscriber)
            clock.broken = True
            server.publish(TOPIC, ["one"])
            wait_for(lambda: subscriber.trouble_count, "the trouble")
            clock.broken = False
            server.publish(TOPIC, ["two"])
            assert [one.arrival.payload for one in taken(subscriber, 1)] == [b"two"]
            (trouble,) = subscriber.troubles()
            assert "OverflowError('the clock broke')" in trouble.why
            assert trouble.message is not None
            assert trouble.message.arrival.payload == b"one"
            assert subscriber.troubles() == []
            assert subscriber.trouble_count == 1
            subscriber.acknowledge([trouble.message])
        with running(at(server), clock) as subscriber:
            connected(subscriber)
            assert caught_up(subscriber) == []


def test_a_full_queue_makes_the_broker_wait_and_loses_nothing(tmp_path: Path) -> None:
    with mosquitto(tmp_path) as server, running(at(server), None, 10) as subscriber:
        connected(subscriber)
        server.publish(TOPIC, [b"%d" % number for number in range(100)])
        found = [one.arrival.payload for one in taken(subscriber, 100)]
    assert found == [b"%d" % number for number in range(100)]


def test_pulses_do_not_pile_up_behind_a_full_queue(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The network's thread waits for room meanwhile, and answers nothing."""
    monkeypatch.setattr(mqtt, "PULSES_KEPT", 5)
    clock = SteppedClock()
    with mosquitto(tmp_path) as server, running(at(server), clock, 1) as subscriber:
        connected(subscriber)
        server.publish(TOPIC, ["1", "2", "3"])
        wait_for(lambda: subscriber._queue, "a full queue")
        for _ in range(50):
            clock.passes(1_000)
            subscriber.pulse()
        assert len(subscriber._client._out_messages) <= 5
        assert len(taken(subscriber, 3)) == 3
        assert caught_up(subscriber) == []


def test_a_full_queue_does_not_hold_up_the_stop(tmp_path: Path) -> None:
    with mosquitto(tmp_path) as server:
        with running(at(server), None, 10) as subscriber:
            connected(subscriber)
            server.publish(TOPIC, [b"%d" % number for number in range(100)])
            begun_ms = Clock().monotonic_ms()
        assert Clock().monotonic_ms() - begun_ms < 5_000
        with running(at(server)) as subscriber:
            assert len(taken(subscriber, 100)) == 100


@pytest.mark.parametrize("kind", [str, bytes])
def test_what_we_publish_arrives(tmp_path: Path, kind: Callable[..., object]) -> None:
    with mosquitto(tmp_path) as server, running(at(server)) as subscriber:
        connected(subscriber)
        payload = "61.9" if kind is str else b"61.9"
        subscriber.publish(TOPIC, payload)
        assert [one.arrival.payload for one in taken(subscriber, 1)] == [b"61.9"]
