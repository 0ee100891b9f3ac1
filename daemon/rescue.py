"""A damaged journal is put aside, what can be read of it is read over, the rest named.

SQLite keeps a table in pages.  A page that holds something else than was written
hides its rows, and no others if its neighbours can still be reached.  Readings below
an upper page that is lost are found page by page (``damaged_tree``).

Rule 1: the damaged file is kept under ``journal.db.damaged-STAMP``, and beside it a
text that names everything that was lost.
Rule 2: the loss is an event in the new journal, durable before the new file has the
journal's name.
Rule 3: what refers to rows that are lost is left out: an alert of the outbox is there
as a whole or not at all.

Units: ``_ms`` milliseconds since 1970-01-01T00:00:00Z.
"""

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NamedTuple
from urllib.parse import quote

from daemon import damaged_head, damaged_tree
from daemon.blocks import BlockError, check
from daemon.damaged_table import FAR, Hole, joined, readable
from daemon.journal import Journal, JournalError, Trouble
from daemon.journal_copy import keep
from daemon.journal_errors import in_words
from daemon.journal_swap import beside, stamp, swap
from rules.alerts import NOTED, WORSE
from rules.facts import Event, Quality, Subject

DAMAGE = (Trouble.DAMAGED, Trouble.NOT_A_JOURNAL)
LOSSES_TOLD = 8  # the rest is in the text beside the file
ALIVE_ROWS = 1_000
READING_COLUMNS = 6
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

Alive = Callable[[], None]


class Rescued(NamedTuple):
    """What was lost of a journal, and where the damaged file lies."""

    losses: tuple[str, ...]
    aside: Path


def open_sound(
    path: Path, now_ms: int, alive: Alive = lambda: None
) -> tuple[Journal, Rescued | None]:
    """Open the journal once it is known to be whole, or a new one with what is left.

    ``alive`` is called again and again while a damaged journal is read over.

    Raises:
        JournalError: It cannot be used for another reason than damage.
        OSError: There is no room for what can be read.
    """
    try:
        return Journal(path, check=True), None
    except JournalError as error:
        known = beside(path, "head").exists()  # else it may be no journal at all
        if error.trouble not in DAMAGE or not (
            known or error.trouble is Trouble.DAMAGED
        ):
            raise
    aside = beside(path, f"damaged-{stamp(now_ms)}")
    losses = _rescue(path, aside, now_ms, alive)
    return Journal(path), Rescued(losses, aside)


def _rescue(path: Path, aside: Path, now_ms: int, alive: Alive) -> tuple[str, ...]:
    work = beside(path, "rescue")
    _forget(work)
    with in_words(path), _source(path) as source:
        target = Journal(work)
        with closing(target.connection):
            losses = tuple(_Reading(source, target, alive, work).over())
            for event in _events(losses, aside, now_ms):
                target.add_events("", [event], now_ms, 0)
            target.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    text = beside(path, "losses")
    text.write_text("".join(f"{loss}\n" for loss in losses), encoding="utf-8")
    keep(text, aside.with_name(f"{aside.name}.txt"))
    keep(work, beside(path, "new"))
    swap(path, aside)
    return losses


@contextmanager
def _source(path: Path) -> Iterator[sqlite3.Connection]:
    """The damaged file, opened for reading with its tables to be found."""
    scratch = beside(path, "scratch")
    with closing(_read_only(path)) as connection:
        try:
            connection.execute("SELECT 1 FROM channel LIMIT 0")
        except sqlite3.DatabaseError:
            pass
        else:
            yield connection
            return
    head = beside(path, "head")
    if not head.exists():
        with closing(sqlite3.connect(":memory:")) as nothing:
            yield nothing
        return
    try:
        damaged_head.rebuilt(path, head, scratch)
        with closing(_read_only(scratch)) as connection:
            yield connection
    finally:
        _forget(scratch)


def _read_only(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"file:{quote(str(path))}?mode=ro", uri=True)


