"""The view: its JSON, what is drawn of the recent past, and how it is built."""

import json
import math
from collections.abc import Iterable
from dataclasses import replace

import pytest

from daemon.curve import Curve, Piece
from daemon.seen import channel_view, cook_view
from daemon.view import Heard, View, as_json, curves_as_json
from rules.channels import Channel, Role
from rules.engine import Plan, opened, plan
from rules.facts import Quality, Reading, Standing, Tick, Verdict
from rules.replay import fold, outcome, replay
from rules.schedule import Schedule, read_schedule
from tests.browser.yard import yard

NOW_MS = 1_768_021_200_000
CORE = Channel("core", Role.CORE, 10_000, 120_000, 500)
CHAMBER = Channel("chamber", Role.CHAMBER, 10_000, 120_000, 1_000)
VIEW = yard(NOW_MS)

SCHEDULE = """\
schedule: Invented links
revision: 1
product: {meat: pork, form: comminuted, cured: yes}
stages:
  - stage: smoke
    chamber: 57 degC to 63 degC
    ends: after 3 h
  - stage: cook
    ends: when every core rises to 69 degC
limits:
  - limit: come-up
    control point: CCP-1
    kind: time between
    channel: core
    between: 50 degF and 130 degF
    during: smoke, cook
    at most: 6 h
"""


def numbers(tree: object) -> Iterable[object]:
    """Every scalar in a tree of JSON."""
    if isinstance(tree, dict):
        for each in tree.values():
            yield from numbers(each)
    elif isinstance(tree, list):
        for each in tree:
            yield from numbers(each)
    else:
        yield tree


def test_the_json_holds_integers_text_and_truth_values_only() -> None:
    tree = json.loads(as_json(VIEW))
    kinds = {type(each) for each in numbers(tree)}
    assert kinds == {int, str, bool, type(None)}
    assert tree["cooks"][0]["limits"][0]["standing"] == "at risk"
    assert tree["alerts"][0]["told"][2]["why"] == "no answer within 4 s"
    assert tree["curves"] == []


def test_curves_begin_with_the_piece_that_holds_the_time_asked_for() -> None:
    whole = json.loads(curves_as_json(VIEW))["curves"]
    middle = whole[0]["pieces"][40]
    part = json.loads(curves_as_json(VIEW, middle[1]))["curves"]
    assert [curve["channel"] for curve in part] == ["chamber", "core-1", "core-2"]
    assert part[0]["pieces"] == whole[0]["pieces"][40:]


def test_only_the_time_of_looking_may_differ() -> None:
    later = replace(VIEW, now_ms=NOW_MS + 1_000, horizon_ms=NOW_MS, curves=())
    assert VIEW.same_but_time(later)
    assert not VIEW.same_but_time(replace(later, alerts=()))


def test_the_running_stage_is_named_until_the_cook_is_finished() -> None:
    cook = VIEW.cooks[0]
    assert cook.stage is not None
    assert cook.stage.name == "cook"
    assert replace(cook, finished_ms=NOW_MS).stage is None


def drawn(*points: tuple[int, int], width_ms: int = 60_000) -> tuple[Piece, ...]:
    """The pieces of a curve fed with (seconds, value) points."""
    curve = Curve(CORE, recent_ms=10 * width_ms, pieces=10)
    for seconds, value_mc in points:
        curve.add(Reading("core", seconds * 1_000, value_mc, 500))
    return curve.view().pieces


def test_a_piece_keeps_the_lowest_and_the_highest_reading() -> None:
    assert drawn((60, 5), (70, 90), (80, 7)) == (Piece(60_000, 80_000, 5, 90, 0),)


def test_a_hole_is_kept_wherever_it_lies() -> None:
    points = [(60, 1), (70, 1), (105, 1), (119, 1), (180, 1), (195, 1)]
    holes = [piece.hole_ms for piece in drawn(*points)]
    assert holes == [35_000, 61_000]


def test_a_reading_from_before_the_last_is_not_drawn() -> None:
    assert drawn((70, 5), (65, 900)) == (Piece(70_000, 70_000, 5, 5, 0),)


def test_the_oldest_pieces_are_forgotten() -> None:
    pieces = drawn(*[(60 * minute, minute) for minute in range(1, 100)])
    assert [piece.low_mc for piece in pieces] == list(range(90, 100))


def test_a_curve_is_the_same_value_until_a_reading_comes() -> None:
    curve = Curve(CORE)
    curve.add(Reading("core", NOW_MS, 1, 1))
    assert curve.view() is curve.view()


@pytest.mark.parametrize(
    ("quality", "age_ms", "standing"),
    [
        (Quality.GOOD, 0, Heard.HEARD),
        (Quality.GOOD, 120_000, Heard.HEARD),
        (Quality.GOOD, 120_001, Heard.QUIET),
        (Quality.AGE_UNKNOWN, 0, Heard.WAITING),
        (Quality.CLOCK_UNSET, 0, Heard.WAITING),
    ],
)
def test_a_channel_is_heard_by_evidence_that_is_young(
    quality: Quality, age_ms: int, standing: Heard
) -> None:
    latest = Reading("core", NOW_MS - age_ms, 52_000, 500, quality)
    view = channel_view(CORE, "north", latest, NOW_MS)
    assert (view.standing, view.value_mc, view.quality) == (standing, 52_000, quality)


