"""Limit: a channel comes to a temperature in time, and stays there for so long.

Smoked sausage down to 7 degC in 2 h, pork down to 4 degC in so many hours, a reheated
core at 165 degF for 15 s within 2 h.  The clock runs from the beginning of the first
stage that the limit is judged in (the first stage of all is loading), or since the
channel left another temperature.  It runs on through every stage until the last one,
and stops for good where the run begins that lasted for as long as is asked.

The time is counted twice: how long it may have taken, and how long it must have.  A
run asks to be sure from end to end; a hole ends it, and may hold one.  Where the
channel may have left its starting point before its stages began, the time since it
was last surely there counts as well; where no reading shows that, it is unknown.

What a cook never showed is ``unproven``, not missed: it may have got there later.

The allowance of ``rules.allowance`` is the time and the run in one: a run that began
in time is full within both.
"""

from functools import cached_property
from typing import Literal, NamedTuple

from pydantic import Field, model_validator

from rules import allowance
from rules.allowance import DONE, LOST, OVER, Signal, Used
from rules.evidence import Bridge, Hole, Piece, Span
from rules.facts import Standing
from rules.limit import Goal, Limit, Move, Opening, Shown, say_at
from rules.units import Duration, Temperature, refused, say_mc, say_ms

NONE_MS = -1
NEVER_MS = 1 << 62


class State(NamedTuple):
    """All that is remembered between two pieces of evidence."""

    used: Used
    begun_ms: int
    before_ms: int  # from when it was last surely at its start to then, or NONE_MS
    seen: bool  # a reading, or a bridge, has shown where it began
    may_have_begun: bool  # the clock may run
    has_begun: bool  # it surely does
    maybe_ms: int  # it may have been there since; NONE_MS where it cannot be there
    surely_ms: int  # it surely has
    may_be_shown: bool  # it may have been there for long enough
    shown: bool  # it surely was
    unknown: bool  # when it left its start is not shown
    hole_from_ms: int  # the last hole before that
    hole_to_ms: int


class Asked(NamedTuple):
    """Where it has to come to, for how long, and within which time."""

    rises: bool
    goal_mc: int
    run_ms: int
    at_most_ms: int

    def far(self, mc: int) -> int:
        """A temperature counted towards the goal: more is nearer, then beyond it."""
        return mc if self.rises else -mc

    @property
    def allowed_ms(self) -> int:
        """The time and the run in one."""
        return self.at_most_ms + self.run_ms

    def __str__(self) -> str:
        way = "or above" if self.rises else "or below"
        lasting = f" for {say_ms(self.run_ms)}" if self.run_ms else ""
        return f"{say_mc(self.goal_mc)} {way}{lasting}"


