"""The journal's file: its tables, and how it is opened and brought forward.

One SQLite file in WAL mode with ``synchronous=FULL``: a committed transaction is on
the disk.  The application id in the file's head says that it is a journal, and
``user_version`` which of ``MIGRATIONS`` it has been through; they only go forward,
and before the first change a checked copy of the old file is made beside it.

Rule 1: the tables of ``APPEND_ONLY`` refuse every UPDATE and DELETE by trigger, for
any program that opens the file.  The others hold cursors and may be written over.
One DELETE is allowed: of a reading that a block holds as it is, unless it is the
newest of its channel.  The trigger unpacks the block and looks; a program that
cannot do so (``is_packed``) deletes nothing.  Another is of a block that lies in a
span of ``pruned``, where ``daemon.pruning`` has written why it may go.
Rule 2: a reading costs about 26 bytes of file: channel names are interned, its
columns are small integers, the time of receipt is kept as the delay after ``at_ms``.
Rule 3: pages are 1 KiB, because a commit writes every page it touched to the log,
and small commits are what this file sees: with 8 channels in groups of 8, one page
each, 1.9 KB are written for a reading, against 4.9 KB with 4 KiB pages.
Rule 4: one more copy of a reading is kept beside the first only where its quality is
better; whoever reads takes the best of them (``BEST``).
Rule 5: ``late`` names each reading that was not the newest of its channel when it
came.  So "everything after the newest I know, and everything new in ``late``" misses
nothing, and a reading in order costs no byte for that.
Rule 6: free pages go back to the disk in small steps (``auto_vacuum``), so that the
file shrinks while it is used.  A file made in form 1 keeps its size and fills up.

Units: ``_ms`` milliseconds since 1970-01-01T00:00:00Z; ``_mc`` as in ``rules.facts``.
"""

import fcntl
import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from daemon.blocks import is_packed
from daemon.journal_copy import integrity, write_copy
from daemon.journal_errors import BUSY_S, JournalError, Trouble, in_words

__all__ = [
    "APPEND_ONLY",
    "BEST",
    "MIGRATIONS",
    "JournalError",
    "Trouble",
    "in_words",
    "open_file",
    "version",
]

APPLICATION_ID = 0x46756D61  # "Fuma"
PAGE_BYTES = 1024
LOG_LIMIT_BYTES = 8 << 20  # the log shrinks back to this once it has been copied

FIRST_KEPT = ("channel", "reading", "refusal", "cook", "entry", "event")
APPEND_ONLY = (*FIRST_KEPT, "block", "pruned")

# The best copy of a reading; it costs nothing where the quality is 0, the best.
BEST = """(quality = 0 OR NOT EXISTS (SELECT 1 FROM reading AS better
  WHERE better.channel = reading.channel AND better.at_ms = reading.at_ms
  AND better.quality < reading.quality))"""


def _keeps(table: str, verb: str, when: str = "") -> str:
    """The trigger that refuses to change a row, or to change it but ``when``."""
    return (
        f"CREATE TRIGGER {table}_keeps_{verb.lower()} BEFORE {verb} ON {table} {when}"
        f" BEGIN SELECT RAISE(ABORT, 'the journal only grows: {verb} of a row of"
        f" {table} is refused'); END"
    )


