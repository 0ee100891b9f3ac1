"""A journal of an earlier form is brought forward, and a copy of it stays beside it.

``journals/form-1.sql`` holds a journal that the program of form 1 made, as the dump of
Python's own sqlite3 gives it; the expected rows are typed from that file.
"""

import sqlite3
from pathlib import Path

import pytest

from daemon import journal_schema
from daemon.compaction import compact
from daemon.journal import Counts, Delivery, Journal, JournalError, Trouble
from daemon.outbox import Outbox
from rules.facts import EntryKind, Quality, Reading
from tests.daemon.test_compaction import LATER_MS, seconds

FORM_1 = Path(__file__).parent / "journals" / "form-1.sql"
BEGUN_MS = 1_768_021_200_000
SECOND_MS = 1_000


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A journal as the program of form 1 left it."""
    path = tmp_path / "journal.db"
    stranger = sqlite3.connect(path)
    stranger.executescript(FORM_1.read_text(encoding="utf-8"))
    stranger.close()
    return path


def dumped(path: Path) -> list[str]:
    """All that a file holds, in SQL."""
    stranger = sqlite3.connect(path)
    lines = list(stranger.iterdump())
    stranger.close()
    return lines


def test_form_1_is_brought_forward_with_all_that_it_held(path: Path) -> None:
    journal = Journal(path, check=True)
    assert journal.connection.execute("PRAGMA user_version").fetchone() == (3,)
    assert journal.counts() == Counts(13, 1, 1, 2, 1)
    core = list(journal.readings(["core-1"], 0, 1 << 60))
    assert [one.at_ms for one in core] == [
        BEGUN_MS + s * SECOND_MS for s in (0, 10, 20, 25, 30, 40, 50)
    ]
    received_ms = BEGUN_MS + 25 * SECOND_MS + 40
    assert core[3] == Reading(
        "core-1", BEGUN_MS + 25_000, 8_250, 500, Quality.GOOD, received_ms
    )
    chamber = list(journal.readings(["chamber"], 0, 1 << 60))
    assert [one.value_mc for one in chamber] == [
        20_000, 20_620, 21_240, 21_860, 22_480, 23_100,
    ]  # fmt: skip
    assert {one.quality for one in chamber} == {Quality.GOOD}
    assert journal.was_delivered(Delivery(7, b"digest"))
    assert [kept.entry.kind for kept in journal.entries("JY-1")] == [
        EntryKind.BEGIN,
        EntryKind.NOTE,
    ]
    assert journal.horizon("JY-1") == BEGUN_MS + 40_000
    assert journal.settled() == frozenset()
    [alert] = Outbox(journal, {}).alerts("JY-1")
    assert alert.title == "come-up at risk: lot JY-1, smokehouse north"
    assert journal.integrity() == "ok"
    journal.close()


def test_the_copy_beside_it_is_the_old_file(path: Path) -> None:
    before = dumped(path)
    Journal(path).close()
    copy = path.with_name("journal.db.form-1")
    assert dumped(copy) == before
    stranger = sqlite3.connect(copy)
    assert stranger.execute("PRAGMA user_version").fetchone() == (1,)
    assert stranger.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    stranger.close()
    assert sorted(one.name for one in path.parent.iterdir()) == [
        "journal.db",
        "journal.db.form-1",
    ]


def test_without_room_for_the_copy_nothing_is_changed(path: Path) -> None:
    before = dumped(path)
    path.with_name("journal.db.form-1.partly").mkdir()  # so it cannot be written
    with pytest.raises(JournalError, match="form-1: it cannot be written: Is a dir"):
        Journal(path)
    assert dumped(path) == before


def test_a_new_journal_needs_no_copy(tmp_path: Path) -> None:
    Journal(tmp_path / "new.db").close()
    assert [one.name for one in tmp_path.iterdir()] == ["new.db"]


def test_what_was_brought_forward_can_be_packed(path: Path) -> None:
    journal = Journal(path)
    journal.append(seconds(3_000), [])
    before = list(journal.readings(["core-1", "chamber"], 0, 1 << 60))
    journal.settle("JY-1")
    assert compact(journal, LATER_MS, 0).readings > 2_000
    assert list(journal.readings(["core-1", "chamber"], 0, 1 << 60)) == before
    journal.close()


def test_a_step_forward_that_fails_leaves_the_old_form(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = dumped(path)
    wrong = (*journal_schema.MIGRATIONS, ("CREATE TABLE cook (lot TEXT)",))
    with monkeypatch.context() as patched:
        patched.setattr(journal_schema, "MIGRATIONS", wrong)
        with pytest.raises(JournalError) as caught:
            Journal(path)
    assert caught.value.trouble is Trouble.OTHER
    assert dumped(path) == before
    Journal(path).close()
