"""An allowance of time that a channel uses up: at most so long in some band.

The time is counted twice: ``least_ms`` is how long it may have been (the least
favourable truth), ``most_ms`` how long it must have been (the most favourable
one).  The allowance is *used up* when ``least_ms`` passes it and *lost* when
``most_ms`` does.

Rule 1: every passage between standings is in ``NEXT``, in this file.
Rule 2: a move carries the moment at which the count passed the mark, worked out
inside the piece of evidence, not the time at which the piece ended.
Rule 3: it is at risk when little of it is left, or when ``SURELY`` forecasts more have
said that it will be passed than that it will not; the count alone decides the verdict.
"""

from collections.abc import Callable
from enum import StrEnum
from typing import NamedTuple

from rules.facts import Standing
from rules.limit import Move, Shown, State, verdict
from rules.units import say_ms


class Signal(StrEnum):
    """What can happen to an allowance; of one moment's, the first acts first."""

    LOST = "it must have been passed"
    USED_UP = "it may have been passed"
    WARN = "inside, and the warning time has been used"
    DONE = "all that was asked is shown"
    BACK = "it may be inside again after that"
    FORESEEN = "forecast to be passed"
    RELIEVED = "no longer forecast to be, and there is time left"
    CLEAR = "surely outside"
    OVER = "its stages are over"


WAITING, WITHIN, AT_RISK, DEVIATION, MET, MISSED, UNPROVEN = Standing
LOST, USED_UP, WARN, DONE, BACK, FORESEEN, RELIEVED, CLEAR, OVER = Signal
SURELY = 2
FIRST = {signal: place for place, signal in enumerate(Signal)}

NEXT = {
    (WITHIN, WARN): AT_RISK,
    (WITHIN, CLEAR): WITHIN,
    (WITHIN, USED_UP): UNPROVEN,
    (WITHIN, LOST): MISSED,
    (WITHIN, DONE): MET,
    (WITHIN, BACK): WITHIN,
    (WITHIN, FORESEEN): AT_RISK,
    (WITHIN, RELIEVED): WITHIN,
    (WITHIN, OVER): UNPROVEN,
    (AT_RISK, WARN): AT_RISK,
    (AT_RISK, CLEAR): WITHIN,
    (AT_RISK, USED_UP): UNPROVEN,
    (AT_RISK, LOST): MISSED,
    (AT_RISK, DONE): MET,
    (AT_RISK, BACK): AT_RISK,
    (AT_RISK, FORESEEN): AT_RISK,
    (AT_RISK, RELIEVED): WITHIN,
    (AT_RISK, OVER): UNPROVEN,
    (MET, WARN): AT_RISK,
    (MET, CLEAR): MET,
    (MET, USED_UP): UNPROVEN,
    (MET, LOST): MISSED,
    (MET, DONE): MET,
    (MET, BACK): WITHIN,
    (MET, FORESEEN): MET,
    (MET, RELIEVED): MET,
    (MET, OVER): MET,
    (UNPROVEN, WARN): UNPROVEN,
    (UNPROVEN, CLEAR): UNPROVEN,
    (UNPROVEN, USED_UP): UNPROVEN,
    (UNPROVEN, LOST): MISSED,
    (UNPROVEN, DONE): UNPROVEN,  # what may have been passed stays so
    (UNPROVEN, BACK): UNPROVEN,
    (UNPROVEN, FORESEEN): UNPROVEN,
    (UNPROVEN, RELIEVED): UNPROVEN,
    (UNPROVEN, OVER): UNPROVEN,
    (MISSED, WARN): MISSED,
    (MISSED, CLEAR): MISSED,
    (MISSED, USED_UP): MISSED,
    (MISSED, LOST): MISSED,
    (MISSED, DONE): MISSED,
    (MISSED, BACK): MISSED,
    (MISSED, FORESEEN): MISSED,
    (MISSED, RELIEVED): MISSED,
    (MISSED, OVER): MISSED,
}


class Used(NamedTuple):
    """How much of an allowance is used, and how it stands."""

    standing: Standing
    since_ms: int
    least_ms: int
    most_ms: int
    front_ms: int  # counted up to here
    inside: bool  # it may be inside now
    over: bool
    foreseen: int = 0  # how many more forecasts were bad than good; 0 to SURELY


def opened(at_ms: int) -> Used:
    """An allowance of which nothing is used yet."""
    return Used(WITHIN, at_ms, 0, 0, at_ms, inside=False, over=False)


