"""The only file that asks what time it is.

Everything else is handed a ``Clock`` and passes its answers on as values.  A paced
clock is an invented one for demonstrations: it begins where its settings say and
runs so many times as fast as a wall clock.  Given the real moment at which it
began (``since_ms``), it shows the same time in every process and after a restart.

Units: ``_ms`` milliseconds; ``now_ms`` counts them from 1970-01-01T00:00:00Z,
``monotonic_ms`` from any moment, always at the pace of a real clock, never back.
"""

import time
from typing import NamedTuple


class Pace(NamedTuple):
    """An invented clock: where it begins, how fast it runs, when it was started."""

    begins_ms: int
    times: int
    since_ms: int = 0  # real time at which it began; 0: when the program starts


class Clock:
    """The machine's clocks."""

    def now_ms(self) -> int:
        """The time of day in UTC; it can step when the machine's clock is set."""
        return time.time_ns() // 1_000_000

    def monotonic_ms(self) -> int:
        """A count that never steps, for measuring how long something lasts."""
        return time.monotonic_ns() // 1_000_000


class PacedClock(Clock):
    """A clock that tells an invented time of day and never steps."""

    def __init__(self, pace: Pace) -> None:
        """Begin now, or take up where a clock begun at ``since_ms`` has come to."""
        self._pace = pace
        self._zero_ms = self.monotonic_ms()
        if pace.since_ms:
            self._zero_ms -= super().now_ms() - pace.since_ms

    def now_ms(self) -> int:
        """The invented time of day."""
        passed_ms = self.monotonic_ms() - self._zero_ms
        return self._pace.begins_ms + passed_ms * self._pace.times


def clock_of(pace: Pace | None) -> Clock:
    """The clock that the settings ask for."""
    return PacedClock(pace) if pace else Clock()
