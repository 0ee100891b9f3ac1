"""The engine: stages, silence and people, told as stories in minutes.

Limits and evidence have files of their own.
"""

import pytest

from rules import engine
from rules.channels import Channel, Role
from rules.facts import (
    EntryKind,
    Event,
    Fact,
    Quality,
    Reading,
    Subject,
    Tick,
    Verdict,
)
from rules.replay import Outcome
from tests.rules.stories import (
    BEGUN_MS,
    MIN,
    H,
    cook,
    core,
    entry,
    flat,
    judged,
    limit_moves,
    schedule,
    series,
    told,
)

THREE = """\
stages:
  - {stage: dry, ends: after 30 min}
  - {stage: cook, ends: when every core rises to 69 degC, at most: 4 h}
  - {stage: rest, ends: by hand}
"""


def stages_of(outcome: Outcome) -> list[tuple[str, float, float]]:
    """Each stage and its two ends in minutes; 0 while it goes on."""
    return [
        (
            stage.name,
            (stage.from_ms - BEGUN_MS) / MIN,
            (stage.to_ms - BEGUN_MS) / MIN if stage.to_ms else 0,
        )
        for stage in outcome.stages
    ]


def of(outcome: Outcome, subject: Subject) -> list[tuple[float, str, str, str]]:
    """Events about one subject: when, which, what it was and what it is."""
    return [
        ((event.at_ms - BEGUN_MS) / MIN, event.name, event.was, event.now)
        for event in outcome.events
        if event.subject is subject
    ]


def test_stages_follow_each_other_by_time_by_core_and_by_hand() -> None:
    readings = [*flat("core", 0, 59, 60), *flat("core", 60, 90, 69)]
    outcome = cook(
        schedule(THREE),
        [core()],
        readings,
        entry(EntryKind.NEXT_STAGE, 80),
        until_min=90,
    )
    assert stages_of(outcome) == [("dry", 0, 30), ("cook", 30, 60), ("rest", 60, 80)]
    assert of(outcome, Subject.STAGE) == [
        (0, "dry", "waiting", "begun"),
        (30, "dry", "begun", "ended"),
        (30, "cook", "waiting", "begun"),
        (60, "cook", "begun", "ended"),
        (60, "rest", "waiting", "begun"),
        (80, "rest", "begun", "ended"),
    ]
    assert of(outcome, Subject.COOK) == [(80, "story", "begun", "finished")]
    assert outcome.finished_ms == BEGUN_MS + 80 * MIN


def test_a_stage_ends_by_time_at_its_moment_whatever_is_heard() -> None:
    """The next fact comes an hour later; the stage ended when it was due."""
    outcome = cook(schedule(THREE), [core()], [], until_min=90)
    assert stages_of(outcome) == [("dry", 0, 30), ("cook", 30, 0)]


def test_several_stages_may_end_by_time_in_one_silence() -> None:
    two = schedule(
        """\
stages:
  - {stage: a, ends: after 10 min}
  - {stage: b, ends: after 5 min}
  - {stage: c, ends: after 1 min}
"""
    )
    outcome = cook(two, [], [], until_min=60)
    assert stages_of(outcome) == [("a", 0, 10), ("b", 10, 15), ("c", 15, 16)]
    assert outcome.finished_ms == BEGUN_MS + 16 * MIN


def test_every_core_must_reach_it_and_need_not_stay() -> None:
    one = series("a", (31, 69), (32, 60), (40, 60))
    other = series("b", (31, 60), (32, 60), (40, 69))
    outcome = cook(
        schedule(THREE), [core("a"), core("b")], [*one, *other], until_min=41
    )
    assert stages_of(outcome)[1] == ("cook", 30, 40)
    (ended,) = [e for e in outcome.events if (e.name, e.now) == ("cook", "ended")]
    assert ended.channel == "b"
    assert ended.why == "when every core rises to 69.0 degC; b was the last"


