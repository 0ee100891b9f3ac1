"""One limit, judged on one channel: when it is in force, and what it is shown.

A limit is in force during its stages.  A stage may turn over at a moment that lies
inside a piece of evidence not yet known, so a turn waits until the channel's
evidence reaches it, and the piece that spans it is cut there.
"""

from collections.abc import Collection, Iterable, Sequence
from enum import StrEnum
from typing import Any, NamedTuple

from rules.evidence import Bridge, Hole, Piece, Sight, Span, one_sided
from rules.facts import Standing, Verdict
from rules.limit import (
    UNKNOWN_GROWTH,
    Goal,
    Grown,
    Limit,
    Move,
    Opening,
    Shown,
    say_at,
)
from rules.stages import At
from rules.standards.cooling import ProductFacts


class Turn(StrEnum):
    """What a change of stage means to a limit."""

    BEGIN = "begin"  # in force from now on; its count begins with the first
    PAUSE = "pause"
    OVER = "over"
    ENDED = "ended"  # over with the whole cook


class Turning(NamedTuple):
    """A turn, and the moment it belongs to."""

    at_ms: int
    turn: Turn
    heat_ended_ms: int


class Marks(NamedTuple):
    """What can tell two readings of a channel apart."""

    values_mc: list[int]  # in order: readings between the same two are alike
    each: bool  # some limit counts every reading all the same


class Missed(NamedTuple):
    """The readings missing while a limit was in force: the longest holes, and all."""

    longest: tuple[tuple[int, int], ...]  # from and to, those of the first ``NAMED``
    last: tuple[int, ...]  # from and to of the newest, which may still grow
    times: int  # how many holes there were


class Line(NamedTuple):
    """What is remembered of one limit on one channel."""

    state: Any  # None until the limit first came into force
    in_force: bool
    over: bool
    from_ms: int  # in force since, where it is; over since, where it never was
    turnings: tuple[Turning, ...]
    hot_ms: int  # when what the limit watches for was last surely seen; 0: never
    missed: Missed = Missed((), (), 0)
    grown: Grown = UNKNOWN_GROWTH  # by the limit that it follows, until it begins


NEW = Line(None, in_force=False, over=False, from_ms=0, turnings=(), hot_ms=0)
MISSING = "readings missing"
MISSING_ARE = "readings are missing"
NAMED = 3  # holes told by their times; of the others, how many
NEVER = "its stages never began"


def shown(
    limit: Limit, facts: ProductFacts, line: Line, sight: Sight, piece: Piece
) -> tuple[Line, list[Move]]:
    """Show the limit one piece of evidence, turning where it must on the way.

    ``sight`` is what the channel had seen before the piece.
    """
    moves: list[Move] = []
    told = False
    while line.turnings and line.turnings[0].at_ms <= piece.to_ms:
        at_ms = line.turnings[0].at_ms
        if piece.from_ms < at_ms:
            before, piece = _cut(piece, at_ms, sight)
            line = _step(limit, line, before, moves)
            # Of the moment that is left the reading itself will tell.
            told = piece.to_ms == at_ms
        if isinstance(piece, Hole):
            line = _bridged(limit, line, sight, at_ms, moves)
        line = _turned(limit, facts, line, moves)
    return line if told else _step(limit, line, piece, moves), moves


def following(limit: Limit, line: Line, before: Iterable[tuple[Limit, Line]]) -> Line:
    """The line with what was predicted to grow, by those before it on its channel."""
    if not limit.follows or line.state is not None:
        return line
    for other, theirs in before:
        if other.name == limit.follows and theirs.state is not None:
            return line._replace(grown=other.grown(theirs.state))
    return line


def marks(limit: Limit, line: Line) -> tuple[int, ...] | None:
    """The values that can move the line, and no more; None where every one does."""
    if line.in_force:
        return limit.marks(line.state)
    watched_mc = limit.watched_mc if line.state is None else None
    return () if watched_mc is None else (watched_mc,)


def told(limit: Limit, line: Line, spans: Sequence[Span]) -> tuple[Line, list[Move]]:
    """Show the limit spans that follow each other, with no turn on the way."""
    if not line.in_force:
        for span in spans:
            line = _watched(limit, line, span)
        return line, []
    state, moves = limit.steps(line.state, spans)
    return line._replace(state=state), moves


def turn(during: Collection[int], before: int, at: At) -> Turn | None:
    """What it means to a limit of these stages that ``before`` turned over."""
    now = at.number
    if not any(i >= now for i in during):
        last = Turn.ENDED if at.finished_ms else Turn.OVER
        return last if before <= max(during, default=-1) else None
    if now in during:
        return None if before in during else Turn.BEGIN
    return Turn.PAUSE if before in during else None


def turned(
    limit: Limit, facts: ProductFacts, line: Line, sight: Sight
) -> tuple[Line, list[Move]]:
    """Make the turns that the channel's evidence has already reached."""
    moves: list[Move] = []
    while line.turnings and line.turnings[0].at_ms <= sight.front_ms:
        if sight.at_ms < sight.front_ms:  # by a hole that lasts
            line = _bridged(limit, line, sight, line.turnings[0].at_ms, moves)
        line = _turned(limit, facts, line, moves)
    return line, moves


def goals(limit: Limit, line: Line) -> list[Goal]:
    """Where the channel still has to come to, as long as the limit is in force."""
    if not line.in_force or line.turnings:
        return []
    return limit.goals(line.state)


def parts(limit: Limit, line: Line) -> list[list[Goal]]:
    """The goals of each part that the channel has not come to."""
    found: dict[str, list[Goal]] = {}
    for goal in goals(limit, line):
        found.setdefault(goal.part, []).append(goal)
    return list(found.values())


