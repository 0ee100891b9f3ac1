"""A page of the journal's file is really written over, each in its turn.

SQLite's own ``integrity_check`` and the length of a page (1024 bytes, byte 16 of the
header: sqlite.org/fileformat2.html, 1.3) are what is outside the project here.
"""

import re
import shutil
import sqlite3
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from daemon import damaged_head
from daemon.compaction import compact
from daemon.cooks import Cooks
from daemon.journal import Journal, JournalError, Trouble
from daemon.journal_swap import beside
from daemon.outbox import Outbox
from daemon.rescue import open_sound
from probes.contract import Refusal
from rules.alerts import AlertRule
from rules.facts import Entry, EntryKind, Event, Reading, Subject
from tests.daemon.test_compaction import BEGUN_MS, COOK, HOUR_MS, LATER_MS, seconds

PAGE = 1024
NOW_MS = 1_768_100_000_000  # 2026-01-11T02:53:20Z
CHANNELS = ("core-1", "core-2", "chamber")
RULES = [AlertRule("operator", frozenset({"at risk"}), 600_000)]


class Held(NamedTuple):
    """All that a journal answers."""

    readings: list[Reading]
    cooks: list[str]
    entries: list[Entry]
    events: list[Event]
    refusals: list[Refusal]
    alerts: list[str]


def held(journal: Journal) -> Held:
    noticed = [
        one.event for one in journal.events() if one.event.name != "journal file"
    ]
    return Held(
        list(journal.readings(CHANNELS, 0, 1 << 60)),
        [cook.lot for cook in journal.cooks()],
        [kept.entry for kept in journal.entries()],
        noticed,
        [refusal for _, refusal in journal.refusals()],
        [alert.title for alert in Outbox(journal, {"operator": ""}).alerts("L-7")],
    )


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Held]:
    """A journal with everything in it, closed as the daemon closes it."""
    path = tmp_path_factory.mktemp("whole") / "journal.db"
    journal = Journal(path)
    outbox = Outbox(journal, {"operator": ""})
    journal.append(seconds(1_500, "chamber"), [])
    compact(journal, LATER_MS, 0)
    journal.begin(COOK, BEGUN_MS)
    for number in range(40):
        at_ms = BEGUN_MS + 1_000 * number
        words = f"note {number}: the fire was seen to, and the damper opened a little"
        journal.add_entry("L-7", Entry(EntryKind.NOTE, at_ms, at_ms, "MB", words))
        now, was = ("at risk", "within") if number % 2 == 0 else ("within", "at risk")
        event = Event(at_ms, Subject.LIMIT, f"chill {number // 2}", "", was, now, words)
        journal.add_events("L-7", [event], at_ms, at_ms)
        journal.append([], [Refusal("t", "core-1", at_ms, words, b"raw")])
        outbox.collect(lambda _: RULES, at_ms)
    journal.append(seconds(900) + seconds(900, "core-2"), [])
    damaged_head.save(journal.connection, path)
    found = held(journal)
    journal.close()
    return path, found


def overwritten(whole: Path, to: Path, page: int, octets: bytes) -> Path:
    """A copy of the journal with one page, from 0, that holds something else."""
    path = to / "journal.db"
    shutil.copyfile(whole, path)
    shutil.copyfile(beside(whole, "head"), beside(path, "head"))
    with path.open("r+b") as file:
        file.seek(page * PAGE)
        file.write(octets)
    return path


GARBAGE = {"a5": b"\xa5" * PAGE, "zeros": b"\0" * PAGE, "text": b"smoked links. " * 73}


