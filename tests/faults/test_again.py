"""A write that fails in the middle of a turn, and the turn that tries again.

The journal's own connection is made to refuse one kind of row, as a disk that is
full refuses whatever comes next: what was durable before it must not come twice, and
what was refused must come once it can.
"""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from daemon import answers, run
from daemon.mqtt import Message
from tests.faults.inside import Inside, inside
from tests.faults.row import Row
from tests.servers import wait_for

PAYLOAD = b'{"alert": "all", "who": "AB"}'


@pytest.fixture(autouse=True)
def soon(monkeypatch: pytest.MonkeyPatch) -> None:
    """Try again at once, and wait for nobody."""
    monkeypatch.setattr(run, "RETRY_S", 0.0)
    monkeypatch.setattr(run, "PULSE_MS", run.SHORTEST_MS)


@contextmanager
def refusing(site: Inside, table: str) -> Iterator[None]:
    """No row gets into a table of the journal."""
    assert site.road is not None
    connection = site.road.journal.connection
    connection.execute(
        f"CREATE TEMP TRIGGER no_room BEFORE INSERT ON main.{table}"
        " BEGIN SELECT RAISE(ABORT, 'no room'); END"
    )
    yield
    connection.execute("DROP TRIGGER no_room")


def cooked(site: Inside, row_of: str, minutes: range) -> Row:
    """A cook in some minutes of which no such row can be kept."""
    site.begin()
    failed = False
    for number, samples in enumerate(site.samples()):
        if number not in minutes:
            site.minute(samples)
            continue
        with refusing(site, row_of):
            site.publish(site.seen(samples))
            site.come_in()
            road = site.road
            assert road is not None
            for _ in range(2):
                road.turn()
                failed = failed or "no room" in road.recording
    assert failed
    return site.finish(f"no {row_of}", 1)


@pytest.mark.parametrize("row_of", ["reading", "event"])
def test_what_could_not_be_kept_is_kept_later_and_told(
    tmp_path: Path, row_of: str
) -> None:
    """The fire dies, and people are to be told, while nothing can be written."""
    with inside(tmp_path / "site") as site:
        site.start()
        row = cooked(site, row_of, range(20, 40))
    assert row.good, row
    assert row.due > 0


def test_what_was_durable_when_another_row_was_refused_is_not_kept_twice(
    tmp_path: Path,
) -> None:
    topic = answers.acknowledge_topic("inside")
    with inside(tmp_path / "site") as site:
        road = site.start()
        with refusing(site, "entry"):
            site.publish([("yard/core-1", b"warm"), (topic, PAYLOAD)])
            for _ in range(5):
                road.turn()
            assert "no room" in road.recording
        site.send([])
        assert road.recording == ""
        whys = [refusal.why for _, refusal in road.journal.refusals()]
        assert len(whys) == 1, whys
        assert [kept.entry.who for kept in road.journal.entries("")] == ["AB"]


def test_a_broker_that_was_away_before_a_restart_is_said_to_be_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(run, "AWAY_MS", 0)
    with inside(tmp_path / "site") as site:
        road = site.start()
        site.broker.stop()
        wait_for(lambda: not road.subscriber.state.connected, "the loss")
        for _ in range(2):
            site.passes(1_000)
            road.turn()
        site.stop()
        site.broker.start()
        road = site.start()
        site.send([])
        said = [noticed.event for noticed in road.journal.events("")]
    assert [(one.name, one.now) for one in said] == [
        ("broker", "away"),
        ("broker", "reporting"),
    ]


def test_a_group_is_one_commit_and_is_acknowledged_after_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each commit waits once for the disk (``tests/daemon/test_journal_file.py``)."""
    with inside(tmp_path / "site") as site:
        road = site.start()
        said: list[str] = []
        acknowledged: list[tuple[int, int, int]] = []
        acknowledge = road.subscriber.acknowledge

        def watched(messages: Sequence[Message]) -> None:
            with closing(sqlite3.connect(road.settings.journal)) as other:
                (kept,) = other.execute("SELECT count(*) FROM reading").fetchone()
            cores = [one for one in messages if one.arrival.topic == "yard/core-1"]
            acknowledged.append((len(cores), kept, said.count("COMMIT")))
            acknowledge(messages)

        monkeypatch.setattr(road.subscriber, "acknowledge", watched)
        at_s = site.true_ms // 1000
        pack = b'[{"bt":%d,"n":"core-1","v":5.5}]'
        site.publish([("yard/core-1", pack % (at_s - n)) for n in range(200)])
        site.come_in()
        road.journal.connection.set_trace_callback(said.append)
        while not sum(cores for cores, _, _ in acknowledged):
            road.turn()
        road.journal.connection.set_trace_callback(None)
    (group,) = (one for one in acknowledged if one[0])
    assert group == (200, 200, 1)