class Reaching(Limit):
    """What every limit has that asks for a temperature in time."""

    runs_through = True

    since_mc: Temperature | None = Field(default=None, alias="since leaving")

    @property
    def asked(self) -> Asked:
        """What is asked, whoever says so."""
        raise NotImplementedError

    @model_validator(mode="after")
    def _on_the_way(self) -> "Reaching":
        asked = self.asked
        if self.since_mc is not None and asked.far(self.since_mc) >= self._goal:
            found = f"{say_mc(self.since_mc)} is not on the way to {asked}"
            raise refused(found, "write the temperature that it comes from")
        return self

    @property
    def required_words(self) -> str:
        """What the limit asks, in words for a person."""
        since = "" if self.since_mc is None else f" of leaving {say_mc(self.since_mc)}"
        return f"{self.asked} within {say_ms(self.asked.at_most_ms)}{since}"

    @property
    def levels_mc(self) -> tuple[int, ...]:
        """Where it is to come."""
        return (self.asked.goal_mc,)

    @property
    def watched_mc(self) -> int | None:
        """Where its clock begins: it may have left there before."""
        return self.since_mc

    @property
    def watched_below(self) -> bool:
        """Whether it comes there from below."""
        return self.asked.rises

    @property
    def _goal(self) -> int:
        return self.asked.far(self.asked.goal_mc)

    def _ends(self, piece: Span | Bridge) -> tuple[int, int]:
        """The least and the most that it came towards the goal."""
        if self.asked.rises:
            return piece.low_mc, piece.high_mc
        return -piece.high_mc, -piece.low_mc

    def opened(self, opening: Opening) -> State:
        """The clock runs, unless it waits for a temperature to be left."""
        runs = self.since_mc is None
        before_ms = opening.at_ms - opening.hot_ms if opening.hot_ms else NONE_MS
        return State(
            used=allowance.opened(opening.at_ms),
            begun_ms=opening.at_ms,
            before_ms=before_ms,
            seen=runs,
            may_have_begun=runs,
            has_begun=runs,
            maybe_ms=NONE_MS,
            surely_ms=NONE_MS,
            may_be_shown=False,
            shown=False,
            unknown=False,
            hole_from_ms=0,
            hole_to_ms=0,
        )

    def step(self, state: State, piece: Piece) -> tuple[State, list[Move]]:
        """Let the clock run, and stop, over one piece of evidence."""
        if state.shown:
            return state, []
        signals: list[tuple[int, Signal]] = []
        if state.used.front_ms < piece.from_ms:  # it was not judged in between
            state, signals = self._dark(state, state.used.front_ms, piece.from_ms)
            state = state._replace(may_be_shown=True)
        if isinstance(piece, Hole):
            state, new = self._dark(state, piece.from_ms, piece.to_ms)
            return self._moved(_missing(state, piece), [*signals, *new])
        _, most = self._ends(piece)
        if self.since_mc is not None and most > self.asked.far(self.since_mc):
            if not state.seen:
                state, new = self._begun_before(state)
                signals += new
            state = state._replace(may_have_begun=True)
        state = state._replace(seen=True)
        if isinstance(piece, Bridge):
            state, new = self._bridged(state, piece)
        else:
            state, new = self._spanned(state, piece)
        return self._moved(state, [*signals, *new])

    def marks(self, state: State) -> tuple[int, ...]:
        """The goal, and where the clock begins, until it is there."""
        if state.shown:
            return ()
        return tuple(mc for mc in (self.asked.goal_mc, self.since_mc) if mc is not None)

    def over(self, state: State, at_ms: int) -> tuple[State, list[Move]]:
        """What was not shown by now stays unproven."""
        if state.shown:
            return state, []
        says = f"{self.asked} was never shown"
        used, moves = allowance.moved("", state.used, [(at_ms, OVER)], lambda _: says)
        return state._replace(used=used._replace(over=True, inside=False)), moves

    def goals(self, state: State) -> list[Goal]:
        """There in time, as long as it is not."""
        used = state.used
        left_ms = self.asked.allowed_ms - used.least_ms
        if state.shown or left_ms < 0:
            return []
        from_mc = self.asked.goal_mc if self.since_mc is None else self.since_mc
        runs_ms = used.front_ms if used.inside else 0
        held_ms = max(state.surely_ms, 0)
        clock = (from_mc, left_ms, runs_ms)
        return [
            Goal(
                "",
                self.asked.rises,
                self.asked.goal_mc,
                *clock,
                self.asked.run_ms,
                held_ms,
            )
        ]

    def foreseen(
        self, state: State, at_ms: int, part: str, why: str
    ) -> tuple[State, list[Move]]:
        """At risk as long as the forecast says that it will be too late."""
        used = state.used
        little = allowance.little(used, self.asked.allowed_ms, self.warn_ms)
        used, moves = allowance.foreseen(part, used, at_ms, why, little=little)
        return state._replace(used=used), moves

    def findings(self, state: State) -> list[Shown]:
        """The two counts against the time."""
        return [
            allowance.shown("", state.used, self.asked.allowed_ms, self._why(state))
        ]

    def _spanned(
        self, state: State, piece: Span
    ) -> tuple[State, list[tuple[int, Signal]]]:
        """Count up to where a run is full: the favourable clock stops there first."""
        from_ms, to_ms = piece.from_ms, piece.to_ms
        least, most = self._ends(piece)
        maybe_ms = _since(state.maybe_ms, from_ms, there=most >= self._goal)
        surely_ms = _since(state.surely_ms, from_ms, there=least >= self._goal)
        begun = self.since_mc is None or least > self.asked.far(self.since_mc)
        state = state._replace(
            has_begun=state.has_begun or begun, maybe_ms=maybe_ms, surely_ms=surely_ms
        )
        full_ms = min(self._full(surely_ms), to_ms)
        may_be_full_ms = min(self._full(maybe_ms), full_ms)
        if state.may_be_shown:
            may_be_full_ms = from_ms
        state, signals = self._counted(
            state, from_ms, may_be_full_ms, must=state.has_begun
        )
        state, new = self._counted(state, may_be_full_ms, full_ms, must=False)
        signals += new
        may_be_shown = state.may_be_shown or self._full(maybe_ms) <= to_ms
        state = state._replace(may_be_shown=may_be_shown)
        if self._full(surely_ms) <= to_ms:
            signals.append((full_ms, DONE))
            used = state.used._replace(inside=False, over=True)
            state = state._replace(used=used, shown=True)
        return state, signals

    def _bridged(
        self, state: State, bridge: Bridge
    ) -> tuple[State, list[tuple[int, Signal]]]:
        """Across a hole a run may have begun; what it surely took is counted now."""
        from_ms, to_ms, (_, most) = bridge.from_ms, bridge.to_ms, self._ends(bridge)
        maybe_ms = _since(state.maybe_ms, from_ms, there=most >= self._goal)
        counts = state.has_begun and not state.may_be_shown
        shown = state.may_be_shown or self._full(maybe_ms) <= to_ms
        state = state._replace(maybe_ms=maybe_ms, may_be_shown=shown)
        if not counts:
            return state, []
        used, signals = state.used, []
        to_ms = min(to_ms, self._full(maybe_ms))
        lost_ms = from_ms + self.asked.allowed_ms - used.most_ms
        if from_ms <= lost_ms < to_ms:
            signals.append((max(lost_ms, used.since_ms), LOST))
        used = used._replace(most_ms=used.most_ms + to_ms - from_ms)
        return state._replace(used=used), signals

    def _dark(
        self, state: State, from_ms: int, to_ms: int
    ) -> tuple[State, list[tuple[int, Signal]]]:
        state = state._replace(surely_ms=NONE_MS)
        began = state.may_have_begun
        state, signals = self._counted(
            state._replace(may_have_begun=True), from_ms, to_ms, must=False
        )
        return state._replace(may_have_begun=began), signals

    def _counted(
        self, state: State, from_ms: int, to_ms: int, *, must: bool
    ) -> tuple[State, list[tuple[int, Signal]]]:
        used, signals = allowance.counted(
            state.used._replace(front_ms=from_ms),
            self.asked.allowed_ms,
            self.warn_ms,
            to_ms,
            may=state.may_have_begun,
            must=must,
        )
        return state._replace(used=used), signals

    def _begun_before(self, state: State) -> tuple[State, list[tuple[int, Signal]]]:
        """Count the time before, of which nothing shows that it was at its start."""
        before_ms = state.before_ms
        if before_ms == NONE_MS:
            before_ms = self.asked.allowed_ms + 1
            state = state._replace(unknown=True)
        front_ms, since_ms = state.used.front_ms, state.used.since_ms
        state, signals = self._counted(
            state._replace(may_have_begun=True),
            state.begun_ms - before_ms,
            state.begun_ms,
            must=False,
        )
        state = state._replace(used=state.used._replace(front_ms=front_ms))
        # Nothing is told of a time before.
        return state, [(max(at_ms, since_ms), signal) for at_ms, signal in signals]

    def _full(self, since_ms: int) -> int:
        """When a run is full; never where there is none."""
        return NEVER_MS if since_ms == NONE_MS else since_ms + self.asked.run_ms

    def _moved(
        self, state: State, signals: list[tuple[int, Signal]]
    ) -> tuple[State, list[Move]]:
        used, moves = allowance.moved("", state.used, signals, self._says)
        return state._replace(used=used), moves

    def _says(self, standing: Standing) -> str:
        allowed = say_ms(self.asked.at_most_ms)
        return {
            Standing.AT_RISK: f"is not shown at {self.asked} yet, and no more than "
            f"{say_ms(self.warn_ms)} of {allowed} is left",
            Standing.UNPROVEN: f"is not shown at {self.asked} within {allowed}",
            Standing.MISSED: f"took longer than {allowed} to reach {self.asked}",
            Standing.MET: f"took no longer than {allowed} to reach {self.asked}",
        }.get(standing, f"is on its way to {self.asked}")

    def _why(self, state: State) -> str:
        used = state.used
        least, most = (
            max(ms - self.asked.run_ms, 0) if state.shown else ms
            for ms in (used.least_ms, used.most_ms)
        )
        took = say_ms(least) if least == most else f"{say_ms(most)} to {say_ms(least)}"
        left = state.unknown and self.since_mc is not None
        if left:  # of the least favourable count only the end is known
            took = f"{say_ms(most)} or more"
        if state.shown:
            words = f"took {took} to reach {self.asked}"
        else:
            words = f"{self.asked} is not shown after {took}"
        words += f"; {say_ms(self.asked.at_most_ms)} allowed"
        if left:
            words += f"; no reading shows when it left {say_mc(self.since_mc or 0)}"
        if not state.hole_to_ms:
            return words
        ends = f"{say_at(state.hole_from_ms)} to {say_at(state.hole_to_ms)}"
        return f"{words}; readings missing from {ends}"


