"""Advice: the growth that a published model predicts while a core is warm.

It is no critical limit and cannot be one: it is never met and never missed, and when
its stages are over it is unproven, whatever it shows, and no event is made of it.  The
two bounds are those of the readings alone; a model is off by more than that, and
replicates by up to a decade.

The most that a piece of evidence allows is the fastest growth at any temperature in
it, and in a hole the fastest of all; the least is the slowest, and none in a hole.
That is never less than a straight line between two readings (FSIS-GD-2021-14 allows
one, except across 90 to 120 degF), and no line is drawn across a missing reading.
Where the lag is not known, the least is none at all.
"""

from typing import Annotated, Literal, NamedTuple

from pydantic import Field

from rules.evidence import Bridge, Piece, Span
from rules.facts import Standing, Verdict
from rules.growth import (
    E9,
    between_e9,
    fastest_mc,
    growth_mlog10,
    lacking,
    medium_e9,
    rate_e9,
)
from rules.limit import (
    UNKNOWN_GROWTH,
    Grown,
    Limit,
    Move,
    Opening,
    Shown,
    listed,
)
from rules.standards.growth import AT_ONCE, GROWTH_MODELS, GrowthModel
from rules.units import say_mlog10, say_mlog10_up

# What 9 CFR 318.17(a)(2) allows of C. perfringens, and above which FSIS-GD-2021-14 asks
# for a recook or a test for S. aureus: to compare with.
STANDARD_MLOG10 = 1_000
ADVICE = "advice, decides nothing"


class State(NamedTuple):
    """The two sums of the rate, as ``rules.growth`` has them."""

    begun_ms: int
    least_e9ms: int  # under the least favourable truth: the larger one
    most_e9ms: int
    over_ms: int  # 0 until it is over
    factor_e9: int  # what acidity and salt make of both
    lacks: str  # what is not known of the product; "" where nothing is


class PredictedGrowth(Limit):
    """What one model predicts; advice only."""

    kind: Literal["predicted growth"]
    grade: Literal["operating"] = Field(alias="class")
    name_of_model: Annotated[str, listed(GROWTH_MODELS, "growth model")] = Field(
        alias="model"
    )

    @property
    def model(self) -> GrowthModel:
        """The model, as published."""
        return GROWTH_MODELS[self.name_of_model]

    @property
    def required_words(self) -> str:
        """What is compared, in words for a person."""
        return f"{self.model.name}: beside {self.model.beside}; {ADVICE}"

    @property
    def sources(self) -> str:
        """The model's own source and mark, and the author's."""
        parts = (self.source, self.model.note)
        return "; ".join(part for part in parts if part)

    def opened(self, opening: Opening) -> State:
        """No growth yet."""
        name, facts = self.model.name, opening.facts
        lacks = lacking(name, facts)
        figures = (facts.ph_milli or 0, facts.salt_percent_milli or 0)
        factor_e9 = E9 if lacks else medium_e9(name, *figures)
        return State(opening.at_ms, 0, 0, 0, factor_e9, lacks)

    def step(self, state: State, piece: Piece) -> tuple[State, list[Move]]:
        """Add one piece of evidence."""
        if isinstance(piece, Bridge):
            return state, []
        name, apart_ms = self.model.name, self.model.joined_ms
        slow, fast = 0, rate_e9(name, fastest_mc(name))
        lasted_ms = piece.to_ms - piece.from_ms
        if isinstance(piece, Span) and not 0 < apart_ms < lasted_ms:
            slow, fast = between_e9(name, piece.low_mc, piece.high_mc)
        return state._replace(
            least_e9ms=state.least_e9ms + fast * lasted_ms,
            most_e9ms=state.most_e9ms + slow * lasted_ms,
        ), []

    def over(self, state: State, at_ms: int) -> tuple[State, list[Move]]:
        """Unproven, whatever was predicted; nobody is woken for advice."""
        return state._replace(over_ms=at_ms), []

    def grown(self, state: State) -> Grown:
        """The growth under either truth, once its stages are over."""
        if state.lacks or not state.over_ms:
            return UNKNOWN_GROWTH
        return Grown(True, *self._figures(state))

    def findings(self, state: State) -> list[Shown]:
        """The growth under either truth."""
        verdict = Verdict.UNPROVEN if state.over_ms else Verdict.RUNNING
        since_ms = state.over_ms or state.begun_ms
        if state.lacks:
            why = f"nothing is predicted: {state.lacks}"
            return [Shown("", Standing.WITHIN, verdict, since_ms, "", 0, 0, 0, why)]
        figures = (STANDARD_MLOG10, *self._figures(state), self._why(state))
        return [Shown("", Standing.WITHIN, verdict, since_ms, "mlog10", *figures)]

    def _figures(self, state: State) -> tuple[int, int]:
        name, at_once = self.model.name, self.model.q0 is None
        most = growth_mlog10(name, state.least_e9ms, state.factor_e9)
        return most, 0 if at_once else growth_mlog10(name, state.most_e9ms)

    def _why(self, state: State) -> str:
        most, least = self._figures(state)
        if self.model.q0 is None:
            how = f"{AT_ONCE} (lag not known, nitrite not counted)"
            return f"no more than {say_mlog10_up(most)} predicted, {how}; {ADVICE}"
        shown = (
            say_mlog10_up(most)
            if least == most
            else f"{say_mlog10(least)} to {say_mlog10_up(most)}"
        )
        return f"{shown} predicted by a model; {ADVICE}"
