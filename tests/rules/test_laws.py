"""Laws of one limit on one channel, in a window fixed beforehand.

Readings stand on a jittered grid and no value is farther from the one before than
``FASTEST_MC_PER_S`` allows: see ``strategies``.  What each law needs of that is said
with it.
"""

import json
from collections.abc import Sequence
from itertools import groupby, pairwise

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from rules import keep, lines
from rules.facts import Reading, Tick, Verdict
from rules.limit import Move, Opening, Shown
from tests.rules.strategies import (
    BEGUN_MS,
    DAY_MS,
    FACTS,
    KINDS,
    Followed,
    Kind,
    Window,
    dwells,
    follow,
    judged,
    opened,
    series,
    ticks,
    windows,
)

every_kind = pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
# One kind of limit gets half the examples of the profile, so that all fit in seconds.
tried = settings(max_examples=max(settings().max_examples // 2, 1))

END = Tick(BEGUN_MS + DAY_MS * 30)


def saved_and_loaded(state: Followed) -> Followed:
    text = json.dumps(keep.dump(state))
    return keep.load(Followed, json.loads(text))


def mixed(readings: Sequence[Reading], looks: Sequence[Tick]) -> list[Reading | Tick]:
    """Both in the order of their times; a tick before a reading of the same moment."""
    both: list[Reading | Tick] = [*looks, *readings]
    return sorted(both, key=lambda fact: fact.at_ms)


def widened(kind: Kind, before: Shown, after: Shown) -> list[str]:
    """In what ``after`` is *not* as wide as ``before``; nothing, if the law holds."""
    faults = []
    if after.verdict not in (before.verdict, Verdict.UNPROVEN):
        faults.append(f"{before.verdict} became {after.verdict}")
    if dwells(kind) and after.required != before.required:
        return faults  # two rows: their figures do not compare
    least, most = (before.least, after.least), (before.most, after.most)
    if not kind.limit.counts_up:
        # What came after the target was reached is nobody's credit.
        least = (min(least[0], before.required), min(least[1], after.required))
        most = (min(most[0], before.required), min(most[1], after.required))
        least, most = most, least
    if least[1] < least[0]:
        faults.append(f"{least[0]} became {least[1]}")
    if most[1] > most[0]:
        faults.append(f"{most[0]} became {most[1]}")
    return faults


def never_narrower(
    kind: Kind, window: Window, before: Sequence[Reading], after: Sequence[Reading]
) -> None:
    shown, _ = judged(kind, window, before)
    wider, _ = judged(kind, window, after)
    assert [one.part for one in shown] == [one.part for one in wider]
    for one, other in zip(shown, wider, strict=True):
        assert not widened(kind, one, other), (one, other)


@every_kind
@tried
@given(st.data())
def test_a_restart_changes_nothing(kind: Kind, data: st.DataObject) -> None:
    """Stopping after any fact and going on from what JSON kept gives the same."""
    window = data.draw(windows(kind))
    facts = [*mixed(data.draw(series(kind)), data.draw(ticks(kind))), END]
    cut = data.draw(st.integers(0, len(facts)))
    whole, moves = follow(kind, opened(window), facts)
    half, before = follow(kind, opened(window), facts[:cut])
    end, after = follow(kind, saved_and_loaded(half), facts[cut:])
    assert (end, before + after) == (whole, moves)
    assert saved_and_loaded(end) == end


@every_kind
@tried
@given(st.data())
def test_ticks_change_nothing(kind: Kind, data: st.DataObject) -> None:
    """However often the shell looks at the clock, the same became true, for the
    same reason, and the same is found at the end.
    """
    window, readings = data.draw(windows(kind)), data.draw(series(kind))
    looks = data.draw(ticks(kind))
    state, moves = follow(kind, opened(window), [*readings, END])
    ticked, new = follow(kind, opened(window), [*mixed(readings, looks), END])
    assert set(new) == set(moves)
    found = lines.findings(kind.limit, state.line)
    assert lines.findings(kind.limit, ticked.line) == found


@every_kind
@tried
@given(st.data())
def test_the_date_does_not_matter(kind: Kind, data: st.DataObject) -> None:
    """Whole days later everything is the same, so many days later."""
    window, readings = data.draw(windows(kind)), data.draw(series(kind))
    later_ms = data.draw(st.integers(1, 4000)) * DAY_MS
    shown, moves = judged(kind, window, readings)
    moved = Window(*(one + later_ms if one else 0 for one in window))
    facts = [one._replace(at_ms=one.at_ms + later_ms) for one in readings]
    state = opened(moved)
    sight = state.sight._replace(
        at_ms=BEGUN_MS + later_ms, front_ms=BEGUN_MS + later_ms
    )
    end = Tick(END.at_ms + later_ms)
    state, new = follow(kind, state._replace(sight=sight), [*facts, end])
    assert new == [one._replace(at_ms=one.at_ms + later_ms) for one in moves]
    assert [
        one._replace(
            since_ms=one.since_ms - later_ms,
            lose_ms=one.lose_ms - later_ms if one.lose_ms else 0,
        )
        for one in lines.findings(kind.limit, state.line)
    ] == shown


@every_kind
@tried
@given(st.data())
def test_removing_readings_only_widens(kind: Kind, data: st.DataObject) -> None:
    """No reading that is lost makes a limit met, or missed, or its bounds closer.

    It holds where a lost reading is noticed: on the jittered grid two readings with
    one missing between them are farther apart than ``Channel.joined_ms``.  Off the
    grid a reading in the middle of two joined ones could be lost unseen, and what
    lies between two joined readings is taken to lie between their values.  It holds
    where nothing changes faster than ``FASTEST_MC_PER_S``, since by that is worked
    out what can have been reached in the hole.
    """
    window, readings = data.draw(windows(kind)), data.draw(series(kind))
    assume(readings)
    lost = data.draw(st.sets(st.integers(0, len(readings) - 1), min_size=1))
    left = [one for i, one in enumerate(readings) if i not in lost]
    never_narrower(kind, window, readings, left)


@every_kind
@tried
@given(st.data())
def test_adding_uncertainty_only_widens(kind: Kind, data: st.DataObject) -> None:
    """No doubt of a reading makes a limit met, or missed, or its bounds closer."""
    window, readings = data.draw(windows(kind)), data.draw(series(kind))
    doubts = st.lists(
        st.sampled_from([0, 0, 1, 300, 5_000]),
        min_size=len(readings),
        max_size=len(readings),
    )
    doubted = [
        one._replace(uncertainty_mc=one.uncertainty_mc + doubt_mc)
        for one, doubt_mc in zip(readings, data.draw(doubts), strict=True)
    ]
    never_narrower(kind, window, readings, doubted)


@every_kind
@tried
@given(st.data())
def test_standings_follow_each_other(kind: Kind, data: st.DataObject) -> None:
    """Every move begins where the one before it ended, and not before it."""
    window, readings = data.draw(windows(kind)), data.draw(series(kind))
    shown, moves = judged(kind, window, readings)
    by_part = sorted(moves, key=lambda move: move.part)
    last = {}
    for part, of_part in groupby(by_part, key=lambda move: move.part):
        row: list[Move] = list(of_part)
        for one, other in pairwise(row):
            assert one.now is other.was
            assert one.at_ms <= other.at_ms
        last[part] = row[-1]
    for one_shown in shown:
        if one_shown.part in last:
            assert last[one_shown.part].now is one_shown.standing
            assert one_shown.verdict == Verdict(one_shown.standing.value)


# No figure decides these: whether it fell without a stop, and where it came to.
NO_FIGURE = ("", "mc")


@every_kind
@tried
@given(st.data())
def test_the_figures_say_what_the_verdict_says(kind: Kind, data: st.DataObject) -> None:
    """Missed is what even the more favourable figure does not meet, and nothing else.

    Met asks that the less favourable one meets it.  With no grace at all a single
    reading outside is enough, and takes no time.
    """
    window, readings = data.draw(windows(kind)), data.draw(series(kind))
    for one in judged(kind, window, readings)[0]:
        if one.unit in NO_FIGURE:
            continue
        up = kind.limit.counts_up
        within = [
            figure <= one.required if up else figure >= one.required
            for figure in (one.least, one.most)
        ]
        if one.verdict is Verdict.MET:
            assert within == [True, True], one
        if one.verdict is Verdict.MISSED:
            assert not within[1] or one.required == 0, one
        if one.verdict is Verdict.UNPROVEN and kind.name not in ADVICE:
            assert within[1], one


ADVICE = ("predicted growth",)


def test_every_kind_of_limit_is_tried() -> None:
    """The states that ``keep`` knows are those of the limits tried here."""
    states = {type(kind.limit.opened(Opening(0, 0, FACTS))) for kind in KINDS}
    assert states == set(keep.STATES.values())


@pytest.mark.parametrize(("back_mc", "least_ms"), [(90_000, 20_000), (65_000, 60_000)])
def test_a_crossing_in_a_hole_counts_where_it_can_have_been(
    back_mc: int, least_ms: int
) -> None:
    """Above 64 degC before and after 20 s unseen; 1 K a second falls no farther."""
    (kind,) = [kind for kind in KINDS if kind.name == "since crossing"]
    window = Window(BEGUN_MS, 0, 0, BEGUN_MS + 60_000, BEGUN_MS)
    readings = [
        Reading("core", BEGUN_MS + at_ms, back_mc, 0)
        for at_ms in (0, 20_000, 30_000, 40_000, 50_000, 60_000)
    ]
    shown, _ = judged(kind, window, readings)
    assert [one.least for one in shown[:2]] == [least_ms, least_ms]


def test_a_reading_after_the_end_tells_no_more_than_can_have_been_before() -> None:
    """52.5 degC, and 60 degC 10 s later: 5 s after the first no more than 57.5."""
    (kind,) = [kind for kind in KINDS if kind.name == "integrated"]
    window = Window(BEGUN_MS, 0, 0, BEGUN_MS + 5_000, 0)
    readings = [
        Reading("core", BEGUN_MS + at_ms, value_mc, 0)
        for at_ms, value_mc in ((0, 52_500), (10_000, 60_000))
    ]
    (shown,), _ = judged(kind, window, readings)
    # 5 s of 10 ** ((57.5 - 65) / 10) over D = 10 s, in thousandths: 88.9.
    assert shown.most == 88
    never_narrower(kind, window, readings, readings[:1])
