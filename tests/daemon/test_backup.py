"""A backup made while the daemon writes, and the journal made from it again.

Outside the project: SQLite's own ``integrity_check`` and dump look at every file.
"""

import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from daemon.backup import back_up, restore
from daemon.compaction import compact
from daemon.journal import Counts, Journal, JournalError, Trouble
from daemon.journal_swap import beside, held
from tests.daemon.test_compaction import COOK, LATER_MS, seconds
from tests.daemon.test_journal_forms import FORM_1

NOW_MS = 1_768_021_200_000  # 2026-01-10T05:00:00Z


@pytest.fixture
def path(tmp_path: Path) -> Path:
    folder = tmp_path / "board"
    folder.mkdir()
    return folder / "journal.db"


@pytest.fixture
def journal(path: Path) -> Iterator[Journal]:
    opened = Journal(path)
    opened.begin(COOK, NOW_MS)
    opened.append(seconds(3_000), [])
    yield opened
    opened.close()


def everything(journal: Journal) -> list[object]:
    """All that a journal answers."""
    readings = list(journal.readings(["core-1"], 0, 1 << 60))
    return [readings, journal.cooks(), journal.entries(), journal.events()]


def said(backup: Path, journal: Path, over: bool = False) -> str:
    """Why a backup is not restored."""
    with pytest.raises(JournalError) as caught:
        restore(backup, journal, NOW_MS, over=over)
    return str(caught.value)


def test_a_backup_is_one_file_with_all_of_one_moment(
    journal: Journal, tmp_path: Path
) -> None:
    compact(journal, LATER_MS, 0)
    to = tmp_path / "stick" / "b.db"
    to.parent.mkdir()
    assert back_up(journal, to) == Counts(3_000, 0, 1, 1, 0)
    assert [one.name for one in to.parent.iterdir()] == ["b.db"]
    stranger = sqlite3.connect(f"file:{to}?mode=ro&immutable=1", uri=True)
    assert stranger.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    stranger.close()


def test_the_daemon_writes_on_while_it_is_copied(
    journal: Journal, path: Path, tmp_path: Path
) -> None:
    """Every backup holds a beginning of what was written, without a hole."""
    stopping = threading.Event()
    written: list[int] = []

    def write() -> None:
        own = Journal(path)
        while not stopping.is_set():
            start = 3_000 + 10 * len(written)
            written.append(len(own.append(seconds(10, start=start), [])))
        own.close()

    writer = threading.Thread(target=write)
    writer.start()
    counts = []
    for number in range(5):
        before = len(written)
        to = tmp_path / f"{number}.db"
        counts.append(back_up(journal, to).readings)
        assert counts[-1] >= 3_000 + 10 * before
        copy = Journal(to)
        assert list(copy.readings(["core-1"], 0, 1 << 60)) == seconds(counts[-1])
        copy.close()
    stopping.set()
    writer.join()
    assert set(written) == {10}


def test_no_file_is_written_over(journal: Journal, tmp_path: Path) -> None:
    to = tmp_path / "b.db"
    to.write_text("something of mine")
    with pytest.raises(JournalError, match="there is such a file; give the backup"):
        back_up(journal, to)
    assert to.read_text() == "something of mine"


def test_a_backup_that_cannot_be_written_leaves_nothing(
    journal: Journal, tmp_path: Path
) -> None:
    with pytest.raises(JournalError, match="check that its folder exists"):
        back_up(journal, tmp_path / "nowhere" / "b.db")
    assert not (tmp_path / "nowhere").exists()


def test_a_restored_journal_is_the_one_that_was_backed_up(
    journal: Journal, path: Path, tmp_path: Path
) -> None:
    before = everything(journal)
    back_up(journal, tmp_path / "b.db")
    journal.append(seconds(500, start=3_000), [])
    later = everything(journal)
    journal.close()
    done = restore(tmp_path / "b.db", path, NOW_MS, over=True)
    assert done.counts.readings == 3_000
    assert done.newest_ms == seconds(3_000)[-1].at_ms
    assert done.aside == path.with_name("journal.db.before-restore-20260110T050000Z")
    for file, right in ((path, before), (done.aside, later)):
        opened = Journal(file, create=False, check=True)
        assert everything(opened) == right
        opened.close()
    assert back_to_normal(path)


def back_to_normal(path: Path) -> bool:
    """Whether nothing of a swap is left over."""
    return not any(beside(path, what).exists() for what in ("new", "swap"))


