"""Where every table of the journal begins, kept once more beside the file.

SQLite keeps that in the first pages of the file, and writes the very first with
nearly every commit.  If one of them is damaged, no table can be found.  ``save`` keeps
their content in ``journal.db.head``; ``rebuilt`` makes a copy of a damaged file whose
tables can be found again, to be read and then thrown away.

Source: sqlite.org/fileformat2.html, sections 1.3 (the header) and 1.6 (a b-tree page).
"""

import json
import os
import shutil
import sqlite3
import struct
from contextlib import closing
from pathlib import Path

from daemon.journal_copy import keep
from daemon.journal_schema import APPLICATION_ID, PAGE_BYTES
from daemon.journal_swap import beside

LEAF_OF_A_TABLE = 13


def save(connection: sqlite3.Connection, journal: Path) -> None:
    """Keep where the tables begin, if that has changed.

    Raises:
        OSError: It cannot be written.
    """
    rows = connection.execute(
        "SELECT type, name, tbl_name, rootpage, sql FROM sqlite_schema"
    ).fetchall()
    (form,) = connection.execute("PRAGMA user_version").fetchone()
    text = json.dumps({"form": form, "schema": rows}, indent=1) + "\n"
    head = beside(journal, "head")
    if head.exists() and head.read_text(encoding="utf-8") == text:
        return
    partly = beside(journal, "head.partly")
    partly.write_text(text, encoding="utf-8")
    keep(partly, head)


def rebuilt(damaged: Path, head: Path, scratch: Path) -> None:
    """Write a copy of a damaged file whose tables begin where ``head`` says.

    Raises:
        OSError: It cannot be read or written.
        ValueError: The head is none.
        sqlite3.Error: The copy cannot be made readable.
    """
    kept = json.loads(head.read_text(encoding="utf-8"))
    shutil.copyfile(damaged, scratch)
    with scratch.open("r+b") as file:
        pages = -(-os.fstat(file.fileno()).st_size // PAGE_BYTES)
        file.write(_first_page(pages, kept["form"]))
        file.truncate(pages * PAGE_BYTES)
    with closing(sqlite3.connect(scratch)) as connection:
        connection.execute("PRAGMA writable_schema = ON")
        with connection:
            connection.executemany(
                "INSERT INTO sqlite_schema (type, name, tbl_name, rootpage, sql)"
                " VALUES (?, ?, ?, ?, ?)",
                kept["schema"],
            )


def _first_page(pages: int, form: int) -> bytes:
    """A first page of a file of so many, with a schema that is still empty."""
    header = struct.pack(
        ">16sH6B4I2I3I3I20x2I",
        *(b"SQLite format 3", PAGE_BYTES),
        *(1, 1, 0, 64, 32, 32),  # rollback journal, nothing reserved, fixed fractions
        *(1, pages, 0, 0),  # change counter; no free page that may be used
        *(1, 4),  # schema cookie and format
        *(0, 0, 1),  # cache; no auto-vacuum; UTF-8
        *(form, 0, APPLICATION_ID),
        *(1, sqlite3.sqlite_version_info[0] * 1_000_000),  # valid for that counter
    )
    tree = struct.pack(">BHHHB", LEAF_OF_A_TABLE, 0, 0, PAGE_BYTES, 0)
    return (header + tree).ljust(PAGE_BYTES, b"\0")
