"""A journal whose writer is killed, and one that two processes use at once.

The writer is a real process of its own: this file, run as a program.  It appends
groups for ever and prints how many readings it has kept, each time after ``append``
has answered; what it printed must be there afterwards, each reading once.
"""

import os
import random
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import islice
from pathlib import Path

from daemon.journal import Delivery, Journal
from probes.contract import Refusal
from rules.facts import Entry, EntryKind, Reading

ROOT = Path(__file__).parents[2]
CHANNELS = ("chamber", "core-1", "core-2")
FOR_EVER_MS = 1 << 52


def the_reading(number: int) -> Reading:
    """The reading of this number, the same in every process."""
    at_ms = 1_000_000 + number * 250
    return Reading(CHANNELS[number % 3], at_ms, number % 70_000, 500, received_ms=at_ms)


def group_after(number: int) -> range:
    """The numbers of the group that begins here: 1 to 41 of them."""
    return range(number, number + 1 + number * 7 % 41)


def write_for_ever(path: Path) -> None:
    """Go on from what the journal holds; begin by sending its last group again."""
    journal = Journal(path)
    number = journal.counts().readings
    again = [the_reading(old) for old in range(max(0, number - 50), number)]
    assert journal.append(again, []) == []
    while True:
        group = group_after(number)
        refusal = Refusal("yard", "", number, "not the agreed form", b"?")
        delivery = Delivery(1 + number % 65_535, str(number).encode())
        readings = [the_reading(each) for each in group]
        assert len(journal.append(readings, [refusal], [delivery])) == len(group)
        number = group.stop
        os.write(1, b"%d\n" % number)


@contextmanager
def writer(path: Path) -> Iterator[subprocess.Popen[str]]:
    """The writer as a process; killed at the end if it still runs."""
    with subprocess.Popen(
        [sys.executable, __file__, str(path)],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    ) as process:
        try:
            yield process
        finally:
            process.kill()


def test_a_writer_killed_at_any_moment_has_lost_nothing(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    chance = random.Random(20)
    for _ in range(20):
        with writer(path) as process:
            assert process.stdout is not None
            for line in islice(process.stdout, chance.randrange(1, 40)):
                promised = int(line)
            # It writes on while the signal is under way.
            for _ in range(chance.randrange(2_000)):
                pass
            process.send_signal(signal.SIGKILL)
            rest = process.stdout.read()
            assert process.wait() == -signal.SIGKILL
            whole_lines = rest[: rest.rfind("\n") + 1].split()
            promised = int(whole_lines[-1]) if whole_lines else promised

        journal = Journal(path, create=False, check=True)
        found = list(journal.readings(CHANNELS, 0, FOR_EVER_MS))
        assert len(found) >= promised
        assert found == [the_reading(number) for number in range(len(found))]
        # A group is there as a whole or not at all, with all that came with it.
        starts, number = [], 0
        while number < len(found):
            starts.append(number)
            number = group_after(number).stop
        assert number == len(found)
        refusals = [refusal for _, refusal in journal.refusals(limit=1 << 30)]
        assert [refusal.received_ms for refusal in refusals] == starts
        last = starts[-1]
        delivery = Delivery(1 + last % 65_535, str(last).encode())
        assert journal.was_delivered(delivery)
        journal.close()


def test_a_reader_and_two_writers_at_once(tmp_path: Path) -> None:
    """The reader sees whole groups only, and nobody is told that it is locked."""
    path = tmp_path / "journal.db"
    journal = Journal(path)
    seen = 0
    with writer(path) as process:
        assert process.stdout is not None
        for turn in range(60):
            promised = int(process.stdout.readline())
            from_ms = the_reading(seen).at_ms
            found = list(journal.readings(CHANNELS, from_ms, FOR_EVER_MS))
            end = seen + len(found)
            assert end >= promised
            assert found == [the_reading(number) for number in range(seen, end)]
            while seen < end:
                seen = group_after(seen).stop
            assert seen == end
            note = Entry(EntryKind.NOTE, turn, turn, "MB", "looked")
            assert journal.add_entry("", note) == turn + 1
        assert process.poll() is None
    assert len(journal.entries("")) == 60
    assert journal.integrity() == "ok"
    journal.close()


if __name__ == "__main__":
    write_for_ever(Path(sys.argv[1]))
