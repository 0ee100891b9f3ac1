"""The rows of a tree whose upper pages are lost, found page by page.

A table's pages hang together from its root.  Where an upper page is lost, all below it
is out of reach, and still in the file.  The journal's file also holds, for every page,
the page above it (SQLite needs that to take free pages away), so what belongs to a tree
can be shown without it.

Only trees of whole numbers are read: the readings.  Whatever a page holds, nothing is
raised: what is not a row of such a tree is no row.

Source: sqlite.org/fileformat2.html, sections 1.6 (b-tree pages), 1.8 (pointer map
pages), 2.1 (records).
"""

import struct
from array import array
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from daemon.journal_schema import PAGE_BYTES

Row = tuple[int | None, ...]

LEAF, INTERIOR = 10, 2  # of a table without rowids, which SQLite keeps as an index
HEADER_BYTES = {LEAF: 8, INTERIOR: 12}
CHILD_BYTES = {LEAF: 0, INTERIOR: 4}  # a cell of an upper page leads to a lower one
MOST_LOCAL = (PAGE_BYTES - 12) * 64 // 255 - 23  # bytes of a row that has no other page
NOT_ROOT = 5  # in the map: a page of a tree, with the page above it
DEEPEST = 20
INTEGER_BYTES = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}
NO_BYTES = {0: None, 8: 0, 9: 1}


def rows(path: Path, root: int) -> Iterator[Row]:
    """Every row of the tree that began at page ``root``, in no order.

    Raises:
        OSError: The file cannot be read.
    """
    with path.open("rb") as file:
        pages = path.stat().st_size // PAGE_BYTES
        above = _above(file, pages)
        for number in range(2, pages + 1):
            if _leads_to(root, number, above):
                yield from _rows_of(_page(file, number))


def _page(file: BinaryIO, number: int) -> bytes:
    file.seek((number - 1) * PAGE_BYTES)
    return file.read(PAGE_BYTES)


def _above(file: BinaryIO, pages: int) -> "array[int]":
    """By the number of a page of a tree that of the page above it; 0 of any other."""
    above = array("L", bytes(array("L").itemsize * (pages + 1)))
    entries = PAGE_BYTES // 5
    for at in range(2, pages + 1, entries + 1):
        for nth, (kind, parent) in enumerate(
            struct.iter_unpack(">BI", _page(file, at)[: 5 * entries]), start=1
        ):
            if kind == NOT_ROOT and at + nth <= pages and parent <= pages:
                above[at + nth] = parent
    return above


def _leads_to(root: int, number: int, above: "array[int]") -> bool:
    for _ in range(DEEPEST):
        if number in (0, root):
            break
        number = above[number]
    return number == root


def _rows_of(page: bytes) -> Iterator[Row]:
    kind, cells = page[0], int.from_bytes(page[3:5])
    if kind not in HEADER_BYTES or HEADER_BYTES[kind] + 2 * cells > len(page):
        return
    for nth in range(cells):
        at = HEADER_BYTES[kind] + 2 * nth
        try:
            row = _row(page, int.from_bytes(page[at : at + 2]) + CHILD_BYTES[kind])
        except IndexError:  # it leads out of the page
            continue
        if row:
            yield row


def _row(page: bytes, at: int) -> Row:
    """The row of a cell; none where it is not made of whole numbers alone."""
    size, at = _number(page, at)
    head, kinds_at = _number(page, at)
    kinds_end = body_at = at + head
    if size > MOST_LOCAL or kinds_end > at + size or at + size > len(page):
        return ()
    row: list[int | None] = []
    while kinds_at < kinds_end:
        kind, kinds_at = _number(page, kinds_at)
        if kind in NO_BYTES:
            row.append(NO_BYTES[kind])
        elif kind in INTEGER_BYTES:
            end = body_at + INTEGER_BYTES[kind]
            row.append(int.from_bytes(page[body_at:end], signed=True))
            body_at = end
        else:
            return ()
    return tuple(row) if body_at == at + size else ()


def _number(page: bytes, at: int) -> tuple[int, int]:
    """A number of one to nine bytes, and where it ends; 7 bits a byte, at first."""
    value = 0
    for nth in range(8):
        value = value << 7 | page[at + nth] & 0x7F
        if page[at + nth] < 0x80:
            return value, at + nth + 1
    return value << 8 | page[at + 8], at + 9
