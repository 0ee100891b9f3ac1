"""What is around the daemon fails: the disk is full, the mirror or the phone is away.

A full disk is the answer that SQLite gives for one (``tests.faults.unsynced``), to
every write for which a file would have to grow.
"""

import random
import time
from pathlib import Path

from daemon.journal import Journal
from daemon.mirror import Mirror, Target
from daemon.reconcile import reconcile
from rules.facts import Reading
from tests.end_to_end.site import BEGINS_MS
from tests.faults import day
from tests.faults.row import Row
from tests.servers import wait_for
from tests.victoria import victoria

HOURS, CHANNELS, EVERY_MS = 6, 8, 10_000
ALARM_MS = 400  # instead of 20 s: what lasts longer is told


def full_disk(folder: Path, times: int) -> Row:
    """The disk is full for a while, at random moments of a cook."""
    flag, chance = folder / "full", random.Random(13)
    options = ("--unsynced", "{seed}", "--full-while", str(flag))
    alarm = ("--alarm-ms", str(ALARM_MS))
    with day.site(folder, *options, *alarm, shipped=day.QUICK) as site:

        def fill() -> None:
            for _ in range(times):
                time.sleep(chance.uniform(0.3, 1.0))
                flag.touch()
                time.sleep(chance.uniform(1.2, 2.5))
                flag.unlink()

        row = day.disturbed("disk full", site, times, fill, seed=13)
        titles = [one.title for one in site.receiver.arrived]
    untold = sorted({"NOT RECORDING", "Recording again"} - set(titles))
    words = [f"nobody was told: {', '.join(untold)}"] if untold else []
    return row._replace(remarks=(*row.remarks, *words))


def deaf_telephone(folder: Path, times: int) -> Row:
    """The alerts' address answers nobody for most of the cook."""
    chance = random.Random(14)
    with day.site(folder, shipped=day.QUICK) as site:

        def hang_up() -> None:
            for _ in range(times):
                site.receiver.stop()
                time.sleep(chance.uniform(1.0, 4.0))
                site.receiver.start()
                time.sleep(chance.uniform(0.0, 0.5))

        return day.disturbed("alert address down", site, times, hang_up, seed=14)


def mirror_away(folder: Path, times: int) -> Row:
    """The mirror's database is down while six hours of readings come in."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "journal.db"
    with victoria(folder) as database:
        target = Target(database.url, "house", "smoke", "Juniper Yard", "invented")
        journal = Journal(path)
        copying = Mirror(target, path, pause_s=0.05)
        published, at_ms = 0, BEGINS_MS
        for _ in range(times):
            database.stop()
            for _ in range(HOURS):
                group = _an_hour(at_ms)
                published += len(journal.append(group, []))
                at_ms += 3_600_000
            wait_for(lambda: _away(copying), "the mirror to be missed")
            database.start()
            wait_for(
                lambda: reconcile(journal, target).equal,
                "the copy to be whole",
                lambda: str(reconcile(journal, target))[:500],
                deadline_s=day.PATIENCE_S,
            )
        found = reconcile(journal, target)
        copying.close()
        kept = sum(side.mirror for side in found.sides)
        lost = sum(gap.points for gap in found.gaps)
        journal.close()
    twice = max(0, kept - published + lost)
    counts = (times, published, kept, twice, lost)
    return Row("mirror down for 6 h", *counts, "-", 0, 0)


def _an_hour(from_ms: int) -> list[Reading]:
    return [
        Reading(f"core-{channel}", at_ms, at_ms // 1000 % 70_000, 500)
        for at_ms in range(from_ms, from_ms + 3_600_000, EVERY_MS)
        for channel in range(CHANNELS)
    ]


def _away(mirror: Mirror) -> bool:
    return any("nobody answers" in one.why for one in mirror.news())
