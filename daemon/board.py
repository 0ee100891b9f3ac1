"""``fumarium probes publish``: a board's own probes, read and published.

Rule 1: every bus has a thread of its own, since a conversion takes its time and a
broken bus can take for ever; the others go on.
Rule 2: probes come and go while this runs.  One that is gone is said once and taken
up again by the identity of its hardware, wherever it is plugged in.
Rule 3: a value is in the buffer, on disk, before it is published, and leaves it when
the broker has it.  Each probe's samples are numbered, so that a hole shows.
Rule 4: before the board knows the time of day, samples wait in memory; then each
gets the time at which it was measured.
Rule 5: a failure is published once a minute, and when its reason changes.

Units: ``_ms`` milliseconds; ``taken_ms`` by the monotonic clock.
"""

import threading
from collections import Counter, deque
from collections.abc import Callable, Sequence
from queue import Empty, SimpleQueue
from typing import NamedTuple

from daemon.board_settings import Board, Wanted
from daemon.buffer import Buffer, BufferFileError, Waiting
from daemon.clock import Clock
from daemon.health import Notifier
from daemon.sysfs import Source, sources
from daemon.uplink import Uplink
from probes.attributes import Measured
from probes.json_text import Unusable
from probes.pack import Sample, pack

FOUND_TWICE = "two sensors say that they are {}; neither is read"
LOOK_S = 2.0  # between two looks at what is plugged in
GROUP_S = 1.0  # samples share one fsync and one message
FULL_PACK = 100
STUCK_MS = 30_000
SAY_AGAIN_MS = 60_000
CLOCK_SET_MS = 1_735_689_600_000  # 2025-01-01: a board that says less does not know
AGAIN_MS = 5_000  # after a refusal by the broker

Say = Callable[[str], None]


class Taken(NamedTuple):
    """What a read came to, before it has a time of day and a number."""

    record: str
    taken_ms: int
    value: str
    code: str
    why: str


class Job(NamedTuple):
    """One source to be read at its period."""

    source: Source
    every_ms: int


class Bus:
    """One bus and the thread that reads what is on it, one after the other."""

    def __init__(self, name: str, clock: Clock, taken: "SimpleQueue[Taken]") -> None:
        """Begin to read what is given to ``assign``."""
        self.name = name
        self._clock, self._taken = clock, taken
        self._changed = threading.Condition()
        self._due_ms: dict[Job, int] = {}
        self._failed: dict[str, tuple[str, int]] = {}  # record: why, when published
        self._busy_ms: int | None = None
        self._stopping = False
        threading.Thread(target=self._run, name=name, daemon=True).start()

    def assign(self, jobs: Sequence[Job]) -> None:
        """Read these from now on, and nothing else."""
        with self._changed:
            now_ms = self._clock.monotonic_ms()
            self._due_ms = {job: self._due_ms.get(job, now_ms) for job in jobs}
            self._changed.notify()

    def stop(self) -> None:
        """End after the read that is going on; it is not waited for."""
        with self._changed:
            self._stopping = True
            self._changed.notify()

    def stuck(self) -> bool:
        """Whether a read has not come back for too long."""
        since_ms = self._busy_ms
        return since_ms is not None and self._clock.monotonic_ms() - since_ms > STUCK_MS

    def _run(self) -> None:
        while (job := self._next()) is not None:
            self._busy_ms = self._clock.monotonic_ms()
            try:
                found = job.source.read()
            except Exception as error:  # the bus must go on, and the fault be seen
                found = Unusable(f"reading it failed: {error!r}")
            self._busy_ms = None
            self._put(job.source.record, found)

    def _next(self) -> Job | None:
        """Wait until a source is due; answer None when told to stop."""
        with self._changed:
            while not self._stopping:
                now_ms = self._clock.monotonic_ms()
                job = min(self._due_ms, key=self._due_ms.__getitem__, default=None)
                if job and self._due_ms[job] <= now_ms:
                    # A slow bus leaves out what it missed and keeps its beat.
                    late = (now_ms - self._due_ms[job]) // job.every_ms
                    self._due_ms[job] += (late + 1) * job.every_ms
                    return job
                wait_ms = self._due_ms[job] - now_ms if job else None
                self._changed.wait(wait_ms / 1000 if wait_ms is not None else None)
        return None

    def _put(self, record: str, found: Measured | Unusable) -> None:
        now_ms = self._clock.monotonic_ms()
        if isinstance(found, Measured):
            self._failed.pop(record, None)
            value = f"{found.value:f}"
            self._taken.put(Taken(record, now_ms, value, found.code, ""))
            return
        why = found.why
        said, at_ms = self._failed.get(record, ("", 0))
        if why != said or now_ms - at_ms >= SAY_AGAIN_MS:
            self._failed[record] = why, now_ms
            self._taken.put(Taken(record, now_ms, "", "", why))


