"""Where the journal's file holds a reading: in a row of its own, or in a block.

Whoever reads sees no difference.  One statement gives the rows and the numbers of
the blocks, so both are of the same moment; blocks are never changed, so what is in
one may be looked up later.

Units: ``_ms`` and ``_mc`` as in ``rules.facts``.
"""

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from heapq import heappop, heappush
from itertools import groupby
from operator import itemgetter
from typing import TypeAlias

from daemon.blocks import Row, unpack
from daemon.journal_schema import BEST

# A reading: at_ms, its place among the channels asked for, quality, value_mc,
# uncertainty_mc, delay_ms and 0.  They sort by time, then by place, the best copy of a
# reading first.  (A plain tuple, as SQLite gives it: a million are read at a start.)
Found: TypeAlias = tuple[int, int, int, int, int, int | None, int]


def every_copy(
    connection: sqlite3.Connection, channels: Sequence[int], from_ms: int, to_ms: int
) -> Iterator[Found]:
    """Every copy of the readings of some channels (numbers, 0 for none), in order.

    They come as they are asked for.

    Raises:
        BlockError: A block is damaged.
        sqlite3.Error: The file cannot be read.
    """
    places = {number: place for place, number in enumerate(channels) if number}
    if not places:
        return
    # A block sorts before every reading of its first time.  SQLite merges the
    # channels, each already in order, as it goes.
    query = " UNION ALL ".join(
        (
            "SELECT from_ms AS at_ms, -1 AS place, channel, 0, 0, NULL, number"
            f" FROM block WHERE channel IN ({', '.join(map(str, places))})"
            " AND to_ms >= :from_ms AND from_ms <= :to_ms",
            *(
                f"SELECT at_ms, {place}, quality, value_mc, uncertainty_mc, delay_ms, 0"
                f" FROM reading WHERE channel = {number}"
                " AND at_ms BETWEEN :from_ms AND :to_ms"
                for number, place in places.items()
            ),
        )
    )
    span = {"from_ms": from_ms, "to_ms": to_ms}
    rows = connection.execute(f"{query} ORDER BY at_ms, place", span)
    waiting: list[Found] = []
    for found in rows:
        while waiting and waiting[0] < found:
            yield heappop(waiting)
        if not found[6]:
            yield found
            continue
        _, _, number, _, _, _, block = found
        for row in _opened(connection, block):
            if from_ms <= row.at_ms <= to_ms:
                heappush(waiting, (row[0], places[number], *row[1:], 0))
    while waiting:
        yield heappop(waiting)


def best(copies: Iterable[Found]) -> Iterator[Found]:
    """Of several copies of one reading the best."""
    last_ms, last = -1, -1
    for found in copies:
        if found[0] != last_ms or found[1] != last:
            last_ms, last = found[0], found[1]
            yield found


def counted(connection: sqlite3.Connection) -> tuple[int, int, int, int, int]:
    """How many readings, refusals, cooks, entries and events; it reads every row."""
    others = connection.execute(
        "SELECT (SELECT count(*) FROM refusal), (SELECT count(*) FROM cook),"
        " (SELECT count(*) FROM entry), (SELECT count(*) FROM event)"
    ).fetchone()
    return (_times(connection), *others)


def _times(connection: sqlite3.Connection) -> int:
    rows, packed = connection.execute(
        f"SELECT (SELECT count(*) FROM reading WHERE {BEST}),"
        " (SELECT coalesce(sum(times), 0) FROM block)"
    ).fetchone()
    # What came late may lie among what was packed, and be a better copy of it.
    blocks = connection.execute(
        "SELECT number, reading.at_ms FROM block CROSS JOIN reading"
        " ON reading.channel = block.channel"
        " AND reading.at_ms BETWEEN from_ms AND to_ms ORDER BY number"
    )
    twice = sum(
        len({at_ms for _, at_ms in among} & {row[0] for row in _opened(connection, n)})
        for n, among in groupby(blocks.fetchall(), itemgetter(0))
    )
    return int(rows + packed - twice)


def _opened(connection: sqlite3.Connection, block: int) -> tuple[Row, ...]:
    (packed,) = connection.execute(
        "SELECT packed FROM block WHERE number = ?", (block,)
    ).fetchone()
    return unpack(packed)
