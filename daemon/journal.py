"""The journal: every reading, refusal, entry and event, and nothing else is the truth.

Rule 1: what a method has answered is durable.  A message may be acknowledged, and a
person told, after that.
Rule 2: a reading counts once.  Whoever sends it again changes nothing: same channel,
same ``at_ms`` and same value is a duplicate and dropped; another value at that time
is kept as a refusal that names both.  Where a copy with a better quality comes after
a worse one (the retained copy overtook the queued message), the better one counts;
but what was suspect once is never bettered by being sent again.
Rule 3: a ``Journal`` belongs to the thread that opened it.  Page, command line and
mirror each open their own on the same file; none of them waits for a reader.

The tables are in ``daemon.journal_schema``, how a reading is found in them is in
``daemon.stored``.  Units: ``_ms`` and ``_mc`` as in
``rules.facts``.
"""

import json
import sqlite3
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple

from pydantic import TypeAdapter

from daemon import stored
from daemon.journal_copy import integrity
from daemon.journal_schema import JournalError, Trouble, in_words, open_file
from probes.contract import Refusal
from rules.channels import Channel
from rules.facts import Entry, EntryKind, Event, Quality, Reading, Subject

__all__ = [
    "Cook",
    "Counts",
    "Delivery",
    "Journal",
    "JournalError",
    "Kept",
    "Noticed",
    "Trouble",
]

QUALITIES = tuple(Quality)  # its place is what the file holds; the best comes first
PLACES = {quality: place for place, quality in enumerate(QUALITIES)}
PAYLOAD_BYTES = 64 << 10  # of a refused message; its true size is in the reason
YEAR_10000_MS = 253_402_300_800_000
LARGEST = 1 << 53  # the record holds no larger integer (RFC 8785, section 3.2.2.3)
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

ADD_READING = """INSERT INTO reading
  (channel, at_ms, quality, value_mc, uncertainty_mc, delay_ms)
  SELECT ?1, ?2, ?3, ?4, ?5, ?6
  WHERE NOT EXISTS (SELECT 1 FROM reading WHERE channel = ?1 AND at_ms = ?2)
  AND NOT EXISTS (SELECT 1 FROM block WHERE channel = ?1 AND to_ms >= ?2
    AND from_ms <= ?2)"""
ADD_COPY = "INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?)"
ADD_EVENT = """INSERT INTO event
  (lot, at_ms, subject, name, channel, was, now, why, noticed_ms)
  VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)
  ON CONFLICT (lot, at_ms, subject, name, channel, now) DO NOTHING
  RETURNING number"""


class Delivery(NamedTuple):
    """A QoS 1 message by its packet number and the digest of what it held."""

    packet: int  # 1 to 65535
    digest: bytes


class Cook(NamedTuple):
    """One run of a schedule, as it was begun."""

    lot: str
    smokehouse: str
    schedule: str  # the text of the file, as it was that day
    schedule_path: str
    channels: tuple[Channel, ...]
    begun_ms: int
    who: str


class Kept(NamedTuple):
    """An entry with its number in the journal."""

    number: int
    lot: str
    entry: Entry


class Noticed(NamedTuple):
    """An event with its number in the journal, and when it was noticed."""

    number: int
    lot: str
    event: Event
    noticed_ms: int


class Judged(NamedTuple):
    """How far a cook was judged, as ``daemon.checkpoints`` wrote it."""

    horizon_ms: int
    entries_seen: int
    mark: str
    state: str


class Counts(NamedTuple):
    """How many of each the journal holds."""

    readings: int
    refusals: int
    cooks: int
    entries: int
    events: int


