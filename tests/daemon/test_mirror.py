"""The mirror against a real database, and what it says when it cannot go on.

The database is victoria-metrics, which takes InfluxDB's line protocol.  It asks for
no token, so refusals come from a small HTTP server that answers as InfluxDB does;
the meaning of 401, 404, 429 and 503 is that of RFC 9110 and RFC 6585.
"""

import contextlib
import json
import os
import signal
import socket
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.copying import FOLLOWING, Point, follow, move_cursor, next_batch, writer
from daemon.journal import Cook, Journal
from daemon.mirror import Condition, Mirror, MirrorError, News, Target
from daemon.reconcile import Gap, Side, reconcile
from rules.facts import Event, Quality, Reading, Subject
from tests.servers import wait_for
from tests.victoria import Victoria, victoria

START_MS = 1_714_543_200_000
COOK = Cook("L 7, first", "north", "", "links.yaml", (), START_MS, "MB")
TOKEN = "hunter2-hunter2"


def the_readings(count: int, start: int = 0) -> list[Reading]:
    """One reading a second on three channels."""
    return [
        Reading(f"core {at % 3}", START_MS + at * 1000 + 1, at * 13 - 5_000, 500)
        for at in range(start, start + count)
    ]


def target_at(url: str, site: str = "Juniper Yard") -> Target:
    return Target(url, "house", "smoke", site, TOKEN)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.db"


@pytest.fixture
def journal(path: Path) -> Iterator[Journal]:
    opened = Journal(path)
    yield opened
    opened.close()


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Victoria]:
    with victoria(tmp_path) as started:
        yield started


def copy_all(journal: Journal, target: Target, limit: int = 5_000) -> int:
    """Copy until nothing is left; answer how many points were written."""
    write, written = writer(target), 0
    while (batch := next_batch(journal, target, limit)).points:
        write(batch.points)
        move_cursor(journal, target, batch)
        written += len(batch.points)
    return written


def held(server: Victoria) -> dict[str, list[tuple[int, float]]]:
    """The readings that the database holds, by channel and quality."""
    found = {}
    for text, points in server.points("reading_value").items():
        tags = json.loads(text)
        assert tags.pop("site") == "Juniper Yard"
        found["/".join(tags.values())] = points
    return found


def test_every_reading_and_event_arrives_as_it_was(
    journal: Journal, server: Victoria
) -> None:
    readings = the_readings(3_000)
    odd = Reading('a=b, "c" \\', START_MS, -40_125, 1, Quality.AGE_UNKNOWN)
    journal.append([*readings, odd], [])
    journal.begin(COOK, START_MS)
    risk = Event(START_MS, Subject.LIMIT, "chill", "core 1", "within", "at risk", "why")
    site = Event(START_MS + 9, Subject.CHANNEL, "core 1", "", "on", "quiet", "why")
    journal.add_events(COOK.lot, [risk], 1, 1)
    journal.add_events("", [site], 1, 1)
    assert copy_all(journal, target_at(server.url), limit=700) == 3_003

    found = held(server)
    for channel in ("core 0", "core 1", "core 2"):
        assert found.pop(channel) == [
            (one.at_ms, one.value_mc / 1000)
            for one in readings
            if one.channel == channel
        ]
    [(name, points)] = found.items()
    assert name.endswith("/age unknown")
    assert points == [(START_MS, -40.125)]

    events = server.points("event_happened")
    tags = {"site": "Juniper Yard", "lot": COOK.lot, "subject": "limit"}
    tags |= {"name": "chill", "channel": "core 1", "now": "at risk"}
    assert events.pop(json.dumps(tags, sort_keys=True)) == [(START_MS, 1.0)]
    tags = {"site": "Juniper Yard", "subject": "channel", "name": "core 1"}
    tags["now"] = "quiet"
    assert events == {json.dumps(tags, sort_keys=True): [(START_MS + 9, 1.0)]}