class Plugged:
    """What is plugged in, looked at again and again, and a bus for each thread."""

    def __init__(
        self, board: Board, clock: Clock, taken: "SimpleQueue[Taken]", say: Say
    ) -> None:
        """Know what is wanted; nothing is read before ``look``."""
        self._board, self._clock, self._taken, self._say = board, clock, taken, say
        self._buses: dict[str, Bus] = {}
        self._said: dict[str, str] = {}  # probe or bus: how it stood when last said

    def look(self) -> None:
        """Give every bus what is on it now, and say what has come or gone."""
        there: dict[str, list[Source]] = {}
        for source in sources(self._board.sysfs):
            there.setdefault(source.probe, []).append(source)
        jobs: dict[str, list[Job]] = {name: [] for name in self._buses}
        for wanted in self._board.probes:
            found = there.get(wanted.probe, [])
            self._tell(wanted, found)
            if len(found) == 1:
                job = Job(found[0], wanted.every_ms)
                jobs.setdefault(found[0].bus, []).append(job)
        for name, of_bus in jobs.items():
            if name not in self._buses:
                self._buses[name] = Bus(name, self._clock, self._taken)
            self._buses[name].assign(of_bus)
        for name, bus in self._buses.items():
            stands = "stuck: a read has not come back" if bus.stuck() else "answers"
            self._once(f"bus {name}", stands, usual="answers")

    def stop(self) -> None:
        """End every bus."""
        for bus in self._buses.values():
            bus.stop()

    def _tell(self, wanted: Wanted, found: Sequence[Source]) -> None:
        stands = "not plugged in"
        if len(found) == 1:
            stands = f"read on {found[0].bus}, published as {found[0].record}"
        elif found:
            stands = FOUND_TWICE.format(wanted.probe)
        self._once(wanted.probe, stands)

    def _once(self, what: str, stands: str, usual: str = "") -> None:
        if self._said.get(what, usual) != stands:
            self._say(f"{what}: {stands}")
        self._said[what] = stands


