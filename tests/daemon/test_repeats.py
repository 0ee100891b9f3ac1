"""What comes again is known; what only looks like it is not taken for it.

Packet identifiers are used again, and a broker marks as a duplicate also what never
reached us: MQTT 3.1.1 (OASIS Standard), 2.3.1 and 3.3.1.1.
"""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from daemon import repeats
from daemon.answers import acknowledge_topic
from daemon.journal import Journal
from daemon.mqtt import Message
from daemon.repeats import Repeats, delivery_of
from daemon.run import Road
from daemon.secrets import Secret
from probes.contract import Arrival
from rules.facts import Event, Subject
from tests.daemon.test_run import NOON_MS, SetClock, clock, road

__all__ = ["clock", "road"]

ANSWER = b'{"alert": "all", "who": "AB"}'


def message(packet: int, payload: bytes = b"4.0", *, again: bool = False) -> Message:
    """A message of the probe."""
    return Message(Arrival("yard/bare", payload, NOON_MS), packet, 1, again, 1)


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """An empty one."""
    opened = Journal(tmp_path / "journal.db")
    yield opened
    opened.close()


def keep(journal: Journal, known: Repeats, packet: int, messages: int = 1) -> None:
    """Make a message durable, as one of a group."""
    deliveries = [delivery_of(message(packet))]
    journal.append([], [], deliveries)
    known.kept(deliveries, messages)


def test_only_what_is_marked_and_says_the_same_is_a_repeat(journal: Journal) -> None:
    known = Repeats(journal)
    keep(journal, known, 5)

    def is_known(one: Message) -> bool:
        return Repeats(journal).has(one, delivery_of(one))

    assert is_known(message(5, again=True))
    assert not is_known(message(5))
    assert not is_known(message(6, again=True))
    assert not is_known(message(5, b"4.1", again=True))


@pytest.mark.parametrize("restarted", [False, True])
def test_an_old_delivery_makes_nothing_new_a_repeat(
    journal: Journal, restarted: bool
) -> None:
    """A probe says 4.0 all night, and at some time the broker counts to 5 again."""
    known = Repeats(journal)
    keep(journal, known, 5)
    if restarted:  # nothing says how old it is: it is as good as new once more
        known = Repeats(journal)
    again = message(5, again=True)
    keep(journal, known, 6, repeats.FORGET_AFTER - 1)
    assert known.has(again, delivery_of(again))
    for packet in range(7, 10):
        keep(journal, known, packet, repeats.FORGET_AFTER)
    assert not known.has(again, delivery_of(again))
    assert journal.delivered() == {9}


def test_what_came_again_may_come_once_more(journal: Journal) -> None:
    """Its acknowledgement was lost twice, long after it was kept."""
    known = Repeats(journal)
    keep(journal, known, 5)
    again = message(5, again=True)
    for _ in range(3):
        known.kept([], repeats.FORGET_AFTER)
        assert known.has(again, delivery_of(again))


def acknowledged(road: Road, *, again: bool) -> None:
    """Take an acknowledgement from the broker, up to just before it is told so."""
    topic = acknowledge_topic(road.settings.broker.client_id)
    arrival = Arrival(topic, ANSWER, road.clock.now_ms())
    group = road.decoded([Message(arrival, 7, 1, again, 1)])
    road.keep_group(group._replace(messages=[]))


def test_an_answer_that_comes_again_answers_nothing_that_came_since(
    road: Road, clock: SetClock
) -> None:
    """The board dies after the entry is durable and before the broker knows it."""
    quiet = Event(NOON_MS, Subject.CHANNEL, "core-1", "", "reporting", "quiet", "why")
    road.keep("", [quiet])
    contacts = {"operator": Secret("json://127.0.0.1:9")}
    road.settings = replace(road.settings, contacts=contacts)
    road.collect()
    acknowledged(road, again=False)
    road.collect()
    [alert] = road.outbox.alerts("")
    assert alert.acknowledged_by == "AB"

    back = quiet._replace(was="quiet", now="reporting", at_ms=NOON_MS + 1)
    road.keep("", [back, quiet._replace(at_ms=NOON_MS + 3_600_000)])
    road.collect()
    road.repeated = Repeats(road.journal)  # after a restart
    acknowledged(road, again=True)
    road.collect()
    assert [kept.entry.who for kept in road.journal.entries("")] == ["AB"]
    assert [one.acknowledged_by for one in road.outbox.alerts("")] == ["AB", ""]
