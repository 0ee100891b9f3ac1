"""Limit: a product cools through every band of a published option in time.

Each band has its own clock, as its source words it: the time the product *remains*
between two temperatures (re-warming into the band counts again), or the time *since
it first fell* below the upper one.  A band is shown when the channel is surely at or
below its lower end; the limit's last part asks for the final temperature where that
lies below the last band.

Where the channel may have been below the upper end already when chilling began, the
time since it was last surely above it counts as well, whatever the stages were called
meanwhile; where no reading shows that it was, that time is unknown.

What a cook never showed is ``unproven``, not missed: the product may have got there
later, but no reading says so.

The option's own conditions (nitrite, accelerator, brine, water activity) are a part
of their own: unknown is unproven, and a condition that is not met is missed.
"""

from functools import cached_property, lru_cache, partial
from typing import Annotated, Literal, NamedTuple

from pydantic import Field, model_validator

from rules import allowance, falling
from rules.allowance import BACK, DONE, OVER, Signal, Used
from rules.evidence import Bridge, Piece, Span
from rules.facts import Standing, Verdict
from rules.falling import Fall
from rules.limit import Goal, Limit, Move, Opening, Shown, listed, of_edition, say_at
from rules.standards.cooling import (
    COOLING_OPTIONS,
    Clock,
    CoolingBand,
    CoolingOption,
    qualifies,
)
from rules.units import Fahrenheit, say_mc, say_ms

CHILLING = ("chill", "chilling", "cool", "cooling")  # stages, where none are named
CONDITIONS = "conditions"
UNKNOWN_MS = -1
START = "start of chilling"


class Through(NamedTuple):
    """How far the channel is through one band."""

    used: Used
    may_have_begun: bool  # it may have fallen below the upper end
    has_begun: bool  # it surely has
    may_be_shown: bool  # it may have been at or below the lower end
    shown: bool  # it surely was
    unknown: bool = False  # no reading shows when it left the upper end


class State(NamedTuple):
    """All that is remembered between two pieces of evidence."""

    begun_ms: int
    late_ms: int  # from the end of heating to the beginning of chilling, or UNKNOWN_MS
    before_ms: int  # from when it was last surely hot to that beginning, or UNKNOWN_MS
    told: bool  # what was amiss from the beginning has been told
    seen: bool  # a reading has shown where it began
    qualified: Standing  # whether the product may be cooled by this option
    qualified_why: str
    bands: tuple[Through, ...]
    fall: Fall
    final_ms: int  # when the final temperature was surely reached; 0 until then
    over_ms: int


