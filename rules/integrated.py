"""Limit: the log reduction that a core's whole course of temperatures adds up to.

The general method: the lethal rate 10 ** ((T - reference) / z) summed over time,
divided by D.  D, z, the reference and the target are the author's, chosen by a
process authority; none is built in.

The least favourable truth takes the lower of two joined readings less its
uncertainty, and nothing across a hole; the most favourable one the higher, and
across a hole the highest that can have been reached.  It is a result beside the
dwell table's, never instead of it: the two can disagree.

A recook after growth has that much more to do: the log10 that a process authority
predicts, or the most that a limit of predicted growth came to on the same channel when
the recook began, is added to the target (FSIS-GD-2021-14: 3.0 and 6.5 are 9.5).  Where
that is not known, nothing can show the target met.  A dwell table is printed for its
own target, so nothing can be added to one.
"""

import re
from collections.abc import Sequence
from typing import Annotated, Literal, NamedTuple

from pydantic import BeforeValidator, Field

from rules import allowance
from rules.evidence import Hole, Piece, Span
from rules.facts import Standing, Verdict
from rules.integral import E9, Sum, rate_e9
from rules.limit import Goal, Grown, Limit, Move, Opening, Shown, say_at
from rules.standards.growth import MARK
from rules.units import (
    Difference,
    Duration,
    Temperature,
    no_comma,
    refused,
    say_k,
    say_mc,
    say_mlog10,
    say_mlog10_up,
)

# A hole may be bridged at most by this: above it a core is no food any more.
HOTTEST_MC = 150_000
# Across a hole the most has no end; what is above this is told by no figure.
BEYOND_MLOG10, BEYOND = 100_000, "more than 100-log10"
NEVER_E9 = 1 << 80
LOG = "log10"
LOGS = re.compile(r"^(\d{1,2})(?:\.(\d{1,3}))?-log10$", re.ASCII)


def mlog10(text: object) -> int:
    """Read ``6.5-log10`` into thousandths of a decade.

    Raises:
        PydanticCustomError: It is not written so.
    """
    no_comma(text, "a log reduction")
    found = LOGS.match(text) if isinstance(text, str) else None
    decades = int(found[1]) * 1000 + int((found[2] or "").ljust(3, "0")) if found else 0
    if not decades:
        right = "write for example: 6.5-log10"
        raise refused(f"{text!r} is not a log reduction", right)
    return decades


def growth_named(text: object) -> str:
    """The limit that ``after growth`` names; "" where it is a figure."""
    is_name = isinstance(text, str) and text and not (text[0].isdigit() or LOG in text)
    return str(text) if is_name else ""


def _after_growth(text: object) -> int | str:
    return growth_named(text) or mlog10(text)


class State(NamedTuple):
    """The two sums, in milliseconds at the reference times 1e9."""

    begun_ms: int
    least_e9: int
    most_e9: int
    met_ms: int  # 0 until the least favourable sum is enough
    over_ms: int
    foreseen: int = 0  # how many more forecasts were bad than good
    risk_ms: int = 0  # since when it is at risk; 0: it is not
    grown: Grown = Grown(known=True)  # added to the target
    may_ms: int = 0  # the most favourable sum is enough from here on, at the earliest


