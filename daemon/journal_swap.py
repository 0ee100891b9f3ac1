"""Which file is the journal: held by one daemon, replaced as a whole.

Rule 1: one process at a time *holds* a journal, the daemon or whoever replaces its
file.  Commands that only read and add entries need not.
Rule 2: a file that is replaced is put aside under another name with its log, never
deleted.  The swap is written down first, so that a crash in the middle of it is
finished by whoever holds the journal next.
"""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from daemon.journal_copy import keep, sync_folder
from daemon.journal_errors import JournalError, Trouble


@contextmanager
def held(journal: Path) -> Iterator[None]:
    """Hold the journal as the only one.

    On a disk that is full or may only be read there is nothing to be held: whoever
    runs there has to be able to say so.

    Raises:
        JournalError: Another process holds it.
    """
    lock = beside(journal, "lock")
    try:
        handle = os.open(lock, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    except OSError:
        yield
        return
    try:
        belongs(lock)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            words = f"journal {journal}: a daemon is running on it; stop it first"
            raise JournalError(Trouble.LOCKED, words) from None
        _finish(journal)
        yield
    finally:
        os.close(handle)


def swap(journal: Path, aside: Path) -> None:
    """Make ``beside(journal, "new")`` the journal, and put the old file aside."""
    belongs(beside(journal, "new"))
    plan = beside(journal, "swap.partly")
    plan.write_text(aside.name, encoding="utf-8")
    belongs(plan)
    keep(plan, beside(journal, "swap"))
    _finish(journal)


def beside(journal: Path, what: str) -> Path:
    """The name of a file that belongs to the journal and lies beside it."""
    return journal.with_name(f"{journal.name}.{what}")


def stamp(at_ms: int) -> str:
    """A time for a file's name: ``20260110T050000Z``."""
    at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=at_ms)
    return f"{at:%Y%m%dT%H%M%SZ}"


def belongs(path: Path) -> None:
    """Give a file that root has made to whom its folder belongs."""
    if os.geteuid() == 0:
        folder = path.parent.stat()
        os.chown(path, folder.st_uid, folder.st_gid)


def _finish(journal: Path) -> None:
    """Carry out what is left of a swap that was written down; forget one that was not.

    Once the new file has its place nothing is left to move.
    """
    plan, new = beside(journal, "swap"), beside(journal, "new")
    if not plan.exists():
        new.unlink(missing_ok=True)
        return
    aside = journal.with_name(plan.read_text(encoding="utf-8"))
    if new.exists():
        for end in ("-wal", ""):  # a log alone would be taken for the new file's
            old = journal.with_name(journal.name + end)
            kept = aside.with_name(aside.name + end)
            if old.exists() and not kept.exists():
                old.rename(kept)
        journal.with_name(f"{journal.name}-shm").unlink(missing_ok=True)
        new.replace(journal)
        sync_folder(journal.parent)
    plan.unlink()
    sync_folder(journal.parent)
