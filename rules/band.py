"""Limit: a channel stays inside a band, short excursions aside.

An excursion is counted twice: from when the channel *may* have been outside (the
least favourable truth; a hole counts) and from when it *must* have been.  After half
of the grace time the limit is at risk; when the first count passes the grace time
nothing proves the limit any more, and when the second does there is a deviation.
Back inside, the limit stands within again; what happened decides the verdict.

Rule 1: every passage between standings is in ``NEXT``, in this file.
Rule 2: a move carries the time at which it became true; there is no clock here.

The band is not judged until the channel first came into it, or until the settling
time is over: the first count begins when it may have come into it, the second when it
surely has.
"""

from enum import StrEnum
from typing import Annotated, Literal, NamedTuple

from pydantic import Field

from rules.evidence import Bridge, Piece, Span
from rules.facts import Standing, Verdict
from rules.limit import Limit, Move, Opening, Shown
from rules.time_between import Band, band
from rules.units import Duration, say_mc, say_ms

WAITING, WITHIN, AT_RISK, DEVIATION, MET, MISSED, UNPROVEN = Standing

# No source: an everyday allowance for a burner's cycle, a door and new fuel.  It is for
# the chamber of a stage only: a limit that somebody writes has the grace written there.
GRACE_MS = 600_000
NONE_MS = -1


class Signal(StrEnum):
    """What can happen to the band; of one moment's, the first acts first."""

    LOST = "it must have been outside for longer than the grace time"
    DOUBTED = "it may have been"
    LONG = "it may have been outside for half of it"
    INSIDE = "surely inside"


LOST, DOUBTED, LONG, INSIDE = Signal
FIRST = {signal: place for place, signal in enumerate(Signal)}

NEXT = {
    (WITHIN, LONG): AT_RISK,
    (WITHIN, DOUBTED): UNPROVEN,
    (WITHIN, LOST): DEVIATION,
    (WITHIN, INSIDE): WITHIN,
    (AT_RISK, LONG): AT_RISK,
    (AT_RISK, DOUBTED): UNPROVEN,
    (AT_RISK, LOST): DEVIATION,
    (AT_RISK, INSIDE): WITHIN,
    (UNPROVEN, LONG): UNPROVEN,
    (UNPROVEN, DOUBTED): UNPROVEN,
    (UNPROVEN, LOST): DEVIATION,
    (UNPROVEN, INSIDE): WITHIN,
    (DEVIATION, LONG): DEVIATION,
    (DEVIATION, DOUBTED): DEVIATION,
    (DEVIATION, LOST): DEVIATION,
    (DEVIATION, INSIDE): WITHIN,
}


class State(NamedTuple):
    """All that is remembered between two pieces of evidence."""

    standing: Standing
    since_ms: int
    may_arm_ms: int  # it may have come into the band: counted from here on
    armed_ms: int  # it surely has
    may_ms: int  # it may have been outside since; NONE_MS inside
    must_ms: int  # it must have been outside since
    longest_may_ms: int
    longest_must_ms: int
    doubted: bool  # an excursion may have passed the grace time
    lost: bool  # one must have
    front_ms: int
    over: bool


