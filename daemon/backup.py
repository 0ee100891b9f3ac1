"""A backup of the journal for another place, and the way back from one.

A backup is one file: the journal as it stood at one moment, checked.  It holds no
record and no key; those are files of their own.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple
from urllib.parse import quote

from daemon import journal_schema, stored
from daemon.journal import Counts, Journal, JournalError, Trouble
from daemon.journal_copy import integrity, write_copy
from daemon.journal_errors import in_words
from daemon.journal_swap import belongs, beside, held, stamp, swap


class Restored(NamedTuple):
    """What the journal holds now, and where the one before it lies."""

    counts: Counts
    newest_ms: int  # the time of its newest reading; 0 where there is none
    aside: Path | None


def back_up(journal: Journal, to: Path) -> Counts:
    """Copy a journal that others may be writing; answer what the copy holds.

    Raises:
        JournalError: There is such a file, or the copy could not be made and checked.
    """
    if to.exists():
        words = f"backup {to}: there is such a file; give the backup another name"
        raise JournalError(Trouble.OTHER, words)
    write_copy(journal.connection, to)
    with checked(to) as copy:
        return Counts(*stored.counted(copy))


@contextmanager
def checked(backup: Path) -> Iterator[sqlite3.Connection]:
    """Open a backup for reading only, once it is known to be whole.

    Raises:
        JournalError: It is none, is damaged, or is one of a newer program.
    """
    if not backup.is_file():
        raise JournalError(Trouble.MISSING, f"backup {backup}: there is no such file")
    # A copied file may have its log beside it; alone it is read as it is.
    log = backup.with_name(f"{backup.name}-wal").exists()
    ways = "mode=ro" if log else "mode=ro&immutable=1"
    with in_words(backup):
        connection = sqlite3.connect(f"file:{quote(str(backup))}?{ways}", uri=True)
        try:
            form = journal_schema.version(connection, backup)
            found = integrity(connection, "integrity_check") if form else "it is empty"
            if found != "ok":
                words = f"backup {backup}: it cannot be used: {found}"
                raise JournalError(Trouble.DAMAGED, words)
            yield connection
        finally:
            connection.close()


def restore(backup: Path, journal: Path, now_ms: int, *, over: bool) -> Restored:
    """Make a copy of a backup the journal, once the backup is known to be whole.

    Raises:
        JournalError: A daemon runs, there is a journal and it is not to be put aside
            (``over``), or the backup cannot be used.  Nothing was changed.
        OSError: The journal's folder cannot be written.
    """
    with held(journal), checked(backup) as connection:
        there = journal.exists()
        if there and not over:
            words = f"journal {journal}: there is one; --over puts it aside"
            raise JournalError(Trouble.OTHER, words)
        write_copy(connection, beside(journal, "new"))
        aside = beside(journal, f"before-restore-{stamp(now_ms)}")
        swap(journal, aside)
        opened = Journal(journal, create=False, check=True)  # brought forward, if old
        try:
            counts = opened.counts()
            newest = [one.at_ms for one in opened.latest().values()]
        finally:
            opened.close()
        for file in journal.parent.glob(f"{journal.name}*"):
            belongs(file)
    return Restored(counts, max(newest, default=0), aside if there else None)
