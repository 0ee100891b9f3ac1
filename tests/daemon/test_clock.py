"""The clock, real and invented: the only file that asks what time it is."""

import time

import pytest
from freezegun import freeze_time

from daemon.clock import Clock, Pace, PacedClock, clock_of

BEGINS_MS = 1_768_021_200_000  # `date -u -d 2026-01-10T05:00:00Z +%s`, and 000


def test_without_a_pace_the_time_is_that_of_the_machine() -> None:
    before = time.time_ns() // 1_000_000
    now_ms = clock_of(None).now_ms()
    assert before <= now_ms <= time.time_ns() // 1_000_000


def test_the_count_never_steps_back() -> None:
    clock = Clock()
    counts = [clock.monotonic_ms() for _ in range(1000)]
    assert counts == sorted(counts)


def test_a_paced_clock_runs_so_many_times_as_fast() -> None:
    clock = clock_of(Pace(BEGINS_MS, 1200))
    first_ms, start_ms = clock.now_ms(), clock.monotonic_ms()
    while clock.monotonic_ms() < start_ms + 20:
        pass
    passed_ms = clock.monotonic_ms() - start_ms
    told_ms = clock.now_ms() - first_ms
    assert first_ms >= BEGINS_MS
    # The two clocks are read a moment apart, 1 ms at the most but for a busy machine.
    assert told_ms >= (passed_ms - 1) * 1200
    assert told_ms <= (clock.monotonic_ms() - start_ms + 1) * 1200


def test_the_count_of_a_paced_clock_is_real() -> None:
    clock = clock_of(Pace(BEGINS_MS, 1200))
    before = time.monotonic_ns() // 1_000_000
    count_ms = clock.monotonic_ms()
    assert before <= count_ms <= time.monotonic_ns() // 1_000_000


def test_two_clocks_begun_at_one_moment_tell_one_time() -> None:
    since_ms = Clock().now_ms() - 10_000
    pace = Pace(BEGINS_MS, 60, since_ms)
    first, second = PacedClock(pace), PacedClock(pace)
    for clock in (first, second):
        real_ms = Clock().now_ms() - since_ms
        told_ms = clock.now_ms() - BEGINS_MS
        # One real millisecond either way: the two real clocks are read apart.
        assert (real_ms - 2) * 60 <= told_ms
        assert told_ms <= (Clock().now_ms() - since_ms + 2) * 60


@pytest.mark.parametrize(
    ("moment", "seconds"),
    [  # `date -u -d MOMENT +%s`; Berlin's clocks say 02:30 at both
        ("2026-10-25T00:30:00Z", 1_792_888_200),
        ("2026-10-25T01:30:00Z", 1_792_891_800),
    ],
)
def test_the_hour_that_comes_twice_is_two_hours(
    monkeypatch: pytest.MonkeyPatch, moment: str, seconds: int
) -> None:
    monkeypatch.setenv("TZ", "Europe/Berlin")
    time.tzset()
    with freeze_time(moment):
        assert Clock().now_ms() == seconds * 1000
    monkeypatch.undo()
    time.tzset()
