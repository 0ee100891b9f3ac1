"""A whole cook judged at once, however its facts come."""

import random

import pytest

from rules.facts import EntryKind, Event, Subject
from rules.replay import in_order, replay
from tests.rules.stories import (
    BEGUN_MS,
    MIN,
    chamber,
    cook,
    core,
    entry,
    flat,
    schedule,
    series,
)

COOK = schedule(
    """\
stages:
  - {stage: smoke, chamber: 57 degC to 63 degC, ends: after 30 min}
  - {stage: cook, ends: when every core rises to 69 degC}
  - {stage: rest, ends: by hand}
limits:
  - {limit: lethality, kind: dwell table, channel: core, during: cook,
     table: "FSIS Appendix A, meat, 6.5-log10"}
"""
)
CHANNELS = [chamber(), core("a"), core("b")]
READINGS = [
    *flat("chamber", 0, 70, 60),
    *series("a", *((at, 20 + at) for at in range(71))),
    *series("b", *((at, 15 + at) for at in range(71))),
]
ENTRIES = [entry(EntryKind.NOTE, 12), entry(EntryKind.NEXT_STAGE, 65)]


def test_the_order_in_which_facts_come_changes_nothing() -> None:
    once = cook(COOK, CHANNELS, READINGS, *ENTRIES, until_min=70)
    assert once.finished_ms == BEGUN_MS + 65 * MIN
    shuffled, chance = list(READINGS), random.Random(1)
    for _ in range(3):
        chance.shuffle(shuffled)
        again = cook(COOK, CHANNELS, shuffled, *reversed(ENTRIES), until_min=70)
        assert again == once


def test_what_came_after_the_end_of_the_story_is_not_told() -> None:
    early = cook(COOK, CHANNELS, READINGS, *ENTRIES, until_min=40)
    known = [one for one in READINGS if one.at_ms <= BEGUN_MS + 40 * MIN]
    assert early == cook(COOK, CHANNELS, known, until_min=40)
    assert early.finished_ms == 0


def test_a_fact_from_before_the_cook_is_refused() -> None:
    with pytest.raises(ValueError, match="is older than"):
        cook(COOK, CHANNELS, series("a", (-1, 20)), until_min=1)


def test_the_day_does_not_matter() -> None:
    day_ms = 24 * 60 * MIN
    first = cook(COOK, CHANNELS, READINGS, *ENTRIES, until_min=70)
    then = replay(
        COOK,
        CHANNELS,
        BEGUN_MS + day_ms,
        [one._replace(at_ms=one.at_ms + day_ms) for one in READINGS],
        [one._replace(at_ms=one.at_ms + day_ms) for one in ENTRIES],
        BEGUN_MS + day_ms + 70 * MIN,
    )
    assert [e._replace(at_ms=e.at_ms - day_ms) for e in then.events] == list(
        first.events
    )


def test_no_event_is_told_twice() -> None:
    event = Event(5, Subject.LIMIT, "l", "core", "within", "met", "why")
    assert in_order([event, event._replace(why="otherwise")]) == [
        event._replace(why="otherwise")
    ]


def test_events_come_in_the_order_in_which_they_became_true() -> None:
    met = Event(5, Subject.LIMIT, "l", "core", "within", "met", "")
    ended = Event(5, Subject.STAGE, "cook", "core", "begun", "ended", "")
    begun = Event(5, Subject.STAGE, "chill", "", "waiting", "begun", "")
    heard = Event(5, Subject.CHANNEL, "z", "z", "waiting", "reporting", "")
    finished = Event(5, Subject.COOK, "links", "", "begun", "finished", "")
    before = Event(4, Subject.COOK, "links", "", "begun", "finished", "")
    right = [before, heard, met, ended, begun, finished]
    assert in_order(reversed(right)) == right