class IntegratedLimit(Limit):
    """A target of log reductions by the general method."""

    ceiling = False
    earned = True

    kind: Literal["integrated lethality"]
    d_ms: Duration = Field(alias="D", gt=0)
    z_mc: Difference = Field(gt=0, alias="z")
    reference_mc: Temperature = Field(alias="reference")
    target_mlog10: Annotated[int, BeforeValidator(mlog10)] = Field(alias="target")
    after_growth: Annotated[int | str, BeforeValidator(_after_growth)] = Field(
        default=0, alias="after growth"
    )

    @property
    def follows(self) -> str:
        """The limit whose predicted growth is added to the target."""
        return self.after_growth if isinstance(self.after_growth, str) else ""

    @property
    def required_words(self) -> str:
        """What the limit asks, in words for a person."""
        d_s = self.d_ms / 1000
        asks = say_mlog10(self.target_mlog10)
        if self.follows:
            asks += f" and the most that {self.follows!r} predicts before it"
        elif self._written.most:
            more = self._written.most
            parts = f"{asks} and {say_mlog10(more)} of growth"
            asks = f"{say_mlog10(self.target_mlog10 + more)} ({parts})"
        return (
            f"{asks} with D = {d_s:g} s at "
            f"{say_mc(self.reference_mc)} and z = {say_k(self.z_mc)}"
        )

    @property
    def _written(self) -> Grown:
        """The growth that the author wrote."""
        mlog10 = 0 if isinstance(self.after_growth, str) else self.after_growth
        return Grown(True, mlog10, mlog10)

    @property
    def sources(self) -> str:
        """The author's, and the mark of every model whose growth may be added."""
        added = f"growth added by {self.follows!r}, a model: {MARK}"
        parts = (self.source, added if self.follows else "")
        return "; ".join(part for part in parts if part)

    @property
    def levels_mc(self) -> tuple[int, ...]:
        """Where D is told."""
        return (self.reference_mc,)

    def opened(self, opening: Opening) -> State:
        """Nothing summed yet."""
        grown = opening.grown if self.follows else self._written
        return State(opening.at_ms, 0, 0, 0, 0, grown=grown)

    def step(self, state: State, piece: Piece) -> tuple[State, list[Move]]:
        """Add one piece of evidence."""
        if isinstance(piece, Hole):
            return state, []
        span_ms = piece.to_ms - piece.from_ms
        most_e9 = state.most_e9 + span_ms * self._rate_e9(piece.high_mc)
        enough = most_e9 >= self._sum_e9(state.grown.least)
        may_ms = state.may_ms or (piece.from_ms if enough else 0)
        state = state._replace(most_e9=most_e9, may_ms=may_ms)
        if state.met_ms or not isinstance(piece, Span):
            return state, []
        rate = self._rate_e9(piece.low_mc)
        needed_e9 = self._needed_e9(state) - state.least_e9
        state = state._replace(least_e9=state.least_e9 + span_ms * rate)
        if span_ms * rate < needed_e9:
            return state, []
        met_ms = piece.from_ms + -(-needed_e9 // rate)
        was, state = self._standing(state), state._replace(met_ms=met_ms)
        return state, [Move(met_ms, "", was, Standing.MET, self._why(state))]

    def steps(self, state: State, spans: Sequence[Span]) -> tuple[State, list[Move]]:
        """Add spans that follow each other, most of which decide nothing."""
        most_e9, least_e9 = state.most_e9, state.least_e9
        needed_e9 = NEVER_E9 if state.met_ms else self._needed_e9(state)
        rate_e9, may_ms = self._rate_e9, state.may_ms
        enough_e9 = self._sum_e9(state.grown.least)
        for place, (from_ms, to_ms, low_mc, high_mc) in enumerate(spans):
            span_ms = to_ms - from_ms
            if not span_ms:
                continue
            added_e9 = span_ms * rate_e9(low_mc)
            if least_e9 + added_e9 >= needed_e9:
                state = state._replace(
                    most_e9=most_e9, least_e9=least_e9, may_ms=may_ms
                )
                state, moves = super().steps(state, spans[place : place + 1])
                return self.steps(state, spans[place + 1 :])[0], moves
            most_e9 += span_ms * rate_e9(high_mc)
            least_e9 += added_e9
            if not may_ms and most_e9 >= enough_e9:
                may_ms = from_ms
        if state.met_ms:
            least_e9 = state.least_e9
        return state._replace(most_e9=most_e9, least_e9=least_e9, may_ms=may_ms), []

    def may_be_met_ms(self, state: State) -> int:
        """When the most favourable sum may have been enough first; 0 until it may."""
        return state.may_ms

    def over(self, state: State, at_ms: int) -> tuple[State, list[Move]]:
        """Met stays met; otherwise the most favourable sum decides."""
        was, state = self._standing(state), state._replace(over_ms=at_ms)
        if state.met_ms:
            return state, []
        return state, [Move(at_ms, "", was, self._standing(state), self._why(state))]

    def goals(self, state: State) -> list[Goal]:
        """The rest of the sum, until it is shown."""
        if state.met_ms or not state.grown.known:
            return []
        left_e9 = self._needed_e9(state) - state.least_e9
        left = Sum(left_e9, self.reference_mc, self.z_mc)
        asks = say_mlog10_up(self.target_mlog10 + state.grown.most)
        return [Goal("", True, self.reference_mc, sum=left, asks=asks)]

    def foreseen(
        self, state: State, at_ms: int, part: str, why: str
    ) -> tuple[State, list[Move]]:
        """At risk as long as the sum is forecast to be too small at its stages' end."""
        return allowance.foretold(state, self._standing, at_ms, part, why)

    def findings(self, state: State) -> list[Shown]:
        """The two sums as log reductions."""
        standing = self._standing(state)
        final = state.met_ms or state.over_ms
        verdict = Verdict(standing.value) if final else Verdict.RUNNING
        since_ms = state.met_ms or state.over_ms or state.risk_ms or state.begun_ms
        least, most = self._mlog10(state.least_e9), self._mlog10(state.most_e9)
        figures = (self.target_mlog10 + state.grown.most, least, most)
        head = (standing, verdict, since_ms, "mlog10")
        return [Shown("", *head, *figures, self._why(state))]

    def _needed_e9(self, state: State) -> int:
        """What shows the target met; no sum does where growth is not known."""
        return self._sum_e9(state.grown.most) if state.grown.known else NEVER_E9

    def _sum_e9(self, grown_mlog10: int) -> int:
        return (self.target_mlog10 + grown_mlog10) * self.d_ms * E9 // 1000

    def _rate_e9(self, value_mc: int) -> int:
        capped_mc = max(min(value_mc, HOTTEST_MC), -HOTTEST_MC)
        return rate_e9(capped_mc, self.reference_mc, self.z_mc)

    def _mlog10(self, sum_e9: int) -> int:
        return sum_e9 * 1000 // (self.d_ms * E9)

    def _standing(self, state: State) -> Standing:
        if state.met_ms:
            return Standing.MET
        if not state.over_ms:
            return Standing.AT_RISK if state.risk_ms else Standing.WITHIN
        enough = state.most_e9 >= self._sum_e9(state.grown.least)
        return Standing.UNPROVEN if enough else Standing.MISSED

    def _why(self, state: State) -> str:
        if state.met_ms:
            return f"{self._needs(state)} shown by {say_at(state.met_ms)}"
        least, most = self._mlog10(state.least_e9), self._mlog10(state.most_e9)
        shown = f"{say_mlog10(least)} is shown"
        if most > least:
            more = say_mlog10(most) if most < BEYOND_MLOG10 else BEYOND
            shown += f", {more} may have been"
        return f"needed {self._needs(state)}; {shown}"

    def _needs(self, state: State) -> str:
        target, (known, grown, _) = say_mlog10(self.target_mlog10), state.grown
        if not known:
            return f"{target} and what grew before it, which is not known"
        needed = say_mlog10_up(self.target_mlog10 + grown)
        by = f" ({target} and {say_mlog10_up(grown)} by {self.follows!r} at the most)"
        return needed + by if self.follows else needed
