"""Every row of a tree, found without its upper pages, against SQLite's own reading."""

import sqlite3
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon import damaged_tree
from daemon.journal import Journal
from daemon.journal_schema import PAGE_BYTES
from rules.facts import Quality, Reading
from tests.daemon.test_compaction import seconds


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, int]:
    """A journal with pages whose rows are gone, and where its readings begin."""
    path = tmp_path_factory.mktemp("tree") / "journal.db"
    journal = Journal(path)
    journal.append(seconds(2_000, "chamber"), [])
    journal.append(seconds(1_500), [])
    odd = [(-40_000, 0), (1 << 40, 5), (127, 128), (-129, 32_768), (0, 1), (1, 0)]
    values = [
        Reading(
            "damp", 7 * n + 1, value_mc, doubt_mc, Quality.GOOD, 7 * n + 1 + doubt_mc
        )
        for n, (value_mc, doubt_mc) in enumerate(odd)
    ]
    journal.append(values, [])
    query = "SELECT rootpage FROM sqlite_schema WHERE name = 'reading'"
    (root,) = journal.connection.execute(query).fetchone()
    journal.close()
    stranger = sqlite3.connect(path)
    stranger.execute("DROP TRIGGER reading_keeps_delete")
    stranger.execute("DELETE FROM reading WHERE at_ms / 1000 % 700 < 400")
    stranger.commit()
    stranger.close()
    return path, root


def test_the_rows_are_those_that_sqlite_reads(file: tuple[Path, int]) -> None:
    path, root = file
    connection = sqlite3.connect(path)
    whole = connection.execute("SELECT * FROM reading").fetchall()
    (free,) = connection.execute("PRAGMA freelist_count").fetchone()
    connection.close()
    assert len(whole) > 1_000
    assert free > 10  # they hold the rows still, which must stay gone
    assert sorted(damaged_tree.rows(path, root)) == sorted(whole)


def test_of_a_root_that_is_none_there_is_nothing(file: tuple[Path, int]) -> None:
    path, root = file
    assert list(damaged_tree.rows(path, path.stat().st_size // PAGE_BYTES + 1)) == []
    assert list(damaged_tree.rows(path, root + 1)) != list(
        damaged_tree.rows(path, root)
    )


@given(st.binary(max_size=PAGE_BYTES), st.sampled_from([b"\x0a", b"\x02", b""]))
def test_no_page_breaks_it(octets: bytes, kind: bytes) -> None:
    page = (kind + octets)[:PAGE_BYTES].ljust(PAGE_BYTES, b"\0")
    for row in damaged_tree._rows_of(page):
        assert all(value is None or isinstance(value, int) for value in row)
