"""Limit: a channel is heard again before it has been silent for too long.

Silence is the time between two readings, whatever they say, and from the beginning of
the limit's stages to the first one.  A silence of more than is allowed is unproven,
never missed: the reading may have been made and lost on its way, and nothing shows
which.  A channel that was never heard is unproven, however short its stages were.

It is a band with no ends, of which only silence leaves: see ``rules.band`` for how an
excursion is counted.
"""

from typing import Literal

from pydantic import Field

from rules.band import NONE_MS, Bounded, State
from rules.evidence import Bridge, Piece, Span
from rules.facts import Standing
from rules.limit import Move, Opening
from rules.units import Duration, say_ms

NEVER_MS = 1 << 62


class SilenceLimit(Bounded):
    """Heard again in time, whatever it says."""

    kind: Literal["silence"]
    grace_ms: Duration = Field(alias="at most", gt=0)

    @property
    def bounds(self) -> tuple[None, None]:
        """No value is outside."""
        return None, None

    @property
    def required_words(self) -> str:
        """What the limit asks, in words for a person."""
        return f"heard again within {say_ms(self.grace_ms)}"

    def opened(self, opening: Opening) -> State:
        """Silent from here on, the settling time aside, until it is heard."""
        return super().opened(opening)._replace(armed_ms=NEVER_MS)

    def step(self, state: State, piece: Piece) -> tuple[State, list[Move]]:
        """Count what lies between two readings."""
        from_ms, to_ms = piece.from_ms, piece.to_ms
        if isinstance(piece, Bridge):
            return state, []
        if state.front_ms < from_ms:  # it was not judged in between
            state = state._replace(may_ms=NONE_MS)
        heard = isinstance(piece, Span) and from_ms == to_ms
        if heard:
            first_ms = min(state.armed_ms, from_ms)
            begins_ms = min(state.may_arm_ms, from_ms)
            state = state._replace(armed_ms=first_ms, may_arm_ms=begins_ms)
        silent = not heard and state.may_arm_ms <= to_ms
        return self._counted(state, from_ms, to_ms, may=silent, must=False)

    def marks(self, state: State) -> None:
        """Every reading counts, whatever it says."""

    def _final(self, state: State) -> Standing:
        heard = state.armed_ms != NEVER_MS
        return Standing.MET if heard and not state.doubted else Standing.UNPROVEN

    def _says(self, standing: Standing) -> str:
        half, most = say_ms(self.grace_ms // 2), say_ms(self.grace_ms)
        return {
            Standing.WITHIN: "is heard again",
            Standing.AT_RISK: f"has been silent for {half}",
            Standing.UNPROVEN: f"was silent for longer than {most}",
        }[standing]

    def _why(self, state: State) -> str:
        longest, most = say_ms(state.longest_may_ms), say_ms(self.grace_ms)
        words = f"the longest silence was {longest}; {most} allowed"
        return words if state.armed_ms != NEVER_MS else f"never heard: {words}"
