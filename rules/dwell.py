"""Limit: a core stays at or above one row of a published table for its time.

Every row of the table is a way to meet the limit: so long without a break at or
above so many degrees.  A missed set point still passes where a lower row is met.

Credit goes by the lower of two joined readings less its uncertainty; a hole ends
every run.  Beside it runs the most favourable truth: the higher reading and its
uncertainty, and across a hole the highest that can have been reached.  The limit is
met at the moment when the first row is full, and nothing later takes that back;
where not even the most favourable truth filled a row, it is missed when its stages
are over.
"""

from bisect import bisect_right
from collections.abc import Mapping
from functools import cached_property
from typing import Annotated, Literal, NamedTuple

from pydantic import BeforeValidator, InstanceOf, ValidationInfo, model_validator

from rules import allowance
from rules.evidence import Bridge, Hole, Piece
from rules.facts import Standing, Verdict
from rules.limit import Goal, Limit, Move, Opening, Shown, of_edition, say_at
from rules.remarks import choice
from rules.standards.tables import DWELL_TABLES, DwellTable
from rules.units import degree, refused, say_mc, say_ms

NEVER_MS = 1 << 62


class Runs(NamedTuple):
    """The rows whose run goes on now: row ``i`` has run since ``starts[i]``."""

    starts: tuple[int, ...]  # a prefix of the table's rows, coldest first
    due_ms: int  # when the first of them is full, if all go on
    longest_ms: tuple[int, ...]  # of each row, of the runs that ended; or NONE_MS


NONE_MS = -1


class State(NamedTuple):
    """All that is remembered between two pieces of evidence."""

    begun_ms: int
    front_ms: int
    least: Runs
    most: Runs
    met_ms: int  # 0 until a row is full
    may_ms: int  # when one is under the most favourable truth; 0 until then
    hole_from_ms: int  # the last hole: it ended every run
    hole_to_ms: int
    over_ms: int  # when its stages were over; 0 until then
    foreseen: int = 0  # how many more forecasts were bad than good
    risk_ms: int = 0  # since when it is at risk; 0: it is not


TABLES = "tables"  # of the validation context: the user's own, by name


def known(name: object, info: ValidationInfo) -> DwellTable:
    """The published table of this name, or the user's own; none has another name."""
    own: Mapping[str, DwellTable] = (info.context or {}).get(TABLES, {})
    tables = {**own, **DWELL_TABLES}
    if not isinstance(name, str):
        raise refused("the name of one table is wanted here", choice("", [*tables]))
    if name not in tables:
        raise refused(f"{name!r} is not a table we have", choice(name, [*tables]))
    return tables[name].said_in(degree(info.context))


