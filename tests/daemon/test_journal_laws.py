"""Laws of the journal: how readings arrive does not change what it holds."""

import tempfile
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from daemon.journal import Journal
from rules.facts import Quality, Reading

CHANNELS = ("chamber", "core-1", "core-2")


def reading(channel: str, at_ms: int) -> Reading:
    """One value for one time of a channel: what an honest probe sends."""
    value_mc = (at_ms * 37 + len(channel)) % 90_000 - 10_000
    return Reading(channel, at_ms, value_mc, 500, Quality.GOOD, at_ms + 40)


# Few times, so that the same one is met again and again.
times_ms = st.integers(min_value=0, max_value=30)
sent = st.lists(st.builds(reading, st.sampled_from(CHANNELS), times_ms), max_size=40)


@st.composite
def grouped(draw: st.DrawFn, readings: list[Reading]) -> list[list[Reading]]:
    """The readings in any order, some sent again, cut into groups anywhere."""
    again = draw(st.lists(st.sampled_from(readings), max_size=10)) if readings else []
    shuffled = draw(st.permutations(readings + again))
    cuts = sorted(draw(st.lists(st.integers(0, len(shuffled)), max_size=6)))
    ends = zip([0, *cuts], [*cuts, len(shuffled)], strict=True)
    return [list(shuffled[start:end]) for start, end in ends]


def held(groups: list[list[Reading]]) -> tuple[list[Reading], list[Reading]]:
    """What a fresh journal holds after these groups, and what it said was new."""
    with tempfile.TemporaryDirectory() as folder:
        journal = Journal(Path(folder) / "journal.db")
        journal.connection.execute("PRAGMA synchronous = OFF")  # speed, not meaning
        new = [one for group in groups for one in journal.append(group, [])]
        found = list(journal.readings(CHANNELS, 0, 100))
        assert journal.refusals() == []
        assert journal.counts().readings == len(found)
        journal.close()
    return found, new


@given(st.data(), sent)
def test_grouping_order_and_repeats_change_nothing(
    data: st.DataObject, readings: list[Reading]
) -> None:
    found, new = held(data.draw(grouped(readings)))
    assert found == sorted(set(readings), key=lambda one: (one.at_ms, one.channel))
    assert sorted(new) == sorted(found)  # each was new exactly once


WITHOUT_DOUBT = [quality for quality in Quality if quality is not Quality.SUSPECT]


@given(st.permutations(WITHOUT_DOUBT), st.integers(min_value=0, max_value=3))
def test_the_best_copy_counts_whichever_came_first(
    order: list[Quality], cut: int
) -> None:
    copies = [reading("core-1", 5)._replace(quality=quality) for quality in order]
    found, _ = held([copies[:cut], copies[cut:]])
    assert [one.quality for one in found] == [Quality.GOOD]


@given(st.permutations(WITHOUT_DOUBT), st.integers(min_value=0, max_value=3))
def test_what_was_suspect_first_stays_so(order: list[Quality], cut: int) -> None:
    copies = [reading("core-1", 5)._replace(quality=quality) for quality in order]
    doubted = reading("core-1", 5)._replace(quality=Quality.SUSPECT)
    found, _ = held([[doubted, *copies[:cut]], copies[cut:]])
    assert [one.quality for one in found] == [Quality.SUSPECT]


@given(st.data(), st.lists(st.integers(0, 3), min_size=1, max_size=8))
def test_of_two_values_at_one_time_exactly_one_counts(
    data: st.DataObject, values_mc: list[int]
) -> None:
    """And every other value is there as a refusal that names it."""
    readings = [Reading("core-1", 5, value_mc, 1) for value_mc in values_mc]
    groups = data.draw(grouped(readings))
    with tempfile.TemporaryDirectory() as folder:
        journal = Journal(Path(folder) / "journal.db")
        for group in groups:
            journal.append(group, [])
        [first] = journal.readings(["core-1"], 0, 100)
        assert first == next(one for group in groups for one in group)
        refused = {refusal.why for _, refusal in journal.refusals()}
        journal.close()
    others = set(values_mc) - {first.value_mc}
    assert len(refused) == len(others)
    for value_mc in others:
        assert any(f" 0.{value_mc:03} came later" in why for why in refused)
