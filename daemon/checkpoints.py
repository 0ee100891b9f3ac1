"""How far a running cook was judged, kept now and then so that a restart is quick.

A checkpoint holds the state of a cook at a horizon.  A restart goes on from it and
reads only what is younger, instead of a whole day.

Rule 1: a checkpoint is worth keeping only once everything in it is durable: its facts
and the events that they came to.
Rule 2: it is believed only by the rules that made it, and whole (``mark``: the digest
of every file of ``rules/`` and of what was kept), and where no entry older than it came
after it.  Else the cook is judged from its beginning, which always gives the same.

Units: ``_ms`` milliseconds since 1970-01-01T00:00:00Z.
"""

import hashlib
import json
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import NamedTuple

import rules
from daemon.journal import Journal, Kept
from rules import keep
from rules.engine import State

# A restart then judges half an hour again: a fifth of a second for 8 channels at 1 Hz
# here.  A checkpoint is some 10 KB, written twice (log and file).
EVERY_MS = 30 * 60_000


class Checkpoint(NamedTuple):
    """The state of a cook, with every fact from before ``horizon_ms`` in it."""

    horizon_ms: int
    entries_seen: int  # the number of the newest entry that was read by then
    state: State


@cache
def _rules() -> bytes:
    """The digest of the rules that are running."""
    whole = hashlib.sha256()
    folder = Path(rules.__file__).parent
    for path in sorted(folder.rglob("*.py")):
        whole.update(str(path.relative_to(folder)).encode() + b"\0")
        whole.update(hashlib.sha256(path.read_bytes()).digest())
    return whole.digest()


def mark(text: str) -> str:
    """What tells that these rules have kept just this text."""
    return hashlib.sha256(_rules() + text.encode()).hexdigest()


def save(journal: Journal, lot: str, point: Checkpoint) -> None:
    """Keep a checkpoint instead of the one before.

    Raises:
        JournalError: The one before still stands.
    """
    text = json.dumps(keep.dump(point.state), separators=(",", ":"))
    with journal.writing() as connection:
        connection.execute(
            "INSERT OR REPLACE INTO checkpoint VALUES (?, ?, ?, ?, ?)",
            (lot, point.horizon_ms, point.entries_seen, mark(text), text),
        )


def last(journal: Journal, lot: str, entries: Iterable[Kept]) -> Checkpoint | None:
    """The checkpoint of a lot; None where there is none to be believed.

    ``entries`` are those of the lot, as they were written.

    Raises:
        JournalError: The journal cannot be read.
    """
    found = journal.checkpoint(lot)
    if found is None or found.mark != mark(found.state):
        return None
    for kept in entries:
        newer = kept.number > found.entries_seen
        if newer and kept.entry.at_ms < found.horizon_ms:
            return None
    state = keep.load(State, json.loads(found.state))
    return Checkpoint(found.horizon_ms, found.entries_seen, state)


def forget(journal: Journal, lot: str) -> None:
    """Drop the checkpoint of a lot that nobody looks at any more.

    Raises:
        JournalError: It is still there.
    """
    with journal.writing() as connection:
        connection.execute("DELETE FROM checkpoint WHERE lot = ?", (lot,))
