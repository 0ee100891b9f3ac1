"""Limit: the total time that a channel spends between two temperatures.

Written for come-up: the time between 50 and 130 degF, at most 6 h, counted from
loading even where the core was not yet measured, and added up over every stage it
is judged during.  The ends of the band belong to the outside.
"""

from typing import Annotated, Literal, NamedTuple

from pydantic import BeforeValidator, Field

from rules import allowance
from rules.allowance import DONE, OVER, Signal, Used
from rules.evidence import Bridge, Piece, Span
from rules.facts import Standing
from rules.limit import Goal, Limit, Move, Opening, Shown
from rules.units import Duration, refused, say_mc, say_ms, temperature


class Band(NamedTuple):
    """Two temperatures, the lower one first."""

    low_mc: int
    high_mc: int


def band(joint: str) -> BeforeValidator:
    """A validator for two temperatures with the word ``joint`` between them."""

    def read(text: object) -> Band:
        ends = str(text).split(f" {joint} ")
        if len(ends) != 2:
            right = f"write two temperatures, for example: 50 degC {joint} 60 degC"
            raise refused(f"{text!r} is not a band of temperatures", right)
        low_mc, high_mc = map(temperature, ends)
        if low_mc >= high_mc:
            raise refused(f"{text!r} does not rise", "write the lower end first")
        return Band(low_mc, high_mc)

    return BeforeValidator(read)


class TimeBetween(Limit):
    """At most so long between two temperatures, all stages added up."""

    kind: Literal["time between"]
    between: Annotated[Band, band("and")]
    at_most_ms: Duration = Field(alias="at most")

    @property
    def required_words(self) -> str:
        """What the limit asks, in words for a person."""
        return f"{self._band}, at most {say_ms(self.at_most_ms)}"

    @property
    def _band(self) -> str:
        low, high = self.between
        return f"between {say_mc(low)} and {say_mc(high)}"

    def opened(self, opening: Opening) -> Used:
        """Nothing used yet; the count runs from here, seen or unseen."""
        return allowance.opened(opening.at_ms)

    def step(self, state: Used, piece: Piece) -> tuple[Used, list[Move]]:
        """Count one piece of evidence."""
        if isinstance(piece, Bridge):
            return state, []
        low, high = self.between
        may, must = True, False
        if isinstance(piece, Span):
            may = piece.low_mc < high and piece.high_mc > low
            must = piece.low_mc > low and piece.high_mc < high
        state = state._replace(front_ms=piece.from_ms)
        state, signals = allowance.counted(
            state, self.at_most_ms, self.warn_ms, piece.to_ms, may=may, must=must
        )
        return allowance.moved("", state, signals, self._says)

    def marks(self, state: Used) -> tuple[int, ...]:
        """Both ends of the band."""
        return self.between

    def over(self, state: Used, at_ms: int) -> tuple[Used, list[Move]]:
        """Met, unless the allowance may have been or was passed."""
        return self._closed(state, at_ms, DONE)

    def ended(self, state: Used, at_ms: int) -> tuple[Used, list[Move]]:
        """The same; but what may be inside yet goes on being so, and nobody counts."""
        return self._closed(state, at_ms, OVER if state.inside else DONE)

    def _closed(
        self, state: Used, at_ms: int, signal: Signal
    ) -> tuple[Used, list[Move]]:
        state, moves = allowance.moved("", state, [(at_ms, signal)], self._says)
        return state._replace(over=True, inside=False), moves

    def goals(self, state: Used) -> list[Goal]:
        """Past the upper end, before the allowance is used up."""
        low, high = self.between
        left_ms = self.at_most_ms - state.least_ms
        if left_ms < 0:
            return []
        runs_ms = state.front_ms if state.inside else 0
        return [Goal("", True, high, low, left_ms, runs_ms)]

    def foreseen(
        self, state: Used, at_ms: int, part: str, why: str
    ) -> tuple[Used, list[Move]]:
        """At risk as long as the forecast says that it will be lost."""
        little = allowance.little(state, self.at_most_ms, self.warn_ms)
        return allowance.foreseen(part, state, at_ms, why, little=little)

    def findings(self, state: Used) -> list[Shown]:
        """The two counts against the allowance."""
        why = f"{self._band} for {allowance.figures(state, self.at_most_ms)}"
        return [allowance.shown("", state, self.at_most_ms, why)]

    def _says(self, standing: Standing) -> str:
        allowed = say_ms(self.at_most_ms)
        return {
            Standing.AT_RISK: f"may be {self._band}, and no more than "
            f"{say_ms(self.warn_ms)} of {allowed} are left",
            Standing.UNPROVEN: f"may have been {self._band} for more than {allowed}, "
            "or may still be",
            Standing.MISSED: f"was {self._band} for more than {allowed}",
            Standing.MET: f"was {self._band} for no more than {allowed}",
        }.get(standing, f"is no longer {self._band}")
