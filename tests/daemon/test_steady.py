"""The site's time over clocks that are unset, set, wrong and put right again.

The laws are of our own making: the site's time never goes back, and lengths are those
of the count that never steps.
"""

from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.clock import Clock
from daemon.steady import (
    EARLIEST_MS,
    STEP_MS,
    TRIAL_MS,
    SteadyClock,
    Witness,
    Word,
    begun,
    looked,
)

NOON_MS = 1_768_046_400_000  # `date -u -d 2026-01-10T12:00:00Z +%s`, and 000
HOUR_MS, DAY_MS = 3_600_000, 86_400_000
SET_MS = 30_000  # when a clock was set, after the start


@dataclass
class SetClock(Clock):
    """A clock that a test sets."""

    board_ms: int
    count_ms: int = 5_000

    def now_ms(self) -> int:
        return self.board_ms

    def monotonic_ms(self) -> int:
        return self.count_ms

    def passes(self, ms: int) -> None:
        self.board_ms += ms
        self.count_ms += ms


def test_a_right_clock_is_followed_and_nothing_is_said() -> None:
    board = SetClock(NOON_MS)
    steady = SteadyClock(board, NOON_MS - HOUR_MS)
    for _ in range(100):
        board.passes(1_000)
        board.board_ms += 3  # gently set forward
        assert steady.look() is None
        assert steady.now_ms() == board.board_ms
    assert steady.trusted_at(steady.now_ms())


def test_a_clock_set_gently_back_is_waited_for() -> None:
    board = SetClock(NOON_MS)
    steady = SteadyClock(board, 0)
    board.board_ms -= 1_500
    shown = []
    for _ in range(40):
        board.passes(500)
        assert steady.look() is None
        shown.append(steady.now_ms())
    assert shown == sorted(shown)
    assert shown[-1] - board.board_ms < 50


@pytest.mark.parametrize("step_ms", [STEP_MS + 1, HOUR_MS, DAY_MS])
def test_a_clock_set_back_changes_no_length(step_ms: int) -> None:
    board = SetClock(NOON_MS)
    steady = SteadyClock(board, 0)
    before_ms = steady.now_ms()
    board.board_ms -= step_ms
    turned = steady.look()
    assert turned is not None
    assert (turned.was, turned.now) == (Word.REPORTING, Word.STEPPED)
    assert "went back by" in turned.why
    for _ in range(100):
        board.passes(10_000)
        assert steady.look() is None
    assert steady.now_ms() == before_ms + 1_000_000
    assert steady.trusted_at(steady.now_ms())


@pytest.mark.parametrize("step_ms", [HOUR_MS, DAY_MS])
def test_a_step_forward_is_followed_once_nobody_spoke_against_it(step_ms: int) -> None:
    board = SetClock(NOON_MS)
    steady = SteadyClock(board, 0)
    board.board_ms += step_ms
    turned = steady.look()
    assert turned is not None and turned.now is Word.STEPPED
    assert steady.on_trial
    board.passes(TRIAL_MS - 1)
    assert steady.look() is None
    assert steady.now_ms() == NOON_MS + TRIAL_MS - 1
    board.passes(1)
    turned = steady.look()
    assert turned is not None
    assert (turned.now, turned.followed_ms) == (Word.REPORTING, step_ms)
    assert steady.now_ms() == board.board_ms


@pytest.mark.parametrize("step_ms", [HOUR_MS, DAY_MS])
def test_a_wrong_step_forward_that_is_taken_back_did_nothing(step_ms: int) -> None:
    board = SetClock(NOON_MS)
    steady = SteadyClock(board, 0)
    board.board_ms += step_ms
    assert steady.look() is not None
    board.passes(30_000)
    board.board_ms -= step_ms
    turned = steady.look()
    assert turned is not None and turned.now is Word.REPORTING
    assert steady.now_ms() == NOON_MS + 30_000 == board.board_ms


def test_probes_that_speak_against_a_step_are_believed_for_as_long_as_it_lasts() -> (
    None
):
    board = SetClock(NOON_MS)
    steady = SteadyClock(board, 0)
    board.board_ms += DAY_MS
    steady.look()
    for _ in range(60):
        board.passes(10_000)
        steady.heard(board.board_ms - DAY_MS - 2_000)
        assert steady.look() is None
    assert steady.now_ms() == board.board_ms - DAY_MS
    assert steady.trusted_at(steady.now_ms())


def test_probes_that_speak_for_a_step_have_it_followed_at_once() -> None:
    board = SetClock(NOON_MS)
    steady = SteadyClock(board, 0)
    board.board_ms += HOUR_MS
    steady.look()
    board.passes(5_000)
    steady.heard(board.board_ms - 2_000)
    turned = steady.look()
    assert turned is not None and turned.followed_ms == HOUR_MS
    assert steady.now_ms() == board.board_ms


def test_a_board_without_a_battery_is_not_trusted_until_its_clock_is_set() -> None:
    board = SetClock(12_000)  # 1970
    steady = SteadyClock(board, NOON_MS)  # in the middle of a cook
    turned = steady.look()
    assert turned is not None and turned.now is Word.UNSET
    assert "1970-01-01" in turned.why
    board.passes(SET_MS)
    assert steady.look() is None
    assert steady.now_ms() == NOON_MS + SET_MS
    assert not steady.trusted_at(steady.now_ms())
    board.board_ms = NOON_MS + HOUR_MS
    turned = steady.look()
    assert turned is not None
    assert (turned.was, turned.now) == (Word.UNSET, Word.REPORTING)
    assert turned.followed_ms == HOUR_MS - SET_MS
    assert steady.trusted_at(steady.now_ms())
    assert steady.now_ms() == NOON_MS + HOUR_MS
    assert not steady.trusted_at(NOON_MS + SET_MS)  # stamped before it was set


def test_a_board_that_wakes_where_it_went_to_sleep_is_not_trusted() -> None:
    board = SetClock(NOON_MS - HOUR_MS)  # what was kept on its disk an hour ago
    steady = SteadyClock(board, NOON_MS)
    assert not steady.trusted_at(steady.now_ms())
    assert steady.now_ms() == NOON_MS


def test_what_was_said_before_a_restart_is_taken_back() -> None:
    steady = SteadyClock(SetClock(NOON_MS), 0)
    steady.say_before("stepped")
    turned = steady.look()
    assert turned is not None
    assert (turned.was, turned.now) == (Word.STEPPED, Word.REPORTING)


LOOKS = st.lists(
    st.tuples(
        st.integers(0, 200_000),  # passes
        st.sampled_from([0, 0, 0, 1, -1]),  # steps
        st.integers(0, 2 * DAY_MS),
        st.sampled_from(Witness),
    ),
    max_size=40,
)


@given(st.integers(0, 2 * NOON_MS), st.integers(0, NOON_MS), LOOKS)
def test_the_sites_time_never_goes_back_and_never_slower_than_nine_tenths(
    board_ms: int, floor_ms: int, looks: list[tuple[int, int, int, Witness]]
) -> None:
    count_ms = 0
    hands = begun(board_ms, count_ms, floor_ms)
    assert hands.site_ms >= floor_ms
    for passed_ms, way, size_ms, witness in looks:
        board_ms = max(0, board_ms + passed_ms + way * size_ms)
        count_ms += passed_ms
        after = looked(hands, board_ms, count_ms, witness)
        assert after.site_ms >= hands.site_ms + passed_ms * 9 // 10
        assert hands.trusted <= after.trusted
        if after.trusted and not hands.trusted:
            assert board_ms >= EARLIEST_MS
        hands = after