def test_points_sent_again_are_the_same_points(
    journal: Journal, server: Victoria
) -> None:
    journal.append(the_readings(300), [])
    target = target_at(server.url)
    assert copy_all(journal, target) == 300
    assert copy_all(journal, target) == 0
    before = held(server)
    for table in ("mirror", "mirror_channel"):  # as if every confirmation was lost
        journal.connection.execute(f"DELETE FROM {table}")
    assert copy_all(journal, target) == 300
    assert held(server) == before
    assert sum(map(len, before.values())) == 300


def test_another_place_gets_everything_anew(journal: Journal, server: Victoria) -> None:
    journal.append(the_readings(30), [])
    assert copy_all(journal, target_at(server.url)) == 30
    assert copy_all(journal, target_at(server.url, site="Elder Yard")) == 30
    server.get("/internal/force_flush")
    for site in ("Juniper Yard", "Elder Yard"):
        assert reconcile(journal, target_at(server.url, site=site)).equal


def test_an_outage_is_caught_up_and_both_sides_are_equal(
    journal: Journal, path: Path, server: Victoria
) -> None:
    """The database goes away and comes back, and the copying process is killed."""
    target = target_at(server.url)
    journal.append(the_readings(900), [])
    mirror = Mirror(target, path, pause_s=0.1)
    news: list[News] = []

    def told(condition: Condition) -> bool:
        news.extend(mirror.news())
        return bool(news) and news[-1].condition is condition

    with contextlib.closing(mirror):
        wait_for(lambda: told(Condition.FOLLOWING), "the first copy", lambda: news)
        server.stop()
        journal.append(the_readings(900, start=900), [])
        wait_for(lambda: told(Condition.AWAY), "the outage", lambda: news)
        journal.append(the_readings(900, start=1_800), [])
        server.start()
        wait_for(lambda: told(Condition.FOLLOWING), "the end of it", lambda: news)
        assert mirror.pid
        os.kill(mirror.pid, signal.SIGKILL)
        wait_for(lambda: told(Condition.STOPPED), "the kill", lambda: news)
    away = News(Condition.AWAY, f"mirror: nobody answers at {server.url}")
    killed = "mirror: the copying process ended (status -9)"
    stopped = News(Condition.STOPPED, killed)
    assert news == [FOLLOWING, away, FOLLOWING, stopped]

    def equal() -> bool:
        server.get("/internal/force_flush")
        return reconcile(journal, target).equal

    with contextlib.closing(Mirror(target, path)):
        wait_for(equal, "equal sides", lambda: reconcile(journal, target))
    sides = [Side(f"core {number}", 900, 900) for number in range(3)]
    assert reconcile(journal, target).sides == (*sides, Side("", 0, 0))


def test_what_the_copy_lacks_is_named(journal: Journal, server: Victoria) -> None:
    target, readings = target_at(server.url), the_readings(60)
    journal.append(readings, [])
    journal.begin(COOK, START_MS)
    event = Event(START_MS, Subject.COOK, COOK.lot, "", "", "begun", "why")
    journal.add_events(COOK.lot, [event], 1, 1)
    batch = next_batch(journal, target)
    assert len(batch.points) == 61
    lost = {readings[at].at_ms for at in (6, 9, 30, 32)}
    writer(target)([one for one in batch.points if one.at_ms not in lost])
    server.get("/internal/force_flush")
    found = reconcile(journal, target)
    assert found.sides == (
        Side("core 0", 20, 17),
        Side("core 1", 20, 20),
        Side("core 2", 20, 19),
        Side("", 1, 1),
    )
    at = {number: readings[number].at_ms for number in (6, 9, 30, 32)}
    assert found.gaps == (
        Gap("core 0", at[6], at[9], 2),
        Gap("core 0", at[30], at[30], 1),
        Gap("core 2", at[32], at[32], 1),
    )
    assert not found.equal