class Bounded(Limit):
    """What a band and a hold share: one or two bounds, and short excursions."""

    settle_ms: Duration = Field(default=0, alias="settle")
    grace_ms: Duration = Field(default=0, alias="grace")

    @property
    def bounds(self) -> tuple[int | None, int | None]:
        """The lower and the upper bound in ``mc``; None where there is none."""
        raise NotImplementedError

    @property
    def levels_mc(self) -> tuple[int, ...]:
        """The bounds there are."""
        return tuple(one for one in self.bounds if one is not None)

    @property
    def required_words(self) -> str:
        """What the limit asks, in words for a person."""
        if not self.grace_ms:
            return self._inside
        return f"{self._inside}, outside for no longer than {say_ms(self.grace_ms)}"

    @property
    def _inside(self) -> str:
        low, high = self.bounds
        if low is None:
            return f"at or below {say_mc(high or 0)}"
        if high is None:
            return f"at or above {say_mc(low)}"
        return f"{say_mc(low)} to {say_mc(high)}"

    def opened(self, opening: Opening) -> State:
        """Not judged until it is inside or the settling time is over."""
        at_ms = opening.at_ms
        armed_ms = at_ms + self.settle_ms
        return State(
            standing=WITHIN,
            since_ms=at_ms,
            may_arm_ms=armed_ms,
            armed_ms=armed_ms,
            may_ms=NONE_MS,
            must_ms=NONE_MS,
            longest_may_ms=0,
            longest_must_ms=0,
            doubted=False,
            lost=False,
            front_ms=at_ms,
            over=False,
        )

    def step(self, state: State, piece: Piece) -> tuple[State, list[Move]]:
        """Count one piece of evidence."""
        if isinstance(piece, Bridge):
            return self._bridged(state, piece)
        may, must = True, False
        if isinstance(piece, Span):
            may, must = self._outside(piece)
        from_ms, to_ms = piece.from_ms, piece.to_ms
        if state.front_ms < from_ms:  # it was not judged in between
            state = state._replace(may_ms=NONE_MS, must_ms=NONE_MS)
        if isinstance(piece, Span) and not must:
            state = state._replace(may_arm_ms=min(state.may_arm_ms, from_ms))
        if not may:
            state = state._replace(armed_ms=min(state.armed_ms, from_ms))
        may = may and state.may_arm_ms <= to_ms
        must = must and state.armed_ms <= to_ms
        return self._counted(state, from_ms, to_ms, may=may, must=must)

    def marks(self, state: State) -> tuple[int, ...] | None:
        """The bounds."""
        return tuple(mc for mc in self.bounds if mc is not None)

    def over(self, state: State, at_ms: int) -> tuple[State, list[Move]]:
        """The longest excursions decide."""
        was, now = state.standing, self._final(state)
        state = state._replace(standing=now, since_ms=at_ms, over=True)
        moves = [Move(at_ms, "", was, now, self._why(state))] if now is not was else []
        return state, moves

    def findings(self, state: State) -> list[Shown]:
        """The longest excursion under either truth."""
        verdict = Verdict(state.standing.value) if state.over else Verdict.RUNNING
        if self._final(state) is MISSED:
            verdict = Verdict.MISSED
        figures = (self.grace_ms, state.longest_may_ms, state.longest_must_ms)
        lose_ms = 0
        if state.standing is AT_RISK and state.may_ms != NONE_MS:
            lose_ms = state.may_ms + self.grace_ms
        head = (state.standing, verdict, state.since_ms)
        return [Shown("", *head, "ms", *figures, self._why(state), lose_ms)]

    def _final(self, state: State) -> Standing:
        if state.lost:
            return MISSED
        settling = state.front_ms <= state.armed_ms
        return UNPROVEN if state.doubted or settling else MET

    def _bridged(self, state: State, bridge: Bridge) -> tuple[State, list[Move]]:
        """In a hole it may have come into the band, and left it at once."""
        _, must = self._outside(bridge)
        from_ms, to_ms = bridge.from_ms, bridge.to_ms
        if must or state.may_arm_ms <= from_ms:
            return state, []
        state = state._replace(may_arm_ms=from_ms, may_ms=from_ms, front_ms=from_ms)
        return self._counted(state, from_ms, to_ms, may=True, must=False)

    def _outside(self, piece: Span | Bridge) -> tuple[bool, bool]:
        low, high = self.bounds
        below_may = low is not None and piece.low_mc < low
        below_must = low is not None and piece.high_mc < low
        above_may = high is not None and piece.high_mc > high
        above_must = high is not None and piece.low_mc > high
        return below_may or above_may, below_must or above_must

    def _counted(
        self, state: State, from_ms: int, to_ms: int, *, may: bool, must: bool
    ) -> tuple[State, list[Move]]:
        signals: list[tuple[int, Signal]] = []
        may_ms, must_ms = state.may_ms, state.must_ms
        if may_ms == NONE_MS:
            may_ms = max(from_ms, state.may_arm_ms)
        if must_ms == NONE_MS:
            must_ms = max(from_ms, state.armed_ms)
        if not may:
            signals.append((from_ms, INSIDE))
            may_ms = NONE_MS
        else:
            half_ms = self.grace_ms // 2
            signals += _passed(may_ms, half_ms, state.front_ms, to_ms, LONG)
            signals += _passed(may_ms, self.grace_ms, state.front_ms, to_ms, DOUBTED)
        if not must:
            must_ms = NONE_MS
        else:
            signals += _passed(must_ms, self.grace_ms, state.front_ms, to_ms, LOST)
        longest_may_ms = max(state.longest_may_ms, to_ms - may_ms if may else 0)
        longest_must_ms = max(state.longest_must_ms, to_ms - must_ms if must else 0)
        found = {signal for _, signal in signals}
        state = state._replace(
            may_ms=may_ms,
            must_ms=must_ms,
            longest_may_ms=longest_may_ms,
            longest_must_ms=longest_must_ms,
            doubted=state.doubted or DOUBTED in found,
            lost=state.lost or LOST in found,
            front_ms=to_ms,
        )
        return self._moved(state, signals)

    def _moved(
        self, state: State, signals: list[tuple[int, Signal]]
    ) -> tuple[State, list[Move]]:
        moves = []
        standing, since_ms = state.standing, state.since_ms
        for at_ms, signal in sorted(signals, key=lambda one: (one[0], FIRST[one[1]])):
            after = NEXT[standing, signal]
            if after is not standing:
                at_ms = max(at_ms, since_ms)  # a bridge tells of what has been
                moves.append(Move(at_ms, "", standing, after, self._says(after)))
                standing, since_ms = after, at_ms
        return state._replace(standing=standing, since_ms=since_ms), moves

    def _says(self, standing: Standing) -> str:
        half, grace = say_ms(self.grace_ms // 2), say_ms(self.grace_ms)
        return {
            WITHIN: f"is {self._inside} again",
            AT_RISK: f"may not have been {self._inside} for {half}",
            UNPROVEN: f"may not have been {self._inside} for longer than {grace}",
            DEVIATION: f"was not {self._inside} for longer than {grace}",
        }[standing]

    def _why(self, state: State) -> str:
        if state.over and state.front_ms <= state.armed_ms:
            return self._unsettled()
        may, must = say_ms(state.longest_may_ms), say_ms(state.longest_must_ms)
        if state.lost and not state.longest_must_ms:  # at one reading, with no grace
            must = "a moment"
        most = may if may == must else f"between {must} and {may}"
        allowed = say_ms(self.grace_ms) if self.grace_ms else "none"
        return f"{self._inside}: longest outside {most}; {allowed} allowed"

    def _unsettled(self) -> str:
        if not self.settle_ms:
            return f"{self._inside}: nothing was shown during its stages"
        settle = say_ms(self.settle_ms)
        ended = f"its stages ended before it had settled; {settle} to settle allowed"
        return f"{self._inside}: not judged, {ended}"


def _passed(
    since_ms: int, mark_ms: int, front_ms: int, to_ms: int, signal: Signal
) -> list[tuple[int, Signal]]:
    """The signal, if the count from ``since_ms`` passes the mark in this piece.

    With no grace at all, one reading outside is enough.
    """
    at_ms = since_ms + mark_ms
    passed = front_ms <= at_ms < to_ms or (not mark_ms and at_ms == to_ms)
    return [(at_ms, signal)] if passed else []


class BandLimit(Bounded):
    """Inside a lower and an upper bound."""

    kind: Literal["band"]
    within: Annotated[Band, band("to")]

    @property
    def bounds(self) -> tuple[int | None, int | None]:
        """Both ends of the band."""
        return self.within
