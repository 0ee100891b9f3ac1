"""The commands that look after the journal, typed as a person types them.

Outside the project: victoria-metrics holds the other side that is counted.
"""

import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from freezegun import freeze_time

from daemon import cli
from daemon.copying import move_cursor, next_batch, writer
from daemon.journal import Journal
from daemon.journal_swap import held
from daemon.mirror import Target
from tests.daemon.test_compaction import seconds
from tests.daemon.test_settings import LEAST
from tests.victoria import Victoria, victoria


class Yard:
    """A settings file in a folder, and the commands typed there."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.settings, self._capsys = folder / "settings.yaml", capsys
        self.journal = folder / "journal.db"
        self.settings.write_text(LEAST)

    def type(self, *words: str, code: int = 0) -> str:
        """What a command says; it must end with the exit code."""
        assert cli.main([*words, "--settings", str(self.settings)]) == code
        said = self._capsys.readouterr()
        return said.out + said.err

    def keep(self, count: int) -> None:
        """Put readings of long ago into the journal."""
        journal = Journal(self.journal)
        journal.append(seconds(count), [])
        journal.close()


@pytest.fixture
def yard(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Yard:
    return Yard(tmp_path, capsys)


def test_backup_compact_restore(yard: Yard, tmp_path: Path) -> None:
    yard.keep(3_000)
    backup = tmp_path / "b.db"
    said = yard.type("backup", str(backup))
    assert said.startswith(f"{backup}: 3,000 readings, 0 refusals, 0 cooks, 0 entries,")
    assert said.endswith(f"; {backup.stat().st_size:,} bytes, checked\n")
    assert "there is such a file" in yard.type("backup", str(backup), code=4)

    said = yard.type("compact")
    assert re.search(r"2,999 readings in 2 blocks; [0-9,]+ bytes before, [0-9,]+", said)

    assert "--over puts it aside" in yard.type("restore", str(backup), code=4)
    with held(yard.journal):
        said = yard.type("restore", str(backup), "--over", code=4)
    assert said == f"journal {yard.journal}: a daemon is running on it; stop it first\n"
    said = yard.type("restore", str(backup), "--over")
    lines = said.splitlines()
    assert lines[0].startswith(f"{yard.journal}: 3,000 readings, ")
    assert lines[1] == "what came after 2026-01-10 05:49:59 UTC is not in it"
    aside = Path(lines[2].removeprefix("the journal that was there is now "))
    assert aside.is_file()


def test_without_a_journal_there_is_nothing_to_copy(yard: Yard, tmp_path: Path) -> None:
    words = f"journal {yard.journal}: there is no such file\n"
    assert yard.type("backup", str(tmp_path / "b.db"), code=4) == words
    assert yard.type("compact", code=4) == words
    assert not yard.journal.exists()


def test_without_a_mirror_there_is_nothing_to_count(yard: Yard) -> None:
    assert yard.type("reconcile", code=3) == "the settings name no mirror\n"


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Victoria]:
    with victoria(tmp_path) as server:
        yield server


def test_both_sides_are_counted_and_gaps_named(yard: Yard, database: Victoria) -> None:
    yard.settings.write_text(
        f"{LEAST}mirror: {{url: '{database.url}', organisation: yard, bucket: cooks,"
        " token: fern}\n"
    )
    yard.keep(600)
    target = Target(database.url, "yard", "cooks", "Juniper Yard", "fern")
    journal = Journal(yard.journal)
    batch = next_batch(journal, target, limit=500)
    writer(target)(batch.points)
    move_cursor(journal, target, batch)
    database.get("/internal/force_flush")
    said = yard.type("reconcile", code=1)
    assert said.splitlines() == [
        "core-1: 600 in the journal, 500 in the mirror",
        "events: 0 in the journal, 0 in the mirror",
        "core-1: 100 not in the mirror, 2026-01-10 05:08:20 UTC to"
        " 2026-01-10 05:09:59 UTC",
        "both sides differ",
    ]
    yard.settings.write_text(yard.settings.read_text() + "compact after: 1 h\n")
    assert "599 readings in 1 block;" in yard.type("compact")
    batch = next_batch(journal, target)
    writer(target)(batch.points)
    journal.close()
    database.get("/internal/force_flush")
    assert yard.type("reconcile").splitlines()[-1] == "both sides are equal"
    with freeze_time(date(2028, 3, 1)):
        yard.type("prune", "--remove", "--who", "R. T.")
    # What went from here may stay there.  (The database takes no event of 2028.)
    said = yard.type("reconcile", code=1)
    assert said.splitlines()[0] == "core-1: 1 in the journal, 1 in the mirror"
    database.stop()
    assert "mirror: nobody answers at" in yard.type("reconcile", code=4)