class DwellTableLimit(Limit):
    """One row of a published table of temperatures and times."""

    ceiling = False
    earned = True

    kind: Literal["dwell table"]
    table: Annotated[InstanceOf[DwellTable], BeforeValidator(known)]
    edition: str = ""  # of the table, where its author wants no other

    @model_validator(mode="after")
    def _edition(self) -> "DwellTableLimit":
        of_edition(self.edition, self.table.edition)
        return self

    @property
    def required_words(self) -> str:
        """What the limit asks, in words for a person."""
        return f"one row of {self.table.name}"

    @property
    def levels_mc(self) -> tuple[int, ...]:
        """The lowest row: below it no time counts."""
        return (min(self.table.rows).temp_mc,) if self.table.rows else ()

    @property
    def sources(self) -> str:
        """The table's own source, and the author's."""
        table = self.table
        mark = "" if table.verified else " (from memory, to be verified)"
        notes = [self.source, f"{table.source}{mark}", table.note]
        return "; ".join(note for note in notes if note)

    def opened(self, opening: Opening) -> State:
        """No row runs yet."""
        at_ms, (temps_mc, _) = opening.at_ms, self._rows
        none = Runs((), NEVER_MS, (NONE_MS,) * len(temps_mc))
        return State(at_ms, at_ms, none, none, 0, 0, 0, 0, 0)

    def step(self, state: State, piece: Piece) -> tuple[State, list[Move]]:
        """Let rows run, end and fill over one piece of evidence."""
        to_ms = piece.to_ms
        if state.front_ms < piece.from_ms:  # it was not judged in between
            state = self._paused(state)
        state = state._replace(front_ms=max(to_ms, state.front_ms))
        if state.met_ms:
            return state, []
        if isinstance(piece, Hole):
            return self._dark(state, piece), []
        temps_mc, _ = self._rows
        may = bisect_right(temps_mc, piece.high_mc)
        most = self._run(state.most, piece.from_ms, may)
        may_ms = state.may_ms or (most.due_ms if most.due_ms <= to_ms else 0)
        state = state._replace(most=most, may_ms=may_ms)
        if isinstance(piece, Bridge):
            return state, []
        must = bisect_right(temps_mc, piece.low_mc)
        least = self._run(state.least, piece.from_ms, must)
        state = state._replace(least=least)
        return self._met(state, least.due_ms) if least.due_ms <= to_ms else (state, [])

    def may_be_met_ms(self, state: State) -> int:
        """When a row may have been full first; 0 until one may."""
        return state.may_ms

    def marks(self, state: State) -> tuple[int, ...]:
        """The rows' temperatures, until one row is full."""
        return () if state.met_ms else self._rows[0]

    def over(self, state: State, at_ms: int) -> tuple[State, list[Move]]:
        """Met stays met; otherwise the most favourable truth decides."""
        was, state = self._standing(state), state._replace(over_ms=at_ms)
        if state.met_ms:
            return state, []
        return state, [Move(at_ms, "", was, self._standing(state), self._why(state))]

    def goals(self, state: State) -> list[Goal]:
        """Every row, until one is full."""
        if state.met_ms:
            return []
        starts = state.least.starts
        held_ms = (*starts, *(0,) * (len(self._rows[0]) - len(starts)))
        return [
            Goal("", True, temp_mc, hold_ms=dwell_ms, held_ms=held)
            for temp_mc, dwell_ms, held in zip(*self._rows, held_ms, strict=True)
        ]

    def foreseen(
        self, state: State, at_ms: int, part: str, why: str
    ) -> tuple[State, list[Move]]:
        """At risk as long as no row is forecast to be full before its stages end."""
        return allowance.foretold(state, self._standing, at_ms, part, why)

    def findings(self, state: State) -> list[Shown]:
        """The row that is full, or the one that came nearest."""
        row, least_ms, most_ms = self._nearest(state)
        standing = self._standing(state)
        since_ms = state.met_ms or state.over_ms or state.risk_ms or state.begun_ms
        final = bool(state.met_ms or state.over_ms)
        verdict = Verdict(standing.value) if final else Verdict.RUNNING
        why = self._why(state)
        figures = (self._rows[1][row], least_ms, most_ms)
        return [Shown("", standing, verdict, since_ms, "ms", *figures, why)]

    @cached_property
    def _rows(self) -> tuple[tuple[int, ...], tuple[int, ...]]:
        rows = sorted(self.table.rows)
        return tuple(r.temp_mc for r in rows), tuple(r.dwell_ms for r in rows)

    def _standing(self, state: State) -> Standing:
        if state.met_ms:
            return Standing.MET
        if state.over_ms:
            return Standing.UNPROVEN if state.may_ms else Standing.MISSED
        return Standing.AT_RISK if state.risk_ms else Standing.WITHIN

    def _paused(self, state: State) -> State:
        least = self._run(state.least, state.front_ms, 0)
        most = self._run(state.most, state.front_ms, 0)
        return state._replace(least=least, most=most)

    def _dark(self, state: State, hole: Hole) -> State:
        """End every run, and remember the hole if it ended one."""
        least = self._run(state.least, hole.from_ms, 0)
        if state.least.starts:
            state = state._replace(hole_from_ms=hole.from_ms, hole_to_ms=hole.to_ms)
        elif hole.from_ms == state.hole_to_ms:
            state = state._replace(hole_to_ms=hole.to_ms)
        return state._replace(least=least)

    def _met(self, state: State, at_ms: int) -> tuple[State, list[Move]]:
        was, state = self._standing(state), state._replace(met_ms=at_ms)
        return state, [Move(at_ms, "", was, Standing.MET, self._why(state))]

    def _run(self, runs: Runs, from_ms: int, count: int) -> Runs:
        """Let the ``count`` coldest rows run on, and end the others' runs."""
        _, dwell_ms = self._rows
        starts, longest_ms = runs.starts, runs.longest_ms
        if count == len(starts):
            return runs
        if count > len(starts):
            starts += (from_ms,) * (count - len(starts))
        else:
            longest_ms = _longest(runs, from_ms)
            starts = starts[:count]
        fills = [start + dwell for start, dwell in zip(starts, dwell_ms, strict=False)]
        return Runs(starts, min(fills, default=NEVER_MS), longest_ms)

    def _nearest(self, state: State) -> tuple[int, int, int]:
        """The row that came nearest to being full, and its longest run both ways.

        Where a row may be full it is such a row, so that the figures say so.
        """
        _, dwell_ms = self._rows
        at_ms = state.met_ms or state.front_ms
        least, most = _longest(state.least, at_ms), _longest(state.most, at_ms)
        surely = _reached(least)
        full = [row for row in _reached(most) if most[row] >= dwell_ms[row]]
        both = [row for row in full if row in surely]
        rows = both or full or surely or _reached(most) or [0]
        # Of two rows equally near, the hotter one says more.
        row = min(rows, key=lambda row: (dwell_ms[row] - max(least[row], 0), -row))
        return row, max(least[row], 0), max(most[row], 0)

    def _why(self, state: State) -> str:
        temps_mc, dwell_ms = self._rows
        row, ran_ms, most_ms = self._nearest(state)
        asked = f"{_lasting(dwell_ms[row])} at {say_mc(temps_mc[row])} or above"
        if state.met_ms:
            return f"held {asked}, full at {say_at(state.met_ms)}"
        if not _reached(_longest(state.least, state.front_ms)):
            asked = f"{say_ms(dwell_ms[0])} at {say_mc(temps_mc[0])} or above"
            shown = f"needed {asked}, the coldest row; never shown there"
        else:
            shown = f"needed {asked}; {_are(ran_ms)} shown"
            if most_ms >= dwell_ms[row]:
                shown += f", {say_ms(most_ms)} may have been"
            if not ran_ms:
                shown += self._surely(state)
        return shown + self._missing(state)

    def _surely(self, state: State) -> str:
        """The row that came nearest of those that the channel was surely at."""
        temps_mc, dwell_ms = self._rows
        least = _longest(state.least, state.front_ms)
        row = min(_reached(least), key=lambda row: (dwell_ms[row] - least[row], -row))
        asked = f"{say_ms(dwell_ms[row])} at {say_mc(temps_mc[row])} or above"
        return f"; of {asked} {_are(least[row])} shown"

    def _missing(self, state: State) -> str:
        if not state.hole_to_ms:
            return ""
        ends = f"{say_at(state.hole_from_ms)} to {say_at(state.hole_to_ms)}"
        return f"; readings missing from {ends}"


def _lasting(ms: int) -> str:
    """The time of a row, of which the hottest ones may ask for none."""
    return say_ms(ms) if ms else "a moment"


def _are(ms: int) -> str:
    """``1 min is``, but ``9 min 20 s are``."""
    words = say_ms(ms) if ms else "none"
    return f"{words} {'is' if words in ('1 s', '1 min', '1 h', 'none') else 'are'}"


def _longest(runs: Runs, at_ms: int) -> tuple[int, ...]:
    """The longest run of each row, those that still go on at ``at_ms`` included."""
    longest_ms = list(runs.longest_ms)
    for row, start_ms in enumerate(runs.starts):
        longest_ms[row] = max(longest_ms[row], at_ms - start_ms)
    return tuple(longest_ms)


def _reached(longest_ms: tuple[int, ...]) -> list[int]:
    """The rows that were reached at all."""
    return [row for row, ran_ms in enumerate(longest_ms) if ran_ms != NONE_MS]
