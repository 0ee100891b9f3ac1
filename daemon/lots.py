"""The lots there were, for the page: what the journal and the records beside it say.

Rule 1: nothing is kept here, judged again or verified.  The verdicts are those that
the record and its addenda were signed with; ``fumarium verify`` says whether a file
is still as it was signed.
Rule 2: a list costs what its own lines cost.  Of a record only the end is read, since
the verdicts stand behind the readings.
Rule 3: a lot without a record has no verdicts.

Units: ``_ms`` milliseconds since 1970-01-01T00:00:00Z.
"""

import json
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import yaml

from daemon import addendum
from daemon.journal import Journal
from daemon.journal_errors import in_words
from daemon.record import KINDS, Closing, members, value_of
from daemon.seal import split
from rules.facts import EntryKind, Subject, Verdict
from rules.stages import Passed
from rules.verdicts import Judged

LINES = 20  # a page
CHUNK_BYTES = 1 << 16
MOST_TAIL_BYTES = 1 << 22  # alerts, findings and verdicts of a very long day
TAIL = ("stage", "alert", "finding", "verdict", "closing")
TITLE = re.compile(r"^schedule:.*$", re.MULTILINE)
FILE = re.compile(r"record\.(pdf|jsonl)|public\.pem|addendum-\d{1,6}\.(pdf|jsonl)")
NOT_SHOWN = (EntryKind.BEGIN, EntryKind.ADDENDUM, EntryKind.LATE)

FIND = "FROM cook WHERE instr(lower(lot), lower(:find)) > 0"
LOTS = f"""SELECT lot, smokehouse, begun_ms, who, schedule,
  coalesce((SELECT max(at_ms) FROM event WHERE event.lot = cook.lot
    AND subject = '{Subject.COOK}'), 0),
  EXISTS (SELECT 1 FROM entry WHERE entry.lot = cook.lot
    AND kind = '{EntryKind.END}') {{where}}"""


class NoLotError(Exception):
    """There is no such lot, or no such file of it; the words say which."""


class Turned(NamedTuple):
    """A limit whose verdict an addendum has turned."""

    limit: str
    was: Verdict
    now: Verdict


class Added(NamedTuple):
    """An addendum to a record; ``files`` are those of its files that are there."""

    number: int
    what: addendum.What
    who: str
    written_ms: int
    text: str
    on_hold: bool
    turned: tuple[Turned, ...]
    files: tuple[str, ...]


class End(NamedTuple):
    """What stands at the end of a record."""

    stages: tuple[Passed, ...]
    judged: tuple[Judged, ...]
    closing: Closing


class Wrote(NamedTuple):
    """What a person wrote while the lot was made, or after."""

    kind: EntryKind
    at_ms: int
    who: str
    text: str
    about: str


class Lot(NamedTuple):
    """One lot as the list shows it; without a record it has no ``limits``."""

    lot: str
    title: str
    smokehouse: str
    who: str
    begun_ms: int
    finished_ms: int  # 0 while it goes on
    goes_on: bool
    on_hold: bool  # by the record and its addenda; without a record never false
    limits: tuple[Judged, ...]
    addenda: tuple[Added, ...]
    files: tuple[str, ...]  # of the record: those that are there
    trouble: str  # with the record, "" where there is none


class Whole(NamedTuple):
    """One lot with its stages and whatever people wrote."""

    lot: Lot
    stages: tuple[Passed, ...]
    entries: tuple[Wrote, ...]


class Listed(NamedTuple):
    """One page of the lots, newest first."""

    page: int  # from 1
    pages: int
    total: int  # lots that were found, on all pages
    lots: tuple[Lot, ...]


