"""The heartbeat calls a real HTTP server on loopback, or finds nobody there."""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from itertools import pairwise
from typing import Any

import pytest

from daemon.health import Change
from daemon.heartbeat import Heartbeat
from tests.servers import unused_port, wait_for

SECRET = "/ping/qzqzqz"


class Watch:
    """Somebody who counts the calls, at a port that stays the same."""

    def __init__(self) -> None:
        self.port, self.status = unused_port(), 200
        self.calls: list[tuple[str, str, float]] = []  # path, program, when
        self.free = threading.Event()
        self.free.set()
        self._server: ThreadingHTTPServer | None = None

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}{SECRET}"

    def start(self) -> None:
        watch = self

        class Request(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                program = self.headers["User-Agent"]
                watch.calls.append((self.path, program, time.monotonic()))
                watch.free.wait()
                self.send_response(watch.status)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, format: str, *args: Any) -> None:
                """Say nothing on the terminal."""

        self._server = ThreadingHTTPServer(("127.0.0.1", self.port), Request)
        self._server.daemon_threads = True
        serve = self._server.serve_forever
        threading.Thread(target=serve, args=(0.02,), daemon=True).start()

    def stop(self) -> None:
        self.free.set()
        if self._server:
            self._server.shutdown()
            self._server.server_close()
            self._server = None


@pytest.fixture
def watch() -> Iterator[Watch]:
    watch = Watch()
    watch.start()
    yield watch
    watch.stop()


@contextmanager
def beating(address: str, every_s: float = 0.05) -> Iterator[Heartbeat]:
    heart = Heartbeat(address, every_s, retry_s=0.05)
    yield heart
    heart.close()


def news(heart: Heartbeat, count: int, *, alive: bool = True) -> list[Change]:
    """Wait for so many changes, while the road moves."""
    found: list[Change] = []

    def enough() -> bool:
        if alive:
            heart.alive()
        found.extend(heart.news())
        return len(found) >= count

    wait_for(enough, f"{count} changes", lambda: found)
    return found


def calls(watch: Watch, heart: Heartbeat, count: int) -> None:
    def enough() -> bool:
        heart.alive()
        return len(watch.calls) >= count

    wait_for(enough, f"{count} calls", lambda: watch.calls)


def test_it_is_called_again_and_again(watch: Watch) -> None:
    with beating(watch.address, every_s=0.2) as heart:
        calls(watch, heart, 4)
        assert heart.news() == []
    assert {call[:2] for call in watch.calls} == {(SECRET, "fumarium")}
    times = [at_s for *_, at_s in watch.calls]
    assert all(b - a >= 0.15 for a, b in pairwise(times))


def test_a_road_that_stands_still_is_not_called_alive(watch: Watch) -> None:
    with beating(watch.address) as heart:
        heart.alive()
        wait_for(lambda: watch.calls, "the first call")
        count = len(watch.calls)
        assert not threading.Event().wait(0.5)  # ten periods
        assert len(watch.calls) <= count + 1  # one more may have been asked for
        calls(watch, heart, count + 2)


def test_who_does_not_answer_is_told_once_and_that_he_is_back(watch: Watch) -> None:
    watch.stop()
    with beating(watch.address) as heart:
        [failing] = news(heart, 1)
        assert failing == Change(
            "heartbeat",
            "reporting",
            "failing",
            "127.0.0.1 does not answer: Connection refused; nobody would notice now"
            " if this board died",
        )
        watch.start()
        [back] = news(heart, 1)
        assert back == Change(
            "heartbeat", "failing", "reporting", "127.0.0.1 answers again"
        )


def test_one_call_that_fails_is_nobody_s_business(watch: Watch) -> None:
    watch.status = 503
    with beating(watch.address, every_s=0.5) as heart:
        calls(watch, heart, 1)
        watch.status = 200
        calls(watch, heart, 3)
        assert heart.news() == []


def test_an_answer_that_is_an_error_counts_as_none(watch: Watch) -> None:
    watch.status = 404
    with beating(watch.address) as heart:
        [failing] = news(heart, 1)
    assert failing.why.startswith("127.0.0.1 answers with status 404; ")
    assert "qzqzqz" not in failing.why


@pytest.mark.parametrize(
    "address",
    ["http://nobody.invalid/qzqzqz", "http://127.0.0.1:1/qzqzqz", "https://[::1]:1/q"],
)
def test_no_word_names_more_than_the_host(address: str) -> None:
    """RFC 6761, 6.4: nothing under ``invalid`` has an address."""
    with beating(address) as heart:
        [failing] = news(heart, 1)
    assert "does not answer: " in failing.why
    assert "qzqzqz" not in failing.why


def test_a_call_that_hangs_holds_nothing_up(watch: Watch) -> None:
    watch.free.clear()
    with beating(watch.address) as heart:
        calls(watch, heart, 1)
        begun_s = time.monotonic()
        heart.alive()
        assert heart.news() == []
    assert time.monotonic() - begun_s < 5