class CoolingLimit(Limit):
    """One published cooling option."""

    runs_through = True  # what cools is cooling all the way

    kind: Literal["cooling option"]
    name_of_option: Annotated[str, listed(COOLING_OPTIONS, "cooling option")] = Field(
        alias="option"
    )
    edition: str = ""  # of the option, where its author wants no other

    @model_validator(mode="after")
    def _edition(self) -> "CoolingLimit":
        of_edition(self.edition, self.option.edition)
        return self

    @cached_property
    def option(self) -> CoolingOption:
        """The option, as published."""
        return COOLING_OPTIONS[self.name_of_option].said_in(self._degree)

    @property
    def required_words(self) -> str:
        """What the limit asks, in words for a person."""
        return "; ".join(
            [f"{_span(band)} in {say_ms(band.at_most_ms)}" for band in self._bands]
        )

    @property
    def sources(self) -> str:
        """The option's own edition and source, and the author's."""
        option = self.option
        mark = "" if option.verified else " (from memory, to be verified)"
        parts = [self.source, f"{option.edition}: {option.source}{mark}", option.note]
        return "; ".join(part for part in parts if part)

    @property
    def levels_mc(self) -> tuple[int, ...]:
        """The ends of every band, and where the chill ends."""
        ends = {mc for one in self._bands for mc in (one.from_mc, one.to_mc)}
        return tuple(sorted({*ends, self.option.final_mc}))

    @property
    def watched_mc(self) -> int | None:
        """Above the hottest band no time counts."""
        return max(band.from_mc for band in self._bands)

    @property
    def _bands(self) -> tuple[CoolingBand, ...]:
        return self.option.bands

    def opened(self, opening: Opening) -> State:
        """No band has begun."""
        late_ms = UNKNOWN_MS
        if opening.heat_ended_ms:
            late_ms = opening.at_ms - opening.heat_ended_ms
        before_ms = opening.at_ms - opening.hot_ms if opening.hot_ms else UNKNOWN_MS
        none = Through(
            allowance.opened(opening.at_ms),
            may_have_begun=False,
            has_begun=False,
            may_be_shown=False,
            shown=False,
        )
        ok, why = qualifies(self.option, opening.facts)
        qualified = Standing.UNPROVEN if ok is None else _met_or_missed(ok)
        bands = (none,) * len(self._bands)
        return State(
            begun_ms=opening.at_ms,
            late_ms=late_ms,
            before_ms=before_ms,
            told=False,
            seen=False,
            qualified=qualified,
            qualified_why=why,
            bands=bands,
            fall=falling.opened(opening.at_ms),
            final_ms=0,
            over_ms=0,
        )

    def step(self, state: State, piece: Piece) -> tuple[State, list[Move]]:
        """Count one piece of evidence in every band."""
        if isinstance(piece, Bridge):
            return self._bridged(state, piece)
        state, moves = self._told(state)
        bands = []
        for band, through in zip(self._bands, state.bands, strict=True):
            if not state.seen and _shows_begun(band, piece):
                through, new = self._begun_before(band, through, state)
                moves += new
            after, new = self._through(band, through, piece)
            bands.append(after)
            moves += new
        seen = state.seen or isinstance(piece, Span)
        state = state._replace(bands=tuple(bands), seen=seen)
        if not state.final_ms:
            state, new = self._towards_final(state, piece)
            moves += new
        return state, moves

    def marks(self, state: State) -> tuple[int, ...] | None:
        """The ends of the bands, unless it must fall: a fall counts every reading."""
        if self._must_fall and not state.final_ms:
            return None
        ends = [mc for band in self._bands for mc in (band.from_mc, band.to_mc)]
        return (*ends, self.option.final_mc)

    def over(self, state: State, at_ms: int) -> tuple[State, list[Move]]:
        """What was not shown by now stays unproven."""
        state, moves = self._told(state)
        bands = []
        for band, through in zip(self._bands, state.bands, strict=True):
            never = partial(_never, band)
            used, new = allowance.moved(
                _span(band), through.used, [(at_ms, OVER)], never
            )
            bands.append(through._replace(used=used._replace(over=True)))
            moves += new
        if self._has_final and not state.final_ms:
            why = f"{say_mc(self.option.final_mc)} was never shown"
            within, unproven = Standing.WITHIN, Standing.UNPROVEN
            moves.append(Move(at_ms, self._final, within, unproven, why))
        fall = state.fall
        if self._must_fall:
            fall, new = falling.over(fall, at_ms, self.option.final_mc)
            moves += new
        state = state._replace(bands=tuple(bands), fall=fall, over_ms=at_ms)
        return state, moves

    def goals(self, state: State) -> list[Goal]:
        """Below the lower end of every band in time, and at the final temperature."""
        found = []
        for band, through in zip(self._bands, state.bands, strict=True):
            used, span = through.used, _span(band)
            left_ms = band.at_most_ms - used.least_ms
            if left_ms >= 0 and (used.inside or not through.shown):
                runs_ms = used.front_ms if used.inside else 0
                goal = Goal(span, False, band.to_mc, band.from_mc, left_ms, runs_ms)
                found.append(goal)
        if self._has_final and not state.final_ms:
            found.append(Goal(self._final, False, self.option.final_mc))
        return found

    def foreseen(
        self, state: State, at_ms: int, part: str, why: str
    ) -> tuple[State, list[Move]]:
        """At risk as long as the forecast says that a band will be lost."""
        bands: list[Through] = []
        moves: list[Move] = []
        for band, through in zip(self._bands, state.bands, strict=True):
            if part == _span(band):
                used, allowed_ms = through.used, band.at_most_ms
                little = allowance.little(used, allowed_ms, self.warn_ms)
                says = why and f"{part}: {why}"
                used, moves = allowance.foreseen(part, used, at_ms, says, little=little)
                through = through._replace(used=used)
            bands.append(through)
        return state._replace(bands=tuple(bands)), moves

    def findings(self, state: State) -> list[Shown]:
        """One for every band, the final temperature, the start and the conditions."""
        found = [
            allowance.shown(
                _span(band), through.used, band.at_most_ms, _band_why(band, through)
            )
            for band, through in zip(self._bands, state.bands, strict=True)
        ]
        if self._has_final:
            found.append(self._final_shown(state))
        return found + self._standing_parts(state)

    @property
    def _must_fall(self) -> bool:
        # With one band for 20 h the fall is what keeps it out of the growth range;
        # with two bands the bands do.
        return self.option.continuous and len(self._bands) == 1

    @property
    def _has_final(self) -> bool:
        return self.option.final_mc < self._bands[-1].to_mc

    @property
    def _final(self) -> str:
        return f"down to {say_mc(self.option.final_mc)}"

    def _reached(self, at_ms: int) -> str:
        return f"reached {say_mc(self.option.final_mc)} at {say_at(at_ms)}"

    def _final_shown(self, state: State) -> Shown:
        final = say_mc(self.option.final_mc)
        standing, why = Standing.WITHIN, f"{final} is not reached yet"
        if state.final_ms:
            standing, why = Standing.MET, self._reached(state.final_ms)
        elif state.over_ms:
            standing = Standing.UNPROVEN
            why = f"{final} was never shown from {say_at(state.begun_ms)}"
            why += f" to {say_at(state.over_ms)}"
        ended = bool(state.over_ms or state.final_ms)
        verdict = Verdict(standing.value) if ended else Verdict.RUNNING
        since_ms = state.final_ms or state.over_ms or state.begun_ms
        target = self.option.final_mc
        figures = ("mc", target, target, target)
        return Shown(self._final, standing, verdict, since_ms, *figures, why)

    def _standing_parts(self, state: State) -> list[Shown]:
        """The parts that no reading decides: when chilling began, and what is in it."""
        parts = []
        if self.option.start_within_ms:
            parts.append(_start_shown(state, self.option.start_within_ms))
        if self._must_fall:
            parts.append(falling.shown(state.fall, over=bool(state.over_ms)))
        if self.option.conditions:
            standing, why = state.qualified, state.qualified_why
            verdict = Verdict(standing.value)
            head = (CONDITIONS, standing, verdict, state.begun_ms)
            parts.append(Shown(*head, "", 0, 0, 0, why))
        return parts

    def _told(self, state: State) -> tuple[State, list[Move]]:
        """Tell once what was amiss from the beginning."""
        if state.told:
            return state, []
        moves = [
            Move(one.since_ms, one.part, Standing.WITHIN, one.standing, one.why)
            for one in self._standing_parts(state)
            if one.part in (START, CONDITIONS) and one.standing is not Standing.MET
        ]
        return state._replace(told=True), moves

    def _begun_before(
        self, band: CoolingBand, through: Through, state: State
    ) -> tuple[Through, list[Move]]:
        """Count the time before chilling, of which nothing shows that it was hotter."""
        before_ms = state.before_ms
        if before_ms == UNKNOWN_MS:
            before_ms = band.at_most_ms + 1
            through = through._replace(unknown=True)
        front_ms = through.used.front_ms
        used = through.used._replace(front_ms=state.begun_ms - before_ms)
        used, signals = allowance.counted(
            used, band.at_most_ms, self.warn_ms, state.begun_ms, may=True, must=False
        )
        used = used._replace(front_ms=front_ms)
        since_ms = used.since_ms  # nothing is told of a time before
        signals = [(max(at_ms, since_ms), signal) for at_ms, signal in signals]
        return self._moved(band, through._replace(used=used), signals)

    def _towards_final(self, state: State, piece: Piece) -> tuple[State, list[Move]]:
        """Follow the fall down to the final temperature, and say when it is there."""
        moves: list[Move] = []
        if self._must_fall:
            fall, moves = falling.step(state.fall, piece, self.option.final_mc)
            state = state._replace(fall=fall)
        if not _surely_at(piece, self.option.final_mc):
            return state, moves
        at_ms, why = piece.from_ms, self._reached(piece.from_ms)
        if self._has_final:
            moves.append(Move(at_ms, self._final, Standing.WITHIN, Standing.MET, why))
        if self._must_fall:
            fall, new = falling.down(state.fall, at_ms, self.option.final_mc)
            state, moves = state._replace(fall=fall), [*moves, *new]
        return state._replace(final_ms=at_ms), moves

    def _bridged(self, state: State, bridge: Bridge) -> tuple[State, list[Move]]:
        """Across a hole either end of a band may have been passed."""
        bands, moves = [], []
        for band, through in zip(self._bands, state.bands, strict=True):
            if not state.seen and bridge.low_mc < band.from_mc:
                through, new = self._begun_before(band, through, state)
                moves += new
            begun = through.may_have_begun or bridge.low_mc < band.from_mc
            reached = through.may_be_shown or bridge.low_mc <= band.to_mc
            bands.append(through._replace(may_have_begun=begun, may_be_shown=reached))
        fall, _ = falling.step(state.fall, bridge, self.option.final_mc)
        return state._replace(bands=tuple(bands), seen=True, fall=fall), moves

    def _through(
        self, band: CoolingBand, through: Through, piece: Piece
    ) -> tuple[Through, list[Move]]:
        may, must = _inside(band, through, piece)
        used = through.used._replace(front_ms=piece.from_ms)
        used, signals = allowance.counted(
            used, band.at_most_ms, self.warn_ms, piece.to_ms, may=may, must=must
        )
        if _surely_at(piece, band.to_mc):
            signals.append((piece.from_ms, DONE))
        elif through.shown and may and band.clock is Clock.DWELL:
            signals.append((piece.from_ms, BACK))
        through = through._replace(
            used=used,
            may_have_begun=through.may_have_begun or _shows_begun(band, piece),
            has_begun=through.has_begun or _surely_below(band, piece),
            may_be_shown=through.may_be_shown or _may_be_at(piece, band.to_mc),
            shown=through.shown or _surely_at(piece, band.to_mc),
        )
        return self._moved(band, through, signals)

    def _moved(
        self, band: CoolingBand, through: Through, signals: list[tuple[int, Signal]]
    ) -> tuple[Through, list[Move]]:
        def says(standing: Standing) -> str:
            return _says(band, standing, self.warn_ms)

        used, moves = allowance.moved(_span(band), through.used, signals, says)
        return through._replace(used=used), moves