@pytest.mark.parametrize("garbage", GARBAGE)
def test_whatever_page_is_lost_the_rest_is_there_and_the_loss_is_said(
    whole: tuple[Path, Held], tmp_path: Path, garbage: str
) -> None:
    """Every page in turn: the first, the schema's, roots, leaves, blocks."""
    original, before = whole
    pages = original.stat().st_size // PAGE
    assert pages > 100
    lost = []
    for page in range(pages):
        folder = tmp_path / str(page)
        folder.mkdir()
        octets = GARBAGE[garbage][:PAGE].ljust(PAGE)
        path = overwritten(original, folder, page, octets)
        damaged = path.read_bytes()
        journal, rescued = open_sound(path, NOW_MS)
        assert journal.integrity() == "ok", page
        Cooks(journal)
        after = held(journal)
        if rescued is None:
            assert after == before, page  # the page held nothing
        else:
            assert rescued.aside.read_bytes() == damaged
            words = rescued.aside.with_name(f"{rescued.aside.name}.txt").read_text()
            assert words.splitlines() == list(rescued.losses)
            told = [one.event for one in journal.events("")]
            assert [(one.name, one.now) for one in told] == [
                ("journal file", "damaged"),
                ("journal file", "reporting"),
            ]
            check_losses(before, after, rescued.losses, page)
            lost.append(len(before.readings) - len(after.readings))
        assert not [
            one.name
            for one in folder.iterdir()
            if re.search(r"(new|swap|rescue|scratch|losses|partly)", one.name)
        ]
        journal.close()
        shutil.rmtree(folder)
    assert len(lost) > pages * 3 // 4
    # A page holds about 40 readings; only one of packed ones holds more.
    assert sum(count > 60 for count in lost) <= 1, sorted(lost)


def check_losses(before: Held, after: Held, losses: Sequence[str], page: int) -> None:
    """What is missing was said, and nothing is there that was not."""
    there: list[set[Any]] = [set(part) for part in after]
    was: list[set[Any]] = [set(part) for part in before]
    assert all(ours <= theirs for ours, theirs in zip(there, was, strict=True)), page
    assert losses or there == was, page
    lacking = set(before.readings) - set(after.readings)
    for name in {one.channel for one in lacking}:
        assert any(loss.startswith(f"{name}: ") or "name of" in loss for loss in losses)
    for what, ours, theirs in (
        ("entry", after.entries, before.entries),
        ("event", after.events, before.events),
        ("refusal", after.refusals, before.refusals),
    ):
        if len(ours) < len(theirs):
            assert any(loss.startswith(f"table {what}: ") for loss in losses), page


def leaf_of(path: Path, table: str, nth: int) -> int:
    """The number, from 0, of a leaf of a table; SQLite itself says where it is."""
    connection = sqlite3.connect(path)
    query = (
        "SELECT pageno FROM dbstat WHERE name = ? AND pagetype = 'leaf' ORDER BY path"
    )
    pages = [page - 1 for (page,) in connection.execute(query, (table,))]
    connection.close()
    return int(pages[nth])


