"""Whether a product falls without a stop, down to the final temperature of an option.

It stops falling where it stands for longer than ``STANDS_MS``, no lower than it may
have been before, and where it rises by more than ``RISE_MC`` above the lowest it was.
A sure rise is missed.  A stand, a rise that only may have been, and missing readings
are unproven: no text says how much of those a fall may have.  Of what lies between
two joined readings the readings themselves tell: a span of no length is one of them.
"""

from typing import NamedTuple

from rules.evidence import Bridge, Hole, Piece, Span
from rules.facts import Standing, Verdict
from rules.limit import Move, Shown, say_at
from rules.units import say_k, say_mc, say_ms

FALL = "continuous fall"
HIGH_MC = 1 << 40
# No text gives a figure for "continuously": our choice, the 2 h that California
# Code of Regulations title 3 section 910.15 allows a surface between 120 and 80 degF.
STANDS_MS = 7_200_000
# No source: what a probe of ordinary accuracy cannot tell from standing still.
RISE_MC = 2_000

GRAVE = (Standing.WITHIN, Standing.UNPROVEN, Standing.MISSED)


class Fall(NamedTuple):
    """All that is remembered between two pieces of evidence."""

    low_mc: int  # the lowest it may have been
    high_mc: int  # the least it surely was at or below
    fell_ms: int  # when it last surely was lower than ever before
    may_be_down: bool  # it may have been at the final temperature
    standing: Standing
    since_ms: int
    why: str


def opened(at_ms: int) -> Fall:
    """Nothing is seen yet."""
    return Fall(
        HIGH_MC, HIGH_MC, at_ms, False, Standing.WITHIN, at_ms, "no stop so far"
    )


def step(fall: Fall, piece: Piece, final_mc: int) -> tuple[Fall, list[Move]]:
    """Follow it over one piece of evidence."""
    found: list[tuple[int, Standing, str]] = []
    if isinstance(piece, Hole):
        found.append((piece.from_ms, Standing.UNPROVEN, "readings are missing"))
    else:
        fall = fall._replace(may_be_down=fall.may_be_down or piece.low_mc <= final_mc)
    if isinstance(piece, Bridge):
        return fall, []
    if isinstance(piece, Span) and piece.from_ms == piece.to_ms:
        found += _risen(fall, piece, final_mc)
        fall = _lower(fall, piece)
    if piece.to_ms > fall.fell_ms + STANDS_MS:
        why = f"may not have fallen for {say_ms(STANDS_MS)}"
        found.append((fall.fell_ms + STANDS_MS, Standing.UNPROVEN, why))
    moves: list[Move] = []
    for at_ms, standing, why in sorted(found, key=_gravest_first):
        if GRAVE.index(standing) > GRAVE.index(fall.standing):
            moves.append(_move(fall, at_ms, standing, why))
            fall = fall._replace(standing=standing, since_ms=at_ms, why=why)
    return fall, moves


def down(fall: Fall, at_ms: int, final_mc: int) -> tuple[Fall, list[Move]]:
    """It is surely at the final temperature: what did not stop until now is met."""
    why = f"fell without a stop to {say_mc(final_mc)}"
    return _ended(fall, at_ms, Standing.MET, why)


def over(fall: Fall, at_ms: int, final_mc: int) -> tuple[Fall, list[Move]]:
    """What was not seen to its end is unproven."""
    why = f"{say_mc(final_mc)} was never shown"
    return _ended(fall, at_ms, Standing.UNPROVEN, why)


def shown(fall: Fall, *, over: bool) -> Shown:
    """How the fall stands; it has no figures."""
    final = over or fall.standing in (Standing.MISSED, Standing.MET)
    verdict = Verdict(fall.standing.value) if final else Verdict.RUNNING
    head = (fall.standing, verdict, fall.since_ms)
    return Shown(FALL, *head, "", 0, 0, 0, fall.why)


def _risen(fall: Fall, reading: Span, final_mc: int) -> list[tuple[int, Standing, str]]:
    if reading.low_mc > max(fall.high_mc, final_mc) + RISE_MC:
        # Once it may have been all the way down, a rise may have come after that.
        sure = Standing.UNPROVEN if fall.may_be_down else Standing.MISSED
        return [(reading.from_ms, sure, _rose("rose", reading))]
    if reading.high_mc > max(fall.low_mc, final_mc) + RISE_MC:
        return [(reading.from_ms, Standing.UNPROVEN, _rose("may have risen", reading))]
    return []


def _rose(verb: str, reading: Span) -> str:
    return (
        f"{verb} again by more than {say_k(RISE_MC)}, seen at {say_at(reading.from_ms)}"
    )


def _lower(fall: Fall, reading: Span) -> Fall:
    if reading.high_mc < fall.low_mc:
        fall = fall._replace(fell_ms=reading.to_ms)
    return fall._replace(
        low_mc=min(fall.low_mc, reading.low_mc),
        high_mc=min(fall.high_mc, reading.high_mc),
    )


def _ended(
    fall: Fall, at_ms: int, standing: Standing, why: str
) -> tuple[Fall, list[Move]]:
    if fall.standing is not Standing.WITHIN:
        return fall, []
    move = _move(fall, at_ms, standing, why)
    return fall._replace(standing=standing, since_ms=at_ms, why=why), [move]


def _move(fall: Fall, at_ms: int, standing: Standing, why: str) -> Move:
    return Move(max(at_ms, fall.since_ms), FALL, fall.standing, standing, why)


def _gravest_first(found: tuple[int, Standing, str]) -> tuple[int, int, str]:
    at_ms, standing, why = found
    return at_ms, -GRAVE.index(standing), why
