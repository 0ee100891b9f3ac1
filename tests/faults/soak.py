"""Days on end through the whole road, and whether anything grows.

The daemon runs on an invented clock that goes ``TIMES`` as fast; a new lot is begun
every morning, its probes speak all day and night, its alerts are answered in the
evening.  Resident memory and open files are read all along; their slope is that of
the straight line of least squares through what came after the first day.
"""

import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

from probes.days import long_day
from probes.script import HOUR_MS, Script
from probes.simulator import simulate
from rules.facts import Reading
from tests.end_to_end.site import BEGINS_MS, PASSWORD, undisturbed
from tests.faults import day
from tests.faults.row import compared, events_against
from tests.servers import wait_for

TIMES, EVERY_MS = 2_400, 30_000  # 320 readings a second
DAY_MS = 24 * HOUR_MS
SCHEDULE = Path(__file__).parents[1] / "end_to_end" / "links.yaml"
ANSWERS, AS = "fumarium/fumarium-test/acknowledge", ("-u", "fumarium", "-P", PASSWORD)
MB_A_DAY, FILES_A_DAY = 1.0, 0.5  # what it may grow by and still be called flat


class Seen(NamedTuple):
    """What the daemon's process held at one time."""

    at_ms: int  # of the invented clock
    resident_mb: float
    files: int


class Soaked(NamedTuple):
    """What days on end came to."""

    days: int
    published: int
    journalled: int
    duplicated: int
    lost: int
    events: str
    resident_mb: tuple[float, float]  # after the first day, and at the end
    mb_a_day: float
    files: tuple[int, int]
    files_a_day: float

    @property
    def good(self) -> bool:
        """Whether nothing was lost and nothing grows."""
        return (
            (self.lost, self.duplicated, self.events) == (0, 0, "equal")
            and self.mb_a_day < MB_A_DAY
            and self.files_a_day < FILES_A_DAY
        )


def soak(folder: Path, days: int, say: Callable[[str], object] = str) -> Soaked:
    """Run so many days."""
    seen: list[Seen] = []
    lots: list[str] = []
    published: list[Reading] = []
    with day.site(
        folder,
        shipped=day.QUICK,
        times=TIMES,
        every=f"{EVERY_MS // 1000} s",
        lateness="3 h",
    ) as site:
        over = threading.Event()
        watching = threading.Thread(target=_watch, args=(site, seen, over))
        watching.start()
        for number in range(days):
            lot = f"S-{number + 1:03}"
            lots.append(lot)
            site.command("begin", str(SCHEDULE), "--lot", lot, "--who", "AB")
            probes = day.Keeping(site, list(simulate(_a_day(number))))
            probes.publish()
            assert probes.left == 0, f"the broker never took {probes.left} messages"
            published += probes.published
            site.broker.publish(ANSWERS, ['{"alert":"all","who":"AB"}'], options=AS)
            last = seen[-1]
            say(
                f"day {number + 1}: {len(published):,} readings,"
                f" {last.resident_mb:.1f} MB, {last.files} files"
            )
        for lot in lots:
            site.wait_until_judged(lot, day.PATIENCE_S)
        with site.journal() as journal:
            wait_for(
                lambda: journal.counts().readings >= len(published), "every reading"
            )
            kept = compared(published, journal.readings(day.NAMES, 0, 1 << 62))
        events = [_judged(site, lot, published) for lot in lots]
        over.set()
        watching.join()
    first_ms = seen[0].at_ms
    warm = [one for one in seen if one.at_ms >= first_ms + DAY_MS] or seen
    return Soaked(
        days,
        *kept,
        events=next((word for word in events if word != "equal"), "equal"),
        resident_mb=(warm[0].resident_mb, warm[-1].resident_mb),
        mb_a_day=slope([(one.at_ms / DAY_MS, one.resident_mb) for one in warm]),
        files=(warm[0].files, warm[-1].files),
        files_a_day=slope([(one.at_ms / DAY_MS, one.files) for one in warm]),
    )


def slope(points: Sequence[tuple[float, float]]) -> float:
    """The slope of the straight line of least squares through the points."""
    count = len(points)
    if count < 2:
        return 0.0
    x_mean = sum(x for x, _ in points) / count
    y_mean = sum(y for _, y in points) / count
    spread = sum((x - x_mean) ** 2 for x, _ in points)
    return sum((x - x_mean) * (y - y_mean) for x, y in points) / spread


def _a_day(number: int) -> Script:
    script = long_day(BEGINS_MS + number * DAY_MS, EVERY_MS, seed=number)
    *steps, cooler = script.steps
    samples = list(simulate(replace(script, steps=tuple(steps))))
    spent_ms = samples[-1].at_ms - script.begins_ms
    rest = replace(cooler, lasts_ms=DAY_MS - spent_ms)
    return replace(script, steps=(*steps, rest))


def _judged(site: day.FaultSite, lot: str, published: Sequence[Reading]) -> str:
    events = [noticed.event for noticed in site.events(lot)]
    return events_against(events, undisturbed(site, lot, published).events)


def _watch(site: day.FaultSite, seen: list[Seen], over: threading.Event) -> None:
    """Look at the daemon's process once a simulated hour."""
    assert site.process is not None
    place = Path(f"/proc/{site.process.pid}")
    while True:
        status = (place / "status").read_text()
        line = next(one for one in status.splitlines() if one.startswith("VmRSS"))
        files = len(list((place / "fd").iterdir()))
        seen.append(Seen(site.clock.now_ms(), int(line.split()[1]) / 1024, files))
        if over.wait(HOUR_MS / TIMES / 1000):
            return
