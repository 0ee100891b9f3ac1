"""An allowance of time, told as stories; each entry of its table has one.

``tests/rules/test_moves.py`` changes every entry of the table and sees that these
stories notice.  Where nothing else is said the allowance is 10 s, a piece is so
many seconds in which the channel may be and must be inside, and times are seconds.
"""

import itertools
from typing import NamedTuple

import pytest

from rules import allowance
from rules.allowance import (
    BACK,
    DONE,
    FORESEEN,
    NEXT,
    OVER,
    RELIEVED,
    Signal,
    Used,
    counted,
    foreseen,
    little,
    moved,
)
from rules.facts import Standing

ALLOWED_MS = 10_000


class Piece(NamedTuple):
    """A piece of time, what the channel may and must be in it, and what happens."""

    lasts_s: int = 0
    may: bool = False
    must: bool = False
    signal: Signal | None = None  # when it begins


def inside(lasts_s: int, signal: Signal | None = None) -> Piece:
    """Surely inside."""
    return Piece(lasts_s, may=True, must=True, signal=signal)


def doubt(lasts_s: int, signal: Signal | None = None) -> Piece:
    """Perhaps inside."""
    return Piece(lasts_s, may=True, signal=signal)


def outside(lasts_s: int, signal: Signal | None = None) -> Piece:
    """Surely outside."""
    return Piece(lasts_s, signal=signal)


Story = tuple[list[Piece | Signal], int, list[tuple[float, str]]]

STORIES: dict[str, Story] = {
    "outside all the time": ([outside(5), outside(5)], 0, []),
    "used to the last moment, and no longer": ([inside(10), outside(5)], 0, []),
    "inside for too long, surely": ([inside(10), inside(1)], 0, [(10, "missed")]),
    "it may have been inside for too long": ([doubt(11)], 0, [(10, "unproven")]),
    "first perhaps and then surely too long": (
        [doubt(2), inside(11)],
        0,
        [(10, "unproven"), (12, "missed")],
    ),
    "too long, and outside afterwards": (
        [inside(11), outside(1), inside(5)],
        3,
        [(7, "at risk"), (10, "missed")],
    ),
    "perhaps too long, and outside afterwards": (
        [doubt(11), outside(1), doubt(1)],
        3,
        [(7, "at risk"), (10, "unproven")],
    ),
    "warned at the moment the warning time begins": (
        [inside(6), inside(2)],
        3,
        [(7, "at risk")],
    ),
    "warned once only": ([inside(8), inside(1), inside(1)], 3, [(7, "at risk")]),
    "outside again while there is time": (
        [inside(8), outside(1), outside(1)],
        3,
        [(7, "at risk"), (8, "within")],
    ),
    "inside again with little left": (
        [inside(8), outside(1), inside(1)],
        3,
        [(7, "at risk"), (8, "within"), (9, "at risk")],
    ),
    "warned, then lost": (
        [inside(11)],
        3,
        [(7, "at risk"), (10, "missed")],
    ),
    "warned, then in doubt": (
        [doubt(11)],
        3,
        [(7, "at risk"), (10, "unproven")],
    ),
    "shown in time": ([inside(5), outside(1), DONE], 0, [(6, "met")]),
    "shown in time, and shown again": ([inside(5), DONE, DONE, OVER], 0, [(5, "met")]),
    "shown in the warning time": (
        [inside(8), DONE],
        3,
        [(7, "at risk"), (8, "met")],
    ),
    "shown, and outside from then on": ([DONE, outside(5)], 0, [(0, "met")]),
    "shown at the moment at which it is outside again": (
        [inside(8), outside(1, DONE)],
        3,
        [(7, "at risk"), (8, "met")],
    ),
    "shown, then back inside and never shown again": (
        [inside(2), DONE, BACK, inside(1), OVER],
        0,
        [(2, "met"), (2, "within"), (3, "unproven")],
    ),
    "back inside and still so": (
        [DONE, BACK, inside(1), BACK, inside(1)],
        0,
        [(0, "met"), (0, "within")],
    ),
    "back inside in the warning time": (
        [inside(8), DONE, inside(1, BACK)],
        3,
        [(7, "at risk"), (8, "met"), (8, "at risk")],
    ),
    "back inside with the warning time begun": (
        [inside(8), DONE, inside(1, BACK), inside(1, BACK)],
        3,
        [(7, "at risk"), (8, "met"), (8, "at risk")],
    ),
    "back inside with nothing left, perhaps": (
        [inside(10), DONE, doubt(1, BACK), OVER],
        0,
        [(10, "met"), (10, "unproven")],
    ),
    "back inside with nothing left, surely": (
        [inside(10), DONE, inside(1, BACK), DONE, OVER],
        0,
        [(10, "met"), (10, "missed")],
    ),
    "forecast to be too long, and relieved": (
        [inside(2), FORESEEN, inside(1), RELIEVED, RELIEVED],
        0,
        [(2, "at risk"), (3, "within")],
    ),
    "forecast to be too long, again and again": (
        [inside(2), FORESEEN, FORESEEN, FORESEEN],
        0,
        [(2, "at risk")],
    ),
    "forecast to be too long, and shown all the same": (
        [inside(2), FORESEEN, DONE, FORESEEN, RELIEVED],
        0,
        [(2, "at risk"), (2, "met")],
    ),
    "what may have been too long is no better for a forecast": (
        [doubt(11), FORESEEN, RELIEVED],
        0,
        [(10, "unproven")],
    ),
    "nor is what was too long": (
        [inside(11), FORESEEN, RELIEVED],
        0,
        [(10, "missed")],
    ),
    "over before it was shown": ([inside(2), OVER], 0, [(2, "unproven")]),
    "over in the warning time": (
        [inside(8), OVER],
        3,
        [(7, "at risk"), (8, "unproven")],
    ),
    "what may have been too long stays so, though shown": (
        [doubt(11), DONE, BACK, OVER],
        0,
        [(10, "unproven")],
    ),
    "what was too long stays so, though shown": (
        [inside(11), DONE, BACK, OVER],
        0,
        [(10, "missed")],
    ),
}