def test_the_log_of_a_journal_that_was_killed_goes_with_it(
    journal: Journal, path: Path, tmp_path: Path
) -> None:
    """What it held was never copied into the file itself."""
    back_up(journal, tmp_path / "b.db")
    script = (
        "import os, sys\nfrom pathlib import Path\n"
        "from daemon.journal import Journal\nfrom rules.facts import Reading\n"
        "journal = Journal(Path(sys.argv[1]))\n"
        "journal.append([Reading('core-9', 5, 7, 1)], [])\nos._exit(9)\n"
    )
    journal.close()
    killed = subprocess.run([sys.executable, "-c", script, str(path)], timeout=30)
    assert killed.returncode == 9
    assert path.with_name("journal.db-wal").stat().st_size
    aside = restore(tmp_path / "b.db", path, NOW_MS, over=True).aside
    assert aside is not None
    for file, channels in ((path, {"core-1"}), (aside, {"core-1", "core-9"})):
        opened = Journal(file, create=False)
        assert set(opened.latest()) == channels
        opened.close()


def test_a_journal_is_not_replaced_by_mistake(
    journal: Journal, path: Path, tmp_path: Path
) -> None:
    back_up(journal, tmp_path / "b.db")
    assert said(tmp_path / "b.db", path) == (
        f"journal {path}: there is one; --over puts it aside"
    )


def test_nothing_is_restored_under_a_running_daemon(
    journal: Journal, path: Path, tmp_path: Path
) -> None:
    back_up(journal, tmp_path / "b.db")
    with held(path):
        assert said(tmp_path / "b.db", path, over=True) == (
            f"journal {path}: a daemon is running on it; stop it first"
        )
    assert restore(tmp_path / "b.db", path, NOW_MS, over=True).counts.readings == 3_000


@pytest.mark.parametrize("over", [True, False])
def test_a_damaged_backup_is_not_used(
    journal: Journal, path: Path, tmp_path: Path, over: bool
) -> None:
    backup = tmp_path / "b.db"
    back_up(journal, backup)
    with backup.open("r+b") as file:
        file.seek(backup.stat().st_size // 2 // 1024 * 1024)
        file.write(b"\xa5" * 1024)
    before = everything(journal)
    assert said(backup, path, over).startswith(f"backup {backup}: it cannot be used: ")
    assert everything(journal) == before
    assert back_to_normal(path)


def test_what_is_no_backup_is_not_used(path: Path, tmp_path: Path) -> None:
    backup = tmp_path / "b.db"
    assert said(backup, path) == f"backup {backup}: there is no such file"
    sqlite3.connect(backup).close()
    backup.touch()
    assert said(backup, path) == f"backup {backup}: it cannot be used: it is empty"
    backup.write_text("channels:\n" * 400)
    assert "this file is not a journal; nothing in it was changed" in said(backup, path)
    assert not path.exists()


def test_a_backup_of_a_newer_program_is_not_used(path: Path, tmp_path: Path) -> None:
    backup = tmp_path / "b.db"
    newer = Journal(backup)
    newer.connection.execute("PRAGMA user_version = 99")
    newer.close()
    assert "it has form 99, and this program knows no form after 3" in said(
        backup, path
    )


def test_a_backup_of_an_older_form_is_brought_forward(
    path: Path, tmp_path: Path
) -> None:
    backup = tmp_path / "b.db"
    stranger = sqlite3.connect(backup)
    stranger.executescript(FORM_1.read_text(encoding="utf-8"))
    stranger.close()
    before = backup.read_bytes()
    assert restore(backup, path, NOW_MS, over=False).counts == Counts(13, 1, 1, 2, 1)
    assert backup.read_bytes() == before


# One holds it, and a swap is finished


def test_a_second_daemon_is_turned_away(path: Path) -> None:
    with held(path), pytest.raises(JournalError) as caught, held(path):
        pass
    assert caught.value.trouble is Trouble.LOCKED
    with held(path):
        pass


@pytest.mark.parametrize("steps", range(5))
def test_a_swap_that_was_cut_off_is_finished(
    path: Path, monkeypatch: pytest.MonkeyPatch, steps: int
) -> None:
    """The power goes after so many of its five steps."""
    path.write_text("old")
    path.with_name("journal.db-wal").write_text("old log")
    beside(path, "new").write_text("new")
    beside(path, "swap").write_text("journal.db.aside")  # it is decided
    left = [steps]

    class Cut(BaseException):
        """The power went."""

    def cut(real: Callable[..., Any]) -> Callable[..., Any]:
        def step(*arguments: Any, **more: Any) -> Any:
            if not left[0]:
                raise Cut
            left[0] -= 1
            return real(*arguments, **more)

        return step

    with monkeypatch.context() as patched, pytest.raises(Cut):
        for name in ("rename", "unlink", "replace"):
            patched.setattr(Path, name, cut(getattr(Path, name)))
        with held(path):
            pass
    with held(path):
        pass
    aside = path.with_name("journal.db.aside")
    assert path.read_text() == "new"
    assert aside.read_text() == "old"
    assert aside.with_name("journal.db.aside-wal").read_text() == "old log"
    assert not path.with_name("journal.db-wal").exists()
    assert back_to_normal(path)


def test_a_new_file_that_nobody_decided_for_is_forgotten(path: Path) -> None:
    path.write_text("old")
    beside(path, "new").write_text("half")
    with held(path):
        pass
    assert path.read_text() == "old"
    assert back_to_normal(path)