class _Reading:
    """Reads one file over into another."""

    def __init__(
        self, source: sqlite3.Connection, to: Journal, alive: Alive, work: Path
    ) -> None:
        self._source, self._to, self._alive = source, to.connection, alive
        self._pages = beside(work, "pages")
        self._rows = 0
        to.connection.execute("PRAGMA foreign_keys = OFF")
        to.connection.execute("PRAGMA synchronous = OFF")  # it is kept as a whole
        self._ours = self._tables(self._to)

    def over(self) -> Iterator[str]:
        """Copy every table; give every loss in words."""
        theirs = self._tables(self._source)
        if not theirs:
            yield "everything: where its tables begin was damaged and is kept nowhere"
            return
        self._to.execute("BEGIN")
        for name in theirs.keys() - self._ours.keys():
            self._to.execute(theirs[name])
        yield from self._channels()
        # What is late is known: readings that follow are noted there again, if at all.
        # A checkpoint may rest on what was lost: the cooks are judged anew.
        special = ("channel", "reading", "block", "checkpoint")
        for name in sorted(theirs.keys() - {*special}):
            yield from self._table(name)
        if "block" in theirs:
            yield from self._blocks()
        yield from self._readings()
        self._leave_out_orphans()
        for sql in self._others(theirs.keys() - self._ours.keys()):
            self._to.execute(sql)
        self._to.execute("COMMIT")
        yield from self._lots()

    def _tables(self, connection: sqlite3.Connection) -> dict[str, str]:
        return dict(
            connection.execute(
                "SELECT name, sql FROM sqlite_schema WHERE type = 'table'"
                " AND name NOT LIKE 'sqlite~_%' ESCAPE '~'"
            )
        )

    def _others(self, tables: set[str]) -> list[str]:
        """The indexes and triggers of tables that are not the journal's own."""
        rows = self._source.execute(
            "SELECT tbl_name, sql FROM sqlite_schema"
            " WHERE type IN ('index', 'trigger') AND sql IS NOT NULL"
        )
        return [sql for table, sql in rows if table in tables]

    def _columns(self, table: str) -> str:
        rows = self._source.execute(f"PRAGMA table_info({table})")
        return ", ".join(row[1] for row in rows)

    def _insert(self, table: str, columns: str, row: tuple[object, ...]) -> bool:
        """Whether the row could be kept; garbage is refused by the table itself."""
        self._rows += 1
        if self._rows % ALIVE_ROWS == 0:
            self._alive()
        marks = ", ".join("?" * len(row))
        try:
            self._to.execute(f"INSERT INTO {table} ({columns}) VALUES ({marks})", row)
        except sqlite3.DatabaseError:
            return False
        return True

    def _table(self, table: str) -> Iterator[str]:
        (keyed,) = self._source.execute(
            "SELECT wr FROM pragma_table_list WHERE name = ?", (table,)
        ).fetchone()
        columns = self._columns(table)
        if keyed:
            yield from self._keyed_table(table, columns)
            return
        refused = 0
        for row in readable(self._source, table, "rowid", columns):
            if isinstance(row, Hole):
                yield from _rows_lost(table, row)
            else:
                refused += not self._insert(table, columns, row)
        if refused:
            yield f"table {table}: {refused} rows that hold something else"

    def _keyed_table(self, table: str, columns: str) -> Iterator[str]:
        """A small table without numbers: from its beginning, and from its end."""
        keys = ", ".join(
            name
            for (name,) in self._source.execute(
                f"SELECT name FROM pragma_table_info('{table}') WHERE pk ORDER BY pk"
            )
        )
        for order in (keys, keys.replace(",", " DESC,") + " DESC"):
            query = f"SELECT {columns} FROM {table} ORDER BY {order}"
            try:
                for row in self._source.execute(query):
                    self._insert(table, columns, row)
                return
            except sqlite3.DatabaseError:
                continue
        yield f"table {table}: an unknown number of rows"

    def _channels(self) -> Iterator[str]:
        """Names and numbers stand twice in the file: in the table and in its index."""
        for query in (
            "SELECT number, name FROM channel ORDER BY number",
            "SELECT number, name FROM channel INDEXED BY sqlite_autoindex_channel_1",
        ):
            try:
                for row in self._source.execute(query):
                    self._insert("channel", "number, name", row)
            except sqlite3.DatabaseError:
                continue
        numbers = [number for number, _ in self._known_channels()]
        for number in sorted({*range(1, max(numbers, default=64) + 1)} - {*numbers}):
            name = f"channel {number} (its name was lost)"
            self._insert("channel", "number, name", (number, name))
            yield f"table channel: the name of channel {number}"

    def _known_channels(self) -> list[tuple[int, str]]:
        return self._to.execute("SELECT number, name FROM channel").fetchall()

    def _readings(self) -> Iterator[str]:
        columns, names = self._columns("reading"), dict(self._known_channels())
        holes: list[tuple[int, Hole, int]] = []  # each in a channel, with its period
        for number in names:
            where, step_ms, last_ms = f"channel = {number}", 0, 0
            rows = readable(self._source, "reading", "at_ms", columns, where)
            for row in joined(rows):
                if isinstance(row, Hole):
                    holes.append((number, row, step_ms))
                    continue
                self._insert("reading", columns, row)
                at_ms = int(row[1]) if isinstance(row[1], int) else last_ms
                step_ms, last_ms = at_ms - last_ms, at_ms
        if holes:
            self._find_again(columns, holes)
        for number, hole, step_ms in holes:
            left, there = self._left_of(number, hole, step_ms)
            if left:
                words = _readings_lost(names[number], left, step_ms)
                yield f"{words}; {there} of them were found again" if there else words

    def _find_again(self, columns: str, holes: Sequence[tuple[int, Hole, int]]) -> None:
        """Put readings back that are in the file, with the way to them lost."""
        query = "SELECT rootpage FROM sqlite_schema WHERE name = 'reading'"
        try:
            (root,) = self._source.execute(query).fetchone()
            with closing(sqlite3.connect(self._pages)) as copy:
                self._source.backup(copy)  # with what is in the log
            for row in damaged_tree.rows(self._pages, root):
                if _was_lost(row, holes):
                    self._insert("reading", columns, row)
        except (sqlite3.Error, OSError):  # no room: they stay in the file put aside
            pass
        finally:
            _forget(self._pages)

    def _left_of(
        self, channel: int, hole: Hole, step_ms: int
    ) -> tuple[Hole | None, int]:
        """What is left of a hole between what was found at its edges; and within it."""
        after, before = hole.after, FAR if hole.before is None else hole.before
        between = (
            "SELECT at_ms FROM reading WHERE channel = ? AND at_ms > ? AND at_ms < ?"
        )
        near_ms = step_ms * 3 // 2
        for (at_ms,) in self._to.execute(
            f"{between} ORDER BY at_ms", (channel, after, before)
        ):
            if at_ms - after > near_ms:
                break
            after = at_ms
        for (at_ms,) in self._to.execute(
            f"{between} ORDER BY at_ms DESC", (channel, after, before)
        ):
            if before - at_ms > near_ms:
                break
            before = at_ms
        if before - after <= near_ms:
            return None, 0
        (there,) = self._to.execute(
            f"SELECT count(DISTINCT at_ms) FROM ({between})", (channel, after, before)
        ).fetchone()
        return Hole(after, None if before == FAR else before), there

    def _blocks(self) -> Iterator[str]:
        columns, kept = self._columns("block"), set()
        for row in readable(self._source, "block", "number", columns):
            if isinstance(row, Hole):
                continue
            try:
                check(row[-1])
            except (BlockError, TypeError):
                continue
            if self._insert("block", columns, row):
                kept.add(row[0])
        names = dict(self._known_channels())
        try:
            for number, channel, from_ms, to_ms in self._source.execute(
                "SELECT number, channel, from_ms, to_ms FROM block"
                " INDEXED BY block_by_end ORDER BY channel, to_ms"
            ):
                if number not in kept:
                    span = f"{_utc(from_ms)} to {_utc(to_ms)}"
                    yield f"{names.get(channel, channel)}: packed readings of {span}"
        except sqlite3.DatabaseError:
            (most,) = self._to.execute("SELECT max(number) FROM block").fetchone()
            query = "SELECT coalesce(sum(blocks), 0) FROM pruned"
            (pruned,) = self._to.execute(query).fetchone()
            if (lost := (most or 0) - pruned - len(kept)) > 0:
                yield f"table block: {lost} blocks of packed readings"

    def _leave_out_orphans(self) -> None:
        """Until every row has all the rows that it refers to."""
        if "alert_signal" in self._tables(self._to):
            self._to.execute(
                "DELETE FROM alert WHERE number NOT IN"
                " (SELECT alert FROM alert_signal WHERE signal IN (?, ?))",
                (WORSE.value, NOTED.value),  # an alert is opened by one of them
            )
        while orphans := self._to.execute("PRAGMA foreign_key_check").fetchall():
            for table, rowid, _, _ in orphans:
                self._to.execute(f"DELETE FROM {table} WHERE rowid = ?", (rowid,))

    def _lots(self) -> Iterator[str]:
        """The lots of which only what followed is known."""
        lots = self._to.execute(
            "SELECT lot FROM entry UNION SELECT lot FROM event EXCEPT"
            " SELECT lot FROM cook ORDER BY 1"
        )
        for (lot,) in lots.fetchall():
            if lot:
                yield f"lot {lot}: how it was begun; it is not watched any more"