def tell(pieces: list[Piece | Signal], warn_s: int) -> list[tuple[float, str]]:
    """Let a story happen; the moves, in seconds."""
    state, found = allowance.opened(0), []
    for told in pieces:
        piece = Piece(signal=told) if isinstance(told, Signal) else told
        at_ms = state.front_ms
        signals: list[tuple[int, Signal]] = []
        if piece.lasts_s:
            state, signals = counted(
                state,
                ALLOWED_MS,
                warn_s * 1000,
                at_ms + piece.lasts_s * 1000,
                may=piece.may,
                must=piece.must,
            )
        if piece.signal:
            signals = [*signals, (at_ms, piece.signal)]
        state, moves = moved("", state, signals, str)
        found += [(move.at_ms / 1000, str(move.now)) for move in moves]
    return found


@pytest.mark.parametrize("name", STORIES)
def test_the_standings_passed_through(name: str) -> None:
    pieces, warn_s, passed = STORIES[name]
    assert tell(pieces, warn_s) == passed


def test_every_standing_has_an_answer_to_every_signal() -> None:
    standings = {*Standing} - {Standing.WAITING, Standing.DEVIATION}
    assert set(NEXT) == set(itertools.product(standings, Signal))


def test_the_two_counts_are_kept_apart() -> None:
    state = allowance.opened(0)
    for to_ms, may, must in [
        (1000, True, True),
        (3000, True, False),
        (7000, False, False),
    ]:
        state, _ = counted(state, ALLOWED_MS, 0, to_ms, may=may, must=must)
    assert (state.least_ms, state.most_ms, state.front_ms) == (3000, 1000, 7000)
    assert allowance.figures(state, ALLOWED_MS) == "1 s to 3 s; 10 s allowed"


@pytest.mark.parametrize(
    ("least_ms", "inside", "over", "lose_ms"),
    [
        pytest.param(4_000, True, False, 26_000, id="6 s from now"),
        pytest.param(10_000, True, False, 20_000, id="now"),
        pytest.param(11_000, True, False, 0, id="it is lost already"),
        pytest.param(4_000, False, False, 0, id="the count stands still"),
        pytest.param(4_000, True, True, 0, id="its stages are over"),
    ],
)
def test_when_it_is_lost_if_nothing_changes(
    least_ms: int, inside: bool, over: bool, lose_ms: int
) -> None:
    state = Used(Standing.WITHIN, 0, least_ms, 0, 20_000, inside, over)
    assert allowance.shown("", state, ALLOWED_MS, "").lose_ms == lose_ms


def heard(state: Used, *forecasts: str) -> tuple[Used, list[str]]:
    """Let forecasts be heard: why it will be passed, or nothing."""
    found = []
    for why in forecasts:
        left = little(state, ALLOWED_MS, 3_000)
        state, moves = foreseen("", state, state.front_ms, why, little=left)
        found += [f"{move.now}: {move.why}" for move in moves]
    return state, found


@pytest.mark.parametrize(
    ("forecasts", "passed"),
    [
        pytest.param(["slow"], [], id="one forecast is none"),
        pytest.param(["slow", "slow", "slow"], ["at risk: slow"], id="two in a row"),
        pytest.param(["slow", "", "slow", "", "slow"], [], id="they disagree"),
        pytest.param(["slow", "slow", "", "slow"], ["at risk: slow"], id="one is good"),
        pytest.param(
            ["slow", "slow", "", ""],
            ["at risk: slow", "within: will be in time at this rate"],
            id="two are",
        ),
    ],
)
def test_it_takes_two_forecasts_to_be_believed(
    forecasts: list[str], passed: list[str]
) -> None:
    assert heard(allowance.opened(0), *forecasts)[1] == passed


def test_a_good_forecast_does_not_excuse_that_little_is_left() -> None:
    state, _ = heard(allowance.opened(0), "slow", "slow")
    state, _ = counted(state, ALLOWED_MS, 3_000, 8_000, may=True, must=True)
    state, passed = heard(state, "", "")
    assert (state.standing, passed) == (Standing.AT_RISK, [])


def test_what_was_never_inside_may_be_at_risk_and_what_left_is_not() -> None:
    state, _ = heard(allowance.opened(0), "slow", "slow")
    state, signals = counted(state, ALLOWED_MS, 0, 1_000, may=False, must=False)
    assert moved("", state, signals, str)[1] == []
    state, _ = counted(state, ALLOWED_MS, 0, 2_000, may=True, must=True)
    state, signals = counted(state, ALLOWED_MS, 0, 3_000, may=False, must=False)
    (move,) = moved("", state, signals, str)[1]
    assert (move.at_ms, move.now) == (2_000, Standing.WITHIN)
