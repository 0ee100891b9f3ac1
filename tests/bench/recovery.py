"""How soon a daemon is back in the midst of a long cook, against a bare scan.

The journal holds 24 hours of eight channels at 1 Hz, and a checkpoint as old as one can
be.  Measured is a daemon in its own process, from its start until it is ready and its
cook is in the state in which it was; bare is SQLite reading the same rows.
"""

import json
import random
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

from daemon import checkpoints
from daemon.cooks import Cooks
from daemon.journal import Cook, Journal
from rules import keep
from rules.channels import Channel, Role
from rules.facts import Reading

LINKS = Path(__file__).parents[1] / "end_to_end" / "links.yaml"
BEGUN_MS = 1_768_021_200_000  # 2026-01-10T05:00:00Z
HOURS = 24
CHANNELS = (
    *(Channel(f"core-{n}", Role.CORE, 1_000, 60_000, 500) for n in range(6)),
    Channel("chamber", Role.CHAMBER, 1_000, 60_000, 1_000),
    Channel("cooler", Role.COOLER, 1_000, 60_000, 1_000),
)

# Run as a process of its own: what it prints is when it began, was ready, and how.
START = """
import sys, time
began = time.monotonic()
from pathlib import Path
from daemon.cooks import Cooks
from daemon.journal import Journal
from daemon.rescue import open_sound
from daemon import run
journal, _ = open_sound(Path(sys.argv[1]), 0, lambda: None)
opened = time.monotonic()
[running] = Cooks(journal)
running.advance(int(sys.argv[2]))
done = time.monotonic()
import json
from rules import keep
print(json.dumps([opened - began, done - opened, keep.dump(running.state)]))
"""


def measured(folder: Path) -> list[str]:
    """One line a figure."""
    path = folder / "recovery.db"
    journal = Journal(path)
    until_ms = _filled(journal)
    began_s = time.monotonic()
    cooks = Cooks(journal)
    whole_s = time.monotonic() - began_s
    cooks.kept("R-1")
    cooks.keep_states(1)
    [running] = cooks
    running.advance(until_ms)
    journal.close()
    began_s = time.monotonic()
    said = subprocess.run(
        [sys.executable, "-c", START, str(path), str(until_ms)],
        check=True,
        capture_output=True,
    ).stdout
    process_s = time.monotonic() - began_s
    opened_s, cook_s, state = json.loads(said)
    assert state == keep.dump(running.state), "the state is another one"
    bare_s = _bare(path)
    return [
        f"recovery: start to ready  {process_s:10.2f} s: journal {opened_s:.2f},"
        f" cook {cook_s:.2f}",
        f"recovery, no checkpoint   {whole_s:10.2f} s for the cook",
        f"recovery against a scan   {cook_s / bare_s:10.2f} of {bare_s:.2f} s",
    ]


def _filled(journal: Journal) -> int:
    """A day of readings; answers the time up to which it can be judged."""
    cook = Cook("R-1", "north", LINKS.read_text(), "", CHANNELS, BEGUN_MS, "AB")
    journal.begin(cook, BEGUN_MS)
    chance = random.Random(1)
    noise_mc = [round(chance.gauss(0, 30)) for _ in range(4096)]
    core_mc = [8_000.0] * len(CHANNELS)
    group: list[Reading] = []
    for second in range(HOURS * 3600):
        air_mc = 55_000 if second < 2_700 else 60_000 if second < 14_400 else 66_000
        for i, channel in enumerate(CHANNELS):
            core_mc[i] += (air_mc - core_mc[i]) / (9_400 + 900 * i)
            right_mc = {"chamber": air_mc, "cooler": 3_000}.get(
                channel.name, core_mc[i]
            )
            value_mc = round(right_mc) + noise_mc[(second * 8 + i) * 7 % 4096]
            at_ms = BEGUN_MS + second * 1_000
            group.append(Reading(channel.name, at_ms, value_mc, 500, received_ms=at_ms))
        if second % 900 == 899:
            journal.append(group, [])
            group.clear()
    until_ms = BEGUN_MS + HOURS * 3_600_000 - 10_000
    journal.add_events("R-1", [], until_ms, until_ms - checkpoints.EVERY_MS)
    return until_ms


def _bare(path: Path) -> float:
    connection = sqlite3.connect(path)
    began_s = time.monotonic()
    rows = sum(1 for _ in connection.execute("SELECT * FROM reading"))
    took_s = time.monotonic() - began_s
    connection.close()
    assert rows == HOURS * 3600 * len(CHANNELS)
    return took_s