def _rows_lost(table: str, hole: Hole) -> Iterator[str]:
    after, before = max(hole.after, 0), hole.before
    if before is None:
        yield f"table {table}: every row after number {after}"
    elif lost := before - after - 1:
        rows = f"row {after + 1}" if lost == 1 else f"rows {after + 1} to {before - 1}"
        yield f"table {table}: {rows}, which is {lost}"


def _was_lost(
    row: tuple[int | None, ...], holes: Sequence[tuple[int, Hole, int]]
) -> bool:
    """Whether a row would be a reading in one of the holes."""
    if len(row) != READING_COLUMNS or None in row[:-1]:
        return False
    channel, at_ms, quality, *_ = (value or 0 for value in row)
    return 0 <= quality < len(Quality) and any(
        channel == number
        and hole.after < at_ms < (FAR if hole.before is None else hole.before)
        for number, hole, _ in holes
    )


def _readings_lost(channel: str, hole: Hole, step_ms: int) -> str:
    if hole.before is None:
        since = f" after {_utc(hole.after)}" if hole.after >= 0 else ""
        return f"{channel}: every reading{since} that was not packed"
    if hole.after < 0:
        words = f"every reading before {_utc(hole.before)} that was not packed"
        return f"{channel}: {words}"
    span = f"between {_utc(hole.after)} and {_utc(hole.before)}"
    about = (hole.before - hole.after) // step_ms - 1 if step_ms > 0 else 0
    count = f"about {about} readings" if about > 0 else "readings"
    return f"{channel}: {count} {span}"


def _events(losses: tuple[str, ...], aside: Path, now_ms: int) -> list[Event]:
    told = "; ".join(losses[:LOSSES_TOLD]) or "nothing that is known of"
    if more := len(losses) - LOSSES_TOLD:
        told += f"; and {more} more" if more > 0 else ""
    why = f"the journal was damaged and is kept as {aside.name}; lost: {told}"
    head = (now_ms, Subject.CHANNEL, "journal file", "")
    mended = "what could be read was read over, and readings are being kept"
    return [
        Event(*head, "reporting", "damaged", why),
        Event(*head, "damaged", "reporting", mended),
    ]


def _utc(at_ms: int) -> str:
    return f"{EPOCH + timedelta(milliseconds=at_ms):%Y-%m-%d %H:%M:%S} UTC"


def _forget(path: Path) -> None:
    for end in ("", "-wal", "-shm"):
        path.with_name(path.name + end).unlink(missing_ok=True)
