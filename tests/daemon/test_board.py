"""daemon/board.py: buses and samples by a clock that is moved by hand, no broker.

What a broker makes of it is in ``tests/end_to_end/test_board.py``.
"""

from collections.abc import Iterator, Sequence
from functools import partial
from itertools import pairwise
from pathlib import Path
from queue import SimpleQueue
from typing import ClassVar, NamedTuple

import pytest

from daemon.board import Bus, Job, Publisher, Taken
from daemon.board_settings import Board, Wanted
from daemon.buffer import Waiting
from daemon.clock import Clock
from daemon.settings import Broker
from daemon.sysfs import Source, sources
from probes.attributes import Measured
from probes.json_text import Unusable
from tests.servers import unused_port, wait_for
from tests.sysfs import WARM, Sysfs

W1 = "10-0008013a07e2"
SET_MS = 1_768_021_200_000  # 2026-01-10T05:00:00Z
UNSET_MS = 1_000_000  # a board without a battery begins in 1970


class HandClock(Clock):
    """Stands still until it is moved."""

    def __init__(self) -> None:
        """A board that has just been switched on."""
        self.day_ms, self.count_ms = UNSET_MS, 0

    def now_ms(self) -> int:
        """The time of day that the board believes."""
        return self.day_ms

    def monotonic_ms(self) -> int:
        """How long it has been on."""
        return self.count_ms

    def move(self, ms: int) -> None:
        """Let time pass."""
        self.day_ms += ms
        self.count_ms += ms


class Bench(NamedTuple):
    """A publisher with one 1-wire sensor, and all that it has said."""

    clock: HandClock
    tree: Sysfs
    sensor: Path
    publisher: Publisher
    said: list[str]

    def settled(self, count: int) -> list[Waiting]:
        """So many samples, which must come without time passing."""

        def enough() -> bool:
            self.publisher.turn(0.0)
            return self.publisher.buffer.count() >= count

        wait_for(enough, f"{count} samples")
        return self.publisher.buffer.after(0, 1000)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """One that reads every ten seconds and keeps a hundred samples."""
    tree, clock, said = Sysfs(tmp_path / "sys"), HandClock(), list[str]()
    sensor = tree.w1(W1, {"w1_slave": WARM})
    board = Board(
        topic="yard/board",
        buffer=tmp_path / "buffer.db",
        at_most=100,
        broker=Broker(port=unused_port(), client_id="board"),
        sysfs=tree.top,
        probes=(Wanted(W1, 10_000), Wanted("28-000000000001", 10_000)),
    )
    publisher = Publisher(board, clock, said.append)
    publisher.start()
    wait_for(lambda: any(W1 in words for words in said), "the first look", said.copy)
    yield Bench(clock, tree, sensor, publisher, said)
    publisher.stop()


def gathered(bench: Bench) -> int:
    """How many samples wait in memory."""
    bench.publisher.turn(0.0)
    return len(bench.publisher._gathered)


def test_samples_wait_for_the_time_of_day_and_get_their_own(bench: Bench) -> None:
    wait_for(lambda: gathered(bench) == 1, "the first sample")
    bench.clock.move(10_000)
    bench.publisher._plugged.look()  # wakes the bus, which waits by a real clock
    wait_for(lambda: gathered(bench) == 2, "the second sample")
    assert bench.publisher.buffer.count() == 0
    bench.clock.move(5_000)
    bench.clock.day_ms = SET_MS  # the network has told it the time
    samples = [one.sample for one in bench.settled(2)]
    assert [one.at_ms for one in samples] == [SET_MS - 15_000, SET_MS - 5_000]
    assert [one.number for one in samples] == [1, 2]


def test_a_failure_is_a_sample_once_a_minute_and_when_it_changes(
    bench: Bench,
) -> None:
    bench.clock.day_ms = SET_MS
    bench.settled(1)
    whys = []
    for second in range(0, 100, 10):
        text = WARM.replace("YES", "NO") if second < 80 else ""
        (bench.sensor / "w1_slave").write_text(text)
        begun = reads(bench)
        bench.clock.move(10_000)
        bench.publisher._plugged.look()
        wait_for(partial(read_again, bench, begun), "a read")
        bench.publisher.turn(0.0)
    for one in bench.settled(4)[1:]:
        whys.append((one.sample.at_ms - SET_MS, one.sample.why[:12]))
    assert whys == [
        (10_000, "bad checksum"),
        (70_000, "bad checksum"),
        (90_000, "w1_slave hol"),
    ]


