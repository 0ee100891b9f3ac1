"""A limit whose figure is worked out from several channels, known at the same time.

Each channel's evidence comes when it comes.  What one of them knows ahead of another
is kept until all have come as far; then the pieces are put together and shown to the
limit as the evidence of one channel.  Where any of them has a hole, nothing is known.

A pair may end with another limit: at the moment when that one is met on every channel
it is judged on.  So it also waits for the evidence of those, and never runs ahead of a
moment that may turn out to be its end.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from rules import lines
from rules.channels import Channel
from rules.evidence import Bridge, Hole, Piece, Sight, Span
from rules.limit import Limit, Move
from rules.lines import Line, Turn, Turning
from rules.standards.cooling import ProductFacts


class Pair(NamedTuple):
    """One limit on one channel, and the channels that it is judged beside."""

    number: int  # of the limit
    feeds: tuple[int, ...]  # channels: its own first, then those beside it
    ends: int  # the number of the limit that it ends with; -1: none
    waits: tuple[int, ...]  # the channels that one is judged on


class Known(NamedTuple):
    """What one channel knows of a piece of time; nothing, where it is a hole."""

    from_ms: int
    to_ms: int
    low_mc: int
    high_mc: int
    seen: bool


class Paired(NamedTuple):
    """What is remembered of a pair between two facts."""

    line: Line
    front_ms: int  # put together up to here
    ahead: tuple[tuple[Known, ...], ...]  # of each feed, what lies beyond


def among(limits: Sequence[Limit], channels: Sequence[Channel]) -> Iterator[Pair]:
    """Every pair of a cook, in schedule order."""
    names, roles = [limit.name for limit in limits], [one.role for one in channels]
    for number, limit in enumerate(limits):
        if limit.beside is None:
            continue
        others = tuple(i for i, role in enumerate(roles) if role is limit.beside)
        ends = names.index(limit.until) if limit.until in names else -1
        last = limits[ends].channel if ends >= 0 else None
        waits = tuple(i for i, role in enumerate(roles) if role is last)
        for i, role in enumerate(roles):
            if role is limit.channel and (others or limit.alone):
                yield Pair(number, (i, *others), ends, waits)


def opened(pair: Pair, at_ms: int) -> Paired:
    """A pair of which nothing is known yet."""
    return Paired(lines.NEW, at_ms, ((),) * len(pair.feeds))


def heard(pair: Pair, paired: Paired, channel: int, pieces: Sequence[Piece]) -> Paired:
    """Keep what a channel knows until the others have come as far."""
    if paired.line.over or channel not in pair.feeds:
        return paired
    new = tuple(
        _known(piece)
        for piece in pieces
        if piece.from_ms < piece.to_ms and not isinstance(piece, Bridge)
    )
    return paired._replace(
        ahead=tuple(
            have + new if feed == channel else have
            for feed, have in zip(pair.feeds, paired.ahead, strict=True)
        )
    )


def passed(
    limit: Limit, facts: ProductFacts, paired: Paired, to_ms: int
) -> tuple[Paired, list[Move]]:
    """Show the limit what all its channels know up to ``to_ms``."""
    line, front_ms, ahead = paired
    moves: list[Move] = []
    while front_ms < to_ms and not line.over:
        firsts = [have[0] for have in ahead]
        until_ms = min(to_ms, *(one.to_ms for one in firsts))
        piece = _together(limit, firsts, front_ms, until_ms)
        line, new = lines.shown(limit, facts, line, _blind(front_ms), piece)
        moves += new
        front_ms = until_ms
        ahead = tuple(
            tuple(one for one in have if one.to_ms > until_ms) for have in ahead
        )
    if line.over:
        ahead = ((),) * len(ahead)
    return Paired(line, front_ms, ahead), moves


def turned(
    limit: Limit, facts: ProductFacts, paired: Paired
) -> tuple[Paired, list[Move]]:
    """Make the turns that the pair has already come to."""
    sight = _blind(paired.front_ms)
    line, moves = lines.turned(limit, facts, paired.line, sight)
    return paired._replace(line=line), moves


def ending(paired: Paired, at_ms: int, heat_ended_ms: int) -> Paired:
    """Let the pair be over at a moment it has not come to, or has just come to."""
    turnings = [one for one in paired.line.turnings if one.at_ms < at_ms]
    if not over(turnings):
        turnings.append(Turning(at_ms, Turn.OVER, heat_ended_ms))
    return paired._replace(line=paired.line._replace(turnings=tuple(turnings)))


def over(turnings: Sequence[Turning]) -> bool:
    """Whether the pair's own stages end it before anything else can."""
    return bool(turnings) and turnings[-1].turn in (Turn.OVER, Turn.ENDED)


def _blind(at_ms: int) -> Sight:
    """The sight of something of which nothing bounds how fast it changes."""
    return Sight(False, at_ms, 0, 0, at_ms, quiet=False)


def _known(piece: Piece) -> Known:
    if isinstance(piece, Span):
        return Known(*piece, seen=True)
    return Known(piece.from_ms, piece.to_ms, 0, 0, seen=False)


def _together(limit: Limit, firsts: list[Known], from_ms: int, to_ms: int) -> Piece:
    if not all(one.seen for one in firsts):
        return Hole(from_ms, to_ms)
    own, *others = firsts
    span = Span(from_ms, to_ms, own.low_mc, own.high_mc)
    if not others:
        return span
    low_mc = min(one.low_mc for one in others)
    high_mc = max(one.high_mc for one in others)
    return limit.together(span, Span(from_ms, to_ms, low_mc, high_mc))
