"""What tests of the subscriber share: one that runs, and waiting for what it does."""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from daemon.clock import Clock
from daemon.mqtt import Message, Subscriber, pulse_topic
from daemon.settings import Broker, Version
from tests.servers import Mosquitto, wait_for

TOPIC = "yard/north/cores"
VERSIONS = pytest.mark.parametrize("version", ["3.1.1", "5"])


class SteppedClock(Clock):
    """The machine's clock, put forward by the test."""

    ahead_ms = 0
    now_ahead_ms = 0

    def now_ms(self) -> int:
        """What the machine shows, and so much more."""
        return super().now_ms() + self.now_ahead_ms

    def monotonic_ms(self) -> int:
        """What the machine counts, and so much more."""
        return super().monotonic_ms() + self.ahead_ms

    def passes(self, ms: int) -> None:
        """Put both forward."""
        self.ahead_ms += ms
        self.now_ahead_ms += ms


@contextmanager
def running(
    broker: Broker, clock: Clock | None = None, queue_size: int = 5000
) -> Iterator[Subscriber]:
    """A subscriber that was started, and is stopped at the end."""
    subscriber = Subscriber(broker, [TOPIC], clock or Clock(), queue_size)
    subscriber.start()
    try:
        yield subscriber
    finally:
        subscriber.stop()


def at(server: Mosquitto, version: Version = "3.1.1", in_flight: int = 1000) -> Broker:
    """The settings that lead to a server."""
    return Broker(port=server.port, version=version, in_flight=in_flight)


def connected(subscriber: Subscriber) -> None:
    """Wait for the link."""
    wait_for(lambda: subscriber.state.connected, "a link", lambda: subscriber.state)


def caught_up(subscriber: Subscriber) -> list[Message]:
    """Take until the pulse is back; answer what came before it."""
    topic = pulse_topic("fumarium")
    subscriber.pulse()
    found: list[Message] = []

    def back() -> bool:
        found.extend(subscriber.take(wait_s=0.1))
        return any(one.arrival.topic == topic for one in found)

    wait_for(back, "the pulse")
    return [one for one in found if one.arrival.topic != topic]


def taken(
    subscriber: Subscriber, count: int, acknowledge: bool = True
) -> list[Message]:
    """Take until ``count`` messages other than the pulse have come."""
    found: list[Message] = []

    def enough() -> bool:
        group = subscriber.take(wait_s=0.2)
        if acknowledge:
            subscriber.acknowledge(group)
        found.extend(one for one in group if one.arrival.topic == TOPIC)
        return len(found) >= count

    wait_for(enough, f"{count} messages", deadline_s=60)
    return found


def said(subscriber: Subscriber, words: str) -> None:
    """Wait for the link to say these words."""
    wait_for(lambda: words in subscriber.state.why, words, lambda: subscriber.state)
