"""The mirror: a copy of readings and events in an InfluxDB-compatible database.

It is a convenience for graphs and never the truth.  ``Mirror`` runs ``python -m
daemon.copying`` beside the daemon, because influxdb-client takes seconds and about
57 MB to import, and nothing the database does may hold up the road.

Rule 1: the token goes to the process through standard input and nowhere else.
Rule 2: a trouble is told once, and what ends it is told once.
"""

import contextlib
import json
import os
import queue
import subprocess
import sys
import threading
from dataclasses import asdict, dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parents[1]

PAUSE_S = 10.0  # between two looks at the journal, once everything is copied
RESTART_S = 60.0  # before a process that ended by itself is started again
LEAVE_S = 2.0  # what a process that was let go may take to end


@dataclass(frozen=True, slots=True)
class Target:
    """The database that holds the copy, and the name of this site in it."""

    url: str
    organisation: str
    bucket: str
    site: str
    token: str = field(repr=False)

    @property
    def name(self) -> str:
        """What the cursor is kept under: another place gets everything anew."""
        return json.dumps([self.url, self.organisation, self.bucket, self.site])


class Condition(StrEnum):
    """How the copying goes."""

    FOLLOWING = "following"
    AWAY = "away"  # the database does not answer, or not now
    REFUSED = "refused"  # by the database; a person has to change something
    STOPPED = "stopped"  # the copying itself could not go on


class News(NamedTuple):
    """A change in how the copying goes, in words for a person."""

    condition: Condition
    why: str


class MirrorError(Exception):
    """The database did not take or give what it should; the text is for a person."""

    def __init__(self, condition: Condition, words: str) -> None:
        super().__init__(words)
        self.condition = condition


class Mirror:
    """The copying, in a process of its own that is started again when it ends."""

    def __init__(
        self, target: Target, journal: Path, *, pause_s: float = PAUSE_S
    ) -> None:
        """Start copying the journal to the target, a look at it every ``pause_s``."""
        order = {"target": asdict(target), "journal": str(journal), "pause_s": pause_s}
        self._order = json.dumps(order) + "\n"
        self._news: queue.SimpleQueue[News] = queue.SimpleQueue()
        self._stopped = False  # and told so
        self._closing = threading.Event()
        self._lock = threading.Lock()
        self._process: subprocess.Popen[str] | None = None
        self._thread = threading.Thread(target=self._run, name="mirror", daemon=True)
        self._thread.start()

    def news(self) -> list[News]:
        """What changed since the last call; it never waits."""
        found = []
        with contextlib.suppress(queue.Empty):
            while True:
                found.append(self._news.get_nowait())
        return found

    @property
    def pid(self) -> int | None:
        """The number of the process that copies, while there is one."""
        with self._lock:
            return self._process.pid if self._process else None

    def close(self) -> None:
        """End the copying; what was not confirmed is sent again another time."""
        self._closing.set()
        with self._lock:
            process = self._process
        if process:
            assert process.stdin is not None
            with contextlib.suppress(OSError):
                process.stdin.close()
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(LEAVE_S)
            process.kill()
        self._thread.join()

    def _run(self) -> None:
        while not self._closing.is_set():
            why = self._run_once()
            if not self._closing.is_set():
                self._tell(News(Condition.STOPPED, f"mirror: {why}"))
            self._closing.wait(RESTART_S)

    def _run_once(self) -> str:
        """Start the process, pass its news on, and answer how it ended."""
        paths = (str(ROOT), os.environ.get("PYTHONPATH", ""))
        try:
            process = subprocess.Popen(
                [sys.executable, "-P", "-m", "daemon.copying"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,  # a traceback may quote the token
                env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, paths))},
                text=True,
                encoding="utf-8",
            )
        except OSError as error:
            return f"the copying process does not start: {error.strerror}"
        with self._lock:
            self._process = process
        with process, contextlib.suppress(OSError, ValueError):
            assert process.stdin is not None and process.stdout is not None
            process.stdin.write(self._order)
            process.stdin.flush()
            if self._closing.is_set():
                process.stdin.close()
            for line in process.stdout:
                condition, why = json.loads(line)
                self._tell(News(Condition(condition), why))
            process.kill()
        with self._lock:
            self._process = None
        return f"the copying process ended (status {process.returncode})"

    def _tell(self, news: News) -> None:
        """Pass news on, once: a process that ended has said why before."""
        stopped = news.condition is Condition.STOPPED
        if not (stopped and self._stopped):
            self._news.put(news)
        self._stopped = stopped
