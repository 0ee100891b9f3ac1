"""Limit: air so moist for a share of the cooking time, and never for less than an hour.

The time is added up over every period.  Credit goes by the lower bound of the humidity
and the most favourable truth by the higher; a hole earns no credit, and may have been
moist throughout.  The cooking time runs from the beginning of the first stage that the
limit names until the limit of lethality that ``until`` names is met on every core, or
its stages are over: what is moist afterwards is nobody's credit.  Where lethality may
have been reached earlier than it is proven, the cooking time may have ended at any
moment in between: the limit is met only if it was met at each of them, and missed only
if it was met at none.

The whole cooking time is proven only where the humidity was heard before loading too:
what comes before a first reading is a hole.  So the house is made ready in a stage of
its own, before the first that the limit names.

An option that is shown by what people did asks for no figure: the time runs from a note
about the limit that says ``steam on`` or ``dampers closed`` to one that says otherwise.
Before the first note nothing is known.

The humidity comes from a probe of its own, or from a wet bulb and the chamber as its
dry bulb, at the station's pressure.  Where the chamber may be above the boiling point
at that pressure (212 degF at sea level) there is no credit, whatever a probe says.

Source: FSIS-GD-2021-14 (December 2021), relative humidity, key definitions and table 5.
"""

import re
from typing import Annotated, Literal, NamedTuple

from pydantic import BeforeValidator, Field, model_validator

from rules.channels import Role
from rules.evidence import Bridge, Piece, Span
from rules.facts import Standing, Verdict
from rules.limit import Limit, Move, Opening, Shown, listed, say_at
from rules.psychrometer import FULL_MPCT, boiling_mc, ceiling_mpct, humidity_mpct
from rules.standards.humidity import HUMIDITY_OPTIONS, HumidityOption
from rules.standards.humidity import Shown as ShownBy
from rules.units import no_comma, refused, say_ms

PRESSURE = re.compile(r"^(\d{3,4})(?: hPa to (\d{3,4}))? hPa$", re.ASCII)
LOWEST_HPA, HIGHEST_HPA = 500, 1_100  # 5500 m up, to the highest ever seen
KEPT = {ShownBy.STEAM: "live steam", ShownBy.SEALED: "dampers and doors closed"}
NOTES = {
    (ShownBy.STEAM, "steam on"): True,
    (ShownBy.STEAM, "steam off"): False,
    (ShownBy.SEALED, "dampers closed"): True,
    (ShownBy.SEALED, "dampers open"): False,
}
WHOLE_MILLI = 1000
SEA_LEVEL_PA = (101_325, 101_325)  # where nobody wrote another


def pressures(text: object) -> tuple[int, int]:
    """Read ``1013 hPa`` or ``980 hPa to 1040 hPa`` into two pressures in pascals."""
    right = "write what a barometer there shows, for example: 980 hPa to 1040 hPa"
    no_comma(text, "a pressure")
    found = PRESSURE.match(text) if isinstance(text, str) else None
    if found is None:
        raise refused(f"{text!r} is not a pressure", right)
    low, high = int(found[1]), int(found[2] or found[1])
    if not LOWEST_HPA <= low <= high <= HIGHEST_HPA:
        limits = f"{LOWEST_HPA} hPa to {HIGHEST_HPA} hPa"
        raise refused(f"{text!r} does not rise within {limits}", right)
    return low * 100, high * 100


class State(NamedTuple):
    """How long it was moist, under either truth."""

    begun_ms: int
    front_ms: int
    least_ms: int
    most_ms: int
    over_ms: int  # 0 until it is over
    short_ms: int = 0  # the last moment at which least was not enough
    enough_ms: int = 0  # the last at which most was; 0: at none
    may_end_ms: int = 0  # lethality may have been reached then; 0: not that we know