class Journal:
    """The journal in one file, opened for one thread."""

    def __init__(self, path: Path, *, create: bool = True, check: bool = False) -> None:
        """Open the journal at ``path``; create it if that is allowed and needed.

        ``check`` reads the whole file first and raises if it is damaged.

        Raises:
            JournalError: It cannot be opened, and why, in words for a person.
        """
        self.path = path
        self.connection = open_file(path, create=create, check=check)
        self._numbers: dict[str, int] = {}

    def close(self) -> None:
        """Let go of the file."""
        self.connection.close()

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction: durable after the block, undone if the block raises.

        Raises:
            JournalError: It could not be made durable; nothing of it was kept.
        """
        connection = self.connection
        with in_words(self.path):
            try:
                connection.execute("BEGIN IMMEDIATE")
                yield connection
                connection.execute("COMMIT")
            except BaseException:
                self._numbers.clear()
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                raise

    # Readings

    def append(
        self,
        readings: Sequence[Reading],
        refusals: Sequence[Refusal],
        deliveries: Sequence[Delivery] = (),
        entries: Sequence[Entry] = (),
    ) -> list[Reading]:
        """Keep a group of messages in one transaction; answer the new readings.

        They are answered in the order of their times.  The entries are the site's.

        Raises:
            JournalError: Nothing of the group was kept.
        """
        if not (readings or refusals or deliveries or entries):
            return []
        new: list[Reading] = []
        with self.writing() as connection:
            refused = list(refusals)
            for reading in sorted(readings, key=_time_of):
                if self._keep(reading, refused):
                    new.append(reading)
            connection.executemany(
                "INSERT INTO refusal (topic, channel, received_ms, why, payload)"
                " VALUES (?, ?, ?, ?, ?)",
                map(_cut, refused),
            )
            connection.executemany(
                "INSERT OR REPLACE INTO delivery VALUES (?, ?)", deliveries
            )
            for entry in entries:
                self._write_entry("", entry)
        return new

    def delivered(self) -> set[int]:
        """The packet numbers under which a delivery is known."""
        with in_words(self.path):
            rows = self.connection.execute("SELECT packet FROM delivery").fetchall()
        return {packet for (packet,) in rows}

    def forget_deliveries(self, packets: Collection[int]) -> None:
        """Know no longer what came under these packet numbers."""
        with self.writing() as connection:
            connection.executemany(
                "DELETE FROM delivery WHERE packet = ?", [(one,) for one in packets]
            )

    def was_delivered(self, delivery: Delivery) -> bool:
        """Whether the last message kept under this packet number held the same.

        It means something only for a message the broker marks as sent again.
        """
        with in_words(self.path):
            row = self.connection.execute(
                "SELECT 1 FROM delivery WHERE packet = ? AND digest = ?", delivery
            ).fetchone()
        return row is not None

    def readings(
        self, channels: Collection[str], from_ms: int, to_ms: int
    ) -> Iterator[Reading]:
        """The readings of these channels, both ends included, by (at_ms, channel).

        They come as they are asked for: a day of them is never in memory at once.
        Ask for all of them soon; what is half read keeps the log from shrinking.
        """
        with in_words(self.path):
            names = sorted(set(channels))
            numbers = [self._known_number(name) for name in names]
            copies = stored.every_copy(self.connection, numbers, from_ms, to_ms)
            for found in stored.best(copies):
                at_ms, place, quality, value_mc, uncertainty_mc, delay_ms, _ = found
                row = (at_ms, quality, value_mc, uncertainty_mc, delay_ms)
                yield _reading(names[place], *row)

    def copies(self, channel: int, from_ms: int, to_ms: int) -> Iterator[stored.Found]:
        """Every copy of the readings of one channel, by its number, by time.

        A reading has more than one where a better one came later.
        """
        with in_words(self.path):
            yield from stored.every_copy(self.connection, [channel], from_ms, to_ms)

    def channels(self) -> dict[str, int]:
        """The number of every channel that ever gave a reading, by its name."""
        with in_words(self.path):
            return dict(self.connection.execute("SELECT name, number FROM channel"))

    def latest(self) -> dict[str, Reading]:
        """The newest reading of each channel that ever gave one."""
        with in_words(self.path):
            rows = self.connection.execute(
                "SELECT name, at_ms, min(quality), value_mc, uncertainty_mc, delay_ms"
                " FROM channel JOIN reading ON reading.channel = channel.number"
                " AND at_ms = (SELECT max(at_ms) FROM reading AS one"
                " WHERE one.channel = channel.number) GROUP BY name"
            ).fetchall()
        return {name: _reading(name, *columns) for name, *columns in rows}

    def refusals(self, after: int = 0, limit: int = 1000) -> list[tuple[int, Refusal]]:
        """The refusals numbered above ``after``, the oldest first."""
        with in_words(self.path):
            rows = self.connection.execute(
                "SELECT number, topic, channel, received_ms, why, payload"
                " FROM refusal WHERE number > ? ORDER BY number LIMIT ?",
                (after, limit),
            ).fetchall()
        return [(number, Refusal(*refusal)) for number, *refusal in rows]

    def last_refusal(self) -> int:
        """The number of the newest refusal: how many there are."""
        with in_words(self.path):
            query = "SELECT coalesce(max(number), 0) FROM refusal"
            return int(self.connection.execute(query).fetchone()[0])

    # Cooks and what people wrote

    def begin(self, cook: Cook, entered_ms: int) -> int:
        """Keep a new cook and the entry that began it; answer the entry's number.

        Of two that are begun at the same moment one is first, and the other is told.

        Raises:
            JournalError: The lot has no name or is in the journal already, or its
                smokehouse still makes another.
        """
        if not cook.lot:
            raise JournalError(Trouble.LOT, "a cook needs the name of its lot")
        entry = Entry(EntryKind.BEGIN, cook.begun_ms, entered_ms, cook.who)
        with self.writing() as connection:
            if self._is_lot(cook.lot):
                words = f"lot {cook.lot} was begun before; give this cook another name"
                raise JournalError(Trouble.LOT, words)
            if other := self._going_on(cook.smokehouse):
                words = (
                    f"{cook.smokehouse}: lot {other} is still going on; end it first"
                )
                raise JournalError(Trouble.LOT, words)
            channels = json.dumps([asdict(channel) for channel in cook.channels])
            connection.execute(
                "INSERT INTO cook (lot, smokehouse, schedule, schedule_path, channels,"
                " begun_ms, who) VALUES (?, ?, ?, ?, ?, ?, ?)",
                cook._replace(channels=channels),  # type: ignore[arg-type]
            )
            return self._write_entry(cook.lot, entry)

    def add_entry(self, lot: str, entry: Entry, events: Sequence[Event] = ()) -> int:
        """Keep what a person wrote and made true; answer its number.  "" is the site.

        Raises:
            JournalError: No such lot was begun.
        """
        with self.writing():
            self._check_lot(lot)
            for event in events:
                self.connection.execute(ADD_EVENT, (lot, *event, entry.entered_ms))
            return self._write_entry(lot, entry)

    def cooks(self) -> list[Cook]:
        """Every cook, in the order in which they were begun."""
        return self._cooks("")

    def cook(self, lot: str) -> Cook | None:
        """The cook that makes this lot, if one was begun."""
        return next(iter(self._cooks("WHERE lot = ?", lot)), None)

    def entries(self, lot: str | None = None, after: int = 0) -> list[Kept]:
        """The entries of a lot, or of all, numbered above ``after``, oldest first."""
        rows = self._rows_of_lot(
            "number, lot, kind, at_ms, entered_ms, who, text, about",
            "entry",
            lot,
            after,
        )
        return [
            Kept(number, of_lot, Entry(EntryKind(kind), *rest))
            for number, of_lot, kind, *rest in rows
        ]

    # Events

    def add_events(
        self, lot: str, events: Sequence[Event], noticed_ms: int, horizon_ms: int
    ) -> list[Noticed]:
        """Keep the events that are new, and the lot's horizon; answer the new ones.

        Where nothing is new nothing is written.  A horizon never goes back.

        Raises:
            JournalError: No such lot was begun, or nothing could be kept.
        """
        if not events and horizon_ms <= self.horizon(lot):
            return []
        noticed: list[Noticed] = []
        with self.writing() as connection:
            self._check_lot(lot)
            for event in events:
                row = connection.execute(
                    ADD_EVENT, (lot, *event, noticed_ms)
                ).fetchone()
                if row:
                    noticed.append(Noticed(row[0], lot, event, noticed_ms))
            connection.execute(
                "INSERT INTO horizon VALUES (?, ?) ON CONFLICT (lot) DO UPDATE"
                " SET at_ms = max(at_ms, excluded.at_ms)",
                (lot, horizon_ms),
            )
        return noticed

    def horizon(self, lot: str) -> int:
        """The time up to which the lot's events are known; 0 where none is."""
        with in_words(self.path):
            row = self.connection.execute(
                "SELECT at_ms FROM horizon WHERE lot = ?", (lot,)
            ).fetchone()
        return int(row[0]) if row else 0

    def events(self, lot: str | None = None, after: int = 0) -> list[Noticed]:
        """The events of a lot, or of all, numbered above ``after``, as noticed."""
        rows = self._rows_of_lot(
            "number, lot, noticed_ms, at_ms, subject, name, channel, was, now, why",
            "event",
            lot,
            after,
        )
        return [
            Noticed(number, of_lot, Event(at_ms, Subject(subject), *rest), noticed_ms)
            for number, of_lot, noticed_ms, at_ms, subject, *rest in rows
        ]

    def settle(self, lot: str) -> None:
        """Keep that nothing can change the verdicts of a lot's cook any more.

        Raises:
            JournalError: No such lot was begun, or nothing could be kept.
        """
        with self.writing() as connection:
            self._check_lot(lot)
            connection.execute("INSERT OR IGNORE INTO settled VALUES (?)", (lot,))

    def settled(self) -> frozenset[str]:
        """The lots whose verdicts nothing can change any more."""
        with in_words(self.path):
            rows = self.connection.execute("SELECT lot FROM settled").fetchall()
        return frozenset(lot for (lot,) in rows)

    def pruned(self, lot: str) -> int:
        """When readings of a lot were last removed; 0 where none were."""
        with in_words(self.path):
            query = "SELECT coalesce(max(at_ms), 0) FROM pruned WHERE lot = ?"
            return int(self.connection.execute(query, (lot,)).fetchone()[0])

    def pruned_spans(self, channel: int) -> list[tuple[int, int]]:
        """The spans of a channel, by its number, of which blocks were removed."""
        with in_words(self.path):
            query = "SELECT from_ms, to_ms FROM pruned WHERE channel = ? ORDER BY 1"
            return self.connection.execute(query, (channel,)).fetchall()

    def checkpoint(self, lot: str) -> Judged | None:
        """How far a lot's cook was judged when that was last kept."""
        with in_words(self.path):
            row = self.connection.execute(
                "SELECT horizon_ms, entries_seen, mark, state FROM checkpoint"
                " WHERE lot = ?",
                (lot,),
            ).fetchone()
        return Judged(*row) if row else None

    # The file

    def counts(self) -> Counts:
        """How many of each there are; it reads every reading, so ask rarely."""
        with in_words(self.path):
            return Counts(*stored.counted(self.connection))

    def integrity(self) -> str:
        """What a check of the whole file says: "ok", or what is wrong in it."""
        with in_words(self.path):
            return integrity(self.connection, "integrity_check")

    # Private

    def _keep(self, reading: Reading, refused: list[Refusal]) -> bool:
        """Whether the reading was new; what contradicts the journal is refused."""
        channel, at_ms, value_mc, uncertainty_mc, quality, received_ms = reading
        if not _can_be_kept(reading):
            why = (
                "its time or its value is beyond what the journal keeps:"
                f" at_ms = {at_ms}, value_mc = {value_mc}"
            )
            refused.append(Refusal("", channel, received_ms, why, b""))
            return False
        number = self._numbers.get(channel) or self._number(channel)
        delay_ms = received_ms - at_ms if received_ms else None
        row = (number, at_ms, PLACES[quality], value_mc, uncertainty_mc, delay_ms)
        if self.connection.execute(ADD_READING, row).rowcount == 1:
            return True
        known = next(self.copies(number, at_ms, at_ms), None)
        if known is None:  # it lies among those of a block, and is none of them
            self.connection.execute(ADD_COPY, row)
            return True
        _, _, known_place, known_mc, *_ = known
        if known_mc != value_mc:
            why = (
                f"two values at {_utc(at_ms)}: {_thousandths(known_mc)} is in the"
                f" journal, {_thousandths(value_mc)} came later and was not used"
            )
            refused.append(Refusal("", channel, received_ms, why, b""))
            return False
        doubted = QUALITIES[known_place] is Quality.SUSPECT  # and stays so
        if doubted or PLACES[quality] >= known_place:
            return False
        self.connection.execute(ADD_COPY, row)
        return True

    def _known_number(self, channel: str) -> int:
        row = self.connection.execute(
            "SELECT number FROM channel WHERE name = ?", (channel,)
        ).fetchone()
        return int(row[0]) if row else 0

    def _number(self, channel: str) -> int:
        number = self._known_number(channel)
        if not number:
            answer = self.connection.execute(
                "INSERT INTO channel (name) VALUES (?) RETURNING number", (channel,)
            )
            (number,) = answer.fetchone()
        self._numbers[channel] = number
        return number

    def _is_lot(self, lot: str) -> bool:
        row = self.connection.execute("SELECT 1 FROM cook WHERE lot = ?", (lot,))
        return row.fetchone() is not None

    def _going_on(self, smokehouse: str) -> str:
        """The lot that goes on in a smokehouse; "" for none.

        Where a person has entered its end it is over, whether it can be judged or not.
        """
        row = self.connection.execute(
            "SELECT lot FROM cook WHERE smokehouse = ?"
            " AND NOT EXISTS (SELECT 1 FROM event WHERE lot = cook.lot AND subject = ?)"
            " AND NOT EXISTS (SELECT 1 FROM entry WHERE lot = cook.lot AND kind = ?)",
            (smokehouse, Subject.COOK.value, EntryKind.END.value),
        ).fetchone()
        return str(row[0]) if row else ""

    def _check_lot(self, lot: str) -> None:
        if lot and not self._is_lot(lot):
            raise JournalError(Trouble.LOT, f"there is no lot {lot} in the journal")

    def _write_entry(self, lot: str, entry: Entry) -> int:
        answer = self.connection.execute(
            "INSERT INTO entry (lot, kind, at_ms, entered_ms, who, text, about)"
            " VALUES (?, ?, ?, ?, ?, ?, ?) RETURNING number",
            (lot, *entry),
        )
        return int(answer.fetchone()[0])

    def _cooks(self, where: str, *lot: str) -> list[Cook]:
        with in_words(self.path):
            rows = self.connection.execute(
                "SELECT lot, smokehouse, schedule, schedule_path, channels, begun_ms,"
                f" who FROM cook {where} ORDER BY number",
                lot,
            ).fetchall()
        return [Cook(*row)._replace(channels=_channels(row[4])) for row in rows]

    def _rows_of_lot(
        self, columns: str, table: str, lot: str | None, after: int
    ) -> list[Any]:
        where = "" if lot is None else "AND lot = :lot"
        with in_words(self.path):
            return self.connection.execute(
                f"SELECT {columns} FROM {table} WHERE number > :after {where}"
                " ORDER BY number",
                {"after": after, "lot": lot},
            ).fetchall()