def _span(band: CoolingBand) -> str:
    return _ends(band, isinstance(band.from_mc, Fahrenheit))


@lru_cache
def _ends(band: CoolingBand, _: bool) -> str:
    """Two bands that differ only in their unit are equal, so it is a key as well."""
    return f"{say_mc(band.from_mc)} to {say_mc(band.to_mc)}"


def _start_shown(state: State, allowed_ms: int) -> Shown:
    late_ms = state.late_ms
    if late_ms == UNKNOWN_MS:
        standing, late_ms = Standing.UNPROVEN, 0
        why = (
            f"no stage shows when heating ended; {say_ms(allowed_ms)} allowed from then"
        )
    else:
        standing = _met_or_missed(late_ms <= allowed_ms)
        why = f"began {say_ms(late_ms)} after the end of heating; "
        why += f"{say_ms(allowed_ms)} allowed"
    figures = ("ms", allowed_ms, late_ms, late_ms)
    verdict = Verdict(standing.value)
    return Shown(START, standing, verdict, state.begun_ms, *figures, why)


def _surely_at(piece: Piece, mc: int) -> bool:
    return isinstance(piece, Span) and piece.high_mc <= mc


def _may_be_at(piece: Piece, mc: int) -> bool:
    return isinstance(piece, Span) and piece.low_mc <= mc


