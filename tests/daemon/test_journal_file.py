"""What a journal says of a file or a disk that will not do, and what it leaves alone.

A full disk is made in two ways that work for root and for anybody else: SQLite's own
``max_page_count``, which answers as a full disk does (SQLITE_FULL), and the kernel's
RLIMIT_FSIZE in a child process, which makes the write itself fail (EFBIG).
"""

import os
import resource
import shutil
import sqlite3
import tempfile
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from daemon import journal_schema
from daemon.journal import Journal, JournalError, Trouble
from rules.facts import Reading

NOBODY = 65_534


def minutes(count: int, start: int = 0) -> list[Reading]:
    return [
        Reading("core-1", 60_000 * at, at, 500) for at in range(start, start + count)
    ]


def said(
    path: Path, *, create: bool = True, check: bool = False
) -> tuple[Trouble, str]:
    """The trouble and the words of a journal that will not open."""
    with pytest.raises(JournalError) as caught:
        Journal(path, create=create, check=check)
    return caught.value.trouble, str(caught.value)


def in_a_child(work: Callable[[], str], user: int | None = None) -> str:
    """What ``work`` answers in a process of its own, as another user if root can."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            if user is not None and os.geteuid() == 0:
                os.setgroups([])
                os.setgid(user)
                os.setuid(user)
            answer = work()
        except BaseException as error:  # the parent shows it
            answer = repr(error)
        os.write(writer, answer.encode())
        os._exit(0)
    os.close(writer)
    with os.fdopen(reader, "rb") as answers:
        answer = answers.read().decode()
    os.waitpid(child, 0)
    return answer


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.db"


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that any user can look into; pytest's own cannot be."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    yield folder
    folder.chmod(0o755)
    shutil.rmtree(folder)


def test_a_journal_is_known_by_its_head(path: Path) -> None:
    """Bytes 68 to 71 hold the application id: sqlite.org/fileformat2.html, 1.3."""
    Journal(path).close()
    head = path.read_bytes()[:100]
    assert head[68:72] == b"Fuma"
    assert int.from_bytes(head[60:64], "big") == len(journal_schema.MIGRATIONS)


def test_every_commit_waits_for_the_disk(path: Path) -> None:
    """WAL and FULL (2): sqlite.org/pragma.html#pragma_synchronous."""
    journal = Journal(path)
    for pragma, answer in [
        ("journal_mode", "wal"),
        ("synchronous", 2),
        ("foreign_keys", 1),
        ("page_size", 1024),
        ("busy_timeout", 5000),
    ]:
        assert journal.connection.execute(f"PRAGMA {pragma}").fetchone() == (answer,)
    journal.close()


def test_a_text_file_is_not_a_journal(path: Path) -> None:
    path.write_text("channels:\n" * 400)
    before = path.read_bytes()
    assert said(path) == (
        Trouble.NOT_A_JOURNAL,
        f"journal {path}: this file is not a journal; nothing in it was changed",
    )
    assert path.read_bytes() == before


def test_another_database_is_not_a_journal(path: Path) -> None:
    stranger = sqlite3.connect(path)
    stranger.execute("CREATE TABLE address (name TEXT)")
    stranger.close()
    before = path.read_bytes()
    assert said(path) == (
        Trouble.NOT_A_JOURNAL,
        f"journal {path}: this database is not a journal; nothing was changed",
    )
    assert path.read_bytes() == before
    assert not path.with_name("journal.db-wal").exists()


def test_a_journal_of_a_newer_program_is_left_alone(path: Path) -> None:
    journal = Journal(path)
    journal.connection.execute("PRAGMA user_version = 99")
    journal.close()
    trouble, words = said(path)
    assert trouble is Trouble.NEWER
    assert words.startswith(
        f"journal {path}: it has form 99, and this program knows no"
    )


