"""Copies readings and events from the journal to the mirror: the process itself.

Rule 1: at least once.  A batch is written synchronously, and only then the cursor in
the journal's file moves on.  A batch sent twice is the same points again: same
series, same millisecond, same value.
Rule 2: the cursor is the newest ``at_ms`` copied of each channel, the number of the
last row of ``late`` (a reading that was not the newest of its channel when it came,
see ``daemon.journal_schema``) and of the last event.  A reading is either newer than
all before it and found by its time, or it has a row in ``late`` that became durable
with it.  So none is missed, and a reading in order costs no byte.  A number for each
transaction would cost 4 bytes in every reading and an index of 14 more.
Rule 3: the journal is never held up.  No read stays open while the database is
spoken to; the cursor is written every ``PAUSE_S`` at most, without waiting for the
disk (a cursor lost in a power cut repeats points), and never copies the log.

Form: measurement ``reading`` with the tags ``channel`` and ``site``, and ``quality``
where the reading is no evidence; its field ``value`` is in degrees Celsius (percent
on a humidity channel).  Measurement ``event`` with the tags ``site``, ``lot``,
``subject``, ``name``, ``channel`` and ``now``; its field ``happened`` is 1.  Fields
are numbers only, stamps are milliseconds.
"""

import json
import os
import sys
import threading
from collections.abc import Callable, Sequence
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple

from daemon.journal import QUALITIES, YEAR_10000_MS, Journal, JournalError
from daemon.journal_schema import in_words
from daemon.mirror import PAUSE_S, Condition, MirrorError, News, Target
from daemon.stored import Found
from rules.facts import Quality

BATCH = 5_000  # points in one request
TIMEOUT_S = 10.0  # of one request
FIRST_RETRY_S, LONGEST_RETRY_S = 1.0, 60.0
WORDS = 200  # of what a server says of a refusal

FOLLOWING = News(Condition.FOLLOWING, "mirror: the copy is being written")


class Point(NamedTuple):
    """One point of the copy, before it is put in the form of the database."""

    measurement: str
    tags: tuple[tuple[str, str], ...]
    field: str
    value: float
    at_ms: int


class Batch(NamedTuple):
    """Points to be written, and where the cursor stands once they are."""

    points: list[Point]
    late: int
    event: int
    newest_ms: dict[int, int]  # of each channel number


Write = Callable[[Sequence[Point]], None]


def next_batch(journal: Journal, target: Target, limit: int = BATCH) -> Batch:
    """The next points that the target has not confirmed, about ``limit`` of them.

    Raises:
        JournalError: The journal cannot be read.
    """
    points: list[Point] = []
    with in_words(journal.path):
        row = journal.connection.execute(
            "SELECT late, event FROM mirror WHERE target = ?", (target.name,)
        ).fetchone()
        late, event = row or (0, 0)
        event = _take_events(journal, target, event, limit, points)
        late = _take_late(journal, target, late, limit, points)
        newest_ms = _take_newest(journal, target, limit, points)
    return Batch(points, late, event, newest_ms)


def move_cursor(journal: Journal, target: Target, batch: Batch) -> None:
    """Remember that the target has confirmed a batch.

    Raises:
        JournalError: It could not be written; the batch will be sent again.
    """
    with journal.writing() as connection:
        connection.execute(
            "INSERT OR REPLACE INTO mirror (target, late, event) VALUES (?, ?, ?)",
            (target.name, batch.late, batch.event),
        )
        connection.executemany(
            "INSERT OR REPLACE INTO mirror_channel (target, channel, at_ms)"
            " VALUES (?, ?, ?)",
            [(target.name, *newest) for newest in batch.newest_ms.items()],
        )


def writer(target: Target, timeout_s: float = TIMEOUT_S) -> Write:
    """What writes points to the target and answers when it has confirmed them.

    What it gives raises ``MirrorError`` where the target did not.
    """
    from influxdb_client.client.influxdb_client import InfluxDBClient
    from influxdb_client.client.write import point as form
    from influxdb_client.client.write_api import SYNCHRONOUS
    from influxdb_client.rest import ApiException
    from urllib3.exceptions import HTTPError

    connect: Any = InfluxDBClient
    form_of: Any = form.Point
    client = connect(
        url=target.url,
        token=target.token,
        org=target.organisation,
        timeout=round(timeout_s * 1000),
    )
    to = client.write_api(write_options=SYNCHRONOUS)

    def in_form(point: Point) -> Any:
        made = form_of(point.measurement).field(point.field, point.value)
        for name, value in point.tags:
            made.tag(name, value)
        return made.time(point.at_ms, "ms")

    def write(points: Sequence[Point]) -> None:
        try:
            to.write(
                bucket=target.bucket,
                org=target.organisation,
                record=[in_form(point) for point in points],
                write_precision="ms",
            )
        except ApiException as error:
            raise refusal(target, error.status or 0, error.message or "") from None
        except (HTTPError, OSError):
            raise away(target) from None

    return write


def away(target: Target) -> MirrorError:
    """The error that says that nobody answers."""
    return MirrorError(Condition.AWAY, f"mirror: nobody answers at {target.url}")