@dataclass(frozen=True, slots=True)
class Lots:
    """Where the lots are to be found."""

    journal: Path
    records: Path

    def listed(self, page: int, find: str = "") -> Listed:
        """One page of the lots whose name holds ``find``, newest first.

        Raises:
            JournalError: The journal cannot be read.
        """
        with self._open() as journal, in_words(self.journal):
            ask = journal.connection.execute
            (total,) = ask(f"SELECT count(*) {FIND}", {"find": find}).fetchone()
            pages = max(1, -(-total // LINES))
            page = min(max(page, 1), pages)
            # Only the numbers are sorted: a schedule's text is long.
            where = (
                f"FROM cook WHERE number IN (SELECT number {FIND} ORDER BY begun_ms"
                " DESC, number DESC LIMIT :lines OFFSET :past)"
                " ORDER BY begun_ms DESC, number DESC"
            )
            part = {"find": find, "lines": LINES, "past": (page - 1) * LINES}
            rows = ask(LOTS.format(where=where), part).fetchall()
            lots = tuple(self._lot(journal, row)[0] for row in rows)
        return Listed(page, pages, total, lots)

    def whole(self, lot: str) -> Whole:
        """One lot, with its stages and what was written.

        Raises:
            NoLotError: None of that name was begun.
            JournalError: The journal cannot be read.
        """
        with self._open() as journal, in_words(self.journal):
            where = LOTS.format(where="FROM cook WHERE lot = ?")
            row = journal.connection.execute(where, (lot,)).fetchone()
            if row is None:
                raise NoLotError(f"there is no lot {lot!r} in the journal")
            found, end = self._lot(journal, row)
            entries = tuple(
                Wrote(one.kind, one.at_ms, one.who, one.text, one.about)
                for _, _, one in journal.entries(lot)
                if one.kind not in NOT_SHOWN
            )
        return Whole(found, end.stages if end else (), entries)

    def file(self, lot: str, name: str) -> Path:
        """The path of a file of a lot's record, such as ``record.pdf``.

        Raises:
            NoLotError: There is no such lot, or no such file of it.
            JournalError: The journal cannot be read.
        """
        with self._open() as journal:
            known = journal.cook(lot) is not None
        path = self.records / f"{lot}.{name}"
        if not known or not FILE.fullmatch(name) or not path.is_file():
            raise NoLotError(f"there is no file {name!r} of a lot {lot!r}")
        return path

    @contextmanager
    def _open(self) -> Iterator[Journal]:
        """Open the journal for one question: its file may be another by the next."""
        journal = Journal(self.journal, create=False)
        try:
            yield journal
        finally:
            journal.close()

    def _lot(self, journal: Journal, row: Sequence[Any]) -> tuple[Lot, End | None]:
        lot, smokehouse, begun_ms, who, schedule, finished_ms, ended = row
        end, trouble = self._end(lot)
        read = [_read(text) for text in addendum.stored(lot, journal)]
        held = end.closing.on_hold if end else True
        limits = {one.limit: one for one in (end.judged if end else ())}
        limits |= {one.limit: one.now for each in read for one in each.verdicts}
        names = ("record.pdf", "record.jsonl", "public.pem")
        return Lot(
            lot=lot,
            title=_title(schedule),
            smokehouse=smokehouse,
            who=who,
            begun_ms=begun_ms,
            finished_ms=end.closing.finished_ms if end else finished_ms,
            goes_on=not (end or finished_ms or ended),
            on_hold=read[-1].on_hold if read else held,
            limits=tuple(limits.values()),
            addenda=tuple(self._added(lot, one) for one in read),
            files=tuple(one for one in names if self._has(lot, one)),
            trouble=trouble,
        ), end

    def _added(self, lot: str, one: addendum.Addendum) -> Added:
        opening = one.opening
        names = [f"addendum-{opening.number}.{ending}" for ending in ("pdf", "jsonl")]
        return Added(
            opening.number,
            opening.what,
            opening.who,
            opening.written_ms,
            opening.text,
            one.on_hold,
            tuple(
                Turned(turned.limit, turned.was.verdict, turned.now.verdict)
                for turned in one.verdicts
                if turned.was.verdict is not turned.now.verdict
            ),
            tuple(name for name in names if self._has(lot, name)),
        )

    def _has(self, lot: str, name: str) -> bool:
        return (self.records / f"{lot}.{name}").is_file()

    def _end(self, lot: str) -> tuple[End | None, str]:
        """The end of a record; None, and why, where it cannot be read."""
        path = self.records / f"{lot}.record.jsonl"
        try:
            return end_of(path), ""
        except FileNotFoundError:
            return None, ""
        except OSError as error:
            return None, f"{path.name} cannot be read: {error.strerror}"
        except (ValueError, KeyError, TypeError):
            return None, f"{path.name} is damaged; bring it back from a copy"


def lots_as_json(shown: Listed | Whole) -> bytes:
    """What the page shows, as UTF-8 JSON of integers, text, lists and maps."""
    return json.dumps(members(shown), ensure_ascii=False).encode()


def end_of(path: Path) -> End:
    """What stands at the end of a record, without the readings before it.

    Raises:
        OSError: It cannot be read.
        ValueError: It does not end as a record does.
    """
    found: dict[str, list[Any]] = {"stage": [], "verdict": [], "closing": []}
    for line in _tail(path):
        if (kind := line["kind"]) in found:
            found[kind].append(value_of(KINDS[kind], line, line["line"]))
    stages, judged, closing = found.values()
    if len(closing) != 1:
        raise ValueError("it does not end with a closing line")
    return End(tuple(stages), tuple(judged), closing[0])


def _tail(path: Path) -> list[Any]:
    """The last lines of a record, up to its first stage or farther."""
    octets = b""
    with path.open("rb") as file:
        start = file.seek(0, 2)
        while True:
            step = min(CHUNK_BYTES, start)
            start = file.seek(start - step)
            octets = file.read(step) + octets
            # A line that is cut is whole at the next, larger look.
            whole = octets.partition(b"\n")[2] if start else octets
            lines = [json.loads(one) for one in split(whole).body]
            before = lines and lines[0]["kind"] not in TAIL
            if before or not start or len(octets) >= MOST_TAIL_BYTES:
                return lines


def _read(octets: bytes) -> addendum.Addendum:
    return addendum.read([json.loads(one) for one in split(octets).body])


def _title(schedule: str) -> str:
    """The name of a schedule, without reading all of it."""
    found = TITLE.search(schedule)
    line = found.group() if found else ""
    try:
        return str(yaml.load(line, yaml.BaseLoader)["schedule"])
    except (yaml.YAMLError, TypeError, KeyError):
        return line.removeprefix("schedule:").strip()
