"""Small cooks to tell stories with: readings in minutes and degrees, one limit each.

A story's cook begins at ``BEGUN_MS``, and its times are told from there on.  The
channels report once a minute unless the story says otherwise.
"""

from collections.abc import Iterable, Sequence
from fractions import Fraction

from rules import evidence
from rules.channels import Channel, Role
from rules.evidence import Piece
from rules.facts import Entry, EntryKind, Event, Reading, Subject
from rules.limit import Limit, Move, Opening, Shown
from rules.replay import Outcome, replay
from rules.schedule import Schedule, read_schedule
from rules.standards.cooling import ProductFacts
from rules.units import MS, fahrenheit_mc
from rules.verdicts import Judged

BEGUN_MS = 1_767_934_800_000  # 2026-01-09T05:00:00Z, any day will do
S, MIN, H = MS["s"], MS["min"], MS["h"]

HEAD = """\
schedule: story
revision: 1
product: {meat: pork, form: comminuted, cured: yes}
"""


def schedule(rest: str, head: str = HEAD) -> Schedule:
    """Read a schedule that has no fault."""
    found = read_schedule("story.yaml", head + rest)
    assert isinstance(found, Schedule), found
    return found


def faults_of(limit: str) -> list[str]:
    """What is found wrong with one limit, as its author writes it on one line."""
    stages = "stages: [{stage: s, ends: by hand}]\n"
    found = read_schedule("r.yaml", f"{HEAD}{stages}limits:\n  - {{{limit}}}\n")
    assert isinstance(found, list), found
    return [one.found for one in found]


def core(name: str = "core", every_ms: int = MIN) -> Channel:
    """A core that reports once a minute, and is quiet after ten."""
    return Channel(name, Role.CORE, every_ms, 10 * every_ms, 0)


def chamber(name: str = "chamber", every_ms: int = MIN) -> Channel:
    """A chamber probe that reports once a minute, and is quiet after ten."""
    return Channel(name, Role.CHAMBER, every_ms, 10 * every_ms, 0)


def series(
    channel: str, *points: tuple[float, float], within_mc: int = 0
) -> list[Reading]:
    """Readings from (minutes, degC) points."""
    return [
        Reading(channel, BEGUN_MS + round(at * MIN), round(degc * 1000), within_mc)
        for at, degc in points
    ]


def series_f(channel: str, *points: tuple[float, int]) -> list[Reading]:
    """Readings from (minutes, degF) points."""
    return [
        Reading(channel, BEGUN_MS + round(at * MIN), degf(value), 0)
        for at, value in points
    ]


def flat(
    channel: str, from_min: int, to_min: int, degc: float, within_mc: int = 0
) -> list[Reading]:
    """The same reading once a minute, both ends included."""
    minutes = range(from_min, to_min + 1)
    return series(channel, *((at, degc) for at in minutes), within_mc=within_mc)


def degf(degrees: int) -> int:
    """Degrees Fahrenheit in thousandths of a degree Celsius."""
    return fahrenheit_mc(Fraction(degrees))


def entry(kind: EntryKind, at_min: float, who: str = "ab", about: str = "") -> Entry:
    """Something a person did at that minute."""
    at_ms = BEGUN_MS + round(at_min * MIN)
    return Entry(kind, at_ms, at_ms, who, about=about)


def cook(
    told: Schedule,
    channels: Sequence[Channel],
    readings: Iterable[Reading],
    *entries: Entry,
    until_min: float,
) -> Outcome:
    """Judge a whole cook."""
    until_ms = BEGUN_MS + round(until_min * MIN)
    return replay(told, channels, BEGUN_MS, readings, entries, until_ms)


def limit_moves(outcome: Outcome, name: str) -> list[tuple[int, str]]:
    """When the limit (or its part) passed to which standing, from the beginning."""
    return told((e for e in outcome.events if e.subject is Subject.LIMIT), name)


def told(events: Iterable[Event], name: str) -> list[tuple[int, str]]:
    """When what has that name came to be what, from the beginning."""
    return [(e.at_ms - BEGUN_MS, str(e.now)) for e in events if e.name == name]


def judged(outcome: Outcome, name: str) -> Judged:
    """How one limit was judged."""
    (one,) = [one for one in outcome.judged if one.limit == name]
    return one


def opening(facts: ProductFacts | None = None, heat_ended_ms: int = 0) -> Opening:
    """The moment at which a limit comes into force."""
    return Opening(BEGUN_MS, heat_ended_ms, facts or ProductFacts())


def shown_to(
    limit: Limit,
    pieces: Iterable[Piece],
    over_ms: int = 0,
    start: Opening | None = None,
) -> tuple[list[Move], list[Shown]]:
    """Show pieces of evidence to one limit; the moves and what it came to."""
    state, moves = limit.opened(start or opening()), []
    for piece in pieces:
        state, new = limit.step(state, piece)
        moves += new
    if over_ms:
        state, new = limit.over(state, over_ms)
        moves += new
    return moves, limit.findings(state)


def heard(channel: Channel, readings: Iterable[Reading]) -> list[Piece]:
    """What a channel's readings allow to be true, piece by piece."""
    sight = evidence.opened(BEGUN_MS)
    pieces: list[Piece] = []
    for reading in readings:
        sight, new = evidence.heard(channel, sight, reading)
        pieces += new
    return pieces