def test_a_core_that_never_speaks_holds_the_stage() -> None:
    outcome = cook(
        schedule(THREE), [core("a"), core("b")], flat("a", 0, 60, 75), until_min=60
    )
    assert stages_of(outcome)[-1] == ("cook", 30, 0)


def test_what_was_reached_in_an_earlier_stage_does_not_count() -> None:
    outcome = cook(schedule(THREE), [core()], series("core", (29, 75)), until_min=60)
    assert stages_of(outcome)[-1] == ("cook", 30, 0)


def test_a_core_must_surely_have_reached_it() -> None:
    hot = flat("core", 31, 40, 69.4, within_mc=500)
    outcome = cook(schedule(THREE), [core()], hot, until_min=40)
    assert stages_of(outcome)[-1] == ("cook", 30, 0)


@pytest.mark.parametrize(
    ("reached_min", "late"), [(30 + 240, False), (30 + 240 + 1 / MIN, True)]
)
def test_a_stage_that_lasts_for_longer_than_it_should_is_overdue(
    reached_min: float, late: bool
) -> None:
    """Exactly 4 h are still allowed; what became true then is told as of then."""
    outcome = cook(
        schedule(THREE), [core()], series("core", (reached_min, 70)), until_min=400
    )
    overdue = [e for e in outcome.events if e.now == "overdue"]
    assert [e.at_ms for e in overdue] == ([BEGUN_MS + 30 * MIN + 4 * H] if late else [])
    (ended,) = [e for e in outcome.events if (e.name, e.now) == ("cook", "ended")]
    assert ended.was == ("overdue" if late else "begun")


def test_a_stage_is_overdue_once() -> None:
    outcome = cook(schedule(THREE), [core()], [], until_min=2_000)
    assert [event.now for event in outcome.events].count("overdue") == 1


def test_a_person_ends_a_stage_and_the_cook() -> None:
    outcome = cook(
        schedule(THREE),
        [core()],
        [],
        entry(EntryKind.NEXT_STAGE, 10, "ab"),
        entry(EntryKind.END, 20, "cd"),
        entry(EntryKind.NEXT_STAGE, 25, "ab"),
        until_min=30,
    )
    assert stages_of(outcome) == [("dry", 0, 10), ("cook", 10, 20)]
    whys = [e.why for e in outcome.events if e.now == "ended"]
    assert whys == ["by ab", "by cd"]


def test_the_next_stage_pressed_twice_skips_none() -> None:
    outcome = cook(
        schedule(THREE),
        [core()],
        flat("core", 0, 30, 20),
        entry(EntryKind.NEXT_STAGE, 10, "ab", "dry"),
        entry(EntryKind.NEXT_STAGE, 11, "ab", "dry"),
        until_min=30,
    )
    assert stages_of(outcome) == [("dry", 0, 10), ("cook", 10, 0)]


@pytest.mark.parametrize(
    "kind",
    [
        EntryKind.BEGIN,
        EntryKind.ACKNOWLEDGE,
        EntryKind.CORRECTIVE_ACTION,
        EntryKind.NOTE,
    ],
)
def test_what_else_a_person_writes_moves_nothing(kind: EntryKind) -> None:
    outcome = cook(schedule(THREE), [core()], [], entry(kind, 10), until_min=20)
    assert outcome == cook(schedule(THREE), [core()], [], until_min=20)


WATCHED = Channel("core", Role.CORE, MIN, 10 * MIN, 0)


def channel_events(*facts: Fact) -> list[tuple[float, str, str, str]]:
    """What became true of channels."""
    plan = engine.plan(schedule("stages: [{stage: s, ends: by hand}]"), [WATCHED])
    state, events = engine.opened(plan, BEGUN_MS), []
    for fact in facts:
        state, new = engine.step(plan, state, fact)
        events += new
    return [
        ((e.at_ms - BEGUN_MS) / MIN, e.was, e.now, e.why)
        for e in events
        if e.subject is Subject.CHANNEL
    ]


def at(minute: float) -> Reading:
    """A reading at that minute."""
    return Reading("core", BEGUN_MS + round(minute * MIN), 20_000, 0)


