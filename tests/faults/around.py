"""What is around the daemon fails: the disk is full, the mirror or the phone is away.

A full disk is the answer that SQLite gives for one (``tests.faults.unsynced``), to
every write for which a file would have to grow.
"""

import random
import time
from contextlib import suppress
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
FAILS = "not recording: "  # in what the daemon says


def full_disk(folder: Path, times: int) -> Row:
    """The disk is full for a while, at random moments of a cook."""

    def cook(folder: Path, at_most: int, seed: int) -> Row:
        flag, chance = folder / "full", random.Random(seed)
        options = ("--unsynced", "{seed}", "--full-while", str(flag))
        alarm = ("--alarm-ms", str(ALARM_MS))
        with day.site(folder, *options, *alarm, shipped=day.QUICK) as site:

            def fill() -> None:
                time.sleep(chance.uniform(0.2, 1.0))
                before = site.log().count(FAILS)
                flag.touch()
                # What still fits in the files is kept, so it takes a moment to fail.
                with suppress(AssertionError):
                    wait_for(lambda: site.log().count(FAILS) > before, FAILS)
                time.sleep(chance.uniform(1.5, 2.5))
                flag.unlink()

            row = day.disturbed("disk full", site, at_most, fill, seed)
            words = _untold(site)
        return row._replace(remarks=(*row.remarks, *words))

    return day.cooks(folder, times, cook)


def _untold(site: day.FaultSite) -> list[str]:
    """What nobody was told of the recording's failure and its end."""

    def untold() -> set[str]:
        titles = {one.title for one in site.receiver.arrived}
        return {"NOT RECORDING", "Recording again"} - titles

    with suppress(AssertionError):
        wait_for(lambda: not untold(), "people to be told", deadline_s=60)
    return [f"nobody was told: {title}" for title in sorted(untold())]


def deaf_telephone(folder: Path, times: int) -> Row:
    """The alerts' address answers nobody for most of the cook."""

    def cook(folder: Path, at_most: int, seed: int) -> Row:
        chance = random.Random(seed)
        with day.site(folder, shipped=day.QUICK) as site:

            def hang_up() -> None:
                site.receiver.stop()
                time.sleep(chance.uniform(1.0, 4.0))
                site.receiver.start()
                time.sleep(chance.uniform(0.0, 0.5))

            return day.disturbed("alert address down", site, at_most, hang_up, seed)

    return day.cooks(folder, times, cook)


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