FIRST = (
    "CREATE TABLE channel (number INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE)"
    " STRICT",
    """CREATE TABLE reading (
      channel INTEGER NOT NULL REFERENCES channel,
      at_ms INTEGER NOT NULL,
      quality INTEGER NOT NULL,  -- place in rules.facts.Quality
      value_mc INTEGER NOT NULL,
      uncertainty_mc INTEGER NOT NULL,
      delay_ms INTEGER,  -- from at_ms to its receipt; NULL: nobody received it
      PRIMARY KEY (channel, at_ms, quality)
    ) STRICT, WITHOUT ROWID""",
    """CREATE TABLE late (
      number INTEGER PRIMARY KEY, channel INTEGER NOT NULL, at_ms INTEGER NOT NULL
    ) STRICT""",
    """CREATE TRIGGER reading_is_late AFTER INSERT ON reading
    WHEN EXISTS (
      SELECT 1 FROM reading WHERE channel = NEW.channel AND at_ms >= NEW.at_ms
      AND (at_ms, quality) <> (NEW.at_ms, NEW.quality)
    ) BEGIN
      INSERT INTO late (channel, at_ms) VALUES (NEW.channel, NEW.at_ms);
    END""",
    """CREATE TABLE refusal (
      number INTEGER PRIMARY KEY,
      topic TEXT NOT NULL,
      channel TEXT NOT NULL,
      received_ms INTEGER NOT NULL,
      why TEXT NOT NULL,
      payload BLOB NOT NULL
    ) STRICT""",
    """CREATE TABLE delivery (
      packet INTEGER PRIMARY KEY CHECK (packet BETWEEN 1 AND 65535),
      digest BLOB NOT NULL
    ) STRICT""",
    """CREATE TABLE cook (
      number INTEGER PRIMARY KEY,
      lot TEXT NOT NULL UNIQUE CHECK (lot <> ''),
      smokehouse TEXT NOT NULL,
      schedule TEXT NOT NULL,
      schedule_path TEXT NOT NULL,
      channels TEXT NOT NULL,  -- a JSON list of objects
      begun_ms INTEGER NOT NULL,
      who TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE entry (
      number INTEGER PRIMARY KEY,
      lot TEXT NOT NULL,
      kind TEXT NOT NULL,
      at_ms INTEGER NOT NULL,
      entered_ms INTEGER NOT NULL,
      who TEXT NOT NULL,
      text TEXT NOT NULL,
      about TEXT NOT NULL
    ) STRICT""",
    "CREATE INDEX entry_of_lot ON entry (lot)",
    """CREATE TABLE event (
      number INTEGER PRIMARY KEY,
      lot TEXT NOT NULL,
      at_ms INTEGER NOT NULL,
      subject TEXT NOT NULL,
      name TEXT NOT NULL,
      channel TEXT NOT NULL,
      was TEXT NOT NULL,
      now TEXT NOT NULL,
      why TEXT NOT NULL,
      noticed_ms INTEGER NOT NULL,
      UNIQUE (lot, at_ms, subject, name, channel, now)
    ) STRICT""",
    """CREATE TABLE horizon (lot TEXT PRIMARY KEY, at_ms INTEGER NOT NULL)
    STRICT, WITHOUT ROWID""",
    """CREATE TABLE mirror (
      target TEXT PRIMARY KEY, late INTEGER NOT NULL, event INTEGER NOT NULL
    ) STRICT, WITHOUT ROWID""",
    """CREATE TABLE mirror_channel (
      target TEXT NOT NULL, channel INTEGER NOT NULL, at_ms INTEGER NOT NULL,
      PRIMARY KEY (target, channel)
    ) STRICT, WITHOUT ROWID""",
    *(_keeps(table, verb) for table in FIRST_KEPT for verb in ("UPDATE", "DELETE")),
)

# A reading may leave its row for a block; see ``daemon.compaction``.
SECOND = (
    """CREATE TABLE block (
      number INTEGER PRIMARY KEY,
      channel INTEGER NOT NULL REFERENCES channel,
      from_ms INTEGER NOT NULL,
      to_ms INTEGER NOT NULL,
      times INTEGER NOT NULL,  -- different ones, each of which counts once
      packed BLOB NOT NULL
    ) STRICT""",
    "CREATE INDEX block_by_end ON block (channel, to_ms, from_ms)",
    *(_keeps("block", verb) for verb in ("UPDATE", "DELETE")),
    "DROP TRIGGER reading_keeps_delete",
    _keeps(
        "reading",
        "DELETE",
        """WHEN NOT EXISTS (
          SELECT 1 FROM block WHERE channel = OLD.channel AND to_ms >= OLD.at_ms
          AND from_ms <= OLD.at_ms AND is_packed(packed, OLD.at_ms, OLD.quality,
            OLD.value_mc, OLD.uncertainty_mc, OLD.delay_ms)
        ) OR NOT EXISTS (
          SELECT 1 FROM reading WHERE channel = OLD.channel AND at_ms > OLD.at_ms
        )""",
    ),
    # The cooks whose verdicts nothing can change any more.
    "CREATE TABLE settled (lot TEXT PRIMARY KEY) STRICT, WITHOUT ROWID",
)

# A block may go once it has been kept for long enough; see ``daemon.pruning``.
THIRD = (
    """CREATE TABLE pruned (
      number INTEGER PRIMARY KEY,
      channel INTEGER NOT NULL REFERENCES channel,
      from_ms INTEGER NOT NULL,  -- of the first block that went
      to_ms INTEGER NOT NULL,  -- of the last: none between them was kept
      lot TEXT NOT NULL,  -- "": of no lot
      blocks INTEGER NOT NULL,
      readings INTEGER NOT NULL,
      at_ms INTEGER NOT NULL
    ) STRICT""",
    *(_keeps("pruned", verb) for verb in ("UPDATE", "DELETE")),
    "DROP TRIGGER block_keeps_delete",
    _keeps(
        "block",
        "DELETE",
        """WHEN NOT EXISTS (SELECT 1 FROM pruned WHERE channel = OLD.channel
          AND from_ms <= OLD.from_ms AND to_ms >= OLD.to_ms)""",
    ),
    # How far a cook was judged; see ``daemon.checkpoints``.
    """CREATE TABLE checkpoint (
      lot TEXT PRIMARY KEY, horizon_ms INTEGER NOT NULL, entries_seen INTEGER NOT NULL,
      mark TEXT NOT NULL, state TEXT NOT NULL
    ) STRICT, WITHOUT ROWID""",
)