def tick(minute: float) -> Tick:
    """Nothing before that minute is still to come."""
    return Tick(BEGUN_MS + round(minute * MIN))


def test_a_channel_is_heard_for_the_first_time() -> None:
    assert channel_events(at(3), at(4)) == [
        (3, "waiting", "reporting", "heard for the first time")
    ]


QUIET_LONG = "nothing heard for 10 min since its last reading"
QUIET_EVER = "nothing heard for 10 min since the cook began"


def test_a_channel_is_quiet_when_it_has_said_nothing_for_longer_than_it_may() -> None:
    first = (0, "waiting", "reporting", "heard for the first time")
    quiet = (10, "reporting", "quiet", QUIET_LONG)
    again = (25, "quiet", "reporting", "heard again after 25 min")
    assert channel_events(at(0), tick(10)) == [first]
    assert channel_events(at(0), tick(11)) == [first, quiet]
    assert channel_events(at(0), tick(11), tick(12), at(25)) == [first, quiet, again]
    # Nobody looked at the clock: it was quiet all the same.
    assert channel_events(at(0), at(25)) == [first, quiet, again]


def test_a_channel_that_never_spoke_is_quiet_too() -> None:
    assert channel_events(tick(11)) == [(10, "waiting", "quiet", QUIET_EVER)]
    assert channel_events(tick(11), at(12)) == [
        (10, "waiting", "quiet", QUIET_EVER),
        (12, "quiet", "reporting", "heard for the first time"),
    ]


@pytest.mark.parametrize("looked", [[], [tick(11)], [tick(11), tick(12)]])
def test_a_silence_in_the_cook_is_told_though_it_is_heard_of_afterwards(
    looked: list[Tick],
) -> None:
    end = entry(EntryKind.END, 12)
    assert channel_events(at(0), *looked, end, at(13)) == [
        (0, "waiting", "reporting", "heard for the first time"),
        (10, "reporting", "quiet", QUIET_LONG),
    ]


def test_a_silence_after_the_cook_is_nobody_s_business() -> None:
    end = entry(EntryKind.END, 10)
    assert channel_events(at(0), end, tick(60), at(61)) == [
        (0, "waiting", "reporting", "heard for the first time")
    ]


@pytest.mark.parametrize("quality", [q for q in Quality if q is not Quality.GOOD])
def test_only_a_good_reading_is_evidence(quality: Quality) -> None:
    hot = [one._replace(quality=quality) for one in flat("core", 31, 60, 75)]
    outcome = cook(schedule(THREE), [core()], hot, until_min=60)
    assert stages_of(outcome)[-1] == ("cook", 30, 0)
    assert told(outcome.events, "core") == [(10 * MIN, "quiet")]


def test_a_channel_that_nobody_named_is_passed_over() -> None:
    outcome = cook(schedule(THREE), [core()], flat("other", 0, 60, 75), until_min=60)
    assert outcome == cook(schedule(THREE), [core()], [], until_min=60)


def test_a_fact_older_than_the_one_before_is_refused() -> None:
    """A clock that steps back for an hour changes nothing that was concluded."""
    plan = engine.plan(schedule(THREE), [core()])
    state, _ = engine.step(plan, engine.opened(plan, BEGUN_MS), at(61))
    facts: list[Fact] = [at(1), tick(1), entry(EntryKind.END, 1)]
    for late in facts:
        with pytest.raises(ValueError, match="is older than"):
            engine.step(plan, state, late)
    again, events = engine.step(plan, state, at(61))
    assert (again.at_ms, events) == (state.at_ms, [])


def test_a_clock_that_steps_ahead_is_a_hole_and_a_silence() -> None:
    """No time is credited for the hour that nobody saw, and it is told."""
    outcome = cook(
        schedule("stages: [{stage: s, ends: by hand}]"),
        [core()],
        [*flat("core", 0, 5, 20), *flat("core", 65, 70, 20)],
        until_min=70,
    )
    assert told(outcome.events, "core") == [
        (0, "reporting"),
        (15 * MIN, "quiet"),
        (65 * MIN, "reporting"),
    ]


