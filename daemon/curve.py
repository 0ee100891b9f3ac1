"""The recent past of each channel, small enough to keep in memory and to draw.

A ``Curve`` cuts time into pieces of equal width and keeps of each the lowest and
the highest reading, so that no spike is lost however coarse the drawing, and the
longest hole, so that none is drawn over.

Rule: a curve is for looking at.  No limit is judged by it.

Units: ``_mc`` and ``_ms`` as in ``rules.facts``.
"""

from collections import OrderedDict
from dataclasses import dataclass
from typing import NamedTuple

from rules.channels import Channel
from rules.facts import Reading

RECENT_MS = 12 * 3_600_000
PIECES = 240  # of three minutes each; a phone has about as many columns


class Piece(NamedTuple):
    """What a channel gave within one slice of time."""

    from_ms: int  # the first reading in it
    to_ms: int  # the last
    low_mc: int
    high_mc: int
    hole_ms: int  # the longest hole that ended in it; 0 where all were joined


@dataclass(frozen=True, slots=True)
class CurveView:
    """The pieces of one channel, oldest first."""

    channel: str
    joined_ms: int  # readings farther apart have a hole between them
    pieces: tuple[Piece, ...]


class Curve:
    """A bounded memory of one channel's readings, fed in the order of time."""

    def __init__(
        self, channel: Channel, recent_ms: int = RECENT_MS, pieces: int = PIECES
    ) -> None:
        """Remember the last ``recent_ms`` in at most ``pieces`` pieces."""
        self._channel = channel
        self._width_ms = -(-recent_ms // pieces)
        self._most = pieces
        self._pieces: OrderedDict[int, Piece] = OrderedDict()
        self._last_ms = 0
        self._view: CurveView | None = None

    def add(self, reading: Reading) -> None:
        """Take one reading; one that is older than the last is left out."""
        if reading.at_ms < self._last_ms:
            return
        slot = reading.at_ms // self._width_ms
        gap_ms = reading.at_ms - self._last_ms if self._last_ms else 0
        hole_ms = gap_ms if gap_ms > self._channel.joined_ms else 0
        before = self._pieces.get(slot)
        if before is None:
            at_ms, value_mc = reading.at_ms, reading.value_mc
            self._pieces[slot] = Piece(at_ms, at_ms, value_mc, value_mc, hole_ms)
        else:
            self._pieces[slot] = Piece(
                before.from_ms,
                reading.at_ms,
                min(before.low_mc, reading.value_mc),
                max(before.high_mc, reading.value_mc),
                max(before.hole_ms, hole_ms),
            )
        self._last_ms = reading.at_ms
        self._forget_before(slot)
        self._view = None

    def view(self) -> CurveView:
        """The curve as it stands, frozen; the same value until a reading comes."""
        if self._view is None:
            self._view = CurveView(
                self._channel.name,
                self._channel.joined_ms,
                tuple(self._pieces.values()),
            )
        return self._view

    def _forget_before(self, slot: int) -> None:
        while next(iter(self._pieces)) <= slot - self._most:
            self._pieces.popitem(last=False)
