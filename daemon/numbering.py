"""The numbers that a board gives its samples: what never came is said, not guessed.

A publisher counts the samples of each record (``probes.pack``).  The count is kept in
the journal as a series of its own, so a hole is found again after a restart: the last
``RECALL_MS`` are folded again, and the same hole gives the same event, which is kept
once.

Rule: a hole is said when the horizon has passed the sample behind it; what comes then
would be too late to be evidence.  It is no trouble by itself, for a hole that matters
is judged as one, and nobody is woken by it.

Units: ``_ms`` as in ``rules.facts``.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from probes.contract import NUMBER_STEP, is_numbers
from rules.alerts import MISSING
from rules.facts import Event, Reading, Subject

RECALL_MS = 2 * 3_600_000


@dataclass(slots=True)
class Hole:
    """Samples that are not there (yet), and the time of the one that came after."""

    first: int
    last: int
    at_ms: int
    came: int = 0  # of them, later


class Numbering:
    """The newest number of every series, and the holes that may still be filled."""

    def __init__(self) -> None:
        """Begin with nothing heard."""
        self._newest: dict[str, Reading] = {}
        self._holes: dict[str, list[Hole]] = {}

    def take(self, readings: Iterable[Reading]) -> None:
        """Take in what is new to the journal; only numbers count."""
        for reading in readings:
            if is_numbers(reading.channel):
                self._take(reading)

    def missing(self, horizon_ms: int) -> list[Event]:
        """What will never come now, each hole once."""
        events = []
        for name, holes in self._holes.items():
            for hole in [one for one in holes if one.at_ms < horizon_ms]:
                holes.remove(hole)
                if lost := hole.last - hole.first + 1 - hole.came:
                    events.append(_missing(name, hole, lost))
        return events

    def _take(self, reading: Reading) -> None:
        name, number = reading.channel, _number(reading)
        before = self._newest.get(name)
        if before is None or reading.at_ms > before.at_ms:
            self._newest[name] = reading
            if before and number > _number(before) + 1:
                hole = Hole(_number(before) + 1, number - 1, reading.at_ms)
                self._holes.setdefault(name, []).append(hole)
            return
        for hole in self._holes.get(name, ()):
            hole.came += hole.first <= number <= hole.last


def _number(reading: Reading) -> int:
    return reading.value_mc // NUMBER_STEP


def _missing(name: str, hole: Hole, lost: int) -> Event:
    of = f"{hole.first} to {hole.last}" if hole.last > hole.first else str(hole.first)
    why = f"{lost} of the samples numbered {of} never came from the board"
    return Event(hole.at_ms, Subject.CHANNEL, name, "", "reporting", MISSING, why)