def _reading(
    channel: str,
    at_ms: int,
    place: int,
    value_mc: int,
    uncertainty_mc: int,
    delay_ms: int | None,
) -> Reading:
    received_ms = 0 if delay_ms is None else at_ms + delay_ms
    quality = QUALITIES[place]
    return Reading(channel, at_ms, value_mc, uncertainty_mc, quality, received_ms)


def _time_of(reading: Reading) -> int:
    return reading.at_ms


def _can_be_kept(reading: Reading) -> bool:
    return (
        0 <= reading.at_ms < YEAR_10000_MS
        and 0 <= reading.received_ms < YEAR_10000_MS
        and -LARGEST < reading.value_mc < LARGEST
        and 0 <= reading.uncertainty_mc < LARGEST
    )


def _cut(refusal: Refusal) -> Refusal:
    """The refusal as it is kept: a payload of bounded size, text that has bytes."""
    topic, channel, received_ms, why, payload = refusal
    if len(payload) > PAYLOAD_BYTES:
        why = f"{why} (of {len(payload)} bytes the first {PAYLOAD_BYTES} are kept)"
        payload = payload[:PAYLOAD_BYTES]
    texts = (_with_bytes(topic), _with_bytes(channel))
    return Refusal(*texts, received_ms, _with_bytes(why), payload)


def _with_bytes(text: str) -> str:
    return text.encode(errors="backslashreplace").decode()


def _utc(at_ms: int) -> str:
    at = EPOCH + timedelta(milliseconds=at_ms)
    return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _thousandths(value_mc: int) -> str:
    sign = "-" if value_mc < 0 else ""
    whole, rest = divmod(abs(value_mc), 1000)
    return f"{sign}{whole}.{rest:03}"


_CHANNELS = TypeAdapter(tuple[Channel, ...])


def _channels(text: str) -> tuple[Channel, ...]:
    return _CHANNELS.validate_json(text)
