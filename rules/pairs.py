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
from rules.facts import Entry
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


class Said(NamedTuple):
    """What a person wrote: kept from then on, or no longer."""

    at_ms: int
    kept: bool


class Paired(NamedTuple):
    """What is remembered of a pair between two facts."""

    line: Line
    front_ms: int  # put together up to here
    ahead: tuple[tuple[Known, ...], ...]  # of each feed, what lies beyond
    said: tuple[Said, ...] = ()  # the last before the front, and those beyond


def among(limits: Sequence[Limit], channels: Sequence[Channel]) -> Iterator[Pair]:
    """Every pair of a cook, in schedule order."""
    names, roles = [limit.name for limit in limits], [one.role for one in channels]
    for number, limit in enumerate(limits):
        if limit.beside is None:
            continue
        beside = tuple(i for i, role in enumerate(roles) if role is limit.beside)
        ends = names.index(limit.until) if limit.until in names else -1
        last = limits[ends].channel if ends >= 0 else None
        waits = tuple(i for i, role in enumerate(roles) if role is last)
        for i, role in enumerate(roles):
            others = tuple(j for j in beside if j != i)
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


def written(
    among: Sequence[Pair], limits: Sequence[Limit], known: Sequence[Paired], note: Entry
) -> tuple[Paired, ...]:
    """What each pair knows after a note, which may be about its limit."""
    found = []
    for pair, paired in zip(among, known, strict=True):
        limit = limits[pair.number]
        kept = limit.said(note.text) if note.about == limit.name else None
        if kept is not None:
            paired = noted(paired, note.at_ms, kept=kept)
        found.append(paired)
    return tuple(found)


def noted(paired: Paired, at_ms: int, *, kept: bool) -> Paired:
    """Take what a person wrote; of one moment the last counts."""
    if paired.line.over:
        return paired
    before = tuple(one for one in paired.said if one.at_ms < at_ms)
    return paired._replace(said=(*before, Said(at_ms, kept)))


def passed(
    limit: Limit, facts: ProductFacts, paired: Paired, to_ms: int
) -> tuple[Paired, list[Move]]:
    """Show the limit what all its channels know up to ``to_ms``."""
    line, front_ms, ahead, said = paired
    moves: list[Move] = []
    while front_ms < to_ms and not line.over:
        firsts = [have[0] for have in ahead]
        turns = [one.at_ms for one in said if one.at_ms > front_ms]
        until_ms = min(to_ms, *(one.to_ms for one in firsts), *turns)
        if limit.by_people:
            piece = _written(said, front_ms, until_ms)
        else:
            piece = _together(limit, firsts, front_ms, until_ms)
        line, new = lines.shown(limit, facts, line, _blind(front_ms), piece)
        moves += new
        front_ms = until_ms
        ahead = tuple(
            tuple(one for one in have if one.to_ms > until_ms) for have in ahead
        )
    if line.over:
        return _over(paired._replace(line=line)), moves
    last = [one for one in said if one.at_ms <= front_ms][-1:]
    said = (*last, *(one for one in said if one.at_ms > front_ms))
    return Paired(line, front_ms, ahead, said), moves


def turned(
    limit: Limit, facts: ProductFacts, paired: Paired
) -> tuple[Paired, list[Move]]:
    """Make the turns that the pair has already come to."""
    sight = _blind(paired.front_ms)
    line, moves = lines.turned(limit, facts, paired.line, sight)
    paired = paired._replace(line=line)
    return (_over(paired) if line.over else paired), moves


def _over(paired: Paired) -> Paired:
    """Nothing more is kept of what was ahead: it is nobody's credit."""
    return Paired(paired.line, 0, ((),) * len(paired.ahead))


def ending(paired: Paired, at_ms: int, heat_ended_ms: int) -> Paired:
    """Let the pair be over at a moment it has not come to, or has just come to."""
    turnings = [one for one in paired.line.turnings if one.at_ms < at_ms]
    if not over(turnings):
        turnings.append(Turning(at_ms, Turn.OVER, heat_ended_ms))
    return paired._replace(line=paired.line._replace(turnings=tuple(turnings)))


def may_end(limit: Limit, paired: Paired, at_ms: int) -> Paired:
    """Tell the limit that the one it ends with may have been met then."""
    state = paired.line.state
    if state is None:
        return paired
    state = limit.may_end(state, at_ms)
    return paired._replace(line=paired.line._replace(state=state))


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


def _written(said: Sequence[Said], from_ms: int, to_ms: int) -> Piece:
    """Nothing is known before the first word."""
    last = [one for one in said if one.at_ms <= from_ms][-1:]
    if not last:
        return Hole(from_ms, to_ms)
    value = int(last[0].kept)
    return Span(from_ms, to_ms, value, value)


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