def _met_or_missed(met: bool) -> Standing:
    return Standing.MET if met else Standing.MISSED


def _shows_begun(band: CoolingBand, piece: Piece) -> bool:
    return isinstance(piece, Span) and piece.low_mc < band.from_mc


def _surely_below(band: CoolingBand, piece: Piece) -> bool:
    return isinstance(piece, Span) and piece.high_mc < band.from_mc


def _inside(band: CoolingBand, through: Through, piece: Piece) -> tuple[bool, bool]:
    """Whether the band's clock may, and whether it must, run over this piece."""
    if band.clock is Clock.SINCE_CROSSING:
        # A hole counts; whether it can be a beginning, the bridge over it says.
        unseen = not isinstance(piece, Span)
        may = through.may_have_begun or unseen or _shows_begun(band, piece)
        must = through.has_begun or _surely_below(band, piece)
        if through.shown or _surely_at(piece, band.to_mc):
            return False, False
        reached = through.may_be_shown or _may_be_at(piece, band.to_mc)
        return may, must and isinstance(piece, Span) and not reached
    if not isinstance(piece, Span):
        return True, False
    may = piece.low_mc < band.from_mc and piece.high_mc > band.to_mc
    return may, piece.high_mc < band.from_mc and piece.low_mc > band.to_mc


def _band_why(band: CoolingBand, through: Through) -> str:
    count = f"{_span(band)} took {allowance.figures(through.used, band.at_most_ms)}"
    if through.unknown:  # of the least favourable count only the end is known
        took, allowed = say_ms(through.used.most_ms), say_ms(band.at_most_ms)
        count = f"{_span(band)} took {took} or more; {allowed} allowed"
        count += f"; no reading shows when it left {say_mc(band.from_mc)}"
    if through.shown:
        return count
    return f"{count}; {say_mc(band.to_mc)} is not shown"


def _never(band: CoolingBand, _: Standing) -> str:
    return f"{_span(band)}: {say_mc(band.to_mc)} was never shown"


def _says(band: CoolingBand, standing: Standing, warn_ms: int) -> str:
    allowed = say_ms(band.at_most_ms)
    return {
        Standing.AT_RISK: f"{_span(band)}: no more than {say_ms(warn_ms)} "
        f"of {allowed} is left",
        Standing.UNPROVEN: f"{_span(band)} is not shown within {allowed}",
        Standing.MISSED: f"{_span(band)} took longer than {allowed}",
        Standing.MET: f"{_span(band)} took no longer than {allowed}",
    }.get(standing, f"no longer between {_span(band)}")
