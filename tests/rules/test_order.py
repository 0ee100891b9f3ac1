"""Facts that arrive out of order, put in order."""

from hypothesis import given
from hypothesis import strategies as st

from rules.facts import Entry, EntryKind, Fact, Reading, Tick
from rules.order import Order, key


def reading(at_ms: int, channel: str = "core", mc: int = 0) -> Reading:
    """One reading."""
    return Reading(channel, at_ms, mc, 0)


def note(at_ms: int, entered_ms: int = 0) -> Entry:
    """One entry."""
    return Entry(EntryKind.NOTE, at_ms, entered_ms, "ab")


def test_facts_come_out_in_the_order_of_their_times() -> None:
    order = Order(0)
    for at_ms in (30, 10, 20):
        assert order.take(reading(at_ms))
    assert [fact.at_ms for fact in order.release(100)] == [10, 20, 30]
    assert order.release(100) == []


def test_only_what_lies_before_the_horizon_comes_out() -> None:
    order = Order(0)
    order.take(reading(10))
    order.take(reading(20))
    assert [fact.at_ms for fact in order.release(20)] == [10]
    assert [fact.at_ms for fact in order.release(21)] == [20]


def test_what_comes_too_late_is_told_apart_and_not_kept() -> None:
    order = Order(0)
    order.release(20)
    assert not order.take(reading(19))
    assert order.take(reading(20))
    assert [fact.at_ms for fact in order.release(30)] == [20]


def test_the_horizon_never_goes_back() -> None:
    order = Order(20)
    order.release(10)
    assert not order.take(reading(19))


def test_at_one_moment_readings_come_before_entries() -> None:
    facts: list[Fact] = [
        Tick(5),
        note(5, 9),
        note(5, 8),
        reading(5, "b"),
        reading(5, "a", 2),
        reading(5, "a", 1),
    ]
    order = Order(0)
    for fact in facts:
        order.take(fact)
    assert order.release(6) == facts[::-1]
    assert sorted(facts, key=key) == facts[::-1]


facts = st.one_of(
    st.builds(reading, st.integers(0, 9), st.sampled_from("abc"), st.integers(0, 2)),
    st.builds(note, st.integers(0, 9), st.integers(0, 2)),
)


@given(
    st.lists(facts).flatmap(
        lambda all_: st.tuples(st.just(all_), st.permutations(all_))
    )
)
def test_the_order_of_arrival_changes_nothing(
    arrivals: tuple[list[Fact], list[Fact]],
) -> None:
    """However facts arrive before the horizon, they come out the same."""
    released = []
    for arrival in arrivals:
        order = Order(0)
        for fact in arrival:
            order.take(fact)
        released.append(order.release(10))
    assert released[0] == released[1]
