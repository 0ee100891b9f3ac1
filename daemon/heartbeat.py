"""Calls an address again and again, so that somebody else notices a dead board.

Whoever is called there raises the alarm when the calls stop.  So a call is made only
while the road moves and readings can be kept: a daemon that merely runs is not alive.

Rule 1: the address may hold a secret: no word and no log names more than its host.
Rule 2: it has a thread of its own; however long a call takes, nothing waits for it.
"""

import contextlib
import queue
import threading
from urllib.parse import urlsplit

from daemon.health import Change

TIMEOUT_S = 10.0
RETRY_S = 30.0  # after a call that failed, if the next one is not due before
FAILURES = 2  # in a row are told; one may be anything
ANSWER_BYTES = 1_000


class Heartbeat:
    """The calls, from their first to ``close``."""

    def __init__(
        self, address: str, every_s: float, *, retry_s: float = RETRY_S
    ) -> None:
        """Make ready; the first call waits for the first ``alive``."""
        self._address, self._every_s = address, every_s
        self._retry_s = min(retry_s, every_s)
        self._host = urlsplit(address).hostname or "its host"
        self._alive, self._closing = threading.Event(), threading.Event()
        self._news: queue.SimpleQueue[Change] = queue.SimpleQueue()
        self._failed, self._told = 0, False
        self._thread = threading.Thread(target=self._run, name="heart", daemon=True)
        self._thread.start()

    def alive(self) -> None:
        """Say that the road has moved and readings can be kept."""
        self._alive.set()

    def news(self) -> list[Change]:
        """What has changed since the last call; it never waits."""
        found = []
        with contextlib.suppress(queue.Empty):
            while True:
                found.append(self._news.get_nowait())
        return found

    def close(self) -> None:
        """Call no more."""
        self._closing.set()
        self._alive.set()
        self._thread.join(timeout=1)

    def _run(self) -> None:
        while True:
            self._alive.clear()
            self._alive.wait()
            if self._closing.is_set():
                return
            why = self._call()
            self._note(why)
            self._closing.wait(self._retry_s if why else self._every_s)

    def _call(self) -> str:
        """Call once; "" or why it failed."""
        import urllib.error
        import urllib.request
        from http.client import HTTPException

        try:
            asked = urllib.request.Request(
                self._address, headers={"User-Agent": "fumarium"}
            )
            with urllib.request.urlopen(asked, timeout=TIMEOUT_S) as answer:
                answer.read(ANSWER_BYTES)
        except urllib.error.HTTPError as error:
            error.close()
            return f"{self._host} answers with status {error.code}"
        except (OSError, ValueError, HTTPException) as error:
            reason = getattr(error, "reason", error)
            said = getattr(reason, "strerror", None) or type(reason).__name__
            return f"{self._host} does not answer: {said}"
        return ""

    def _note(self, why: str) -> None:
        self._failed = self._failed + 1 if why else 0
        if self._failed >= FAILURES and not self._told:
            self._told = True
            words = f"{why}; nobody would notice now if this board died"
            self._news.put(Change("heartbeat", "reporting", "failing", words))
        elif not why and self._told:
            self._told = False
            words = f"{self._host} answers again"
            self._news.put(Change("heartbeat", "failing", "reporting", words))
