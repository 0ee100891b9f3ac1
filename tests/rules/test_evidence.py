"""What readings allow to be true: spans, holes and bridges, told in seconds.

A channel that reports every 10 s: readings up to 15 s apart are joined.  The bridge
figures are worked out by hand from one kelvin a second.
"""

import pytest

from rules import evidence
from rules.channels import Channel, Role
from rules.evidence import Bridge, Hole, Piece, Sight, Span
from rules.facts import Reading
from tests.rules.stories import BEGUN_MS, S, heard

CORE = Channel("core", Role.CORE, 10 * S, 60 * S, 500)


def reading(second: float, mc: int, within_mc: int = 0) -> Reading:
    """One reading."""
    return Reading("core", BEGUN_MS + round(second * S), mc, within_mc)


def after(*readings: Reading) -> tuple[Sight, list[Piece]]:
    """The sight after some readings, and the pieces of the last."""
    sight = evidence.opened(BEGUN_MS)
    pieces: list[Piece] = []
    for one in readings:
        sight, pieces = evidence.heard(CORE, sight, one)
    return sight, pieces


def at(second: float) -> int:
    """That second of the story, in milliseconds."""
    return BEGUN_MS + round(second * S)


def test_one_reading_is_a_span_of_no_length() -> None:
    _, pieces = after(reading(0, 60_000, 500))
    assert pieces == [Span(at(0), at(0), 59_500, 60_500)]


def test_joined_readings_bound_what_lies_between() -> None:
    _, pieces = after(reading(0, 60_000, 500), reading(15, 62_000, 100))
    assert pieces == [
        Span(at(0), at(15), 59_500, 62_100),
        Span(at(15), at(15), 61_900, 62_100),
    ]


def test_one_and_a_half_periods_apart_is_joined_and_no_more() -> None:
    _, pieces = after(reading(0, 60_000), reading(15.001, 60_000))
    assert pieces[:2] == [
        Hole(at(0), at(15.001)),
        Bridge(at(0), at(15.001), 52_499, 67_501),
    ]


def test_a_bridge_meets_in_the_middle() -> None:
    """Up from 60 degC for 15 s and down again for 5 s to 70 degC."""
    _, pieces = after(reading(0, 60_000), reading(20, 70_000))
    assert pieces[1] == Bridge(at(0), at(20), 55_000, 75_000)


def test_a_bridge_is_as_wide_as_its_ends_are_uncertain() -> None:
    _, pieces = after(reading(0, 60_000, 500), reading(20, 60_000, 500))
    assert pieces[1] == Bridge(at(0), at(20), 49_500, 70_500)


def test_a_bridge_is_never_narrower_than_its_ends() -> None:
    """A jump that nothing real can make is bridged by its own two ends."""
    _, pieces = after(reading(0, 60_000), reading(20, 160_000))
    assert pieces[1] == Bridge(at(0), at(20), 60_000, 160_000)


def test_before_the_first_reading_there_is_one_end_only() -> None:
    _, pieces = after(reading(20, 60_000))
    assert pieces == [
        Hole(at(0), at(20)),
        Bridge(at(0), at(20), 40_000, 80_000),
        Span(at(20), at(20), 60_000, 60_000),
    ]


def test_a_hole_may_be_short_before_the_first_reading() -> None:
    _, pieces = after(reading(1, 60_000))
    assert pieces[0] == Hole(at(0), at(1))


def test_a_first_reading_at_the_very_beginning_leaves_no_hole() -> None:
    _, pieces = after(reading(0, 60_000))
    assert len(pieces) == 1


def test_a_lost_reading_makes_one_hole_of_its_two_spans() -> None:
    whole = heard(CORE, [reading(second, 60_000) for second in (0, 10, 20)])
    assert [piece for piece in whole if piece.to_ms > piece.from_ms] == [
        Span(at(0), at(10), 60_000, 60_000),
        Span(at(10), at(20), 60_000, 60_000),
    ]
    part = heard(CORE, [reading(second, 60_000) for second in (0, 20)])
    assert [piece for piece in part if piece.to_ms > piece.from_ms] == [
        Hole(at(0), at(20)),
        Bridge(at(0), at(20), 50_000, 70_000),
    ]


def test_time_tells_of_a_hole_as_soon_as_it_is_certain() -> None:
    sight, _ = after(reading(0, 60_000))
    assert evidence.passed(CORE, sight, at(15)) == (sight, [])
    sight, pieces = evidence.passed(CORE, sight, at(16))
    assert pieces == [Hole(at(0), at(16))]
    sight, pieces = evidence.passed(CORE, sight, at(16))
    assert pieces == []
    sight, pieces = evidence.passed(CORE, sight, at(30))
    assert pieces == [Hole(at(16), at(30))]
    _, pieces = evidence.heard(CORE, sight, reading(40, 60_000))
    assert pieces == [
        Hole(at(30), at(40)),
        Bridge(at(0), at(40), 40_000, 80_000),
        Span(at(40), at(40), 60_000, 60_000),
    ]


def test_a_channel_that_never_spoke_is_a_hole_from_the_beginning() -> None:
    sight = evidence.opened(BEGUN_MS)
    _, pieces = evidence.passed(CORE, sight, at(1))
    assert pieces == [Hole(at(0), at(1))]


@pytest.mark.parametrize(("second", "low", "high"), [(0, 60, 60), (7, 53, 67)])
def test_a_hole_that_is_cut_off_has_one_end_only(
    second: int, low: int, high: int
) -> None:
    sight, _ = after(reading(0, 60_000))
    bridge = evidence.one_sided(sight, at(second))
    assert bridge == Bridge(at(0), at(second), low * 1000, high * 1000)


def test_of_a_channel_that_never_spoke_anything_may_be_true() -> None:
    bridge = evidence.one_sided(evidence.opened(BEGUN_MS), at(1))
    assert bridge.low_mc < -273_150
    assert bridge.high_mc > 1_000_000


def test_two_readings_at_one_moment_bound_each_other() -> None:
    _, pieces = after(reading(0, 60_000), reading(0, 61_000))
    assert pieces == [
        Span(at(0), at(0), 60_000, 61_000),
        Span(at(0), at(0), 61_000, 61_000),
    ]
