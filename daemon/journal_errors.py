"""What kept the journal from doing what was asked, in words for a person.

Source: SQLite's primary result codes, sqlite.org/rescode.html.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path

from daemon.blocks import BlockError

BUSY_S = 5.0


class Trouble(StrEnum):
    """What kept the journal from doing what was asked."""

    DISK_FULL = "disk full"
    READ_ONLY = "read-only"
    MISSING = "missing"  # the file or its folder
    NOT_A_JOURNAL = "not a journal"
    NEWER = "newer"  # than this program
    LOCKED = "locked"
    DAMAGED = "damaged"
    LOT = "lot"  # taken already, or unknown
    OTHER = "other"


class JournalError(Exception):
    """The journal could not do what was asked; the text is for a person."""

    def __init__(self, trouble: Trouble, words: str) -> None:
        super().__init__(words)
        self.trouble = trouble


DAMAGED_WORDS = "the file is damaged; keep it, and go on from a backup or a new file"
TROUBLES = {
    sqlite3.SQLITE_FULL: (Trouble.DISK_FULL, "the disk is full; free some space"),
    sqlite3.SQLITE_READONLY: (
        Trouble.READ_ONLY,
        "it is read-only here; check the rights of the file and its folder",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        Trouble.MISSING,
        "it cannot be opened; check that its folder exists and may be written",
    ),
    sqlite3.SQLITE_NOTADB: (
        Trouble.NOT_A_JOURNAL,
        "this file is not a journal; nothing in it was changed",
    ),
    sqlite3.SQLITE_CORRUPT: (Trouble.DAMAGED, DAMAGED_WORDS),
    sqlite3.SQLITE_BUSY: (
        Trouble.LOCKED,
        f"another program has kept it locked for more than {BUSY_S:.0f} s",
    ),
}


@contextmanager
def in_words(path: Path) -> Iterator[None]:
    """Turn what SQLite raises inside into a ``JournalError``."""
    try:
        yield
    except BlockError as error:
        words = f"journal {path}: {DAMAGED_WORDS} ({error})"
        raise JournalError(Trouble.DAMAGED, words) from error
    except sqlite3.Error as error:
        code = getattr(error, "sqlite_errorcode", 0)
        trouble, words = TROUBLES.get(code & 0xFF, (Trouble.OTHER, str(error)))
        if code & 0xFF == sqlite3.SQLITE_IOERR:
            words = f"the disk does not do as it is told ({error.sqlite_errorname})"
        raise JournalError(trouble, f"journal {path}: {words}") from error
