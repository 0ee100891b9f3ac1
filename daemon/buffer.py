"""Samples on the board's own disk until the broker has them.

Rule 1: what ``add`` has answered is durable; a group costs one fsync.
Rule 2: a sample is dropped when the broker has acknowledged it, or, where more wait
than the board may keep, when it is the oldest.  Its number then shows the hole.
Rule 3: a probe's samples are numbered 1, 2, 3 in the order they were added, over
every restart.

Units: ``_ms`` milliseconds since 1970-01-01T00:00:00Z.
"""

import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from probes.pack import Sample

SCHEMA = """
create table if not exists waiting (
    place integer primary key autoincrement, record text not null,
    at_ms integer not null, value text not null, code text not null,
    why text not null, number integer not null);
create table if not exists numbered (
    record text primary key, number integer not null) without rowid;
"""
NUMBER = """
insert into numbered values (?, ?)
on conflict (record) do update set number = number + excluded.number returning number
"""


class BufferFileError(Exception):
    """The buffer's file cannot be used; the words are for a person."""


class Waiting(NamedTuple):
    """A sample that waits, and its place in the order in which samples are sent."""

    place: int
    sample: Sample


class Buffer:
    """The samples that no broker has acknowledged yet, oldest first."""

    def __init__(self, path: Path, at_most: int) -> None:
        """Open the file, or make it.

        Raises:
            BufferFileError: It cannot be made or read.
        """
        self._at_most = at_most
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            self._db = sqlite3.connect(path, isolation_level=None)
            self._db.execute("pragma journal_mode = wal")
            self._db.execute("pragma synchronous = full")
            self._db.executescript(SCHEMA)
        except (OSError, sqlite3.Error) as error:
            raise BufferFileError(
                f"the buffer {path} cannot be used: {error}"
            ) from error

    def add(
        self, samples: Iterable[Sample], missed: Mapping[str, int] | None = None
    ) -> int:
        """Keep these samples, numbered anew; answer how many old ones had to go.

        ``missed`` is how many of each record were lost before these; their numbers
        are left out.

        Raises:
            BufferFileError: The disk does not take them; none of them is kept.
        """
        try:
            with self._transaction():
                for record, count in (missed or {}).items():
                    self._number(record, count)
                self._db.executemany(
                    "insert into waiting (record, at_ms, value, code, why, number)"
                    " values (?, ?, ?, ?, ?, ?)",
                    [one._replace(number=self._number(one.record)) for one in samples],
                )
                return self._db.execute(
                    "delete from waiting where place in (select place from waiting"
                    " order by place limit max(0, (select count(*) from waiting) - ?))",
                    (self._at_most,),
                ).rowcount
        except sqlite3.Error as error:
            raise BufferFileError(
                f"the buffer does not take samples: {error}"
            ) from error

    def after(self, place: int, at_most: int) -> list[Waiting]:
        """The oldest samples that wait behind this place."""
        rows = self._db.execute(
            "select * from waiting where place > ? order by place limit ?",
            (place, at_most),
        )
        return [Waiting(row[0], Sample(*row[1:])) for row in rows]

    def drop(self, places: Sequence[int]) -> None:
        """Forget these: the broker has them.

        Raises:
            BufferFileError: The disk does not take it; they will be sent again.
        """
        try:
            with self._transaction():
                self._db.executemany(
                    "delete from waiting where place = ?", [(one,) for one in places]
                )
        except sqlite3.Error as error:
            raise BufferFileError(f"the buffer cannot be changed: {error}") from error

    def count(self) -> int:
        """How many samples wait."""
        return int(self._db.execute("select count(*) from waiting").fetchone()[0])

    def close(self) -> None:
        """Close the file; nothing is lost by it."""
        self._db.close()

    def _number(self, record: str, count: int = 1) -> int:
        return int(self._db.execute(NUMBER, (record, count)).fetchall()[0][0])

    def _transaction(self) -> "_Transaction":
        return _Transaction(self._db)


class _Transaction:
    """All of what is done inside, or nothing of it."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db

    def __enter__(self) -> None:
        self._db.execute("begin immediate")

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is None:
            self._db.execute("commit")
        elif self._db.in_transaction:
            self._db.execute("rollback")
