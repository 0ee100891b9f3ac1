"""What the laws are tried on: limits of every kind, and series that crowd their edges.

Limit by limit, a channel reports every ``every_ms`` on a jittered grid, less than a
quarter of the period early or late, and its values stand on the marks of the limit,
one thousandth of a degree and one uncertainty either side.  Times are counted from
``BEGUN_MS``.

One limit is followed on one channel by ``follow``, which does for it what the engine
does, in a window that is fixed beforehand.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import NamedTuple

from hypothesis import strategies as st
from pydantic import TypeAdapter

from rules import evidence, lines
from rules.channels import Channel, Role
from rules.cooling import CoolingLimit
from rules.dwell import DwellTableLimit
from rules.evidence import FASTEST_MC_PER_S, Sight
from rules.facts import Reading, Tick
from rules.humidity import HumidityLimit
from rules.limit import Limit, Move, Shown
from rules.lines import Line, Turn, Turning
from rules.reheating import ReheatingLimit
from rules.schedule import AnyLimit
from rules.standards.cooling import (
    COOLING_OPTIONS,
    Clock,
    CoolingBand,
    CoolingOption,
    ProductFacts,
)
from rules.standards.humidity import HumidityOption
from rules.standards.humidity import Shown as ShownBy
from rules.standards.reheating import REHEATING_OPTIONS, ReheatingOption
from rules.standards.tables import DWELL_TABLES

BEGUN_MS = 1_767_934_800_000  # 2026-01-09T05:00:00Z, any day will do
DAY_MS = 86_400_000
PERIOD_MS = 10_000
SLOW_MS = 1_200_000  # of the one limit whose published clocks run for hours
FACTS = ProductFacts(120, 250, 3_500, 920, True)

Facts = Sequence[Reading | Tick]


class Kind(NamedTuple):
    """One limit to try the laws on, and where its edges are."""

    name: str
    limit: Limit
    marks_mc: tuple[int, ...]
    every_ms: int = PERIOD_MS

    @property
    def channel(self) -> Channel:
        """The channel it is judged on."""
        return Channel("core", Role.CORE, self.every_ms, 12 * self.every_ms, 0)


class Window(NamedTuple):
    """When the limit comes into force and when it is over; a pause in between."""

    begin_ms: int
    pause_ms: int  # as long as it lasts; 0 where there is none
    resume_ms: int
    over_ms: int
    heat_ended_ms: int


class Followed(NamedTuple):
    """What is remembered of one limit on one channel."""

    sight: Sight
    line: Line


def _band(from_mc: int, to_mc: int, at_most_s: int, clock: Clock) -> CoolingBand:
    return CoolingBand(from_mc, to_mc, at_most_s * 1000, clock)


# The published options run for hours; these have the same two clocks, in seconds.
_REMAINS = replace(
    COOLING_OPTIONS["FSIS Appendix B 1999, option 1"],
    bands=(
        _band(64_000, 60_000, 60, Clock.DWELL),
        _band(60_000, 56_000, 50, Clock.DWELL),
    ),
    final_mc=55_000,
)
_CROSSES = replace(
    COOLING_OPTIONS["FDA Food Code 3-501.14(A)"],
    bands=(
        _band(64_000, 60_000, 40, Clock.SINCE_CROSSING),
        _band(64_000, 56_000, 90, Clock.SINCE_CROSSING),
    ),
    final_mc=56_000,
    start_within_ms=30_000,
)


class RemainsLimit(CoolingLimit):
    """A cooling limit with short bands of the one clock."""

    @property
    def option(self) -> CoolingOption:
        """An option of our own, for these tests."""
        return _REMAINS


class CrossesLimit(CoolingLimit):
    """A cooling limit with short bands of the other clock."""

    @property
    def option(self) -> CoolingOption:
        """An option of our own, for these tests."""
        return _CROSSES


class HotAgainLimit(ReheatingLimit):
    """A reheating limit that gives seconds: 66 degC for 10 s, within 60 s."""

    @property
    def option(self) -> ReheatingOption:
        """An option of our own, for these tests."""
        published = REHEATING_OPTIONS[self.name_of_option]
        return replace(published, to_mc=66_000, run_ms=10_000, at_most_ms=60_000)


def hot_again(kind: type[ReheatingLimit] = HotAgainLimit) -> Limit:
    """A reheating limit of this class, since leaving 60 degC."""
    head = {"limit": "it", "kind": "reheating", "channel": "core"}
    option = {"option": "FDA Food Code 3-403.11(A)", "since leaving": "60 degC"}
    return kind.model_validate({**head, **option})


class MoistLimit(HumidityLimit):
    """A humidity limit that asks for seconds: 64 %RH for half, and never under 60 s."""

    @property
    def option(self) -> HumidityOption:
        """An option of our own, for these tests; of steam where steam is written."""
        published = super().option
        return replace(_MOIST, shown_by=published.shown_by)


_MOIST = HumidityOption("ours", "", ShownBy.READINGS, 64_000, 500, 60_000)


def moist(channel: str, kind: type[HumidityLimit] = MoistLimit, **keys: str) -> Limit:
    """A limit of that option, on a probe of its own or a wet bulb."""
    head = {"limit": "moist", "kind": "humidity", "channel": channel}
    option = {"option": "FSIS 2021, humidity option 3 (90 %)", "until": "lethality"}
    return kind.model_validate({**head, **option, **keys})


def written(**keys: str) -> Limit:
    """A limit as its author writes it, on the core; ``_`` stands for a space."""
    text = {key.replace("_", " "): value for key, value in keys.items()}
    adapter: TypeAdapter[Limit] = TypeAdapter(AnyLimit)
    return adapter.validate_python({"limit": "it", "channel": "core", **text})


def cooling(kind: type[CoolingLimit], option: str, **keys: str) -> Limit:
    """A cooling limit of this class, on the core."""
    head = {"limit": "it", "channel": "core", "kind": "cooling option"}
    return kind.model_validate({**head, "option": option, **keys})


_TABLE = "FSIS Appendix A, meat, 6.5-log10"
# The rows whose times fit into a series: 153 to 158 degF, 34 s to at once.
_ROWS = tuple(row.temp_mc for row in DWELL_TABLES[_TABLE].rows[23:29])
_SLOW = "California 910.15, slow cooling"

KINDS = (
    Kind(
        "time between",
        written(
            kind="time between",
            between="60 degC and 64 degC",
            at_most="60 s",
            warn="20 s before",
        ),
        (60_000, 64_000),
    ),
    Kind(
        "come-up",
        written(
            **{"kind": "time between", "begins anew after": _TABLE},
            between="50 degC and 54.4 degC",
            at_most="60 s",
        ),
        (50_000, 54_400, *_ROWS[1::2]),
    ),
    Kind("dwell table", written(kind="dwell table", table=_TABLE), _ROWS),
    Kind(
        "integrated",
        written(
            kind="integrated lethality",
            D="10 s",
            z="10 K",
            reference="65 degC",
            target="2-log10",
        ),
        (55_000, 60_000, 65_000, 68_000),
    ),
    Kind(
        "remains between",
        cooling(RemainsLimit, "FSIS Appendix B 1999, option 1", warn="20 s before"),
        (64_000, 60_000, 56_000, 55_000),
    ),
    Kind(
        "since crossing",
        cooling(CrossesLimit, "FDA Food Code 3-501.14(A)", warn="15 s before"),
        (64_000, 60_000, 56_000),
    ),
    Kind(
        "slow cooling",
        cooling(CoolingLimit, _SLOW, warn="2 h before"),
        (48_889, 20_000, 4_444),
        SLOW_MS,
    ),
    Kind(
        "band",
        written(kind="band", within="60 degC to 64 degC", grace="25 s", settle="3 min"),
        (60_000, 64_000),
    ),
    Kind(
        "hold",
        written(**{"kind": "hold", "at or below": "60 degC", "grace": "0 s"}),
        (60_000,),
    ),
    Kind(
        "reach above",
        written(
            **{"kind": "reach within", "at or above": "64 degC", "for": "15 s"},
            at_most="90 s",
            warn="20 s before",
        ),
        (64_000, 60_000),
    ),
    Kind("reheating", hot_again(), (66_000, 60_000)),
    Kind(
        "rate of fall",
        written(
            **{"kind": "rate", "falls at least": "2 K", "over": "40 s"},
            between="59 degC and 66 degC",
        ),
        (60_000, 62_000, 66_000),
    ),
    Kind(
        "predicted growth",
        written(
            **{"kind": "predicted growth", "class": "operating"},
            model="C. perfringens, cooked uncured pork, Juneja 2011",
        ),
        (45_000, 52_800),
        SLOW_MS,
    ),
    Kind("humidity", moist("humidity"), (64_000,)),
    Kind("silence", written(kind="silence", at_most="25 s"), (60_000,)),
)

# The other way of a kind above: held against exact courses, which is enough.
OTHER_WAYS = (
    Kind(
        "reach below",
        written(
            **{"kind": "reach within", "at or below": "60 degC"},
            **{"since leaving": "64 degC"},
            at_most="60 s",
        ),
        (60_000, 64_000),
    ),
    Kind(
        "rate",
        written(**{"kind": "rate", "rises at most": "3 K", "over": "40 s"}),
        (60_000, 63_000),
    ),
    Kind(
        "calm",
        written(**{"kind": "rate", "falls at most": "3 K", "over": "40 s"}),
        (60_000, 63_000),
    ),
    Kind(
        "rate of rise",
        written(**{"kind": "rate", "rises at least": "2 K", "over": "40 s"}),
        (60_000, 62_000, 66_000),
    ),
)


def opened(window: Window) -> Followed:
    """A limit before anything is heard, told what its stages will be."""
    turns = [(window.begin_ms, Turn.BEGIN)]
    if window.pause_ms:
        turns += [(window.pause_ms, Turn.PAUSE), (window.resume_ms, Turn.BEGIN)]
    turns.append((window.over_ms, Turn.OVER))
    turnings = tuple(Turning(*turn, window.heat_ended_ms) for turn in turns)
    line = lines.NEW._replace(turnings=turnings)
    return Followed(evidence.opened(BEGUN_MS), line)


def follow(
    kind: Kind, state: Followed, facts: Iterable[Reading | Tick]
) -> tuple[Followed, list[Move]]:
    """Show the facts to the limit; what is remembered, and how its standing moved."""
    moves: list[Move] = []
    for fact in facts:
        sight, line = state
        if isinstance(fact, Reading):
            after, pieces = evidence.heard(kind.channel, sight, fact)
        else:
            after, pieces = evidence.passed(kind.channel, sight, fact.at_ms)
        for piece in pieces:
            line, new = lines.shown(kind.limit, FACTS, line, sight, piece)
            moves += new
        state = Followed(after, line)
    return state, moves


def judged(
    kind: Kind, window: Window, readings: Iterable[Reading]
) -> tuple[list[Shown], list[Move]]:
    """What a whole series comes to, long after its end."""
    end = Tick(BEGUN_MS + DAY_MS * 30)
    state, moves = follow(kind, opened(window), [*readings, end])
    assert state.line.over
    return lines.findings(kind.limit, state.line), moves


def values(kind: Kind, within_mc: int) -> st.SearchStrategy[int]:
    """Values on every edge of the limit, one thousandth and one accuracy beside it."""
    near = {0, 1, within_mc, within_mc + 1}
    steps = sorted(near | {-one for one in near} | {2_500, -2_500})
    found = sorted({mark + step for mark in kind.marks_mc for step in steps})
    return st.sampled_from(found)


def jitters(kind: Kind) -> st.SearchStrategy[int]:
    """Less than a quarter of the period, either way."""
    most = kind.every_ms // 4 - 1
    return st.sampled_from([0, 0, most, -most, most // 3])


@st.composite
def series(draw: st.DrawFn, kind: Kind) -> list[Reading]:
    """Readings on the grid, some missing, none farther off than can be reached."""
    within_mc = draw(st.sampled_from([0, 1, 300]))
    value, jitter = values(kind, within_mc), jitters(kind)
    missing = st.sampled_from([False] * 7 + [True])
    points = draw(st.lists(st.tuples(value, jitter, missing), max_size=30))
    way = draw(st.sampled_from([0, 0, 1, -1]))  # what only rises, or falls, is usual
    if way:
        up = sorted((point[0] for point in points), reverse=way < 0)
        points = [(mc, *point[1:]) for mc, point in zip(up, points, strict=True)]
    readings: list[Reading] = []
    first = draw(st.sampled_from([0, 1]))  # from the beginning on, or one period later
    for place, (value_mc, jitter_ms, lost) in enumerate(points, start=first):
        at_ms = max(BEGUN_MS + place * kind.every_ms + jitter_ms, BEGUN_MS)
        if readings:
            value_mc = reachable(readings[-1], at_ms, value_mc)
        if not lost:
            readings.append(Reading("core", at_ms, value_mc, within_mc))
    return readings


def reachable(last: Reading, at_ms: int, value_mc: int) -> int:
    """The nearest value that something in the trade can have got to by then."""
    reach_mc = (at_ms - last.at_ms) * FASTEST_MC_PER_S // 1000
    return max(min(value_mc, last.value_mc + reach_mc), last.value_mc - reach_mc)


@st.composite
def windows(draw: st.DrawFn, kind: Kind) -> Window:
    """When the limit is judged: from some moment near the grid to another one."""
    every_ms = kind.every_ms
    beside = st.sampled_from([0, 0, 1, -1, every_ms // 2, every_ms * 3 // 4])
    begin = draw(st.integers(0, 4)) * every_ms + max(draw(beside), 0)
    over = begin + draw(st.integers(2, 30)) * every_ms + draw(beside)
    pause, resume = 0, 0
    if draw(st.sampled_from([False, False, True])):
        third = (over - begin) // 3
        pause = BEGUN_MS + begin + third
        resume = pause + draw(st.sampled_from([1, third // 2, third]))
    heat = draw(st.sampled_from([0, 1, every_ms, every_ms * 4]))
    heat_ended_ms = BEGUN_MS + begin - heat if heat else 0
    return Window(BEGUN_MS + begin, pause, resume, BEGUN_MS + over, heat_ended_ms)


def ticks(kind: Kind) -> st.SearchStrategy[list[Tick]]:
    """Looks at the clock, on the grid and beside it."""
    beside = st.sampled_from([0, 0, 1, -1, 2_499, 5_000, kind.every_ms // 2])
    place = st.integers(0, 40).map(lambda n: n * kind.every_ms)
    moment = st.tuples(place, beside).map(lambda two: BEGUN_MS + max(sum(two), 0))
    return st.lists(moment.map(Tick), max_size=12)


def dwells(kind: Kind) -> bool:
    """Whether it names the row that came nearest, which may be another one."""
    return isinstance(kind.limit, DwellTableLimit)