def counted(
    state: Used, allowed_ms: int, warn_ms: int, to_ms: int, *, may: bool, must: bool
) -> tuple[Used, list[tuple[int, Signal]]]:
    """Count from the front to ``to_ms``, where it may or must have been inside."""
    signals: list[tuple[int, Signal]] = []
    span_ms = to_ms - state.front_ms
    least, most = state.least_ms, state.most_ms
    if may:
        mark = allowed_ms - warn_ms
        if warn_ms and least + span_ms >= mark:
            signals.append((state.front_ms + max(mark - least, 0), WARN))
        if least <= allowed_ms < least + span_ms:
            signals.append((state.front_ms + allowed_ms - least, USED_UP))
        least += span_ms
    elif state.inside:
        signals.append((state.front_ms, CLEAR))
        state = state._replace(foreseen=0)
    elif state.foreseen < SURELY:  # what was never inside may still be too slow
        signals.append((state.front_ms, CLEAR))
    if must:
        if most <= allowed_ms < most + span_ms:
            signals.append((state.front_ms + allowed_ms - most, LOST))
        most += span_ms
    now = state._replace(least_ms=least, most_ms=most, front_ms=to_ms, inside=may)
    return now, signals


def foreseen(
    part: str, state: Used, at_ms: int, why: str, *, little: bool
) -> tuple[Used, list[Move]]:
    """Hear one forecast: why it will be passed, or "" where it will not.

    ``little`` says that so little is left that it is at risk all the same.
    """
    bad = doubted(state.foreseen, why)
    signals: list[tuple[int, Signal]] = []
    if bad == SURELY:
        signals.append((at_ms, FORESEEN))
    elif not bad and state.foreseen and not little:
        signals.append((at_ms, RELIEVED))
    state = state._replace(foreseen=bad)
    return moved(part, state, signals, lambda _: why or RELIEVED_WORDS)


def doubted(foreseen: int, why: str) -> int:
    """How many more forecasts were bad than good after one more; 0 to ``SURELY``."""
    return max(0, min(SURELY, foreseen + (1 if why else -1)))


def foretold(
    state: State, stands: Callable[[State], Standing], at_ms: int, part: str, why: str
) -> tuple[State, list[Move]]:
    """Hear one forecast of what has no clock; its state says how it stands.

    The state counts the bad ones in ``foreseen`` and has in ``risk_ms`` since when it
    is at risk, 0 where it is not; at risk it stays until it is surely well again.
    """
    was, bad = stands(state), doubted(state.foreseen, why)
    since_ms = at_ms if bad == SURELY else 0
    if state.risk_ms and bad:
        since_ms = state.risk_ms
    state = state._replace(foreseen=bad, risk_ms=since_ms)
    now = stands(state)
    if now is was:
        return state, []
    return state, [Move(at_ms, part, was, now, why or RELIEVED_WORDS)]


RELIEVED_WORDS = "will be in time at this rate"


def little(state: Used, allowed_ms: int, warn_ms: int) -> bool:
    """Whether it may be inside, with no more than the warning time left."""
    return bool(warn_ms and state.inside and state.least_ms >= allowed_ms - warn_ms)


def moved(
    part: str,
    state: Used,
    signals: list[tuple[int, Signal]],
    says: Callable[[Standing], str],
) -> tuple[Used, list[Move]]:
    """Let signals act in the order of their times; answer the moves."""
    moves: list[Move] = []
    standing, since_ms = state.standing, state.since_ms
    for at_ms, signal in sorted(signals, key=lambda one: (one[0], FIRST[one[1]])):
        after = NEXT[standing, signal]
        if after is not standing:
            moves.append(Move(at_ms, part, standing, after, says(after)))
            standing, since_ms = after, at_ms
    return state._replace(standing=standing, since_ms=since_ms), moves


def shown(part: str, state: Used, allowed_ms: int, why: str) -> Shown:
    """What the count shows, with the time at which it is lost if nothing changes."""
    left_ms = allowed_ms - state.least_ms
    running = state.inside and not state.over and left_ms >= 0
    return Shown(
        part,
        state.standing,
        verdict(state.standing, over=state.over),
        state.since_ms,
        "ms",
        allowed_ms,
        state.least_ms,
        state.most_ms,
        why,
        state.front_ms + left_ms if running else 0,
    )


def figures(state: Used, allowed_ms: int) -> str:
    """The two counts and the allowance, in words: ``59 min to 1 h; 2 h allowed``.

    Seconds are left out beside hours, so a count that is over and reads alike says so.
    """
    allowed = say_ms(allowed_ms)
    least, most = (
        f"just over {allowed}"
        if ms > allowed_ms and say_ms(ms) == allowed
        else say_ms(ms)
        for ms in (state.least_ms, state.most_ms)
    )
    count = least if least == most else f"{most} to {least}"
    return f"{count}; {allowed} allowed"