class HumidityLimit(Limit):
    """One published option that is shown by readings."""

    ceiling = False
    runs_through = True

    kind: Literal["humidity"]
    name_of_option: Annotated[str, listed(HUMIDITY_OPTIONS, "humidity option")] = Field(
        alias="option"
    )
    until_limit: str = Field(alias="until", min_length=1)
    pressure_pa: Annotated[tuple[int, int] | None, BeforeValidator(pressures)] = Field(
        default=None, alias="pressure"
    )

    @model_validator(mode="after")
    def _fits(self) -> "HumidityLimit":
        if self.by_people:
            if self.channel is not Role.CHAMBER:
                found = f"{self.option.name!r} is shown by what people write"
                raise refused(found, "write channel: chamber, and a note each time")
            return self
        if self.channel not in (Role.HUMIDITY, Role.WET_BULB):
            found = f"a channel of role {self.channel} shows no humidity"
            raise refused(found, "write channel: humidity, or channel: wet-bulb")
        if self.channel is Role.WET_BULB and self.pressure_pa is None:
            found = "a wet bulb shows no humidity without the pressure of the air"
            right = "add a line, for example: pressure: 980 hPa to 1040 hPa"
            raise refused(found, right)
        return self

    @property
    def option(self) -> HumidityOption:
        """The option, as published."""
        return HUMIDITY_OPTIONS[self.name_of_option]

    @property
    def until(self) -> str:
        """The limit of lethality that ends the cooking time."""
        return self.until_limit

    @property
    def beside(self) -> Role:
        """The dry bulb."""
        return Role.CHAMBER

    @property
    def alone(self) -> bool:
        """Only a probe of its own says how humid it is without a dry bulb."""
        return self.channel is not Role.WET_BULB

    @property
    def by_people(self) -> bool:
        """Whether steam or dampers show it, which people write down."""
        return self.option.shown_by is not ShownBy.READINGS

    def said(self, text: str) -> bool | None:
        """What a note says of the steam or the dampers, whichever the option asks."""
        return NOTES.get((self.option.shown_by, text.strip().lower()))

    @property
    def required_words(self) -> str:
        """What the limit asks, in words for a person."""
        option = self.option
        if self.whole:
            return f"{self._wanted} for the whole cooking time"
        return (
            f"{self._wanted} for {option.share_milli // 10} % "
            f"of the cooking time, and for no less than {say_ms(option.least_ms)}"
        )

    @property
    def whole(self) -> bool:
        """Whether it asks for the whole cooking time."""
        return self.option.share_milli == WHOLE_MILLI

    @property
    def _wanted(self) -> str:
        if self.by_people:
            return KEPT[self.option.shown_by]
        return f"{self.option.least_mpct // 1000} %RH or more"

    @property
    def sources(self) -> str:
        """The option's own source, and the author's."""
        parts = (self.source, self.option.source)
        return "; ".join(part for part in parts if part)

    def together(self, span: Span, dry: Span) -> Span:
        """The humidity while both are known, in thousandths of a percent."""
        low_pa, high_pa = self.pressure_pa or SEA_LEVEL_PA
        from_ms, to_ms, low, high = span
        if self.channel is Role.WET_BULB:
            least = humidity_mpct(dry.high_mc, low, high_pa)
            # A millionth more: what is kept is rounded down.
            most = min(humidity_mpct(dry.low_mc, high, low_pa) + 1, FULL_MPCT)
            if low > dry.high_mc:  # warmer than the air: one of the two is wrong
                least = 0
        else:
            least, most = low, min(high, ceiling_mpct(dry.low_mc, high_pa))
        if dry.high_mc > boiling_mc(low_pa):
            least = 0
        return Span(from_ms, to_ms, least, most)

    def opened(self, opening: Opening) -> State:
        """No time yet."""
        return State(opening.at_ms, opening.at_ms, 0, 0, 0, short_ms=opening.at_ms)

    def step(self, state: State, piece: Piece) -> tuple[State, list[Move]]:
        """Add one piece of evidence of the humidity."""
        if isinstance(piece, Bridge):
            return state, []
        wanted = 1 if self.by_people else self.option.least_mpct
        lasted_ms = piece.to_ms - piece.from_ms
        least = lasted_ms if isinstance(piece, Span) and piece.low_mc >= wanted else 0
        most = 0 if isinstance(piece, Span) and piece.high_mc < wanted else lasted_ms
        before = state
        state = state._replace(
            front_ms=piece.to_ms,
            least_ms=state.least_ms + least,
            most_ms=state.most_ms + most,
        )
        return self._looked(before, state), []

    def may_end(self, state: State, at_ms: int) -> State:
        """Hear that lethality may have been reached then, if not later."""
        return state._replace(may_end_ms=at_ms)

    def _looked(self, before: State, state: State) -> State:
        """When the least was last not enough, and when the most last was.

        What is left over after the time asked for runs straight, or bends down once,
        between two moments: whatever held in between held at one of the two.
        """
        at_ms, asked_ms = state.front_ms, self._required_ms(state)
        short_ms, enough_ms = before.short_ms, before.enough_ms
        if state.least_ms < asked_ms:
            short_ms = at_ms
        elif before.least_ms < self._required_ms(before):
            short_ms = max(short_ms, at_ms - 1)
        if state.most_ms >= asked_ms:
            enough_ms = at_ms
        elif before.most_ms >= self._required_ms(before):
            enough_ms = max(enough_ms, at_ms - 1)
        return state._replace(short_ms=short_ms, enough_ms=enough_ms)

    def marks(self, state: State) -> tuple[int, ...]:
        """The humidity that is asked for."""
        return (self.option.least_mpct,)

    def over(self, state: State, at_ms: int) -> tuple[State, list[Move]]:
        """The time that was moist under either truth decides."""
        state = state._replace(over_ms=at_ms)
        now = self._standing(state)
        return state, [Move(at_ms, "", Standing.WITHIN, now, self._why(state))]

    def findings(self, state: State) -> list[Shown]:
        """The two times against the share of the cooking time so far."""
        standing = self._standing(state)
        verdict = Verdict(standing.value) if state.over_ms else Verdict.RUNNING
        since_ms = state.over_ms or state.begun_ms
        figures = (self._required_ms(state), state.least_ms, state.most_ms)
        head = (standing, verdict, since_ms, "ms")
        return [Shown("", *head, *figures, self._why(state))]

    def _required_ms(self, state: State) -> int:
        option = self.option
        cooked_ms = (state.over_ms or state.front_ms) - state.begun_ms
        return max(-(-cooked_ms * option.share_milli // 1000), option.least_ms)

    def _standing(self, state: State) -> Standing:
        if not state.over_ms:
            return Standing.WITHIN
        required_ms = self._required_ms(state)
        may_ms = state.may_end_ms or state.over_ms
        if state.least_ms >= required_ms and state.short_ms < may_ms:
            return Standing.MET
        enough = state.most_ms >= required_ms or state.enough_ms >= may_ms
        return Standing.UNPROVEN if enough else Standing.MISSED

    def _why(self, state: State) -> str:
        least, most = say_ms(state.least_ms), say_ms(state.most_ms)
        shown = least if least == most else f"{least} to {most}"
        cooked = say_ms((state.over_ms or state.front_ms) - state.begun_ms)
        asked = say_ms(self._required_ms(state))
        words = f"{self._wanted} for {shown} of {cooked} of cooking; {asked} asked"
        needed_ms = self._required_ms(state)
        plain = state.least_ms < needed_ms <= state.most_ms  # the figures say why
        if self._standing(state) is Standing.UNPROVEN and not plain:
            words += f"; cooking may have ended at {say_at(state.may_end_ms)} already"
        return words
