"""Limit: the total time that a channel spends between two temperatures.

Written for come-up: the time between 50 and 130 degF, at most 6 h, counted from
loading even where the core was not yet measured, and added up over every stage it
is judged during, recooks included.  The ends of the band belong to the outside.

The count begins anew only after a full lethality, where its author names the table
that says what that is: for the least favourable truth once a row is surely full, for
the most favourable one from when it may be.  The longest count decides: what was too
slow before is not mended by what was hot enough after.

Source: FSIS-GD-2021-14 for come-up, and for the new 6 h after a full lethality only.
"""

from functools import cached_property
from typing import Annotated, Literal, NamedTuple

from pydantic import (
    BeforeValidator,
    Field,
    InstanceOf,
    PlainValidator,
    model_validator,
)

from rules import allowance, dwell
from rules.allowance import DONE, OVER, Signal, Used
from rules.dwell import DwellTableLimit
from rules.evidence import Bridge, Piece, Span
from rules.facts import Standing
from rules.limit import Goal, Limit, Move, Opening, Shown
from rules.standards.cooling import ProductFacts
from rules.standards.tables import DwellTable
from rules.units import Duration, refused, say_mc, say_ms, temperature


class Band(NamedTuple):
    """Two temperatures, the lower one first."""

    low_mc: int
    high_mc: int


def band(joint: str) -> PlainValidator:
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

    return PlainValidator(read)


class State(NamedTuple):
    """All that is remembered between two pieces of evidence."""

    used: Used  # since the last full lethality
    heat: tuple[dwell.State, ...]  # towards the next one; none where it is not asked
    before_least_ms: int  # the longest counts that a lethality ended
    before_most_ms: int


