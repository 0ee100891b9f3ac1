"""Packed readings are the same readings: read, counted, refused and copied as before.

The cooks are invented; their samples come from the simulator.  What may be deleted is
asked of SQLite itself.
"""

import random
import signal
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest

from daemon import compaction, copying
from daemon.blocks import pack
from daemon.compaction import BLOCK, LEAST, Compactor, compact
from daemon.journal import Cook, Journal, JournalError
from daemon.mirror import Target
from probes.days import long_day
from probes.script import Piece, Probe, Shows
from probes.simulator import simulate
from rules.channels import Channel, Role
from rules.facts import Quality, Reading
from tests.servers import wait_for

BEGUN_MS = 1_768_021_200_000  # 2026-01-10T05:00:00Z
HOUR_MS = 3_600_000
LATER_MS = BEGUN_MS + 1000 * HOUR_MS
CORE = Channel("core-1", Role.CORE, 1_000, 60_000, 500)
COOK = Cook("L-7", "north", "schedule: links\n", "links.yaml", (CORE,), BEGUN_MS, "MB")


def seconds(count: int, channel: str = "core-1", start: int = 0) -> list[Reading]:
    """A reading a second, each with a delay of its own."""
    return [
        Reading(
            channel,
            BEGUN_MS + 1_000 * n,
            8_000 + 10 * (n // 7) + 10 * (n * 7919 % 5),
            500,
            received_ms=BEGUN_MS + 1_000 * n + 5 + n * 104_729 % 56,
        )
        for n in range(start, start + count)
    ]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.db"


@pytest.fixture
def journal(path: Path) -> Iterator[Journal]:
    opened = Journal(path)
    yield opened
    opened.close()


def rows(journal: Journal) -> int:
    """How many readings are in rows of their own."""
    (count,) = journal.connection.execute("SELECT count(*) FROM reading").fetchone()
    return int(count)


def held(journal: Journal, *channels: str) -> list[Reading]:
    """All that the journal holds of some channels."""
    return list(journal.readings(channels or ["core-1"], 0, 1 << 60))


def test_packed_readings_read_as_before(journal: Journal) -> None:
    first, second = seconds(5_000), seconds(3_000, "core-2", start=1_000)
    journal.append(first + second, [])
    done = compact(journal, LATER_MS, 0)
    assert (done.readings, done.blocks) == (4_999 + 2_999, 5)
    assert rows(journal) == 2
    both = sorted(first + second, key=lambda one: (one.at_ms, one.channel))
    assert held(journal, "core-1", "core-2") == both
    assert held(journal, "core-2") == second
    within = journal.readings(["core-1"], first[700].at_ms, first[4_100].at_ms)
    assert list(within) == first[700:4_101]
    assert journal.latest() == {"core-1": first[-1], "core-2": second[-1]}
    assert journal.counts().readings == 8_000
    assert journal.integrity() == "ok"
    assert compact(journal, LATER_MS, 0).blocks == 0


def test_what_is_packed_outlives_a_restart(journal: Journal, path: Path) -> None:
    journal.append(seconds(3_000), [])
    compact(journal, LATER_MS, 0)
    journal.close()
    again = Journal(path, check=True)
    assert held(again) == seconds(3_000)
    again.close()


def test_a_reading_sent_again_counts_once(journal: Journal) -> None:
    journal.append(seconds(3_000), [])
    compact(journal, LATER_MS, 0)
    again = [
        one._replace(received_ms=one.received_ms + 9_000) for one in seconds(3_000)
    ]
    assert journal.append(again, []) == []
    assert journal.refusals() == []
    assert held(journal) == seconds(3_000)
    assert rows(journal) == 1


def test_another_value_at_a_packed_time_is_refused(journal: Journal) -> None:
    journal.append(seconds(3_000), [])
    compact(journal, LATER_MS, 0)
    other = seconds(3_000)[100]._replace(value_mc=-5)
    assert journal.append([other], []) == []
    [(_, refusal)] = journal.refusals()
    assert refusal.why == (
        "two values at 2026-01-10T05:01:40.000Z: 8.140 is in the journal,"
        " -0.005 came later and was not used"
    )
    assert held(journal) == seconds(3_000)


def test_a_reading_between_packed_ones_is_new(journal: Journal) -> None:
    readings = seconds(3_000)
    lacking = readings.pop(1_234)
    journal.append(readings, [])
    compact(journal, LATER_MS, 0)
    assert journal.append([lacking], []) == [lacking]
    assert journal.append([lacking], []) == []
    assert held(journal) == seconds(3_000)
    assert journal.counts().readings == 3_000
    [late] = journal.connection.execute("SELECT channel, at_ms FROM late").fetchall()
    assert late == (1, lacking.at_ms)


def test_a_better_copy_of_a_packed_reading_counts_instead(journal: Journal) -> None:
    readings = seconds(3_000)
    worse = readings[40]._replace(quality=Quality.AGE_UNKNOWN)
    journal.append([*readings[:40], worse, *readings[41:]], [])
    compact(journal, LATER_MS, 0)
    assert held(journal)[40] == worse
    assert journal.append([readings[40]], []) == [readings[40]]
    assert journal.append([worse, readings[40]], []) == []
    assert held(journal) == readings
    assert journal.counts().readings == 3_000


def test_copies_of_one_time_are_packed_together_or_apart(journal: Journal) -> None:
    """The cut between two blocks may fall between them."""
    readings = seconds(2 * BLOCK)
    doubled = [one._replace(quality=Quality.AGE_UNKNOWN) for one in readings[::3]]
    journal.append(doubled, [])
    journal.append(readings, [])
    compact(journal, LATER_MS, 0)
    assert rows(journal) < LEAST
    assert held(journal) == readings
    assert journal.counts().readings == len(readings)


# What may be packed


def test_a_few_readings_wait_for_more(journal: Journal) -> None:
    journal.append(seconds(LEAST), [])
    assert compact(journal, LATER_MS, 0).blocks == 0  # the newest stays
    journal.append(seconds(1, start=LEAST), [])
    assert compact(journal, LATER_MS, 0).readings == LEAST


def test_what_is_younger_stays(journal: Journal) -> None:
    journal.append(seconds(2_000), [])
    age_ms = HOUR_MS
    assert compact(journal, BEGUN_MS + age_ms + 500_000, age_ms).readings == 500
    assert compact(journal, BEGUN_MS + age_ms + 500_000, age_ms).readings == 0


def test_what_a_running_cook_needs_stays_until_it_is_settled(journal: Journal) -> None:
    before = [one._replace(at_ms=one.at_ms - HOUR_MS) for one in seconds(300)]
    journal.begin(COOK, BEGUN_MS)
    journal.append([*before, *seconds(600), *seconds(600, "yard")], [])
    assert compact(journal, LATER_MS, 0).readings == 300 + 599
    assert compact(journal, LATER_MS, 0).readings == 0
    journal.settle("L-7")
    assert journal.settled() == {"L-7"}
    assert compact(journal, LATER_MS, 0).readings == 599


def test_only_a_lot_that_was_begun_is_settled(journal: Journal) -> None:
    with pytest.raises(JournalError, match="there is no lot L-9 in the journal"):
        journal.settle("L-9")


# What the file allows


@pytest.mark.parametrize(
    "where",
    [
        "at_ms = (SELECT max(at_ms) FROM reading)",  # the newest
        "at_ms = (SELECT min(at_ms) FROM reading)",  # among the packed, but not packed
        "at_ms > (SELECT max(to_ms) FROM block)",
    ],
)
def test_no_row_goes_that_no_block_holds(journal: Journal, where: str) -> None:
    readings = seconds(1_000)
    lacking = readings.pop(3)
    journal.append(readings, [])
    compact(journal, LATER_MS, 0)
    journal.append([lacking, *seconds(5, start=2_000)], [])
    with pytest.raises(sqlite3.IntegrityError, match="the journal only grows"):
        journal.connection.execute(f"DELETE FROM reading WHERE {where}")
    assert journal.counts().readings == 1_005


def test_a_program_that_cannot_look_into_blocks_deletes_nothing(
    journal: Journal, path: Path
) -> None:
    journal.append(seconds(1_000), [])
    stranger = sqlite3.connect(path)
    with pytest.raises(sqlite3.OperationalError, match="no such function: is_packed"):
        stranger.execute("DELETE FROM reading WHERE at_ms = 1")
    stranger.close()


def test_a_block_that_gives_back_something_else_is_not_used(
    journal: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    journal.append(seconds(1_000), [])
    monkeypatch.setattr(compaction, "pack", lambda rows: pack(rows[:-1]))
    with pytest.raises(JournalError, match="does not give back what went in"):
        compact(journal, LATER_MS, 0)
    monkeypatch.undo()
    assert rows(journal) == 1_000
    assert journal.connection.execute("SELECT count(*) FROM block").fetchone() == (0,)


def test_a_damaged_block_is_said_and_not_guessed(journal: Journal) -> None:
    journal.append(seconds(1_000), [])
    compact(journal, LATER_MS, 0)
    with sqlite3.connect(journal.path) as stranger:
        stranger.execute("DROP TRIGGER block_keeps_update")
        stranger.execute("UPDATE block SET packed = CAST(substr(packed, 2) AS BLOB)")
    stranger.close()
    with pytest.raises(JournalError, match="the file is damaged; keep it"):
        held(journal)
    assert journal.integrity() == "block 1: a block has other bytes than were written"


# The mirror


def test_a_mirror_gets_what_was_packed_before_it_was_copied(journal: Journal) -> None:
    """The first batch before, the rest after; a late one and a copy among them."""
    target = Target("http://127.0.0.1:9", "yard", "cooks", "Juniper Yard", "fern")
    readings = seconds(7_000)
    worse = readings[9]._replace(quality=Quality.AGE_UNKNOWN)
    journal.append([*readings[:9], worse, *readings[11:]], [])
    journal.append([readings[9], readings[10]], [])
    points = []
    batch = copying.next_batch(journal, target, limit=1_000)
    copying.move_cursor(journal, target, batch)
    compact(journal, LATER_MS, 0)
    while batch.points:
        points += batch.points
        copying.move_cursor(journal, target, batch)
        batch = copying.next_batch(journal, target, limit=1_000)
    copied = {(point.at_ms, point.tags, point.value) for point in points}
    good = {one.at_ms for one in readings}
    assert {at_ms for at_ms, tags, _ in copied if len(tags) == 2} == good
    assert [at_ms for at_ms, tags, _ in copied if len(tags) == 3] == [worse.at_ms]


# Beside the daemon


def test_a_kill_at_any_moment_loses_nothing(journal: Journal, path: Path) -> None:
    readings = seconds(20_000)
    journal.append(readings, [])
    command = [sys.executable, "-m", "daemon.compaction", str(path), "0"]
    for blocks in range(1, 9):
        child = subprocess.Popen(command)
        wait_for(partial(_has_blocks, journal, blocks), f"{blocks} blocks")
        child.send_signal(signal.SIGKILL)
        child.wait(30)
        assert held(journal) == readings
        assert journal.integrity() == "ok"
    assert subprocess.run(command, capture_output=True, timeout=60).returncode == 0
    assert rows(journal) == 1
    assert held(journal) == readings


def test_the_daemon_writes_while_it_is_packed(path: Path) -> None:
    with_old = Journal(path)
    with_old.append(seconds(40_000), [])
    compactor = Compactor(path, 0)
    for start in range(40_000, 44_000, 10):
        group = seconds(10, start=start)
        assert with_old.append(group, []) == group
    wait_for(lambda: compactor.runs, "the first run to end", deadline_s=60)
    compactor.close()
    assert held(with_old) == seconds(44_000)
    assert _blocks(with_old) >= 40_000 // BLOCK
    with_old.close()


def test_it_is_ended_with_the_daemon(journal: Journal, path: Path) -> None:
    journal.append(seconds(30_000), [])
    before = threading.active_count()
    compactor = Compactor(path, 0)
    compactor.close()
    assert threading.active_count() == before
    assert held(journal) == seconds(30_000)


def test_a_day_at_one_hertz_takes_less_than_four_bytes_a_reading(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The size of the whole file, with every table in it."""
    journal = Journal(path)
    journal.connection.execute("PRAGMA synchronous = OFF")  # speed, not meaning
    readings = day_of_eight_channels()
    for start in range(0, len(readings), 8_000):
        journal.append(readings[start : start + 8_000], [])
    names = {one.channel for one in readings}
    assert (len(names), len(readings)) == (8, 8 * 86_400)
    done = compact(journal, LATER_MS, 0)
    assert held(journal, *names) == readings
    journal.close()
    per_reading = path.stat().st_size / len(readings)
    with capsys.disabled():
        print(f"\n  {compaction.say(done)}: {per_reading:.2f} bytes a reading")
    assert per_reading <= 4


def day_of_eight_channels() -> Sequence[Reading]:
    """A simulated cook of 24 h; stamps wander by 3 ms, delays by 56 ms."""
    names = [f"core-{n}" for n in range(1, 8)]
    whole = long_day(BEGUN_MS, every_ms=1_000)
    *steps, cooler = whole.steps
    script = replace(
        whole,
        pieces=tuple(
            Piece(name, 0.044 + n / 1_000, 10 + n / 3, load_kg=4.0)
            for n, name in enumerate(names)
        ),
        probes=(whole.probes[0], *(Probe(one, Shows.CORE, one) for one in names)),
        happenings=whole.happenings[:1],
        steps=(*steps, replace(cooler, lasts_ms=24 * HOUR_MS)),
    )
    readings, chance = [], random.Random(7)
    for number, sample in enumerate(simulate(script)):
        if number == 8 * 86_400:
            break
        at_ms = sample.at_ms + chance.randrange(-3, 4)
        received_ms = at_ms + chance.randrange(4, 60)
        readings.append(
            Reading(
                sample.channel, at_ms, sample.value_mc, 500, received_ms=received_ms
            )
        )
    return sorted(readings, key=lambda one: (one.at_ms, one.channel))


def _has_blocks(journal: Journal, at_least: int) -> bool:
    return _blocks(journal) >= at_least


def _blocks(journal: Journal) -> int:
    (count,) = journal.connection.execute("SELECT count(*) FROM block").fetchone()
    return int(count)
