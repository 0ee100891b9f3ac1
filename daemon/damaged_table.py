"""Reads a damaged table around what is damaged in it.

Rows are read in the order of a whole number.  Where that fails, the next readable key
is sought behind the place: in steps that double, and then, between the last that
failed and the first that did not, by halves.
"""

import sqlite3
from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

FAR = 1 << 53  # no key is larger


class Hole(NamedTuple):
    """Keys between which nothing could be read."""

    after: int  # the last key before it; -1 where there was none
    before: int | None  # the first key behind it; None where there was none


def readable(
    connection: sqlite3.Connection, table: str, key: str, columns: str, where: str = ""
) -> Iterator[tuple[Any, ...] | Hole]:
    """The rows of a table that can be read, by key, and the holes between them."""
    where = f"{where} AND" if where else ""
    rows = (
        f"SELECT {key}, {columns} FROM {table} WHERE {where} {key} > ? ORDER BY {key}"
    )
    next_key = (
        f"SELECT {key} FROM {table} WHERE {where} {key} > ? ORDER BY {key} LIMIT 1"
    )
    after = -1
    while True:
        try:
            for at, *row in connection.execute(rows, (after,)):
                after = at
                yield tuple(row)
            return
        except sqlite3.DatabaseError:
            before = _behind(connection, next_key, after)
        yield Hole(after, before)
        if before is None:
            return
        after = before - 1


def joined(rows: Iterable[tuple[Any, ...] | Hole]) -> Iterator[tuple[Any, ...] | Hole]:
    """The same, with two holes made one where a single row stands between them.

    That row is one that the tree itself holds, between two leaves.
    """
    hole, between = None, 0
    for row in rows:
        if not isinstance(row, Hole):
            between += 1
            yield row
        elif hole and between <= 1:
            hole, between = Hole(hole.after, row.before), 0
        else:
            if hole:
                yield hole
            hole, between = row, 0
    if hole:
        yield hole


def _behind(connection: sqlite3.Connection, query: str, after: int) -> int | None:
    """The first key that can be read behind a damaged place; None if there is none."""
    failed, step = after, 1
    while not _can(connection, query, after + step):
        failed, step = after + step, 2 * step
        if step > FAR:
            return None
    found = after + step
    while found - failed > 1:
        middle = (failed + found) // 2
        if _can(connection, query, middle):
            found = middle
        else:
            failed = middle
    row = connection.execute(query, (found,)).fetchone()
    return int(row[0]) if row else None


def _can(connection: sqlite3.Connection, query: str, after: int) -> bool:
    try:
        connection.execute(query, (after,)).fetchone()
    except sqlite3.DatabaseError:
        return False
    return True