class TimeBetween(Limit):
    """At most so long between two temperatures, all stages added up."""

    kind: Literal["time between"]
    between: Annotated[Band, band("and")]
    at_most_ms: Duration = Field(alias="at most")
    lethal: Annotated[InstanceOf[DwellTable], BeforeValidator(dwell.known)] | None = (
        Field(default=None, alias="begins anew after")
    )

    @model_validator(mode="after")
    def _lethal_above(self) -> "TimeBetween":
        rows = self.lethal.rows if self.lethal else ()
        if rows and min(rows).temp_mc < self.between.high_mc:
            found = f"the table begins at {say_mc(min(rows).temp_mc)}, inside the band"
            raise refused(found, "end the band where the table begins, or below")
        return self

    @property
    def sources(self) -> str:
        """The author's, and the source of what ends a count."""
        table = self.lethal and self._towards.sources
        return "; ".join(words for words in (self.source, table) if words)

    @property
    def required_words(self) -> str:
        """What the limit asks, in words for a person."""
        return f"{self._band}, at most {say_ms(self.at_most_ms)}"

    @property
    def levels_mc(self) -> tuple[int, ...]:
        """Both ends of what is counted."""
        return self.between

    @property
    def _band(self) -> str:
        low, high = self.between
        return f"between {say_mc(low)} and {say_mc(high)}"

    def opened(self, opening: Opening) -> State:
        """Nothing used yet; the count runs from here, seen or unseen."""
        heat = (self._towards.opened(opening),) if self.lethal else ()
        return State(allowance.opened(opening.at_ms), heat, 0, 0)

    @cached_property
    def _towards(self) -> DwellTableLimit:
        """What a full lethality is."""
        return DwellTableLimit.model_construct(kind="dwell table", table=self.lethal)

    def step(self, state: State, piece: Piece) -> tuple[State, list[Move]]:
        """Count one piece of evidence."""
        if not isinstance(piece, Bridge):
            state, moves = self._counted(state, piece)
        else:
            moves = []
        return self._heated(state, piece) if self.lethal else state, moves

    def _counted(self, state: State, piece: Piece) -> tuple[State, list[Move]]:
        low, high = self.between
        may, must = True, False
        if isinstance(piece, Span):
            may = piece.low_mc < high and piece.high_mc > low
            must = piece.low_mc > low and piece.high_mc < high
        if state.heat and state.heat[0].may_ms:  # it may have begun anew since
            must = False
        used, signals = allowance.counted(
            state.used._replace(front_ms=piece.from_ms),
            self.at_most_ms,
            self.warn_ms,
            piece.to_ms,
            may=may,
            must=must,
        )
        used, moves = allowance.moved("", used, signals, self._says)
        return state._replace(used=used), moves

    def _heated(self, state: State, piece: Piece) -> State:
        """Follow the heat, and begin anew once it surely was enough.

        After that it is followed again from when the count may run again.
        """
        used = state.used
        if not state.heat:
            if not used.inside:
                return state
            opening = Opening(piece.from_ms, 0, ProductFacts())
            state = state._replace(heat=(self._towards.opened(opening),))
        heat, _ = self._towards.step(state.heat[0], piece)
        if not heat.met_ms:
            return state._replace(heat=(heat,))
        return State(
            used=used._replace(least_ms=0, most_ms=0),
            heat=(),
            before_least_ms=max(state.before_least_ms, used.least_ms),
            before_most_ms=max(state.before_most_ms, used.most_ms),
        )

    def marks(self, state: State) -> tuple[int, ...]:
        """Both ends of the band, and the rows that end a count."""
        rows = self.lethal.rows if self.lethal else ()
        return (*self.between, *(row.temp_mc for row in rows))

    def over(self, state: State, at_ms: int) -> tuple[State, list[Move]]:
        """Met, unless the allowance may have been or was passed."""
        return self._closed(state, at_ms, DONE)

    def ended(self, state: State, at_ms: int) -> tuple[State, list[Move]]:
        """The same; but what may be inside yet goes on being so, and nobody counts."""
        return self._closed(state, at_ms, OVER if state.used.inside else DONE)

    def _closed(
        self, state: State, at_ms: int, signal: Signal
    ) -> tuple[State, list[Move]]:
        used, moves = allowance.moved("", state.used, [(at_ms, signal)], self._says)
        return state._replace(used=used._replace(over=True, inside=False)), moves

    def goals(self, state: State) -> list[Goal]:
        """Past the upper end, before the allowance is used up."""
        low, high = self.between
        used = state.used
        left_ms = self.at_most_ms - used.least_ms
        if left_ms < 0:
            return []
        runs_ms = used.front_ms if used.inside else 0
        return [Goal("", True, high, low, left_ms, runs_ms)]

    def foreseen(
        self, state: State, at_ms: int, part: str, why: str
    ) -> tuple[State, list[Move]]:
        """At risk as long as the forecast says that it will be lost."""
        used = state.used
        little = allowance.little(used, self.at_most_ms, self.warn_ms)
        used, moves = allowance.foreseen(part, used, at_ms, why, little=little)
        return state._replace(used=used), moves

    def findings(self, state: State) -> list[Shown]:
        """The two counts against the allowance, the longest that there were."""
        used, before_ms = state.used, state.before_least_ms
        longest = used._replace(
            least_ms=max(used.least_ms, before_ms),
            most_ms=max(used.most_ms, state.before_most_ms),
        )
        why = f"{self._band} for {allowance.figures(longest, self.at_most_ms)}"
        if before_ms:
            why += f"; {say_ms(used.least_ms)} since it was last hot enough"
        shown = allowance.shown("", used, self.at_most_ms, why)
        return [shown._replace(least=longest.least_ms, most=longest.most_ms)]

    def _says(self, standing: Standing) -> str:
        allowed = say_ms(self.at_most_ms)
        return {
            Standing.AT_RISK: f"may be {self._band}, and no more than "
            f"{say_ms(self.warn_ms)} of {allowed} is left",
            Standing.UNPROVEN: f"may have been {self._band} for more than {allowed}, "
            "or may still be",
            Standing.MISSED: f"was {self._band} for more than {allowed}",
            Standing.MET: f"was {self._band} for no more than {allowed}",
        }.get(standing, f"is no longer {self._band}")
