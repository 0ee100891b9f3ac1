"""Every way from one early sign to another, each by a short story."""

from itertools import pairwise

import pytest

from rules import engine, replay, signs
from rules.channels import Channel, Role
from rules.facts import Event, Reading, Subject, Tick
from rules.schedule import Schedule
from rules.signs import BATH, DOOR, FIRE, NEXT, NONE, STALL
from tests.rules.stories import BEGUN_MS, MIN, chamber, core, schedule

WATER = Channel("bath", Role.BATH, MIN, 10 * MIN, 0)
COOLER = Channel("cooler", Role.COOLER, MIN, 10 * MIN, 0)
COOK = schedule("""\
stages:
  - {stage: cook, chamber: 74 degC to 82 degC, ends: after 5 h}
  - {stage: rest, ends: after 30 min}
""")
CHILL = schedule("""\
stages:
  - {stage: chill, ends: when every core falls to 4 degC}
""")


def course(*points: tuple[int, float]) -> list[float]:
    """A reading each minute, in straight lines from point to point (minute, degC)."""
    found = [points[0][1]]
    for (a, one), (b, other) in pairwise(points):
        found += [one + (other - one) * (m - a) / (b - a) for m in range(a + 1, b + 1)]
    return found


def signs_of(stages: Schedule, **courses: list[float]) -> list[tuple[int, str, str]]:
    """Minute, channel and word of every sign of a day."""
    channels = [
        one for one in (chamber(), core(), WATER, COOLER) if one.name in courses
    ]
    plan = engine.plan(stages, channels)
    readings = [
        Reading(name, BEGUN_MS + minute * MIN, round(degc * 1000), 0)
        for name, values in courses.items()
        for minute, degc in enumerate(values)
    ]
    readings.sort(key=lambda one: one.at_ms)
    end = Tick(readings[-1].at_ms + MIN)
    _, events = replay.fold(plan, engine.opened(plan, BEGUN_MS), [*readings, end])
    return [
        ((one.at_ms - BEGUN_MS) // MIN, one.channel, one.now)
        for one in replay.in_order(events)
        if one.subject is Subject.SIGN
    ]


def test_a_door_that_is_closed_again() -> None:
    air = course((0, 78), (60, 78), (61, 50), (68, 48), (71, 78), (120, 78))
    assert signs_of(COOK, chamber=air) == [
        (61, "chamber", DOOR),
        (71, "chamber", signs.over(DOOR)),
    ]


def test_a_door_that_stays_open_is_no_door_any_more() -> None:
    air = course((0, 78), (60, 78), (61, 50), (120, 30), (140, 78), (150, 78))
    assert signs_of(COOK, chamber=air) == [
        (61, "chamber", DOOR),
        (81, "chamber", FIRE),
        (138, "chamber", signs.over(FIRE)),
    ]


def test_a_fire_that_dies_and_is_lit_again() -> None:
    air = course((0, 78), (60, 78), (90, 60), (100, 78), (120, 78))
    shown = signs_of(COOK, chamber=air)
    assert [one[1:] for one in shown] == [
        ("chamber", FIRE),
        ("chamber", signs.over(FIRE)),
    ]
    # 0.6 K a minute: below 74 degC after 67 min, plain by the middle of five.
    assert 67 <= shown[0][0] <= 71


def test_a_chamber_that_comes_slowly_into_its_band_is_no_dying_fire() -> None:
    assert signs_of(COOK, chamber=course((0, 10), (90, 78), (120, 76))) == []


def test_a_stage_without_a_band_has_no_fire() -> None:
    air = course((0, 78), (301, 78), (329, 40))
    assert signs_of(COOK, chamber=air) == []


def test_a_sign_is_over_with_its_stage_and_with_the_cook() -> None:
    air = course((0, 78), (260, 78), (300, 60), (329, 60))
    shown = signs_of(COOK, chamber=air)
    assert [one[1:] for one in shown] == [
        ("chamber", FIRE),
        ("chamber", signs.over(FIRE)),
    ]
    assert 300 <= shown[-1][0] <= 302


def test_a_core_that_stalls_and_moves_again() -> None:
    air, inside = [78.0] * 200, course((0, 10), (60, 60), (120, 61), (199, 72))
    shown = signs_of(COOK, chamber=air, core=inside)
    assert [one[1:] for one in shown] == [("core", STALL), ("core", signs.over(STALL))]
    assert 80 <= shown[0][0] <= 90
    assert 120 < shown[1][0] <= 140


def test_a_core_that_sank_and_rises_again_is_no_stall() -> None:
    """By so little, and so evenly, that it is where it was 20 min ago."""
    air = course((0, 78), (30, 78), (45, 60), (50, 78), (120, 78))
    inside = course((0, 10), (40, 50), (50, 45.2), (62, 44.9), (72, 45.2), (120, 62))
    shown = signs_of(COOK, chamber=air, core=inside)
    assert [one for one in shown if one[1] == "core"] == []


@pytest.mark.parametrize(
    ("air", "inside"),
    [
        pytest.param(78.0, 75.0, id="as hot as its chamber"),
        pytest.param(60.0, 40.0, id="in a chamber below its band"),
    ],
)
def test_a_flat_core_is_no_stall(air: float, inside: float) -> None:
    assert signs_of(COOK, chamber=[air] * 90, core=[inside] * 90) == []


def test_a_bath_that_warms_and_is_given_ice() -> None:
    inside = course((0, 70), (100, 12))
    water = course((0, 2), (10, 2), (40, 12), (60, 12), (65, 2), (100, 2))
    shown = signs_of(CHILL, core=inside, bath=water)
    assert [one[1:] for one in shown] == [("bath", BATH), ("bath", signs.over(BATH))]
    # 4.4 degC after 17.3 min
    assert 18 <= shown[0][0] <= 21
    assert 61 <= shown[1][0] <= 64


def test_a_cooler_whose_door_is_open_warms_too() -> None:
    air = course((0, 3), (10, 3), (30, 15), (50, 15), (55, 3), (90, 3))
    shown = signs_of(CHILL, core=[30.0] * 91, cooler=air)
    assert [one[1:] for one in shown] == [
        ("cooler", BATH),
        ("cooler", signs.over(BATH)),
    ]


@pytest.mark.parametrize(
    ("water", "inside"),
    [
        pytest.param(course((0, 1), (59, 3)), 30.0, id="still cold"),
        pytest.param(course((0, 16), (59, 8)), 30.0, id="growing colder"),
        pytest.param(
            course((0, 2), (30, 20), (59, 20)), 2.0, id="hotter than the core"
        ),
    ],
)
def test_a_bath_that_is_well(water: list[float], inside: float) -> None:
    assert signs_of(CHILL, core=[inside] * 60, bath=water) == []


def test_every_sign_is_entered_and_left() -> None:
    for (role, sign), ways in NEXT.items():
        into = {to for to, _ in ways}
        assert sign not in into
        assert (NONE in into) is (sign is not NONE)
        assert all((role, to) in NEXT for to in into)


def test_what_is_seen_is_said() -> None:
    air = course((0, 78), (60, 78), (61, 50), (62, 50))
    plan = engine.plan(COOK, [chamber()])
    readings = [
        Reading("chamber", BEGUN_MS + minute * MIN, round(degc * 1000), 0)
        for minute, degc in enumerate(air)
    ]
    end = Tick(BEGUN_MS + 63 * MIN)
    _, events = replay.fold(plan, engine.opened(plan, BEGUN_MS), [*readings, end])
    (event,) = [one for one in events if one.subject is Subject.SIGN]
    why = "chamber fell by 28.0 K in 2 min, to 50.0 degC, as when its door is opened"
    head = (BEGUN_MS + 61 * MIN, Subject.SIGN, "chamber", "chamber")
    assert event == Event(*head, "", "opened door", why)