def foreseen(
    limit: Limit, line: Line, at_ms: int, part: str, why: str
) -> tuple[Line, list[Move]]:
    """Tell the limit what is forecast of one of its parts."""
    state, moves = limit.foreseen(line.state, at_ms, part, why)
    return line._replace(state=state), moves


def findings(limit: Limit, line: Line) -> list[Shown]:
    """What the limit shows on this channel."""
    if line.state is not None:
        words = _missing(line.missed)
        return [_with_missing(one, words) for one in limit.findings(line.state)]
    if not line.over:
        return limit.waiting()
    head = (Standing.UNPROVEN, Verdict.UNPROVEN, line.from_ms)
    return [Shown("", *head, "ms", 0, 0, 0, NEVER)]


def _step(limit: Limit, line: Line, piece: Piece, moves: list[Move]) -> Line:
    if not line.in_force:
        return _watched(limit, line, piece)
    if isinstance(piece, Bridge):
        piece = _clipped(piece, line.from_ms)
    if piece.to_ms < piece.from_ms:
        return line
    if not isinstance(piece, Span) and piece.to_ms == piece.from_ms:
        return line
    state, new = limit.step(line.state, piece)
    moves += new
    if isinstance(piece, Hole):
        line = line._replace(missed=_missed(line.missed, piece.from_ms, piece.to_ms))
    elif line.missed.last and isinstance(piece, Span):  # a reading ends it
        line = line._replace(missed=line.missed._replace(last=()))
    return line._replace(state=state)


def _missed(missed: Missed, from_ms: int, to_ms: int) -> Missed:
    """Remember a hole as one, however many pieces it was told in."""
    times = missed.times + 1
    if missed.last[1:] == (from_ms,):
        from_ms, times = missed.last[0], missed.times
    others = [hole for hole in missed.longest if hole[0] != from_ms]
    found = sorted([*others, (from_ms, to_ms)], key=lambda hole: hole[0] - hole[1])
    return Missed(tuple(sorted(found[:NAMED])), (from_ms, to_ms), times)


def _with_missing(one: Shown, words: str) -> Shown:
    """A part that missing readings leave open, with their holes by the clock.

    A kind that knows which of them decided has said so itself.
    """
    open_still = one.verdict in (Verdict.UNPROVEN, Verdict.RUNNING)
    if not open_still or not _by_readings(one) or MISSING in one.why:
        return one
    return one._replace(why=one.why + words)


def _by_readings(one: Shown) -> bool:
    """Whether readings decide the part; what people wrote of a lot needs none."""
    return bool(one.unit) or MISSING_ARE in one.why


def _missing(missed: Missed) -> str:
    """The holes by the clock: ``; readings missing from 14:02 UTC to 14:06 UTC``."""
    if not missed.times:
        return ""
    spans = [f"{say_at(begin)} to {say_at(end)}" for begin, end in missed.longest]
    more = missed.times - len(spans)
    if more:
        spans.append("once more" if more == 1 else f"{more} times more")
    return f"; {MISSING} from {', '.join(spans)}"


def _watched(limit: Limit, line: Line, piece: Piece) -> Line:
    """Before a limit is in force, remember when its channel was last at its start."""
    watched_mc = limit.watched_mc
    if line.state is not None or watched_mc is None or not isinstance(piece, Span):
        return line
    if limit.watched_below:
        there = piece.high_mc <= watched_mc
    else:
        there = piece.low_mc >= watched_mc
    return line._replace(hot_ms=piece.to_ms) if there else line


def _turned(limit: Limit, facts: ProductFacts, line: Line, moves: list[Move]) -> Line:
    at_ms, turn, heat_ended_ms = line.turnings[0]
    line = line._replace(turnings=line.turnings[1:])
    if turn is Turn.BEGIN:
        state = line.state
        if state is None:
            hot_ms, grown = line.hot_ms, line.grown
            opening = Opening(at_ms, heat_ended_ms, facts, hot_ms, grown)
            state = limit.opened(opening)
        return line._replace(state=state, in_force=True, from_ms=at_ms)
    last = turn in (Turn.OVER, Turn.ENDED)
    if last and line.state is None:
        moves.append(Move(at_ms, "", Standing.WAITING, Standing.UNPROVEN, NEVER))
        line = line._replace(from_ms=at_ms)
    elif last:
        close = limit.ended if turn is Turn.ENDED else limit.over
        state, new = close(line.state, at_ms)
        moves += new
        line = line._replace(state=state)
    return line._replace(in_force=False, over=line.over or last)


def _bridged(
    limit: Limit, line: Line, sight: Sight, at_ms: int, moves: list[Move]
) -> Line:
    """Show what can have been reached in a hole that a turn cuts off."""
    return _step(limit, line, one_sided(sight, at_ms), moves)


def _cut(piece: Piece, at_ms: int, sight: Sight) -> tuple[Piece, Piece]:
    """The two parts; the first holds no more than can be reached by then.

    Else the reading at the far end would widen what a hole there leaves possible.
    """
    before, after = piece._replace(to_ms=at_ms), piece._replace(from_ms=at_ms)
    if isinstance(before, Span):
        _, _, low_mc, high_mc = one_sided(sight, at_ms)
        low_mc, high_mc = max(before.low_mc, low_mc), min(before.high_mc, high_mc)
        before = before._replace(low_mc=low_mc, high_mc=high_mc)
    return before, after


def _clipped(bridge: Bridge, from_ms: int) -> Bridge:
    return bridge._replace(from_ms=max(bridge.from_ms, from_ms))
