"""Limit: how much a channel changes within a length of time, at the most or the least.

A chamber that rises by at most 6 K in any 30 min, a core that falls by at least 5 K in
every hour while it is between two temperatures.  What is compared are the two ends of
a window that slides over the stages of the limit; stages between them count.

The time is cut into bins, ``BINS`` to a window, from the beginning of the first stage
on, whatever readings there are.  Of each bin the lowest and the highest that the truth
can have been are kept, so a window that begins anywhere in one bin and ends in the one
a window later changed by no more and no less than those allow.  A bin with a hole in
it can have been anything.  So both bounds are a little wider than the readings: by
what the channel changes within one bin, or within one of its periods.

With no window surely inside, nothing is proven.

Units: ``_mc`` thousandths of a degree, or of a difference; ``_ms`` milliseconds.
"""

from enum import StrEnum
from functools import cached_property
from typing import Annotated, Literal, NamedTuple

from pydantic import Field, model_validator

from rules.evidence import Bridge, Hole, Piece, Span
from rules.facts import Standing
from rules.limit import Limit, Move, Opening, Shown, verdict
from rules.time_between import Band, band
from rules.units import Difference, Duration, refused, say_k, say_mc, say_ms

BINS = 50
ANYTHING_MC = 1_000_000  # more than anything in the trade can change by
WITHIN, MET, MISSED, UNPROVEN = (
    Standing.WITHIN,
    Standing.MET,
    Standing.MISSED,
    Standing.UNPROVEN,
)


class Signal(StrEnum):
    """What can happen to a rate; of one moment's, the first acts first."""

    LOST = "a window must have changed by more"
    DOUBTED = "one may have"
    DONE = "its stages are over, and a window was surely inside"
    OVER = "its stages are over, and none was"


LOST, DOUBTED, DONE, OVER = Signal

NEXT = {
    (WITHIN, LOST): MISSED,
    (WITHIN, DOUBTED): UNPROVEN,
    (WITHIN, DONE): MET,
    (WITHIN, OVER): UNPROVEN,
    (UNPROVEN, LOST): MISSED,
    (UNPROVEN, DOUBTED): UNPROVEN,
    (UNPROVEN, DONE): UNPROVEN,
    (UNPROVEN, OVER): UNPROVEN,
    (MISSED, LOST): MISSED,
    (MISSED, DOUBTED): MISSED,
    (MISSED, DONE): MISSED,
    (MISSED, OVER): MISSED,
}


class Bin(NamedTuple):
    """The lowest and the highest that the truth can have been for a while."""

    low_mc: int
    high_mc: int


NOTHING = Bin(ANYTHING_MC, -ANYTHING_MC)  # of no time at all
UNKNOWN = Bin(-ANYTHING_MC, ANYTHING_MC)


class State(NamedTuple):
    """All that is remembered between two pieces of evidence; changes as asked for."""

    standing: Standing
    since_ms: int
    begun_ms: int  # the bins are counted from here on
    ends_ms: int  # of the open bin
    front_ms: int
    bins: tuple[Bin, ...]  # the last ones of one window, the oldest first
    open: Bin
    may_mc: int  # the greatest that a window may have changed by; none: -ANYTHING
    must_mc: int  # the greatest that one surely did
    seen: bool  # a window was surely inside
    over: bool


class Asked(NamedTuple):
    """One of the four ways to say it."""

    key: str
    rises: bool
    at_most: bool
    by_mc: int


