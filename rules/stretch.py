"""The fold of a cook's facts, fast where nothing happens.

Most readings change nothing: they lie between the same marks as the reading before
them, so that no limit and no stage can tell them apart.  Such a *stretch* of one
channel is told to its limits as one span.  A limit that adds up every reading says
so by having no marks, and is told them one by one, but all at once.

Rule 1: the state and the events are those of ``engine.step``, fact by fact.
Rule 2: a stretch ends where a stage may turn over, where a reading is missing, and
where a value stands on a mark or beyond it.
"""

from bisect import bisect_left
from collections.abc import Iterable
from typing import NamedTuple

from rules import engine, stages
from rules.engine import Plan, State
from rules.evidence import Sight, Span
from rules.facts import Event, Fact, Quality, Reading

NEVER_MS = 1 << 62
NEVER_MC = 1 << 62


class Cell(NamedTuple):
    """The values that lie between the same two marks, both ends included."""

    low_mc: int
    high_mc: int


class Stretch:
    """Readings of one channel that are not told yet."""

    __slots__ = (
        "each",
        "high_mc",
        "low_mc",
        "readings",
        "until_ms",
        "waits_ms",
        "within_mc",
    )

    def __init__(self, cell: Cell, first: Reading, waits_ms: int, *, each: bool):
        """Open at a reading that is told already."""
        self.low_mc, self.high_mc = cell
        self.within_mc = first.uncertainty_mc
        self.waits_ms = waits_ms
        self.until_ms = first.at_ms + waits_ms
        self.each = each
        self.readings: list[Reading] = []


class Fold:
    """A state, and the stretches that are not yet in it."""

    def __init__(self, plan: Plan, state: State) -> None:
        """Begin with nothing untold."""
        self.plan = plan
        self.state = state
        self.events: list[Event] = []
        self._open: dict[str, Stretch] = {}
        self._at_ms = state.at_ms
        self._turn_ms = _turn_ms(plan, state)

    def take(self, facts: Iterable[Fact]) -> None:
        """Take facts that are in order.

        Raises:
            ValueError: A fact is older than the one before it.
        """
        stretches, good = self._open, Quality.GOOD
        for fact in facts:
            if isinstance(fact, Reading):
                channel, at_ms, value_mc, within_mc, quality, _ = fact
                stretch = stretches.get(channel)
                if (
                    stretch is not None
                    and stretch.low_mc <= value_mc <= stretch.high_mc
                    and self._at_ms <= at_ms <= stretch.until_ms
                    and at_ms < self._turn_ms
                    and within_mc == stretch.within_mc
                    and quality is good
                ):
                    stretch.readings.append(fact)
                    stretch.until_ms = at_ms + stretch.waits_ms
                    self._at_ms = at_ms
                    continue
            self._step(fact)

    def end(self) -> None:
        """Tell all that is left."""
        for name in list(self._open):
            self._tell(name)
        self.state = self.state._replace(at_ms=self._at_ms)

    def _step(self, fact: Fact) -> None:
        """Take a fact that may change something."""
        alone = isinstance(fact, Reading) and fact.at_ms < self._turn_ms
        if isinstance(fact, Reading) and alone:
            self._tell(fact.channel)
        else:
            self.end()
        state, events = engine.step(self.plan, self.state, fact)
        if alone and state.at is not self.state.at:  # a core ended the stage
            self.end()
            state, events = engine.step(self.plan, self.state, fact)
        self.state, self._at_ms = state, fact.at_ms
        self.events += events
        self._turn_ms = _turn_ms(self.plan, state)
        if isinstance(fact, Reading) and fact.quality is Quality.GOOD:
            i = self.plan.index.get(fact.channel)
            stretch = None if i is None else _opened(self.plan, state, i, fact)
            if stretch is not None:
                self._open[fact.channel] = stretch

    def _tell(self, name: str) -> None:
        """Tell a stretch, and close it."""
        stretch = self._open.pop(name, None)
        if stretch is None or not stretch.readings:
            return
        i = self.plan.index[name]
        sight = self.state.sights[i]
        whole = spans(sight, stretch.readings[-1:])
        each = spans(sight, stretch.readings) if stretch.each else whole
        self.state, events = engine.told(self.plan, self.state, i, each, whole)
        self.events += events


def _opened(plan: Plan, state: State, i: int, first: Reading) -> Stretch | None:
    """The stretch that a reading just told can begin; None where there is none."""
    if state.at.finished_ms or not state.sights[i].seen:
        return None
    marks = engine.marks(plan, state, i)
    if marks is None:
        return None
    cell = _around(marks.values_mc, first)
    channel = plan.channels[i]
    waits_ms = min(channel.joined_ms, channel.quiet_ms)
    return Stretch(cell, first, waits_ms, each=marks.each)


def _around(marks_mc: list[int], first: Reading) -> Cell:
    """The values whose bounds lie where those of ``first`` do; none on a mark."""
    within_mc = first.uncertainty_mc
    low = _cell(marks_mc, first.value_mc - within_mc)
    high = _cell(marks_mc, first.value_mc + within_mc)
    return Cell(
        max(low.low_mc + within_mc, high.low_mc - within_mc),
        min(low.high_mc + within_mc, high.high_mc - within_mc),
    )


def _cell(marks_mc: list[int], value_mc: int) -> Cell:
    """The cell around a value; an empty one where it stands on a mark."""
    place = bisect_left(marks_mc, value_mc)
    above_mc = marks_mc[place] if place < len(marks_mc) else NEVER_MC
    if above_mc == value_mc:
        return Cell(NEVER_MC, -NEVER_MC)
    return Cell(marks_mc[place - 1] + 1 if place else -NEVER_MC, above_mc - 1)


def _turn_ms(plan: Plan, state: State) -> int:
    """The first moment at which time alone changes the stage, or a minute is past."""
    if state.at.finished_ms:
        return NEVER_MS
    stage = plan.stages[state.at.number]
    ends = (stages.due_ms(stage, state.at), stages.overdue_ms(stage, state.at))
    past_ms = engine.mark_ms(state) + 1
    return min([past_ms, *(one for one in ends if one is not None)])


def spans(sight: Sight, readings: list[Reading]) -> list[Span]:
    """What ``evidence.heard`` would answer for each of them, one after another."""
    found: list[Span] = []
    at_ms, low_mc, high_mc = sight.at_ms, sight.low_mc, sight.high_mc
    for _, to_ms, value_mc, within_mc, _, _ in readings:
        low, high = value_mc - within_mc, value_mc + within_mc
        joined = Span(at_ms, to_ms, min(low_mc, low), max(high_mc, high))
        found += (joined, Span(to_ms, to_ms, low, high))
        at_ms, low_mc, high_mc = to_ms, low, high
    return found