class Publisher:
    """The way of the samples: gathered, kept, published, acknowledged, dropped."""

    def __init__(self, board: Board, clock: Clock, say: Say) -> None:
        """Open the buffer and make ready.

        Raises:
            BufferFileError: The buffer's file cannot be used.
            OSError: The certificate authority's file cannot be read.
        """
        self._clock, self._say = clock, say
        self._taken: SimpleQueue[Taken] = SimpleQueue()
        self._gathered: deque[Taken] = deque()
        self._at_most = board.at_most
        self._missed: Counter[str] = Counter()  # of a record, before it could be kept
        self.buffer = Buffer(board.buffer, board.at_most)
        self._uplink = Uplink(board.broker, board.topic, clock)
        self._plugged = Plugged(board, clock, self._taken, say)
        self._looking = threading.Event()
        self._looker = threading.Thread(target=self._look, daemon=True)
        self._place = 0  # behind which nothing has been sent yet
        self._again_ms = 0
        self._said = ""
        self._complaint = ""

    @property
    def status(self) -> str:
        """How it goes, in a few words."""
        return f"broker: {self._said}; {self.buffer.count()} samples to send"

    def start(self) -> None:
        """Connect, and begin to read."""
        self._uplink.start()
        self._looker.start()

    def stop(self) -> None:
        """Keep what was read, and leave."""
        self._looking.set()
        self._looker.join()
        self._plugged.stop()
        self.turn(0.0)
        self._uplink.stop()
        self._forget(self._uplink.acknowledged())
        self.buffer.close()

    def turn(self, group_s: float = GROUP_S) -> None:
        """Gather what the buses have read, make it durable, and publish."""
        self._gather(group_s)
        self._keep()
        self._forget(self._uplink.acknowledged())
        if back := self._uplink.returned():
            self._place = min(self._place, min(back) - 1)
            self._again_ms = self._clock.monotonic_ms() + AGAIN_MS
        if self._clock.monotonic_ms() >= self._again_ms:
            self._publish()
        self._uplink.revive()
        why = self._uplink.state.why or "connected"
        if self._said != why:
            self._say(f"broker: {why}; {self.buffer.count()} samples to send")
        self._said = why

    def _look(self) -> None:
        while not self._looking.is_set():
            try:
                self._plugged.look()
            except Exception as error:  # never leave the board blind
                self._say(f"looking for probes failed: {error!r}")
            self._looking.wait(LOOK_S)

    def _gather(self, group_s: float) -> None:
        end_ms = self._clock.monotonic_ms() + round(group_s * 1000)
        while True:
            rest_ms = end_ms - self._clock.monotonic_ms()
            try:
                one = self._taken.get(rest_ms > 0, max(rest_ms, 0) / 1000)
            except Empty:
                return
            self._gathered.append(one)
            if len(self._gathered) > self._at_most:
                self._missed[self._gathered.popleft().record] += 1
                self._complain("samples are lost: they cannot be kept")

    def _keep(self) -> None:
        """Give what was gathered its time of day and its place on the disk."""
        now_ms = self._clock.now_ms()
        if now_ms < CLOCK_SET_MS or not self._gathered:
            return
        behind_ms = now_ms - self._clock.monotonic_ms()
        samples = [
            Sample(
                one.record, one.taken_ms + behind_ms, one.value, one.code, one.why, 0
            )
            for one in self._gathered
        ]
        try:
            lost = self.buffer.add(samples, self._missed)
        except BufferFileError as error:
            self._complain(str(error))
            return
        self._gathered.clear()
        self._missed.clear()
        self._complain(f"the buffer is full: {lost} old samples lost" if lost else "")

    def _publish(self) -> None:
        for _ in range(self._uplink.room()):
            group = self.buffer.after(self._place, FULL_PACK)
            if not group:
                return
            self._send(group)

    def _send(self, group: Sequence[Waiting]) -> None:
        self._place = group[-1].place
        self._uplink.send(
            pack(one.sample for one in group), [one.place for one in group]
        )

    def _forget(self, places: Sequence[int]) -> None:
        if places:
            try:
                self.buffer.drop(places)
            except BufferFileError as error:
                self._complain(str(error))

    def _complain(self, words: str) -> None:
        if words and words != self._complaint:
            self._say(words)
        self._complaint = words


def publish(
    board: Board,
    clock: Clock,
    say: Say,
    stop: threading.Event,
    notifier: Notifier,
) -> None:
    """Read and publish until told to stop; tell the service manager that it goes on.

    Raises:
        BufferFileError: The buffer's file cannot be used.
        OSError: The certificate authority's file cannot be read.
    """
    publisher = Publisher(board, clock, say)
    publisher.start()
    notifier.ready()
    try:
        while not stop.is_set():
            publisher.turn()
            notifier.alive(publisher.status)
    finally:
        notifier.stopping()
        publisher.stop()