def refusal(target: Target, status: int, said: str) -> MirrorError:
    """The error that says what the target's refusal means."""
    said = said.replace(target.token or "\0", "...")
    said = " ".join(said.split())[:WORDS]
    if status in (401, 403):
        words = "refuses the token; check the mirror's token in the settings"
    elif status == 404:
        words = (
            f"has no bucket {target.bucket} of organisation {target.organisation};"
            " check both in the settings"
        )
    elif status == 429 or status >= 500:
        words = "cannot take points now"
        return MirrorError(Condition.AWAY, f"mirror: {target.url} {words} ({status})")
    else:
        words = f"does not take the points: {said}"
    return MirrorError(Condition.REFUSED, f"mirror: {target.url} {words} ({status})")


def follow(
    journal: Journal,
    target: Target,
    write: Write,
    tell: Callable[[News], None],
    stopping: threading.Event,
    pause_s: float = PAUSE_S,
    retry_s: float = FIRST_RETRY_S,
) -> None:
    """Copy what is there and what comes, until ``stopping`` is set."""
    told: News | None = None
    wait_s = retry_s
    while not stopping.is_set():
        try:
            batch = next_batch(journal, target)
            if batch.points:
                write(batch.points)
                move_cursor(journal, target, batch)
        except MirrorError as error:
            news = News(error.condition, str(error))
        except JournalError as error:
            news = News(Condition.STOPPED, str(error))
        else:
            wait_s = retry_s
            if batch.points and told != FOLLOWING:
                tell(told := FOLLOWING)
            if len(batch.points) < BATCH:
                stopping.wait(pause_s)
            continue
        if news != told:
            tell(told := news)
        stopping.wait(wait_s)
        wait_s = min(2 * wait_s, LONGEST_RETRY_S)


def main() -> None:
    """Be the copying process: a line of orders in, a line for each change out.

    The order comes on standard input, because it holds the token; the end of
    standard input means to stop.
    """
    answers, sys.stdout = sys.stdout, sys.stderr  # a stray print spoils no answer
    order = json.loads(sys.stdin.readline())
    target = Target(**order["target"])
    stopping = threading.Event()

    def watch() -> None:
        sys.stdin.read()
        stopping.set()

    def tell(news: News) -> None:
        answers.write(json.dumps(news) + "\n")
        answers.flush()

    threading.Thread(target=watch, daemon=True).start()
    os.nice(10)  # the road comes first
    try:
        journal = Journal(Path(order["journal"]), create=False)
    except JournalError as error:
        tell(News(Condition.STOPPED, str(error)))
        return
    journal.connection.execute("PRAGMA synchronous = NORMAL")
    journal.connection.execute("PRAGMA wal_autocheckpoint = 0")
    follow(journal, target, writer(target), tell, stopping, order["pause_s"])
    journal.close()


def _take_events(
    journal: Journal, target: Target, after: int, limit: int, points: list[Point]
) -> int:
    """Add events to the points; answer the number of the last one."""
    rows = journal.connection.execute(
        "SELECT number, lot, subject, name, channel, now, at_ms FROM event"
        " WHERE number > ? ORDER BY number LIMIT ?",
        (after, limit),
    )
    for number, *columns in rows:
        points.append(_event_point(target.site, *columns))
        after = number
    return after


def _take_late(
    journal: Journal, target: Target, after: int, limit: int, points: list[Point]
) -> int:
    """Add readings that came late, every copy; answer the last one's number."""
    rows = journal.connection.execute(
        "SELECT late.number, late.channel, name, at_ms FROM late"
        " JOIN channel ON channel.number = late.channel"
        " WHERE late.number > ? ORDER BY late.number LIMIT ?",
        (after, max(0, limit - len(points))),
    ).fetchall()
    for number, channel, name, at_ms in rows:
        after = number
        for copy in journal.copies(channel, at_ms, at_ms):
            points.append(_reading_point(target.site, name, copy))
    return after


def _take_newest(
    journal: Journal, target: Target, limit: int, points: list[Point]
) -> dict[int, int]:
    """Add readings newer than the cursor; answer each channel's newest time."""
    newest_ms: dict[int, int] = {}
    channels = journal.connection.execute(
        "SELECT number, name, coalesce(at_ms, -1) FROM channel"
        " LEFT JOIN mirror_channel ON channel = number AND target = ?",
        (target.name,),
    ).fetchall()
    for number, name, after_ms in channels:
        copies = journal.copies(number, after_ms + 1, YEAR_10000_MS)
        for copy in islice(copies, max(0, limit - len(points))):
            points.append(_reading_point(target.site, name, copy))
            newest_ms[number] = copy[0]
    return newest_ms


def _reading_point(site: str, channel: str, copy: Found) -> Point:
    at_ms, _, place, value_mc, *_ = copy
    tags = [("channel", channel), ("site", site)]
    if QUALITIES[place] is not Quality.GOOD:
        tags.append(("quality", QUALITIES[place]))
    return Point("reading", tuple(tags), "value", value_mc / 1000, at_ms)


def _event_point(
    site: str, lot: str, subject: str, name: str, channel: str, now: str, at_ms: int
) -> Point:
    tags = {"site": site, "lot": lot, "subject": subject, "name": name}
    tags |= {"channel": channel, "now": now}
    said = tuple((tag, value) for tag, value in tags.items() if value)
    return Point("event", said, "happened", 1, at_ms)


if __name__ == "__main__":
    main()
