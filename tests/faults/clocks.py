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
AT_MIN, LASTS_MIN = 15, 20  # when the clock steps first, and for how long
OFF_MIN, OFF_FOR_MIN, UNSET_MIN = 13, 8, 5  # when a board is off, and then unset


def steps(folder: Path, times: int) -> Row:
    """The clock steps in the middle of a cook, and is put right 20 minutes later."""
    words = list(STEPS) * times
    return together(
        _step(folder / str(number), STEPS[word], AT_MIN + number)
        for number, word in enumerate(words[:times])
    )


def _step(folder: Path, step_ms: int, at_min: int) -> Row:
    with inside(folder) as site:
        site.start()
        site.begin()
        for number, samples in enumerate(site.samples()):
            if number == at_min:
                site.board.board_ms += step_ms
            if number == at_min + LASTS_MIN:
                site.board.board_ms -= step_ms
            site.minute(samples)
        remarks = _unlike(site, ["stepped", "reporting"])
        return site.finish("clock stepped", 1, remarks)


def from_1970(folder: Path, times: int) -> Row:
    """The board is off for some minutes and starts in 1970, its clock is set later."""
    return together(_from_1970(folder / str(n), OFF_MIN + n) for n in range(times))


def _from_1970(folder: Path, off_min: int) -> Row:
    on_min, set_min = off_min + OFF_FOR_MIN, off_min + OFF_FOR_MIN + UNSET_MIN
    with inside(folder) as site:
        site.start()
        site.begin()
        for number, samples in enumerate(site.samples()):
            if number == off_min:
                site.stop()
            if number == on_min:
                site.board.board_ms, site.board.count_ms = 20_000, 20_000
                site.start()
            if number == set_min:
                site.board.board_ms = site.true_ms
            if off_min <= number < on_min:
                # Nobody can date a bare number that waits in the broker, so the
                # chamber's probe is off too; the others date what they send.
                samples = [one for one in samples if one.channel != "chamber"]
            site.minute(samples, undated=on_min <= number <= set_min)
        remarks = _unlike(site, ["unset", "reporting"])
        return site.finish("clock set from 1970", 1, remarks)


def _unlike(site: Inside, words: list[str]) -> list[str]:
    """What was said of the clock, where it was not just that."""
    with Journals(site.settings.journal) as journal:
        events = [noticed.event for noticed in journal.events("")]
    said = [event.now for event in events if event.name == "clock"]
    return [] if said == words else [f"said of the clock: {said}, not {words}"]