def test_a_channel_that_never_spoke_has_no_value() -> None:
    view = channel_view(CORE, "north", None, NOW_MS)
    assert (view.standing, view.value_mc) == (Heard.WAITING, None)


def test_only_the_chamber_is_held_against_the_stage_s_band() -> None:
    stage = VIEW.cooks[0].stage
    chamber = channel_view(CHAMBER, "north", None, NOW_MS, stage)
    core = channel_view(CORE, "north", None, NOW_MS, stage)
    assert (chamber.low_mc, chamber.high_mc) == (74_000, 82_000)
    assert (core.low_mc, core.high_mc) == (None, None)


def judged(*channels: Channel) -> Plan:
    """The plan of the invented schedule on these channels."""
    schedule = read_schedule("invented.yaml", SCHEDULE)
    assert isinstance(schedule, Schedule)
    return plan(schedule, channels)


def readings(channel: Channel, to_ms: int, value_mc: int) -> list[Reading]:
    """One reading a period, always the same."""
    return [
        Reading(channel.name, at_ms, value_mc, channel.accuracy_mc)
        for at_ms in range(0, to_ms + 1, channel.every_ms)
    ]


def test_a_cook_shows_its_stages_and_limits_by_the_worst_channel() -> None:
    """One core is an hour between 10 and 54.4 degC, the other is still cold."""
    warm, cold = replace(CORE, name="core-1"), replace(CORE, name="core-2")
    channels, hour_ms = (CHAMBER, warm, cold), 3_600_000
    heard = [
        *readings(CHAMBER, hour_ms, 60_000),
        *readings(warm, hour_ms, 30_000),
        *readings(cold, hour_ms, 4_000),
    ]
    used = judged(*channels)
    outcome = replay(used.schedule, channels, 0, heard, (), hour_ms)
    view = cook_view("L-1", "north", used, outcome)
    assert (view.title, view.begun_ms, view.finished_ms) == ("Invented links", 0, 0)
    first, second = view.stages
    assert (first.name, first.due_ms, first.ends) == ("smoke", 3 * hour_ms, "after 3 h")
    assert (first.low_mc, first.high_mc, second.low_mc) == (57_000, 63_000, None)
    come_up = next(limit for limit in view.limits if limit.name == "come-up")
    assert (come_up.channel, come_up.critical, come_up.ceiling) == (
        "core-1",
        True,
        True,
    )
    assert (come_up.required, come_up.least) == (6 * hour_ms, hour_ms)
    assert come_up.lose_ms == 6 * hour_ms
    assert come_up.standing is Standing.WITHIN


def test_a_limit_that_no_channel_shows_is_unproven_and_holds_the_lot() -> None:
    used = judged(CHAMBER)
    outcome = replay(used.schedule, (CHAMBER,), 0, (), (), 0)
    view = cook_view("L-1", "north", used, outcome)
    come_up = next(limit for limit in view.limits if limit.name == "come-up")
    assert come_up.verdict is Verdict.UNPROVEN
    assert (come_up.channel, come_up.unit, come_up.required) == ("", "", 0)
    assert view.on_hold


def test_a_view_with_nothing_in_it_can_be_shown() -> None:
    empty = View("Nowhere", 1, 1, VIEW.broker, VIEW.recording)
    assert json.loads(as_json(empty))["cooks"] == []


def test_a_cook_shows_where_its_slowest_core_is_going() -> None:
    """Two cores lag behind a chamber at 60 degC, by 40 min and by 80 min."""
    quick, slow = replace(CORE, name="core-1"), replace(CORE, name="core-2")
    channels, minute_ms = (CHAMBER, quick, slow), 60_000
    heard = [
        Reading(channel.name, at_ms, value_mc, channel.accuracy_mc)
        for at_ms in range(0, 40 * minute_ms, CHAMBER.every_ms)
        for channel, tau_ms in ((CHAMBER, 1), (quick, 40 * 60e3), (slow, 80 * 60e3))
        for value_mc in (60_000 - round(48_000 * math.exp(-at_ms / tau_ms)),)
    ]
    used = judged(*channels)
    state, _ = fold(used, opened(used, 0), [*heard, Tick(40 * minute_ms + 1)])
    view = cook_view("L-1", "north", used, outcome(used, state, ()), state)
    come_up = next(limit for limit in view.limits if limit.name == "come-up")
    assert come_up.kind == "time between"
    ahead = come_up.ahead
    assert ahead
    assert (ahead.channel, ahead.around) == ("core-2", "chamber")
    assert ahead.mark == "130.0 degF"  # as its author wrote it
    # The chamber stays as it is for as long as the smoke lasts: 3 h.
    there_ms = 80 * 60e3 * math.log(48_000 / (60_000 - 54_444 - CORE.accuracy_mc))
    assert ahead.earliest_ms <= there_ms
    assert ahead.latest_ms == 0  # its surface may be wet, for all that is measured
    assert abs(ahead.likely_ms - there_ms) < 10 * minute_ms
    assert view.stages[0].ahead is None  # it ends by time
    assert view.stages[0].due_ms == 3 * 60 * minute_ms
    cook = view.stages[1]  # in no hotter chamber: 69 degC is never reached in it
    assert cook.ahead
    assert (cook.ahead.mark, cook.ahead.likely_ms, cook.due_ms) == ("69.0 degC", 0, 0)
    assert view.signs == ()