def test_an_older_journal_is_brought_forward_once(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    journal = Journal(path)
    journal.append(minutes(3), [])
    journal.close()
    next_form = ("CREATE TABLE sealed (lot TEXT PRIMARY KEY) STRICT",)
    monkeypatch.setattr(
        journal_schema, "MIGRATIONS", (*journal_schema.MIGRATIONS, next_form)
    )
    for _ in range(2):
        journal = Journal(path)
        assert journal.connection.execute("SELECT * FROM sealed").fetchall() == []
        assert journal.counts().readings == 3
        journal.close()


def test_a_step_forward_that_fails_changes_nothing(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Journal(path).close()
    wrong = ("CREATE TABLE sealed (lot TEXT) STRICT", "CREATE TABLE cook (lot TEXT)")
    with monkeypatch.context() as patched:
        forms = (*journal_schema.MIGRATIONS, wrong)
        patched.setattr(journal_schema, "MIGRATIONS", forms)
        assert said(path)[0] is Trouble.OTHER
    journal = Journal(path)
    tables = journal.connection.execute("SELECT name FROM sqlite_schema").fetchall()
    assert ("cook",) in tables and ("sealed",) not in tables
    journal.close()


def test_a_folder_that_is_not_there(path: Path) -> None:
    trouble, words = said(path.parent / "nowhere" / "journal.db")
    assert trouble is Trouble.MISSING
    assert words.endswith("check that its folder exists and may be written")


def test_a_reader_does_not_make_a_journal_by_mistake(path: Path) -> None:
    words = f"journal {path}: there is no such file"
    assert said(path, create=False) == (Trouble.MISSING, words)
    assert not path.exists()


def test_a_damaged_page_is_found_when_asked_for(path: Path) -> None:
    journal = Journal(path)
    journal.append(minutes(2_000), [])
    assert journal.integrity() == "ok"
    journal.close()
    with path.open("r+b") as file:
        file.seek(path.stat().st_size // 2 // 1024 * 1024)
        file.write(b"\xa5" * 2048)
    trouble, words = said(path, check=True)
    assert trouble is Trouble.DAMAGED
    assert words.startswith(f"journal {path}: the file is damaged: ")
    journal = Journal(path)
    assert journal.integrity() != "ok"
    with pytest.raises(JournalError, match="the file is damaged") as caught:
        list(journal.readings(["core-1"], 0, 60_000 * 2_000))
    assert caught.value.trouble is Trouble.DAMAGED
    journal.close()


def test_a_journal_that_may_only_be_read(open_folder: Path) -> None:
    path = open_folder / "journal.db"
    journal = Journal(path)
    journal.append(minutes(3), [])
    journal.close()
    path.chmod(0o444)
    open_folder.chmod(0o777)  # the log is made beside it, even to read

    def work() -> str:
        opened = Journal(path)
        read = len(list(opened.readings(["core-1"], 0, 10**9)))
        try:
            opened.append(minutes(1, start=3), [])
        except JournalError as error:
            return f"{read} {error.trouble}: {error}"
        return "it was written"

    assert in_a_child(work, user=NOBODY) == (
        f"3 read-only: journal {path}: it is read-only here;"
        " check the rights of the file and its folder"
    )


def test_a_folder_that_may_only_be_read(open_folder: Path) -> None:
    open_folder.chmod(0o555)

    def work() -> str:
        try:
            Journal(open_folder / "journal.db")
        except JournalError as error:
            return error.trouble
        return "it was opened"

    assert in_a_child(work, user=NOBODY) == Trouble.MISSING


def test_a_writer_that_never_lets_go(path: Path) -> None:
    journal = Journal(path)
    journal.connection.execute("PRAGMA busy_timeout = 20")
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(JournalError, match="kept it locked") as caught:
        journal.append(minutes(1), [])
    assert caught.value.trouble is Trouble.LOCKED
    assert list(journal.readings(["core-1"], 0, 1)) == []  # reading never waits
    other.execute("ROLLBACK")
    other.close()
    assert journal.append(minutes(1), []) == minutes(1)
    journal.close()


def test_a_full_disk_loses_nothing_that_was_kept(path: Path) -> None:
    journal = Journal(path)
    pages = "PRAGMA max_page_count"
    journal.connection.execute(f"{pages} = 80")
    kept = 0
    with pytest.raises(JournalError) as caught:
        while True:
            kept += len(journal.append(minutes(100, start=kept), []))
    assert caught.value.trouble is Trouble.DISK_FULL
    assert str(caught.value) == (f"journal {path}: the disk is full; free some space")
    assert kept > 100
    assert journal.counts().readings == kept
    with pytest.raises(JournalError):
        journal.append(minutes(100, start=kept), [])

    # Somebody frees some space: no restart is needed, and the same group is new.
    journal.connection.execute(f"{pages} = 100000")
    assert len(journal.append(minutes(100, start=kept), [])) == 100
    assert list(journal.readings(["core-1"], 0, 10**9)) == minutes(kept + 100)
    assert journal.integrity() == "ok"
    journal.close()


def test_a_channel_first_heard_in_a_group_that_failed(path: Path) -> None:
    """Its number was undone with the group and must not be remembered."""
    journal = Journal(path)
    journal.connection.execute("PRAGMA max_page_count = 30")
    many = [one._replace(channel="core-2") for one in minutes(5_000)]
    with pytest.raises(JournalError):
        journal.append(many, [])
    journal.connection.execute("PRAGMA max_page_count = 100000")
    first, second = minutes(1), many[:1]
    assert journal.append(first, []) == first
    assert journal.append(second, []) == second
    assert journal.latest() == {"core-1": first[0], "core-2": second[0]}
    journal.close()


def test_a_write_that_the_kernel_refuses(path: Path) -> None:
    def work() -> str:
        journal = Journal(path)
        kept = len(journal.append(minutes(100), []))
        resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, resource.RLIM_INFINITY))
        try:
            while True:
                kept += len(journal.append(minutes(100, start=kept), []))
        except JournalError as error:
            words = str(error)
        most = (resource.RLIM_INFINITY, resource.RLIM_INFINITY)
        resource.setrlimit(resource.RLIMIT_FSIZE, most)
        kept += len(journal.append(minutes(100, start=kept), []))
        return f"{kept} {words}"

    kept, words = in_a_child(work).split(" ", 1)
    assert words == (
        f"journal {path}: the disk does not do as it is told (SQLITE_IOERR_WRITE)"
    )
    journal = Journal(path, check=True)
    assert list(journal.readings(["core-1"], 0, 10**9)) == minutes(int(kept))
    journal.close()


def test_two_that_make_the_same_journal_at_once(tmp_path: Path) -> None:
    for attempt in range(20):
        path = tmp_path / f"{attempt}.db"
        together = threading.Barrier(4)
        wrong: list[str] = []

        def work(
            path: Path = path,
            together: threading.Barrier = together,
            wrong: list[str] = wrong,
        ) -> None:
            together.wait()
            try:
                Journal(path).close()
            except JournalError as error:
                wrong.append(str(error))

        threads = [threading.Thread(target=work) for _ in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert wrong == []
        journal = Journal(path, create=False, check=True)
        assert journal.append(minutes(1), []) == minutes(1)
        journal.close()
