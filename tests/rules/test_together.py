"""rules/together.py: which silences are one loss, by plain cases and one law."""

from collections.abc import Sequence

from hypothesis import given
from hypothesis import strategies as st

from rules.facts import QUIET, REPORTING, Event, Subject
from rules.together import TOGETHER_MS, Gathered, Silent, gather, members

START_MS = 1_768_021_200_000


def event(name: str, now: str, at_s: int = 0) -> Event:
    was = REPORTING if now == QUIET else QUIET
    return Event(START_MS + at_s * 1_000, Subject.CHANNEL, name, name, was, now, "")


def after(*events: Event) -> Gathered:
    found = Gathered((), "", joined=False, parted=False)
    for one in events:
        found = gather(found.silent, one)
    return found


def test_the_second_joins_the_first_for_as_long_as_is_said() -> None:
    first, edge = event("a", QUIET), TOGETHER_MS // 1_000
    joined = after(first, event("b", QUIET, edge))
    assert (joined.alert, joined.joined, members(joined)) == ("a", True, ["a", "b"])
    alone = after(first, event("b", QUIET, edge + 1))
    assert (alone.alert, alone.joined, members(alone)) == ("b", False, ["b"])


def test_a_chain_of_losses_does_not_go_on_for_ever() -> None:
    """The first one counts, not the last: else an hour's losses were one alert."""
    found = after(*(event(f"c{n}", QUIET, 20 * n) for n in range(4)))
    assert [one.alert for one in found.silent] == ["c0", "c0", "c2", "c2"]


def test_who_comes_back_leaves_the_others_in_their_alert() -> None:
    lost = [event("a", QUIET), event("b", QUIET, 1), event("c", QUIET, 2)]
    back = after(*lost, event("a", REPORTING, 60))
    assert (back.alert, back.parted, members(back)) == ("a", True, ["b", "c"])
    all_back = after(
        *lost,
        *(event(name, REPORTING, 60) for name in "abc"),
    )
    assert (all_back.alert, all_back.parted, all_back.silent) == ("a", False, ())


def test_other_events_change_nothing() -> None:
    silent = (Silent("a", "a", START_MS),)
    doubt = event("a", QUIET)._replace(was=REPORTING, now="frozen")
    assert gather(silent, doubt) == Gathered(silent, "a", joined=False, parted=False)


happenings = st.lists(
    st.tuples(
        st.sampled_from("abcd"),
        st.sampled_from([QUIET, REPORTING]),
        st.integers(0, 40),
    ),
    max_size=20,
)


@given(happenings)
def test_every_silence_belongs_to_one_alert_of_its_own_time(
    told: Sequence[tuple[str, str, int]],
) -> None:
    """No channel is silent twice, and none belongs to a loss of another moment."""
    found, lost_ms, at_s = after(), dict[str, int](), 0
    for name, now, later_s in told:
        at_s += later_s
        if (name in lost_ms) == (now == QUIET):
            continue  # it is what it was
        one = event(name, now, at_s)
        found = gather(found.silent, one)
        if now == QUIET:
            lost_ms[name] = one.at_ms
        else:
            del lost_ms[name]
        assert sorted(one.channel for one in found.silent) == sorted(lost_ms)
        for silent in found.silent:
            assert 0 <= lost_ms[silent.channel] - silent.since_ms <= TOGETHER_MS
