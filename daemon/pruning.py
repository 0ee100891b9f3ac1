"""Packed readings leave the journal once nobody has to keep them any longer.

The readings of a lot may go when its storage class is known, the class's time has
passed since the last that was written about it, and its signed record lies whole in
the records' folder.  Readings of no lot may go after the longest time of all classes.

Rule 1: only readings go, block by block.  Cooks, entries, events and refusals stay,
and so do the record's files: to remove those is a person's work.
Rule 2: a block goes whole or not at all: not while one of its readings lies within a
lot that is kept.
Rule 3: what goes is written into ``pruned`` and into an event in the transaction in
which it goes; the journal's own trigger lets no other block go.
Rule 4: whatever is not known (class, schedule, record, end) is a reason to keep.

Units: ``_ms`` milliseconds since 1970-01-01T00:00:00Z.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import NamedTuple

from daemon.compaction import give_back, spare_zeros
from daemon.journal import ADD_EVENT, Cook, Journal
from daemon.journal_errors import in_words
from daemon.keys import DeviceKeyError
from daemon.seal import digest
from daemon.verify import verify
from rules.facts import Event, Subject
from rules.schedule import Schedule, read_schedule
from rules.standards.retention import LONGEST_DAYS, RETENTION_DAYS, Storage

DAY_MS = 86_400_000
CHUNK = 256  # blocks in one transaction


@dataclass(frozen=True, slots=True)
class Keeping:
    """One lot, how long its readings are kept, and why still, if they are."""

    lot: str
    begun_ms: int
    ended_ms: int  # of its record
    last_ms: int  # when the last was written about it
    channels: frozenset[str]
    storage: Storage | None
    until_ms: int | None  # None where that is not known
    why: str  # it is kept; "" where it may go
    record: str = ""  # the digest of its record


class Block(NamedTuple):
    """A block that may go."""

    channel: int
    number: int
    from_ms: int
    to_ms: int
    times: int
    lot: str  # "" for readings of no lot
    run: int  # the same for blocks of a channel with none kept between them


@dataclass(frozen=True, slots=True)
class Share:
    """What may go of one lot, or of none."""

    lot: str
    blocks: tuple[Block, ...]

    @property
    def readings(self) -> int:
        """How many readings are in the blocks."""
        return sum(block.times for block in self.blocks)


def keepings(journal: Journal, records: Path, now_ms: int) -> list[Keeping]:
    """Every lot, and how long its readings are kept.

    Raises:
        JournalError: The journal cannot be read.
    """
    settled = journal.settled()
    return [
        _keeping(journal, cook, records, now_ms, settled=cook.lot in settled)
        for cook in journal.cooks()
    ]


def shares(journal: Journal, lots: list[Keeping], now_ms: int) -> list[Share]:
    """What may go: of each lot in the order given, and last of none."""
    found = [
        block
        for name, number in journal.channels().items()
        for block in _blocks(
            journal, number, [lot for lot in lots if name in lot.channels], now_ms
        )
    ]
    names = [*(lot.lot for lot in lots if not lot.why), ""]
    every = (Share(name, tuple(b for b in found if b.lot == name)) for name in names)
    return [share for share in every if share.blocks]


def prune(journal: Journal, share: Share, now_ms: int, why: str) -> None:
    """Let the blocks of a share go, a few at a time; others may write in between.

    Raises:
        JournalError: It could not go on; what has gone is written down as gone.
    """
    spare_zeros(journal)
    event = Event(now_ms, Subject.CHANNEL, _name(share.lot), "", "kept", "pruned", why)
    for i in range(0, len(share.blocks), CHUNK):
        chunk = share.blocks[i : i + CHUNK]
        with journal.writing() as connection:
            connection.execute(ADD_EVENT, ("", *event, now_ms))
            for _, together in groupby(chunk, lambda one: (one.channel, one.run)):
                span = tuple(together)
                first = span[0]
                connection.execute(
                    "INSERT INTO pruned (channel, from_ms, to_ms, lot, blocks,"
                    " readings, at_ms) VALUES (?, ?, ?, ?, ?, ?, ?)",
                    (
                        first.channel,
                        min(block.from_ms for block in span),
                        max(block.to_ms for block in span),
                        share.lot,
                        len(span),
                        sum(block.times for block in span),
                        now_ms,
                    ),
                )
                numbers = [(block.number,) for block in span]
                connection.executemany("DELETE FROM block WHERE number = ?", numbers)
        give_back(journal)


def _keeping(
    journal: Journal, cook: Cook, records: Path, now_ms: int, *, settled: bool
) -> Keeping:
    noticed = journal.events(cook.lot)
    entered = [kept.entry.entered_ms for kept in journal.entries(cook.lot)]
    last_ms = max([*(one.noticed_ms for one in noticed), *entered, cook.begun_ms])
    schedule = read_schedule(cook.schedule_path, cook.schedule)
    storage = schedule.product.storage if isinstance(schedule, Schedule) else None
    until_ms = None if storage is None else last_ms + RETENTION_DAYS[storage] * DAY_MS
    why = record = ""
    if not settled:
        why = "it is not over, or a verdict may still change"
    elif isinstance(schedule, list):
        why = "this program does not understand its schedule"
    elif until_ms is None:
        why = "its schedule does not say the storage of the product"
    elif now_ms <= until_ms:
        why = "it is not old enough"
    else:
        record, why = _record(records, cook.lot)
    channels = frozenset(channel.name for channel in cook.channels)
    return Keeping(
        cook.lot,
        cook.begun_ms,
        journal.horizon(cook.lot) if settled else now_ms,
        last_ms,
        channels,
        storage,
        until_ms,
        why,
        record,
    )


def _record(records: Path, lot: str) -> tuple[str, str]:
    """The digest of the record of a lot, or why it does not count."""
    path, public = records / f"{lot}.record.jsonl", records / f"{lot}.public.pem"
    try:
        octets = path.read_bytes()
        report = verify(octets, public.read_bytes())
    except OSError as error:
        return "", f"its signed record is not there: {error.filename}"
    except DeviceKeyError as error:
        return "", f"{public}: {error}"
    if not report.good or report.lot != lot:
        return "", f"its record does not verify: {path}"
    return digest(octets), ""


def _blocks(
    journal: Journal, channel: int, lots: list[Keeping], now_ms: int
) -> Iterator[Block]:
    rows = journal.connection.execute(
        "SELECT number, from_ms, to_ms, times FROM block WHERE channel = ?"
        " ORDER BY from_ms, number",
        (channel,),
    )
    old_ms, run = now_ms - LONGEST_DAYS * DAY_MS, 0
    with in_words(journal.path):
        for number, from_ms, to_ms, times in rows:
            owner = _owner(lots, from_ms, to_ms, old_ms)
            if owner is None:
                run += 1
            else:
                yield Block(channel, number, from_ms, to_ms, times, owner, run)


def _owner(lots: list[Keeping], from_ms: int, to_ms: int, old_ms: int) -> str | None:
    """The lot with which a block goes, "" for none; None where it is kept."""
    within = [one for one in lots if one.begun_ms <= to_ms and from_ms <= one.ended_ms]
    if any(one.why for one in within):
        return None
    for one in within:
        if one.begun_ms <= from_ms and to_ms <= one.ended_ms:
            return one.lot
    return "" if to_ms < old_ms else None


def _name(lot: str) -> str:
    return f"readings of lot {lot}" if lot else "readings of no lot"