def test_the_minutes_of_a_channel_are_named(
    whole: tuple[Path, Held], tmp_path: Path
) -> None:
    original, before = whole
    page = leaf_of(original, "reading", 10)
    path = overwritten(original, tmp_path, page, GARBAGE["a5"])
    journal, rescued = open_sound(path, NOW_MS)
    assert rescued is not None
    [loss] = rescued.losses
    lacking = sorted(set(before.readings) - set(held(journal).readings))
    assert 20 < len(lacking) < 60
    second = [(one.at_ms - BEGUN_MS) // 1_000 for one in lacking]
    first, last = second[0] - 1, second[-1] + 1
    assert loss == (
        f"core-1: about {len(lacking)} readings between 2026-01-10 05:"
        f"{first // 60:02}:{first % 60:02} UTC and 2026-01-10 05:"
        f"{last // 60:02}:{last % 60:02} UTC"
    )
    [damaged, _] = journal.events("")
    assert damaged.event.why == (
        f"the journal was damaged and is kept as {rescued.aside.name}; lost: {loss}"
    )
    assert rescued.aside.name == "journal.db.damaged-20260111T025320Z"
    journal.close()


def page_above(path: Path, table: str) -> int:
    """The number, from 0, of the page that leads to all others of a table."""
    connection = sqlite3.connect(path)
    query = "SELECT rootpage FROM sqlite_schema WHERE name = ?"
    (root,) = connection.execute(query, (table,)).fetchone()
    connection.close()
    return int(root) - 1


@pytest.mark.parametrize("first_too", [False, True])
def test_what_lies_below_a_lost_root_is_found_again(
    whole: tuple[Path, Held], tmp_path: Path, first_too: bool
) -> None:
    """The root holds a few rows itself; all the others are still in the file."""
    original, before = whole
    path = overwritten(
        original, tmp_path, page_above(original, "reading"), GARBAGE["a5"]
    )
    if first_too:  # where the tables begin is then known from the head alone
        with path.open("r+b") as file:
            file.write(GARBAGE["zeros"])
    journal, rescued = open_sound(path, NOW_MS)
    assert rescued is not None
    after = held(journal)
    assert set(after.readings) < set(before.readings)
    assert len(before.readings) - len(after.readings) < 60
    there = [one.channel for one in after.readings].count("core-2")
    words = "core-2: every reading that was not packed"
    assert f"{words}; {there} of them were found again" in rescued.losses
    assert not [one for one in tmp_path.iterdir() if one.name.endswith(".pages")]
    journal.close()


def test_people_are_told_and_recording_goes_on(
    whole: tuple[Path, Held], tmp_path: Path
) -> None:
    original, _ = whole
    path = overwritten(
        original, tmp_path, leaf_of(original, "event", 1), b"\xa5" * PAGE
    )
    journal, _ = open_sound(path, NOW_MS)
    outbox = Outbox(journal, {"operator": ""})
    rules = [AlertRule("operator", frozenset({"probe fault"}), 600_000)]
    outbox.collect(lambda _: rules, NOW_MS)
    [notice] = [one for one in outbox.due(NOW_MS) if "journal file" in one.title]
    assert notice.title == "journal file damaged"
    assert "table event: rows " in notice.body
    more = seconds(10, start=5_000)
    assert journal.append(more, []) == more
    journal.close()
    again, rescued = open_sound(path, NOW_MS + HOUR_MS)
    assert rescued is None
    assert again.latest()["core-1"] == more[-1]
    again.close()


def test_several_places_at_once(whole: tuple[Path, Held], tmp_path: Path) -> None:
    original, before = whole
    path = overwritten(original, tmp_path, 0, GARBAGE["zeros"])
    with path.open("r+b") as file:
        for nth in (3, 4, 20):
            file.seek(leaf_of(original, "reading", nth) * PAGE)
            file.write(GARBAGE["a5"])
    journal, rescued = open_sound(path, NOW_MS)
    assert rescued is not None
    after = held(journal)
    assert after.readings != before.readings
    assert len(after.readings) > len(before.readings) - 200
    assert (after.cooks, after.entries, after.alerts) == (
        before.cooks,
        before.entries,
        before.alerts,
    )
    assert len([loss for loss in rescued.losses if " readings " in loss]) == 2
    journal.close()


def test_without_a_kept_head_a_lost_schema_is_a_new_beginning(
    whole: tuple[Path, Held], tmp_path: Path
) -> None:
    original, _ = whole
    page = leaf_of(original, "sqlite_schema", 3)
    path = overwritten(original, tmp_path, page, GARBAGE["a5"])
    beside(path, "head").unlink()
    journal, rescued = open_sound(path, NOW_MS)
    assert rescued is not None
    [loss] = rescued.losses
    assert loss.startswith("everything: ")
    assert held(journal) == Held([], [], [], [], [], [])
    journal.close()


def test_a_file_that_never_was_a_journal_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    path.write_text("channels:\n" * 400)
    with pytest.raises(JournalError) as caught:
        open_sound(path, NOW_MS)
    assert caught.value.trouble is Trouble.NOT_A_JOURNAL
    assert path.read_text() == "channels:\n" * 400


def test_the_head_is_written_only_when_it_has_changed(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    journal = Journal(path)
    damaged_head.save(journal.connection, path)
    first = beside(path, "head").stat().st_ino
    damaged_head.save(journal.connection, path)
    assert beside(path, "head").stat().st_ino == first
    Outbox(journal, {})
    damaged_head.save(journal.connection, path)
    assert beside(path, "head").stat().st_ino != first
    journal.close()
