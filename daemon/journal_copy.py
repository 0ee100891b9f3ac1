"""A whole copy of a journal's file, as it stood at one moment, and its check.

Rule: a copy gets its name only after it was checked and is on the disk; what was
there under that name before is there until then.
"""

import os
import sqlite3
from pathlib import Path

from daemon.blocks import BlockError, check
from daemon.journal_errors import JournalError, Trouble, in_words


def write_copy(source: sqlite3.Connection, path: Path) -> int:
    """Copy the database behind a connection to ``path``; answer its bytes.

    Whoever writes meanwhile goes on; the copy is the state of one moment, in one
    file that needs no log beside it.

    Raises:
        JournalError: It could not be made, or is not what was read; nothing new has
            the name.
    """
    partly = path.with_name(path.name + ".partly")
    try:
        with in_words(path):
            _write(source, partly, path)
    except OSError as error:
        words = f"copy {path}: it cannot be written: {error.strerror}"
        raise JournalError(Trouble.OTHER, words) from error
    return path.stat().st_size


def keep(partly: Path, path: Path) -> None:
    """Give a file its name once it is on the disk, and the name once it is too."""
    with partly.open("rb") as file:
        os.fsync(file.fileno())
    partly.replace(path)
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Wait until the names in a folder are on the disk."""
    names = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(names)
    finally:
        os.close(names)


def integrity(connection: sqlite3.Connection, pragma: str) -> str:
    """What SQLite's check of the file, and ours of the blocks, say: "ok", or what."""
    try:
        found = [str(row[0]) for row in connection.execute(f"PRAGMA {pragma}(10)")]
        if found == ["ok"]:
            found = _blocks(connection) or found
    except sqlite3.DatabaseError as error:  # too damaged even for the check
        if getattr(error, "sqlite_errorcode", 0) & 0xFF != sqlite3.SQLITE_CORRUPT:
            raise
        found = [str(error)]
    return "; ".join(line for lines in found for line in lines.splitlines())


def _write(source: sqlite3.Connection, partly: Path, path: Path) -> None:
    partly.unlink(missing_ok=True)
    try:
        target = sqlite3.connect(partly)
        try:
            source.backup(target)
            target.execute("PRAGMA journal_mode = DELETE")
            if (found := integrity(target, "integrity_check")) != "ok":
                words = f"copy {path}: what was copied is damaged: {found}"
                raise JournalError(Trouble.DAMAGED, words)
        finally:
            target.close()
        keep(partly, path)
    except BaseException:
        partly.unlink(missing_ok=True)
        raise


def _blocks(connection: sqlite3.Connection) -> list[str]:
    """What is wrong in the blocks, where the file's form has any."""
    there = "SELECT 1 FROM sqlite_schema WHERE name = 'block'"
    if connection.execute(there).fetchone() is None:
        return []
    wrong = []
    for number, packed in connection.execute("SELECT number, packed FROM block"):
        try:
            check(packed)
        except BlockError as error:
            wrong.append(f"block {number}: {error}")
    return wrong
