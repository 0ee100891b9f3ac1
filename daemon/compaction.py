"""Old readings leave their rows for blocks of few bytes, without losing one.

A channel's readings are packed once they are older than the settings say and no cook
that goes on has begun before them.  Readings outside of any cook are packed too.

Rule 1: rows become a block in one transaction.  The block is read back from the file
and unpacked before a row goes, and the journal's own trigger looks each row up in it.
Rule 2: the newest reading of a channel stays a row: what comes after it is told by it
whether it is late (see ``daemon.journal_schema``).
Rule 3: never on the road.  ``Compactor`` runs this in a process of low priority, one
block a transaction, with a pause for others after each.

Units: ``_ms`` milliseconds; ``_mc`` as in ``rules.facts``.
"""

import contextlib
import os
import subprocess
import sys
import threading
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from daemon.blocks import Row, pack, unpack
from daemon.journal import Journal, JournalError, Trouble
from daemon.journal_schema import in_words

ROOT = Path(__file__).resolve().parents[1]

BLOCK = 2048  # readings in one block
LEAST = 256  # fewer than that wait for more
STEP_PAGES = 64  # given back to the disk in one transaction
PAUSE_S = 0.05
DAY_S = 86_400.0


class Compacted(NamedTuple):
    """What one run has done, and what it has come to."""

    readings: int
    blocks: int
    before_bytes: int
    after_bytes: int


def compact(
    journal: Journal, now_ms: int, age_ms: int, *, pause_s: float = 0.0
) -> Compacted:
    """Pack what is older than ``age_ms`` and no running cook needs; say how much.

    After each block it waits for ``pause_s``, in which others can write.

    Raises:
        JournalError: It could not go on; what is packed is packed, nothing is lost.
    """
    before_bytes = size(journal)
    readings = blocks = 0
    spare_zeros(journal)
    for channel, until_ms in until(journal, now_ms - age_ms).items():
        while packed := pack_some(journal, channel, until_ms):
            readings, blocks = readings + packed, blocks + 1
            give_back(journal)
            time.sleep(pause_s)
    return Compacted(readings, blocks, before_bytes, size(journal))


def until(journal: Journal, until_ms: int) -> Mapping[int, int]:
    """Up to when the readings of each channel, by its number, can be packed."""
    settled = journal.settled()
    going_on = [cook for cook in journal.cooks() if cook.lot not in settled]
    begun_ms: dict[str, int] = {}
    for cook in going_on:
        for channel in cook.channels:
            first_ms = begun_ms.get(channel.name, cook.begun_ms)
            begun_ms[channel.name] = min(first_ms, cook.begun_ms)
    return {
        number: min(until_ms, begun_ms.get(name, until_ms))
        for name, number in journal.channels().items()
    }


def pack_some(journal: Journal, channel: int, until_ms: int) -> int:
    """Pack a channel's oldest rows from before a time; answer how many.

    Raises:
        JournalError: Nothing was changed.
    """
    with journal.writing() as connection:
        found = connection.execute(
            "SELECT at_ms, quality, value_mc, uncertainty_mc, delay_ms FROM reading"
            " WHERE channel = ?1 AND at_ms < ?2"
            " AND at_ms < (SELECT max(at_ms) FROM reading WHERE channel = ?1)"
            " ORDER BY at_ms, quality LIMIT ?3",
            (channel, until_ms, BLOCK),
        )
        rows = [Row(*row) for row in found]
        if len(rows) < LEAST:
            return 0
        first, last = rows[0], rows[-1]
        times = len({row.at_ms for row in rows})
        number = connection.execute(
            "INSERT INTO block (channel, from_ms, to_ms, times, packed)"
            " VALUES (?, ?, ?, ?, ?)",
            (channel, first.at_ms, last.at_ms, times, pack(rows)),
        ).lastrowid
        (packed,) = connection.execute(
            "SELECT packed FROM block WHERE number = ?", (number,)
        ).fetchone()
        if list(unpack(packed)) != rows:
            words = f"journal {journal.path}: a block does not give back what went in"
            raise JournalError(Trouble.OTHER, words)
        connection.execute(
            "DELETE FROM reading WHERE channel = ?"
            " AND (at_ms, quality) <= (?, ?) AND at_ms >= ?",
            (channel, last.at_ms, last.quality, first.at_ms),
        )
    return len(rows)


class Compactor:
    """Compaction in a process of low priority: at the start, then once a day."""

    def __init__(self, journal: Path, age_ms: int, *, every_s: float = DAY_S) -> None:
        """Start at once."""
        self._order = (str(journal), str(age_ms))
        self._every_s = every_s
        self._closing = threading.Event()
        self._process: subprocess.Popen[bytes] | None = None
        self._lock = threading.Lock()
        self.runs = 0
        self._thread = threading.Thread(target=self._run, name="compact", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """End it; a transaction that is under way is undone."""
        self._closing.set()
        with self._lock:
            if self._process:
                self._process.kill()
        self._thread.join()

    def _run(self) -> None:
        while not self._closing.is_set():
            with contextlib.suppress(OSError):  # the next day is soon enough
                self._run_once()
            self.runs += 1
            self._closing.wait(self._every_s)

    def _run_once(self) -> None:
        paths = (str(ROOT), os.environ.get("PYTHONPATH", ""))
        with self._lock:
            if self._closing.is_set():
                return
            self._process = subprocess.Popen(
                [sys.executable, "-P", "-m", "daemon.compaction", *self._order],
                stdin=subprocess.DEVNULL,
                env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, paths))},
            )
        self._process.wait()


def main(arguments: Sequence[str]) -> int:
    """Be the compacting process; what there is to say goes to standard error."""
    from daemon.clock import Clock

    path, age_ms = Path(arguments[0]), int(arguments[1])
    os.nice(10)  # the road comes first
    try:
        journal = Journal(path, create=False)
        try:
            done = compact(journal, Clock().now_ms(), age_ms, pause_s=PAUSE_S)
        finally:
            journal.close()
    except JournalError as error:
        print(f"compaction: {error}", file=sys.stderr)
        return 1
    if done.readings:
        print(f"compaction: {say(done)}", file=sys.stderr)
    return 0


def say(done: Compacted) -> str:
    """What was done, in words."""
    sizes = f"{done.before_bytes:,} bytes before, {done.after_bytes:,} after"
    blocks = "1 block" if done.blocks == 1 else f"{done.blocks:,} blocks"
    return f"{done.readings:,} readings in {blocks}; {sizes}"


def spare_zeros(journal: Journal) -> None:
    """What will be freed is kept elsewhere, or old: no need to write zeros over it."""
    journal.connection.execute("PRAGMA secure_delete = OFF")


def give_back(journal: Journal) -> None:
    """Give free pages back to the disk, a few at a time, where the file can."""
    (free,) = journal.connection.execute("PRAGMA freelist_count").fetchone()
    for _ in range(0, free, STEP_PAGES):
        with in_words(journal.path):
            # As a script: ``execute`` would end it after its first page.
            query = f"PRAGMA incremental_vacuum({STEP_PAGES})"
            journal.connection.executescript(query)


def size(journal: Journal) -> int:
    """The bytes of the journal's file, without its log."""
    (pages,) = journal.connection.execute("PRAGMA page_count").fetchone()
    (page_bytes,) = journal.connection.execute("PRAGMA page_size").fetchone()
    return int(pages * page_bytes)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