MIGRATIONS: tuple[tuple[str, ...], ...] = (FIRST, SECOND, THIRD)


def open_file(path: Path, *, create: bool, check: bool) -> sqlite3.Connection:
    """A connection to the journal at ``path``, with today's tables in it.

    Raises:
        JournalError: There is none and none may be created, it is of another kind
            or of a newer program, it is damaged, or the machine will not let us.
    """
    if not create and not path.exists():
        raise JournalError(Trouble.MISSING, f"journal {path}: there is no such file")
    with in_words(path), _alone_if_new(path):
        # Transactions are begun by name, so that they take the lock at once.
        connection = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)
        try:
            _prepare(connection, path, check)
        except BaseException:
            connection.close()
            raise
    return connection


@contextmanager
def _alone_if_new(path: Path) -> Iterator[None]:
    """Let one process at a time make a new file: two switches to WAL can collide."""
    try:
        new = not path.exists() or path.stat().st_size == 0
        folder = os.open(path.parent, os.O_RDONLY) if new else None
    except OSError:  # no such folder, or no right to it: SQLite will say so
        folder = None
    try:
        if folder is not None:
            fcntl.flock(folder, fcntl.LOCK_EX)
        yield
    finally:
        if folder is not None:
            os.close(folder)


def _prepare(connection: sqlite3.Connection, path: Path, check: bool) -> None:
    connection.execute("BEGIN")  # another process may be making the file right now
    made = version(connection, path)  # before anything is written to a strange file
    connection.execute("COMMIT")
    if check and (found := integrity(connection, "quick_check")) != "ok":
        words = f"journal {path}: the file is damaged: {found}"
        raise JournalError(Trouble.DAMAGED, words)
    if made == 0:
        connection.execute(f"PRAGMA page_size = {PAGE_BYTES}")
        connection.execute("PRAGMA auto_vacuum = INCREMENTAL")
    (mode,) = connection.execute("PRAGMA journal_mode = WAL").fetchone()
    if mode != "wal":
        words = f"journal {path}: this disk cannot hold it (no write-ahead log)"
        raise JournalError(Trouble.OTHER, words)
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA recursive_triggers = ON")  # REPLACE asks them too
    connection.execute(f"PRAGMA journal_size_limit = {LOG_LIMIT_BYTES}")
    connection.create_function("is_packed", 6, is_packed, deterministic=True)
    if made < len(MIGRATIONS):
        _migrate(connection, path)


def version(connection: sqlite3.Connection, path: Path) -> int:
    """How many migrations the file has been through; 0 for an empty file.

    Raises:
        JournalError: It is no journal, or one of a newer program.
    """
    (kind,) = connection.execute("PRAGMA application_id").fetchone()
    (made,) = connection.execute("PRAGMA user_version").fetchone()
    (tables,) = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    if kind != APPLICATION_ID and (kind or made or tables):
        words = f"journal {path}: this database is not a journal; nothing was changed"
        raise JournalError(Trouble.NOT_A_JOURNAL, words)
    if made > len(MIGRATIONS):
        words = (
            f"journal {path}: it has form {made}, and this program knows no form"
            f" after {len(MIGRATIONS)}; use the newer program that wrote it"
        )
        raise JournalError(Trouble.NEWER, words)
    return int(made)


def _migrate(connection: sqlite3.Connection, path: Path) -> None:
    connection.execute("BEGIN IMMEDIATE")
    try:
        made = version(connection, path)  # another process may have been first
        if 0 < made < len(MIGRATIONS):
            _copy_aside(path, made)
        for statements in MIGRATIONS[made:]:
            for statement in statements:
                connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {len(MIGRATIONS)}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _copy_aside(path: Path, made: int) -> None:
    """Keep the file as it is, beside it, before it is brought forward."""
    reader = sqlite3.connect(path, timeout=BUSY_S)
    try:
        write_copy(reader, path.with_name(f"{path.name}.form-{made}"))
    finally:
        reader.close()