def reads(bench: Bench) -> int:
    """How many reads the bus has begun and ended, as its beat shows."""
    (bus,) = bench.publisher._plugged._buses.values()
    (due_ms,) = bus._due_ms.values()
    return due_ms if bus._busy_ms is None else 0


def read_again(bench: Bench, begun: int) -> bool:
    """Whether the bus has read since then."""
    return reads(bench) > begun


def test_a_probe_that_is_wanted_and_not_there_is_said_once(bench: Bench) -> None:
    for _ in range(3):
        bench.publisher._plugged.look()
    assert bench.said.count("28-000000000001: not plugged in") == 1


def test_the_oldest_samples_go_where_the_disk_holds_no_more(bench: Bench) -> None:
    bench.clock.day_ms = SET_MS
    bench.settled(1)
    for _ in range(2):
        for _ in range(52):
            bench.publisher._taken.put(Taken("x", 0, "71.25", "Cel", ""))
        bench.publisher.turn(0.0)
    assert bench.publisher.buffer.count() == 100
    assert "the buffer is full: 5 old samples lost" in bench.said


def test_a_sample_that_memory_could_not_hold_leaves_its_number_out(
    bench: Bench,
) -> None:
    wait_for(lambda: gathered(bench) == 1, "the sensor's own sample")
    for _ in range(104):
        bench.publisher._taken.put(Taken("x", 0, "71.25", "Cel", ""))
    bench.publisher.turn(0.0)
    assert "samples are lost: they cannot be kept" in bench.said
    bench.clock.day_ms = SET_MS
    numbers = [one.sample.number for one in bench.settled(100)]
    assert numbers == list(range(5, 105))


class Slow(Source):
    """A source whose conversion takes its time by the clock of the test."""

    clock: ClassVar[HandClock]
    takes_ms: ClassVar[int]

    def read(self) -> Measured | Unusable:
        """Its value, once that time is over."""
        self.clock.move(self.takes_ms)
        return super().read()


def read_slowly(
    tree: Sysfs, takes_ms: int, every_ms: Sequence[int], enough: int
) -> dict[str, list[int]]:
    """When each of the tree's sensors was read, by one bus that is never idle."""
    Slow.clock, Slow.takes_ms = HandClock(), takes_ms
    taken: SimpleQueue[Taken] = SimpleQueue()
    jobs = zip((Slow(*one) for one in sources(tree.top)), every_ms, strict=True)
    bus = Bus("w1_bus_master1", Slow.clock, taken)
    bus.assign([Job(*job) for job in jobs])
    wait_for(lambda: taken.qsize() >= enough, f"{enough} reads")
    bus.stop()
    times: dict[str, list[int]] = {}
    for _ in range(enough):
        one = taken.get()
        times.setdefault(one.record, []).append(one.taken_ms)
    return times


def test_many_slow_sensors_on_one_wire_take_turns(tmp_path: Path) -> None:
    """32 conversions of 750 ms are 24 s: more than the 10 s that are wished."""
    tree = Sysfs(tmp_path)
    for number in range(32):
        tree.w1(f"28-0000000000{number:02x}", {"w1_slave": WARM})
    times = read_slowly(tree, 750, [10_000] * 32, 32 * 6)
    assert len(times) == 32
    assert {len(of_one) for of_one in times.values()} <= {5, 6, 7}
    apart_ms = [b - a for of_one in times.values() for a, b in pairwise(of_one)]
    assert max(apart_ms) <= 2 * 32 * 750


def test_each_sensor_has_a_period_of_its_own(tmp_path: Path) -> None:
    tree = Sysfs(tmp_path)
    for number in range(2):
        tree.w1(f"28-00000000000{number}", {"w1_slave": WARM})
    often, seldom = read_slowly(tree, 1_000, [1_000, 5_000], 60).values()
    assert len(seldom) == 12
    assert len(often) == 48
    assert {b - a for a, b in pairwise(seldom)} <= {4_000, 5_000, 6_000}
