"""What an hour of readings costs an SD card, against a bare file synced as often.

Counted is what this process hands to the system to be written (``wchar`` of
``/proc/self/io``, proc(5)): rows, indexes and log, and the log copied back at the end.
"""

import os
from collections.abc import Iterator
from pathlib import Path

from daemon.journal import Journal
from rules.facts import Reading

BEGUN_MS = 1_768_021_200_000  # 2026-01-10T05:00:00Z
CHANNELS = [f"core-{n}" for n in range(8)]
MINUTES = 10


def measured(folder: Path) -> Iterator[str]:
    """One line a pace."""
    for every_s in (1, 5):
        groups = [
            [
                Reading(
                    name, at_ms, 60_000 + at_ms // 1_000 % 37, 500, received_ms=at_ms
                )
                for name in CHANNELS
            ]
            for at_ms in range(BEGUN_MS, BEGUN_MS + MINUTES * 60_000, every_s * 1_000)
        ]
        ours = _journal(folder / f"wear-{every_s}.db", groups)
        bare = _file(folder / f"wear-{every_s}.txt", groups)
        readings = len(groups) * len(CHANNELS)
        hour_mb = ours * 60 / MINUTES / 1e6
        yield (
            f"written, 8 at {every_s} s       {ours / readings:10,.0f} bytes a reading,"
            f" {hour_mb:,.1f} MB/h; {ours / bare:.0f} times a bare file"
        )


def _journal(path: Path, groups: list[list[Reading]]) -> int:
    journal = Journal(path)
    journal.append(groups[0], [])
    before = _written()
    for group in groups:
        journal.append(group, [])
    journal.close()  # which copies the log into the file
    return _written() - before


def _file(path: Path, groups: list[list[Reading]]) -> int:
    before = _written()
    with path.open("ab", buffering=0) as file:
        for group in groups:
            lines = (f"{one.channel} {one.at_ms} {one.value_mc}\n" for one in group)
            file.write("".join(lines).encode())
            os.fsync(file.fileno())
    return _written() - before


def _written() -> int:
    for line in Path("/proc/self/io").read_text().splitlines():
        name, _, count = line.partition(": ")
        if name == "wchar":
            return int(count)
    raise AssertionError("the system does not count what is written")