class RateLimit(Limit):
    """At most, or at least, so much in every window."""

    runs_through = True

    kind: Literal["rate"]
    over_ms: Duration = Field(alias="over", gt=0)
    rises_at_most_mc: Difference | None = Field(default=None, alias="rises at most")
    falls_at_most_mc: Difference | None = Field(default=None, alias="falls at most")
    rises_at_least_mc: Difference | None = Field(default=None, alias="rises at least")
    falls_at_least_mc: Difference | None = Field(default=None, alias="falls at least")
    between: Annotated[Band, band("and")] | None = None

    @model_validator(mode="after")
    def _whole(self) -> "RateLimit":
        if self.over_ms % 1000:
            right = "write whole seconds, for example: 30 min"
            raise refused(f"a window of {say_ms(self.over_ms)} is too fine", right)
        assert self.asked
        return self

    @cached_property
    def asked(self) -> Asked:
        """The one way in which it is said."""
        ways = (
            ("rises at most", True, True, self.rises_at_most_mc),
            ("falls at most", False, True, self.falls_at_most_mc),
            ("rises at least", True, False, self.rises_at_least_mc),
            ("falls at least", False, False, self.falls_at_least_mc),
        )
        said = [
            Asked(key, rises, at_most, by_mc)
            for key, rises, at_most, by_mc in ways
            if by_mc is not None
        ]
        if len(said) != 1:
            right = f"write one of: {', '.join(way[0] for way in ways)}"
            raise refused("a rate says one thing", right)
        return said[0]

    @property
    def counts_up(self) -> bool:
        """At most is used up, at least is reached."""
        return self.asked.at_most

    @property
    def required_words(self) -> str:
        """What the limit asks, in words for a person."""
        words = f"{self.asked.key} {say_k(self.asked.by_mc)} in {say_ms(self.over_ms)}"
        if self.between is None:
            return words
        low, high = self.between
        return f"{words} between {say_mc(low)} and {say_mc(high)}"

    @cached_property
    def _upwards(self) -> bool:
        # What falls by at least so much rises by at most minus so much.
        return self.asked.rises is self.asked.at_most

    @cached_property
    def _most_mc(self) -> int:
        return self.asked.by_mc if self.asked.at_most else -self.asked.by_mc

    @cached_property
    def _band(self) -> Bin:
        low, high = self.between or (1 - ANYTHING_MC, ANYTHING_MC - 1)
        return Bin(low, high) if self._upwards else Bin(-high, -low)

    def opened(self, opening: Opening) -> State:
        """No window is full."""
        return State(
            standing=WITHIN,
            since_ms=opening.at_ms,
            begun_ms=opening.at_ms,
            ends_ms=opening.at_ms + self._bin_ms,
            front_ms=opening.at_ms,
            bins=(),
            open=NOTHING,
            may_mc=-ANYTHING_MC,
            must_mc=-ANYTHING_MC,
            seen=False,
            over=False,
        )

    @property
    def _bin_ms(self) -> int:
        return self.over_ms // BINS

    def step(self, state: State, piece: Piece) -> tuple[State, list[Move]]:
        """Fill bins with one piece of evidence, and compare each with its partner."""
        from_ms, to_ms = piece.from_ms, piece.to_ms
        if isinstance(piece, Bridge) or from_ms == to_ms:
            return state, []
        if state.front_ms < from_ms:  # it was not judged in between
            ends_ms = from_ms + self._bin_ms
            state = state._replace(
                begun_ms=from_ms, ends_ms=ends_ms, bins=(), open=NOTHING
            )
        seen = UNKNOWN if isinstance(piece, Hole) else self._counted(piece)
        moves: list[Move] = []
        filled = 0
        while state.ends_ms <= to_ms:
            filled += 1
            if filled > 2 * BINS:  # more of the same changes nothing
                more = (to_ms - state.ends_ms) // self._bin_ms + 1
                state = state._replace(ends_ms=state.ends_ms + more * self._bin_ms)
                break
            state = state._replace(open=_around(state.open, seen))
            state, new = self._filled(state)
            moves += new
        if state.ends_ms - self._bin_ms < to_ms:
            state = state._replace(open=_around(state.open, seen))
        return state._replace(front_ms=to_ms), moves

    def over(self, state: State, at_ms: int) -> tuple[State, list[Move]]:
        """Met, if a window was surely inside and none may have been too much."""
        if state.front_ms == state.begun_ms + self.over_ms:  # there is one window
            state = state._replace(open=state.bins[-1])
        moves: list[Move] = []
        if state.open != NOTHING:
            state, moves = self._filled(state)
        state, new = self._moved(state, at_ms, [DONE if state.seen else OVER])
        return state._replace(over=True), [*moves, *new]

    def findings(self, state: State) -> list[Shown]:
        """The greatest change of a window, or the least, under either truth."""
        figures = self._figures(state)
        head = (state.standing, verdict(state.standing, over=state.over))
        why = self._why(state, *figures)
        asked = (self.asked.by_mc, *figures)
        return [Shown("", *head, state.since_ms, "mk", *asked, why)]

    def _counted(self, piece: Span) -> Bin:
        if self._upwards:
            return Bin(piece.low_mc, piece.high_mc)
        return Bin(-piece.high_mc, -piece.low_mc)

    def _filled(self, state: State) -> tuple[State, list[Move]]:
        """Compare the open bin with the one a window ago, and open the next."""
        bins, last, band_ = state.bins, state.open, self._band
        begun_ms = state.ends_ms - self._bin_ms
        first = bins[0] if len(bins) == BINS else None
        state = state._replace(
            bins=(*bins[-BINS + 1 :], last),
            open=NOTHING,
            ends_ms=state.ends_ms + self._bin_ms,
        )
        if first is None or not (_meets(first, band_) and _meets(last, band_)):
            return state, []
        unseen = last.high_mc == ANYTHING_MC  # whatever it rose from
        may_mc = ANYTHING_MC if unseen else last.high_mc - first.low_mc
        may_mc = min(may_mc, ANYTHING_MC)
        signals = [DOUBTED] if may_mc > self._most_mc else []
        state = state._replace(may_mc=max(state.may_mc, may_mc))
        if _inside(first, band_) and _inside(last, band_):
            must_mc = last.low_mc - first.high_mc
            signals = [LOST, *signals] if must_mc > self._most_mc else signals
            state = state._replace(must_mc=max(state.must_mc, must_mc), seen=True)
        return self._moved(state, begun_ms, signals)

    def _moved(
        self, state: State, at_ms: int, signals: list[Signal]
    ) -> tuple[State, list[Move]]:
        moves = []
        for signal in signals:
            was, now = state.standing, NEXT[state.standing, signal]
            if now is not was:
                at_ms = max(at_ms, state.since_ms)
                state = state._replace(standing=now, since_ms=at_ms)
                why = self._why(state, *self._figures(state))
                moves.append(Move(at_ms, "", was, now, why))
        return state, moves

    def _figures(self, state: State) -> tuple[int, int]:
        """Both bounds as they are said: by how much it rose, or fell, and no less."""
        least, most = state.may_mc, state.must_mc
        if self.asked.at_most:
            return max(least, 0), max(most, 0)
        asked_mc = self.asked.by_mc
        return (
            asked_mc if least == -ANYTHING_MC else max(-least, 0),
            asked_mc if most == -ANYTHING_MC else max(-most, 0),
        )

    def _why(self, state: State, least_mc: int, most_mc: int) -> str:
        asked, window = self.asked, say_ms(self.over_ms)
        fell = "rose" if asked.rises else "fell"
        bound = "allowed" if asked.at_most else "asked"
        if state.may_mc == -ANYTHING_MC:
            ever = "were never" if state.over else "are not yet"
            words = f"there {ever} readings enough over {window} to judge it"
        elif state.may_mc == ANYTHING_MC:
            gone = "risen" if asked.rises else "fallen"
            words = f"readings are missing: may have {gone} by any amount in {window}"
            words += f", {fell} by {say_k(most_mc)} at least" if state.seen else ""
        else:
            low, high = sorted((least_mc, most_mc))
            by = say_k(low) if low == high else f"{say_k(low)} to {say_k(high)}"
            if not state.seen:
                by = say_k(least_mc)
            words = f"{fell} by at {asked.key.split()[-1]} {by} in {window}"
        return f"{words}; {say_k(asked.by_mc)} {bound}"


def _around(one: Bin, other: Bin) -> Bin:
    return Bin(min(one.low_mc, other.low_mc), max(one.high_mc, other.high_mc))


def _meets(one: Bin, other: Bin) -> bool:
    return one.low_mc <= other.high_mc and one.high_mc >= other.low_mc


def _inside(one: Bin, other: Bin) -> bool:
    return other.low_mc <= one.low_mc and one.high_mc <= other.high_mc
