"""A board whose clock steps while a cook goes on, and one that starts in 1970.

The probes of the cores have clocks of their own and are right; the chamber's sends
bare numbers that only our clock can date.  Whatever the board's clock does, the
journal must hold what the probes published, at the times at which it was true.
"""

from pathlib import Path

from tests.faults.inside import Inside, Journals, inside
from tests.faults.row import Row, together

MINUTE_MS, HOUR_MS, DAY_MS = 60_000, 3_600_000, 86_400_000
STEPS = {"+1 h": HOUR_MS, "-1 h": -HOUR_MS, "+1 day": DAY_MS, "-1 day": -DAY_MS}
AT_MIN, BACK_MIN = 25, 45  # when the clock steps, and when it is put right
OFF_MIN, SET_MIN = 33, 38  # when a board that was off starts, and when it is set


def steps(folder: Path, which: tuple[str, ...] = tuple(STEPS)) -> Row:
    """The clock steps in the middle of a cook, and is put right 20 minutes later."""
    return together(_step(folder / word, STEPS[word]) for word in which)


def _step(folder: Path, step_ms: int) -> Row:
    with inside(folder) as site:
        site.start()
        site.begin()
        for number, samples in enumerate(site.samples()):
            if number == AT_MIN:
                site.board.board_ms += step_ms
            if number == BACK_MIN:
                site.board.board_ms -= step_ms
            site.minute(samples)
        remarks = _unlike(site, ["stepped", "reporting"])
        return site.finish("clock stepped", 1, remarks)


def from_1970(folder: Path) -> Row:
    """The board is off for some minutes and starts in 1970, its clock is set later."""
    with inside(folder) as site:
        site.start()
        site.begin()
        for number, samples in enumerate(site.samples()):
            if number == AT_MIN:
                site.stop()
            if number == OFF_MIN:
                site.board.board_ms, site.board.count_ms = 20_000, 20_000
                site.start()
            if number == SET_MIN:
                site.board.board_ms = site.true_ms
            if AT_MIN <= number < OFF_MIN:
                # Nobody can date a bare number that waits in the broker, so the
                # chamber's probe is off too; the others date what they send.
                samples = [one for one in samples if one.channel != "chamber"]
            site.minute(samples, undated=OFF_MIN <= number <= SET_MIN)
        remarks = _unlike(site, ["unset", "reporting"])
        return site.finish("clock set from 1970", 1, remarks)


def _unlike(site: Inside, words: list[str]) -> list[str]:
    """What was said of the clock, where it was not just that."""
    with Journals(site.settings.journal) as journal:
        events = [noticed.event for noticed in journal.events("")]
    said = [event.now for event in events if event.name == "clock"]
    return [] if said == words else [f"said of the clock: {said}, not {words}"]