def test_long_series_are_counted_in_stretches(
    journal: Journal, server: Victoria, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("daemon.reconcile.STRETCH", 7)
    target = target_at(server.url)
    readings = the_readings(100)
    copies = [one._replace(quality=Quality.CLOCK_UNSET) for one in readings[::2]]
    journal.append(copies, [])
    journal.append(readings, [])
    assert copy_all(journal, target) >= 150
    server.get("/internal/force_flush")
    found = reconcile(journal, target)
    assert found.equal, found
    assert sum(side.mirror for side in found.sides) == 150


# The cursor misses nothing

moments = st.integers(min_value=0, max_value=12)
qualities = st.sampled_from([Quality.AGE_UNKNOWN, Quality.GOOD])
some = st.builds(
    lambda channel, at_ms, quality: Reading(channel, at_ms, at_ms, 1, quality),
    st.sampled_from(["core-1", "core-2"]),
    moments,
    qualities,
)
# Either readings arrive, or the copying takes one batch of so many points.
turns = st.lists(st.lists(some, max_size=5) | st.integers(1, 4), max_size=20)


@given(turns)
def test_whatever_the_order_every_reading_is_copied(
    turns: list[list[Reading] | int],
) -> None:
    copied: set[Point] = set()
    target = target_at("http://127.0.0.1:9")
    with tempfile.TemporaryDirectory() as folder:
        journal = Journal(Path(folder) / "journal.db")
        journal.connection.execute("PRAGMA synchronous = OFF")  # speed, not meaning

        def copy(limit: int) -> bool:
            batch = next_batch(journal, target, limit)
            copied.update(batch.points)
            move_cursor(journal, target, batch)
            return bool(batch.points)

        for turn in turns:
            if isinstance(turn, int):
                copy(turn)
            else:
                journal.append(turn, [])
        while copy(3):
            pass
        rows = journal.connection.execute(
            "SELECT name, at_ms, quality FROM reading JOIN channel ON number = channel"
        ).fetchall()
        journal.close()
    found = {
        (dict(one.tags)["channel"], one.at_ms, len(one.tags) - 2) for one in copied
    }
    assert found == set(rows)  # one tag more where the quality is the second


# What it says, and that nobody waits for it


class Answering(ThreadingHTTPServer):
    """Answers every request with one status, and remembers who came with what."""

    daemon_threads = True

    def __init__(self, status: int, said: str = "") -> None:
        super().__init__(("127.0.0.1", 0), Answer)
        self.status, self.said = status, said
        self.tokens: list[str | None] = []
        self.hold = threading.Event()
        self.hold.set()
        threading.Thread(target=self.serve_forever, daemon=True).start()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server_port}"

    def close(self) -> None:
        self.hold.set()
        self.shutdown()
        self.server_close()


class Answer(BaseHTTPRequestHandler):
    """One request; it waits where the server was told to hold."""

    server: Answering

    def do_POST(self) -> None:
        self.rfile.read(int(self.headers["Content-Length"]))
        self.server.tokens.append(self.headers["Authorization"])
        self.server.hold.wait()
        self.answer()

    def do_GET(self) -> None:
        self.answer()

    def answer(self) -> None:
        body = json.dumps({"message": self.server.said}).encode()
        if self.server.status == 204:
            body = b""
        with contextlib.suppress(OSError):  # it gave up waiting
            self.send_response(self.server.status)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

    def log_message(self, format: str, *arguments: object) -> None:
        """Say nothing on the terminal."""


@contextlib.contextmanager
def answering(status: int, said: str = "") -> Iterator[Answering]:
    server = Answering(status, said)
    try:
        yield server
    finally:
        server.close()


@pytest.mark.parametrize(
    ("status", "said", "condition", "words"),
    [
        (
            401,
            "unauthorized access",
            Condition.REFUSED,
            "refuses the token; check the mirror's token in the settings (401)",
        ),
        (
            403,
            "",
            Condition.REFUSED,
            "refuses the token; check the mirror's token in the settings (403)",
        ),
        (
            404,
            "bucket not found",
            Condition.REFUSED,
            "has no bucket smoke of organisation house; check both in the settings"
            " (404)",
        ),
        (
            422,
            f"points beyond   retention for {TOKEN}",
            Condition.REFUSED,
            "does not take the points: points beyond retention for ... (422)",
        ),
        (429, "", Condition.AWAY, "cannot take points now (429)"),
        (503, "", Condition.AWAY, "cannot take points now (503)"),
    ],
)
def test_a_refusal_is_said_in_words(
    status: int, said: str, condition: Condition, words: str
) -> None:
    with answering(status, said) as server:
        with pytest.raises(MirrorError) as caught:
            writer(target_at(server.url))([Point("reading", (), "value", 1.0, 1)])
        assert caught.value.condition is condition
        assert str(caught.value) == f"mirror: {server.url} {words}"
        assert server.tokens == [f"Token {TOKEN}"]


