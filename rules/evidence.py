"""What one channel's readings allow to be true, piece by piece.

Three kinds of piece cover a channel's time without a gap:

* ``Span``: the readings at both ends are joined (no reading is missing between
  them), so all that lies between is taken to lie within the lower and the upper of
  the two, each widened by its uncertainty.  A span of no length is one reading.
* ``Hole``: nothing is known.  It earns no credit and may hold any risk.  A hole
  that lasts is told in pieces, as time passes.
* ``Bridge``: a hole is over; how low and how high the truth can have gone in it,
  since nothing a probe sits in changes faster than ``FASTEST_MC_PER_S``.  It is
  told beside the hole's own pieces, and serves the most favourable truth only.

Taking a reading out of a series, or widening its uncertainty, can only widen the
pieces: the reading's two spans become one hole.
"""

from typing import NamedTuple

from rules.channels import Channel
from rules.facts import Reading

# No source: an engineering bound, far above what a sausage, a smokehouse or a
# probe in a bath can do; it only keeps a lost reading from excusing a missed limit.
FASTEST_MC_PER_S = 1_000


class Span(NamedTuple):
    """From one reading to the next one joined to it; or one reading alone."""

    from_ms: int
    to_ms: int
    low_mc: int
    high_mc: int


class Hole(NamedTuple):
    """A piece of time of which nothing is known."""

    from_ms: int
    to_ms: int


class Bridge(NamedTuple):
    """A hole that is over, and the extremes that can have been reached in it."""

    from_ms: int
    to_ms: int
    low_mc: int
    high_mc: int


Piece = Span | Hole | Bridge


class Sight(NamedTuple):
    """What is remembered of one channel between two facts."""

    seen: bool  # at least one reading was evidence
    at_ms: int  # of the last such reading, or when the cook was opened
    low_mc: int
    high_mc: int
    front_ms: int  # the pieces told reach to here
    quiet: bool
    settles_ms: int = 0  # what it says before this is no evidence: moved, or not cold
    cold_first: bool = False  # it has to be seen cold before it is believed
    hot_told: bool = False  # and that it was not is told

    @property
    def since_ms(self) -> int:
        """From when silence counts."""
        return max(self.at_ms, self.settles_ms)


def opened(at_ms: int) -> Sight:
    """The sight of a channel that has not spoken since ``at_ms``."""
    return Sight(False, at_ms, 0, 0, at_ms, quiet=False)


def heard(
    channel: Channel, sight: Sight, reading: Reading
) -> tuple[Sight, list[Piece]]:
    """Take one reading that is evidence; answer the pieces it completes."""
    at_ms = reading.at_ms
    low_mc = reading.value_mc - reading.uncertainty_mc
    high_mc = reading.value_mc + reading.uncertainty_mc
    pieces: list[Piece] = []
    if sight.seen and at_ms - sight.at_ms <= channel.joined_ms:
        low, high = min(sight.low_mc, low_mc), max(sight.high_mc, high_mc)
        pieces.append(Span(sight.at_ms, at_ms, low, high))
    elif at_ms > sight.at_ms:
        if at_ms > sight.front_ms:
            pieces.append(Hole(sight.front_ms, at_ms))
        pieces.append(_bridge(sight, at_ms, low_mc, high_mc))
    pieces.append(Span(at_ms, at_ms, low_mc, high_mc))
    return Sight(True, at_ms, low_mc, high_mc, at_ms, quiet=False), pieces


def passed(channel: Channel, sight: Sight, at_ms: int) -> tuple[Sight, list[Piece]]:
    """Let time pass with no reading; answer the piece of hole that is certain."""
    waits = sight.seen and at_ms - sight.at_ms <= channel.joined_ms
    if waits or at_ms <= sight.front_ms:
        return sight, []
    return sight._replace(front_ms=at_ms), [Hole(sight.front_ms, at_ms)]


def one_sided(sight: Sight, at_ms: int) -> Bridge:
    """The bridge over a hole that is cut off before it is over."""
    reach_mc = (at_ms - sight.at_ms) * FASTEST_MC_PER_S // 1000
    if not sight.seen:
        return Bridge(sight.at_ms, at_ms, -_ANYTHING_MC, _ANYTHING_MC)
    low, high = sight.low_mc - reach_mc, sight.high_mc + reach_mc
    return Bridge(sight.at_ms, at_ms, low, high)


_ANYTHING_MC = 1 << 40


def _bridge(sight: Sight, at_ms: int, low_mc: int, high_mc: int) -> Bridge:
    reach_mc = (at_ms - sight.at_ms) * FASTEST_MC_PER_S // 1000
    if not sight.seen:
        return Bridge(sight.at_ms, at_ms, low_mc - reach_mc, high_mc + reach_mc)
    # The two cones of what can be reached from either end meet in between.
    low = (sight.low_mc + low_mc - reach_mc) // 2
    high = -((-sight.high_mc - high_mc - reach_mc) // 2)
    return Bridge(
        sight.at_ms,
        at_ms,
        min(low, sight.low_mc, low_mc),
        max(high, sight.high_mc, high_mc),
    )