def test_what_becomes_true_at_one_moment_has_an_order() -> None:
    """A probe is heard, a limit is met, a stage ends, another begins; all at once."""
    two = schedule(
        """\
stages:
  - {stage: cook, ends: when every core rises to 70 degC}
  - {stage: rest, ends: after 0 s}
limits:
  - {limit: lethality, kind: dwell table, channel: core, during: cook,
     table: "FSIS Appendix A, meat, 6.5-log10"}
"""
    )
    outcome = cook(two, [core()], series("core", (5, 70)), until_min=6)
    assert [(e.subject, e.name, e.now) for e in outcome.events[1:]] == [
        (Subject.CHANNEL, "core", "reporting"),
        (Subject.LIMIT, "lethality", "met"),
        (Subject.STAGE, "cook", "ended"),
        (Subject.STAGE, "rest", "ended"),
        (Subject.STAGE, "rest", "begun"),
        (Subject.COOK, "story", "finished"),
    ]
    assert {e.at_ms for e in outcome.events[1:]} == {BEGUN_MS + 5 * MIN}


def test_the_opening_says_which_schedule_judges() -> None:
    outcome = cook(schedule(THREE), [core()], [], until_min=0)
    assert outcome.events == (
        Event(
            BEGUN_MS,
            Subject.STAGE,
            "dry",
            "",
            "waiting",
            "begun",
            "story, revision 1",
        ),
    )


def test_what_the_channels_lack_is_said_before_the_fire_is_lit() -> None:
    asks = schedule(
        THREE
        + "limits: [{limit: cold, kind: hold, channel: cooler, at or below: 4 degC}]"
    )
    assert engine.lacking(engine.plan(asks, [])) == [
        "limit 'cold' needs a channel of role cooler",
        "stage 'cook' ends by a core, and no channel is one",
    ]
    cooler = Channel("cooler", Role.COOLER, MIN, H, 0)
    assert engine.lacking(engine.plan(asks, [core(), cooler])) == []


def test_a_cook_is_settled_when_nothing_can_change_a_verdict() -> None:
    bands = schedule(
        "stages: [{stage: s, chamber: 57 degC to 63 degC, ends: after 10 min}]"
    )
    air = Channel("air", Role.CHAMBER, MIN, H, 0)
    plan = engine.plan(bands, [air])
    state = engine.opened(plan, BEGUN_MS)
    facts: list[Fact] = [*flat("air", 0, 9, 60), tick(10)]
    for fact in facts:
        state, _ = engine.step(plan, state, fact)
    assert engine.finished_ms(state) == BEGUN_MS + 10 * MIN
    assert not engine.settled(state)  # its last reading is a minute old, no hole yet
    (finding,) = engine.findings(plan, state)
    assert finding.verdict is Verdict.RUNNING
    state, _ = engine.step(plan, state, flat("air", 11, 11, 60)[0])
    state, _ = engine.step(plan, state, tick(12))
    assert engine.settled(state)


def test_each_limit_is_judged_on_the_channels_of_its_role() -> None:
    two = schedule(
        """\
stages: [{stage: s, ends: after 10 min}]
limits:
  - {limit: hot, kind: hold, channel: chamber, at or above: 57 degC, grace: 0 s}
  - {limit: cold, kind: hold, channel: cooler, at or below: 4 degC, grace: 0 s}
"""
    )
    air, cooler = (
        Channel("air", Role.CHAMBER, MIN, H, 0),
        Channel("cooler", Role.COOLER, MIN, H, 0),
    )
    readings = [*flat("air", 0, 11, 60), *flat("cooler", 0, 11, 9)]
    outcome = cook(two, [air, cooler], readings, until_min=11)
    assert limit_moves(outcome, "hot") == [(10 * MIN, "met")]
    assert limit_moves(outcome, "cold") == [(0, "deviation"), (10 * MIN, "missed")]
    assert judged(outcome, "cold").channel == "cooler"