def test_a_refused_token_is_told_once_and_its_end_too(
    journal: Journal, path: Path
) -> None:
    journal.append(the_readings(3), [])
    news: list[News] = []
    stopping = threading.Event()
    with answering(401) as server:
        target = target_at(server.url)

        def work() -> None:
            own = Journal(path)
            tell, pause_s = news.append, 0.01
            follow(own, target, writer(target), tell, stopping, pause_s, retry_s=0.01)
            own.close()

        thread = threading.Thread(target=work)
        thread.start()
        wait_for(lambda: len(server.tokens) >= 4, "four tries", lambda: news)
        assert [one.condition for one in news] == [Condition.REFUSED]
        server.status = 204
        wait_for(lambda: len(news) == 2, "the end of it", lambda: news)
        stopping.set()
        thread.join()
    assert news[1] == FOLLOWING
    assert not next_batch(journal, target).points


def test_a_database_that_hangs_holds_up_nothing(journal: Journal, path: Path) -> None:
    """Readings go on, and the log can be emptied: no read stays open meanwhile."""
    journal.append(the_readings(30), [])
    with answering(204) as server:
        server.hold.clear()
        with contextlib.closing(Mirror(target_at(server.url), path)) as mirror:
            wait_for(lambda: server.tokens, "the first request", mirror.news)
            assert len(journal.append(the_readings(30, start=30), [])) == 30
            emptied = "PRAGMA wal_checkpoint(TRUNCATE)"
            assert journal.connection.execute(emptied).fetchone() == (0, 0, 0)
    assert len(next_batch(journal, target_at(server.url)).points) == 60


def test_a_journal_that_is_not_there_is_told_once(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("daemon.mirror.RESTART_S", 0.01)
    news: list[News] = []
    with contextlib.closing(Mirror(target_at("http://127.0.0.1:9"), path)) as mirror:
        started: set[int | None] = set()
        while len(started - {None}) < 3:  # it is started again and again
            started.add(mirror.pid)
            news.extend(mirror.news())
    words = f"journal {path}: there is no such file"
    assert news == [News(Condition.STOPPED, words)]


def test_nobody_at_the_address() -> None:
    with socket.socket() as nobody:  # bound, and not listening
        nobody.bind(("127.0.0.1", 0))
        url = f"http://127.0.0.1:{nobody.getsockname()[1]}"
        with pytest.raises(MirrorError, match=f"mirror: nobody answers at {url}$"):
            writer(target_at(url))([Point("reading", (), "value", 1.0, 1)])


def test_a_database_that_cannot_be_read_back_is_said(journal: Journal) -> None:
    journal.append(the_readings(3), [])
    with answering(404) as server:
        target = target_at(server.url)
        with pytest.raises(MirrorError, match=r"cannot be counted: no /api/v1/export"):
            reconcile(journal, target)


def test_the_token_is_not_shown_with_the_target() -> None:
    assert TOKEN not in repr(target_at("http://127.0.0.1:9"))


def test_the_daemon_s_side_imports_nothing_heavy() -> None:
    script = "import sys, daemon.mirror; print(*sorted(sys.modules))"
    root = Path(__file__).parents[2]
    command = [sys.executable, "-c", script]
    loaded = subprocess.check_output(command, cwd=root, text=True).split()
    assert "daemon.mirror" in loaded
    assert not {name.split(".")[0] for name in loaded} & {"influxdb_client", "urllib3"}
