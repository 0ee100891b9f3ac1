"""Killed, and without power: the daemon ends at random moments and is started again.

SIGKILL leaves what was written to the operating system; a power cut
(``tests.faults.unsynced``) leaves only what was synced.
"""

import os
import random
import subprocess
import sys
import time
from pathlib import Path

from daemon.journal import Journal
from tests.daemon.test_journal_crash import CHANNELS, FOR_EVER_MS, the_reading
from tests.faults import day
from tests.faults.row import Kept, Row

ROOT = Path(__file__).parents[2]
THINGS = 2_000  # done to the disk before the power goes, at most


def kills(folder: Path, times: int, *child: str, fault: str = "SIGKILL") -> Row:
    """SIGKILL at random moments of cooks, under load, and a start after each."""

    def cook(folder: Path, at_most: int, seed: int) -> Row:
        chance = random.Random(seed)
        with day.site(folder, *child, shipped=day.QUICK) as site:

            def kill() -> None:
                time.sleep(chance.uniform(0.02, 0.9))  # the moment is what is tried
                site.kill()
                site.start()

            return day.disturbed(fault, site, at_most, kill, seed)

    return day.cooks(folder, times, cook)


def cuts(folder: Path, times: int) -> Row:
    """Power cuts at random moments of cooks, under load."""
    return kills(folder, times, "--unsynced", "{seed}", fault="power cut, whole daemon")


def journal_cuts(folder: Path, times: int, *child: str) -> Row:
    """Power cuts at random things that a bare journal does to its disk."""
    path, chance = folder / "journal.db", random.Random(7)
    folder.mkdir(parents=True, exist_ok=True)
    remarks: list[str] = []
    kept, lost = Kept(0, 0, 0, 0), 0
    for life in range(times):
        options = ["--unsynced", str(life), *child]
        options += ["--cut-after", str(chance.randint(1, THINGS))]
        command = [sys.executable, "-m", "tests.faults.child", *options, "write"]
        done = subprocess.run(
            [*command, str(path)],
            capture_output=True,
            text=True,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )
        if done.returncode != -9:
            remarks.append(f"life {life}: {done.stderr[-300:]}")
            break
        said = done.stdout[: done.stdout.rfind("\n") + 1].split()
        promised = int(said[-1]) if said else kept.published
        kept, words = _looked_at(path, promised)
        remarks += words
        lost += kept.lost
    kept = kept._replace(lost=lost)
    return Row("power cut, journal alone", times, *kept, "-", 0, 0, tuple(remarks))


def _looked_at(path: Path, promised: int) -> tuple[Kept, list[str]]:
    """What was promised, against what a journal that starts again holds."""
    if not path.exists():
        return Kept(0, 0, 0, 0), []
    journal = Journal(path)
    found = list(journal.readings(CHANNELS, 0, FOR_EVER_MS))
    wanted = [the_reading(number) for number in range(len(found))]
    intact = journal.integrity()
    journal.close()
    lost = max(0, promised - len(found))
    twice = len(found) - len(set(found))
    remarks = [] if intact == "ok" else [f"integrity: {intact}"]
    remarks += [] if found == wanted else ["other readings than were written"]
    return Kept(len(found) + lost, len(found), twice, lost), remarks