class ReachWithin(Reaching):
    """At or above one temperature, or at or below one, as its author writes it."""

    kind: Literal["reach within"]
    at_or_above_mc: Temperature | None = Field(default=None, alias="at or above")
    at_or_below_mc: Temperature | None = Field(default=None, alias="at or below")
    run_ms: Duration = Field(default=0, alias="for")
    at_most_ms: Duration = Field(alias="at most", gt=0)

    @cached_property
    def asked(self) -> Asked:
        """The one end."""
        above_mc, below_mc = self.at_or_above_mc, self.at_or_below_mc
        if above_mc is not None and below_mc is None:
            return Asked(True, above_mc, self.run_ms, self.at_most_ms)
        if below_mc is not None and above_mc is None:
            return Asked(False, below_mc, self.run_ms, self.at_most_ms)
        right = "write either 'at or above' or 'at or below' with a temperature"
        raise refused("there is one temperature to reach", right)


def _since(since_ms: int, from_ms: int, *, there: bool) -> int:
    """Since when a run goes on, where it does."""
    if not there:
        return NONE_MS
    return from_ms if since_ms == NONE_MS else since_ms


def _missing(state: State, hole: Hole) -> State:
    """Remember the last hole as one, however it was told."""
    if hole.from_ms != state.hole_to_ms:
        state = state._replace(hole_from_ms=hole.from_ms)
    return state._replace(hole_to_ms=hole.to_ms)
