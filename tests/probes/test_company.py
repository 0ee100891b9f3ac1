"""probes/company.py: what core and chamber show together, and the table of all faults.

Source: field reports of a probe against the meat, of exchanged probes and of one left
        in the air (retold, no source); the days are simulated.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest

from probes.company import company_of, fold, recalled, screened
from probes.doubts import TABLE, Doubt
from rules.channels import Channel, Role
from rules.facts import Quality, Reading
from tests.bench import days, harsh, screening, sources

MINUTE_MS = 60_000
CHANNELS = [
    Channel(name, role, MINUTE_MS, 720_000, 500)
    for name, role in (
        ("chamber", Role.CHAMBER),
        ("core-1", Role.CORE),
        ("core-2", Role.CORE),
        ("bath", Role.BATH),
    )
]
COMPANY = company_of(CHANNELS)
Course = Callable[[int], float]  # degrees by the minute


def said(minutes: int, **courses: Course) -> list[Reading]:
    """What the channels say, once a minute, the chamber first."""
    return [
        Reading(name.replace("_", "-"), m * MINUTE_MS, round(course(m) * 1_000), 500)
        for m in range(minutes)
        for name, course in courses.items()
    ]


def told(readings: Sequence[Reading]) -> list[tuple[int, str, str]]:
    """Minute, channel and doubt of all that is told."""
    events = [event for _, some in fold(COMPANY, readings) for event in some]
    return [(e.at_ms // MINUTE_MS, e.name, e.now) for e in events]


def fire(minute: int) -> float:
    """A chamber at 60 degC that swings by 2 K."""
    return 60.3 + (minute % 5 - 2) * 0.9


def meat(minute: int) -> float:
    """A core that warms by 0.25 K a minute."""
    return 20 + minute / 4


def test_a_core_that_follows_the_chamber_in_a_minute_is_out_of_its_piece() -> None:
    out = said(60, chamber=fire, core_1=lambda m: meat(m) if m < 30 else fire(m) - 0.5)
    events = [event for _, some in fold(COMPANY, out) for event in some]
    assert [(e.at_ms // MINUTE_MS, e.name, e.now) for e in events] == [
        (30, "core-1", Doubt.PULLED_OUT)
    ]
    assert events[0].why == (
        "27.2 degC became 58.9 degC in 2 min, towards the chamber and faster than any "
        "meat: is it out of the meat? not used until it is near 27.2 degC again, or a "
        "note about core-1 says what was done to the probe"
    )
    kept = [one for one, _ in fold(COMPANY, out) if one.channel == "core-1"]
    assert {one.quality for one in kept[30:]} == {Quality.SUSPECT}
    assert {one.quality for one in kept[:30]} == {Quality.GOOD}


def test_air_that_cools_to_where_a_core_was_brings_no_core_back() -> None:
    def open_door(minute: int) -> float:
        return fire(minute) if minute < 40 else max(60.3 - 4.1 * (minute - 40), 15.2)

    out = said(
        70, chamber=open_door, core_1=lambda m: meat(m) if m < 30 else open_door(m)
    )
    assert told(out) == [(30, "core-1", Doubt.PULLED_OUT)]


def test_a_core_that_is_pushed_into_its_piece_again_is_believed() -> None:
    out = said(
        60, chamber=fire, core_1=lambda m: fire(m) - 0.5 if 30 <= m < 40 else meat(m)
    )
    assert told(out) == [
        (30, "core-1", Doubt.PULLED_OUT),
        (42, "core-1", "reporting"),
    ]


@pytest.mark.parametrize("first", ["chamber", "core-1"])
def test_probes_that_are_exchanged_are_both_in_doubt(first: str) -> None:
    readings = said(
        60,
        chamber=lambda m: fire(m) if m < 30 else meat(m),
        core_1=lambda m: meat(m) if m < 30 else fire(m),
        core_2=meat,
    )
    if first == "core-1":
        readings.sort(key=lambda one: (one.at_ms, one.channel != "core-1"))
    found = told(readings)
    assert {(name, now) for _, name, now in found if now == Doubt.SWAPPED} == {
        ("chamber", Doubt.SWAPPED),
        ("core-1", Doubt.SWAPPED),
    }
    assert max(minute for minute, _, _ in found) <= 32
    last = {one.channel: one.quality for one, _ in fold(COMPANY, readings)}
    assert last == {
        "chamber": Quality.SUSPECT,
        "core-1": Quality.SUSPECT,
        "core-2": Quality.GOOD,
    }


def test_a_core_that_warms_by_itself_is_no_core() -> None:
    exchanged = said(
        40, chamber=lambda m: 15 + m / 4, core_1=lambda m: min(20 + m, 58) + m % 3
    )
    assert told(exchanged)[:1] == [(10, "core-1", Doubt.SWAPPED)]


def test_a_core_that_warms_with_the_chamber_is_in_the_air() -> None:
    heating = said(30, chamber=lambda m: 18 + m, core_1=lambda m: 17 + m, core_2=meat)
    assert told(heating) == [(10, "core-1", Doubt.IN_AIR)]
    later = said(
        30, chamber=lambda m: 18 + m, core_1=lambda m: 17 + m if m < 15 else 20
    )
    assert told(later) == [(10, "core-1", Doubt.IN_AIR), (20, "core-1", "reporting")]


def test_a_chamber_that_came_down_to_a_core_and_rises_with_it_touches_it() -> None:
    touching = said(
        60, chamber=lambda m: fire(m) if m < 30 else meat(m) + 3, core_1=meat
    )
    found = told(touching)
    assert found == [(45, "chamber", Doubt.TOUCHING)]
    freed = said(
        60, chamber=lambda m: meat(m) + 3 if 30 <= m < 50 else fire(m), core_1=meat
    )
    assert told(freed)[-1][1:] == ("chamber", "reporting")


@pytest.mark.parametrize(
    ("chamber", "core"),
    [
        # A fire that dies: the core stops, then cools behind it.
        (lambda m: max(60 - m, 12), lambda m: 40 + min(m, 12) / 6 - max(m - 12, 0) / 9),
        # A door that stays open for 20 minutes.
        (lambda m: 25 if 20 <= m < 40 else 60, lambda m: 20 + min(m, 21) / 4),
        # A milder fire, to which the core goes on.
        (lambda m: 79 if m < 20 else 72, lambda m: min(64 + m / 6, 71)),
        # Out of the chamber into ice water, past the yard's temperature.
        (
            lambda m: max(79 - 4 * max(m - 10, 0), 12),
            lambda m: 72 if m < 10 else max(72 - 8 * (m - 10), 1),
        ),
        # Left in a chamber that cools overnight.
        (lambda m: 60 - m / 8, lambda m: 58 - m / 8),
    ],
)
def test_what_a_working_probe_says_is_not_doubted(
    chamber: Course, core: Course
) -> None:
    assert told(said(90, chamber=chamber, core_1=core, core_2=core)) == []


def test_hot_water_warms_a_core_faster_than_air() -> None:
    def dipped(minute: int) -> float:
        return min(20 + 14 * max(minute - 10, 0), 77)

    air = said(30, chamber=lambda m: 78, core_1=dipped)
    assert [now for _, _, now in told(air)] == [Doubt.PULLED_OUT]
    water = said(30, chamber=lambda m: 78, bath=lambda m: 80, core_1=dipped)
    assert told(water) == []
    empty = said(30, chamber=lambda m: 78, bath=lambda m: 25, core_1=dipped)
    assert told(empty) == told(air)


ZONES = company_of(
    [
        *(replace(CHANNELS[0], name=name) for name in ("below", "above")),
        *CHANNELS[1:],
    ]
)


def told_in_zones(readings: Sequence[Reading]) -> list[tuple[int, str, str]]:
    """The same of a smokehouse with a chamber probe below and one above."""
    events = [event for _, some in fold(ZONES, readings) for event in some]
    return [(e.at_ms // MINUTE_MS, e.name, e.now) for e in events]


def cooler(minute: int) -> float:
    """The other end of the chamber, 15 K colder."""
    return fire(minute) - 15


@pytest.mark.parametrize("beside", ["below", "above"])
@pytest.mark.parametrize("warm", ["below", "above"])
def test_a_core_is_compared_with_whichever_chamber_it_is_beside(
    beside: str, warm: str
) -> None:
    air = {"below": cooler, "above": cooler, warm: fire}
    out = said(50, **air, core_1=lambda m: meat(m) if m < 30 else air[beside](m) - 0.5)
    assert told_in_zones(out) == [(30, "core-1", Doubt.PULLED_OUT)]
    hung = {"below": lambda m: 33 + m, "above": lambda m: 33 + m}
    hung[beside] = lambda m: 18 + m
    found = told_in_zones(said(30, **hung, core_1=lambda m: 17 + m, core_2=meat))
    assert found == [(10, "core-1", Doubt.IN_AIR)]


@pytest.mark.parametrize("which", ["below", "above"])
def test_of_several_chambers_the_one_that_was_exchanged_is_in_doubt(which: str) -> None:
    air: dict[str, Course] = {"below": fire, "above": fire}
    air[which] = lambda m: fire(m) if m < 30 else meat(m)
    readings = said(
        60, **air, core_1=lambda m: meat(m) if m < 30 else fire(m), core_2=meat
    )
    found = told_in_zones(readings)
    swapped = {name for _, name, now in found if now == Doubt.SWAPPED}
    assert swapped == {which, "core-1"}
    assert max(minute for minute, _, _ in found) <= 32


def test_a_core_may_be_warmed_by_the_warmer_of_two_chambers() -> None:
    """And by one whose own probe is late just now, which nobody can ask."""
    hot, cold = (lambda m: 78.0 + m % 3 / 10), (lambda m: 25.0 + m % 3 / 10)
    warming = said(90, below=cold, above=hot, core_1=lambda m: 20 + m / 2)
    assert told_in_zones(warming) == []
    late = [one for one in warming if one.channel != "above" or one.at_ms < 300_000]
    assert told_in_zones(late) == []


@pytest.mark.parametrize(
    "doubt", [Doubt.SWAPPED, Doubt.PULLED_OUT, Doubt.IN_AIR, Doubt.TOUCHING]
)
def test_a_restart_doubts_the_same_readings(doubt: Doubt) -> None:
    day = next(iter(screening.FAULTS[doubt](days.script("steady", 1, 0))))
    company = company_of(day.channels)
    kept = [one for one, _ in fold(company, day.readings)]
    size = len(day.channels)
    for stop in range(20 * size, 80 * size, 7 * size + 1):
        watches = recalled(company, kept[:stop])
        for reading, once in zip(
            day.readings[stop : stop + 60], kept[stop : stop + 60], strict=True
        ):
            watches[reading.channel], again, _ = screened(company, watches, reading)
            assert again == once


def test_every_fault_is_told_on_the_steady_day_and_nothing_else_is() -> None:
    found = list(screening.rows(["steady"], seeds=1, every_ms=0))
    assert [row.doubt for row in found] == list(screening.FAULTS)
    assert {row.doubt for row in found if row.detected != row.tried} == set()
    assert {row.doubt for row in found if not row.named} == {Doubt.IN_AIR}
    assert sum(row.wrongly for row in found) == 0
    at_once = [row for row in found if max(row.after_ms) <= 2 * MINUTE_MS]
    assert len(at_once) >= 6


def test_what_every_kind_of_source_says_of_its_probe_is_told_once() -> None:
    found = sources.reasons()
    assert len(found) == 16
    for (doubt, _), why in found.items():
        (event,) = screening.told_of_source(why)
        assert (event.at_ms, event.was, event.now) == (0, "reporting", doubt), why
    refused = {doubt for doubt, rule in TABLE.items() if rule.treated == "refused"}
    assert refused <= {doubt for doubt, _ in found}
    of_the_daemon = {Doubt.BATTERY, Doubt.REPLACED}  # tests/daemon/test_watching.py
    assert set(screening.FAULTS) | refused | of_the_daemon == set(Doubt)


def test_no_working_probe_of_the_shipped_traces_is_doubted() -> None:
    found = {
        path.name: screening.false_alarms(screening.trace_of(path))
        for path in days.TRACES.glob("*.csv")
    }
    assert len(found) == 7
    assert set(found.values()) == {(0, 0)}


@pytest.mark.parametrize("diameter_mm", [16, 60])
@pytest.mark.parametrize("name", harsh.HARSH)
def test_no_working_probe_of_a_harsh_day_is_doubted(
    name: str, diameter_mm: int
) -> None:
    assert screening.false_alarms(harsh.day(name, diameter_mm, 60)) == (0, 0)


def test_a_thin_stick_in_ice_water_is_no_jump_where_its_thickness_is_told() -> None:
    day = harsh.day("plain", 16, 10)
    assert screening.false_alarms(day) == (0, 0)
    doubted, _ = screening.false_alarms(day._replace(diameter_um=0))
    assert doubted > 0


@pytest.mark.parametrize("seed", [1, 2])
def test_no_working_probe_of_the_steady_day_is_doubted(seed: int) -> None:
    day = days.honest(days.script("steady", seed, 20_000))
    assert len(day.readings) > 5_000
    assert screening.false_alarms(day) == (0, 0)
