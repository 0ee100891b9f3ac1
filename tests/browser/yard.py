"""An invented smokehouse at an unlucky moment, for looking at the page.

Juniper Yard, its lot and its people do not exist.  The fire of the north smokehouse
has died in the cook stage, one core has gone quiet, and the time that the meat may
spend warm is running out.
"""

from collections.abc import Iterator
from dataclasses import replace

from daemon.curve import Curve, CurveView
from daemon.view import (
    AheadView,
    AlertView,
    BrokerView,
    ChannelView,
    CookView,
    Heard,
    LimitView,
    NoticeView,
    RecordingView,
    SignView,
    SpotView,
    StageView,
    ToldView,
    View,
)
from rules.alerts import AlertState
from rules.channels import Channel, Role
from rules.facts import Reading, Standing, Verdict
from rules.schedule import Schedule, read_schedule
from rules.spots import Thermometer

LOT = "JY-0110-A"
MIN = 60_000
HOUR = 60 * MIN

CHAMBER = Channel("chamber", Role.CHAMBER, 10_000, 120_000, 1_000)
CORE_1 = Channel("core-1", Role.CORE, 10_000, 120_000, 500)
CORE_2 = Channel("core-2", Role.CORE, 10_000, 120_000, 500)
# Calibrated and due: 2026-01-02 and 2027-01-02.
TH_2 = Thermometer("TH-2", 500, 1_767_312_000_000, 1_798_848_000_000)
# Minutes before now, and thousandths of a degree there: what the yard saw.
COURSES = {
    CHAMBER: [
        *[(320, 18_000), (300, 55_000), (276, 56_000), (260, 60_400), (97, 60_000)],
        *[(80, 78_000), (26, 78_500), (5, 63_000), (0, 61_200)],
    ],
    CORE_1: [(320, 4_000), (200, 32_000), (97, 47_000), (26, 57_200), (0, 52_100)],
    CORE_2: [(320, 4_000), (200, 29_500), (97, 44_300), (26, 54_000), (0, 50_000)],
}
SCHEDULE = """\
schedule: Smoked juniper links, cured
revision: 1
product: {meat: pork, form: comminuted, cured: yes}
stages:
  - {stage: dry, ends: after 45 min}
  - {stage: smoke, ends: after 3 h}
  - {stage: cook, ends: when every core rises to 69 degC}
  - {stage: chill, ends: when every core falls to 4 degC}
"""
# From and to, in minutes before now, where nothing was heard.
HOLES = {CHAMBER: [(151, 149)], CORE_1: [(188, 172)], CORE_2: [(12, -1)]}


def yard(now_ms: int) -> View:
    """The whole view of the invented yard."""
    return View(
        site="Juniper Yard (invented)",
        now_ms=now_ms,
        horizon_ms=now_ms - 10_000,
        broker=BrokerView(True, now_ms - 9 * HOUR),
        recording=RecordingView(True),
        cooks=(cook(now_ms),),
        channels=channels(now_ms),
        alerts=alerts(now_ms),
        notices=(NoticeView(now_ms - 9 * HOUR, "the daemon was started"),),
        curves=tuple(curve(channel, now_ms) for channel in COURSES),
        thermometers=(TH_2,),
        schedules=((LOT, read_whole(SCHEDULE)),),
    )


def read_whole(text: str) -> Schedule:
    """The schedule of a text that has no faults."""
    found = read_schedule("yard.yaml", text)
    assert isinstance(found, Schedule), found
    return found


def cook(now_ms: int) -> CookView:
    """The unlucky lot."""
    begun_ms = now_ms - 320 * MIN
    smoke_ms, cook_ms = now_ms - 275 * MIN, now_ms - 95 * MIN
    return CookView(
        lot=LOT,
        smokehouse="north",
        title="Smoked juniper links, cured",
        begun_ms=begun_ms,
        finished_ms=0,
        on_hold=False,
        stages=(
            StageView("dry", begun_ms, smoke_ms, "after 45 min", 0, 50_000, 60_000),
            StageView("smoke", smoke_ms, cook_ms, "after 3 h", 0, 57_000, 63_000),
            StageView(
                name="cook",
                from_ms=cook_ms,
                ends="when every core reaches 69.0 degC",
                low_mc=74_000,
                high_mc=82_000,
                ahead=ahead(now_ms, "69.0 degC"),
            ),
            StageView("chill", ends="when every core falls to 4.0 degC"),
        ),
        limits=limits(now_ms),
        signs=(SignView("chamber", "dying fire", now_ms - 14 * MIN),),
        spots=(by_hand(now_ms),),
    )


def by_hand(now_ms: int) -> SpotView:
    """Three pieces of the cook stage, one of them colder than where the probes sit."""
    return SpotView(
        stage="cook",
        at_ms=now_ms - 20 * MIN,
        who="AB",
        pieces=3,
        decides_mc=51_250,
        falls=False,
        within_mc=500,
        instrument="TH-2",
        standing="calibrated 2026-01-02, due 2027-01-02",
        means="stage cook is NOT borne out: not every piece is surely at 69.0 degC",
        counts=True,
        doubts=True,
    )


def ahead(now_ms: int, mark: str) -> AheadView:
    """Where the slower core is going: nowhere, unless the fire is lit again."""
    return AheadView(
        channel="core-2",
        mark=mark,
        rises=True,
        hold_ms=0,
        deadline_ms=0,
        earliest_ms=now_ms + 55 * MIN,
        likely_ms=0,
        latest_ms=0,
        around="chamber",
        around_mc=61_200,
    )


def limits(now_ms: int) -> tuple[LimitView, ...]:
    """A limit in every standing that the page has to show."""
    come_up = LimitView(
        name="come-up",
        part="",
        control_point="CCP-1",
        critical=True,
        asks="between 10.0 degC and 54.4 degC for at most 6 h",
        standing=Standing.AT_RISK,
        verdict=Verdict.RUNNING,
        since_ms=now_ms - 3 * MIN,
        channel="core-2",
        ceiling=True,
        unit="ms",
        required=6 * HOUR,
        least=5 * HOUR + 18 * MIN,
        most=5 * HOUR + 2 * MIN,
        lose_ms=now_ms + 42 * MIN,
        why="between 10.0 degC and 54.4 degC for 5 h 2 min to 5 h 18 min of 6 h",
        kind="time between",
        ahead=replace(
            ahead(now_ms, "130.0 degF"),
            deadline_ms=now_ms + 42 * MIN,
            earliest_ms=now_ms + 18 * MIN,
            likely_ms=now_ms + 87 * MIN,
            latest_ms=now_ms + 140 * MIN,
        ),
    )
    chamber = replace(
        come_up,
        name="cook chamber",
        kind="band",
        ahead=None,
        control_point="",
        critical=False,
        asks="74.0 degC to 82.0 degC, outside for no longer than 10 min",
        standing=Standing.DEVIATION,
        verdict=Verdict.MISSED,
        channel="chamber",
        required=10 * MIN,
        least=22 * MIN,
        most=21 * MIN,
        lose_ms=0,
        why="longest outside between 21 min and 22 min; 10 min allowed",
    )
    lethality = replace(
        come_up,
        name="lethality",
        kind="integrated lethality",
        ahead=None,
        control_point="CCP-2",
        asks="6.5-log10 by FSIS Appendix A, meat",
        standing=Standing.WITHIN,
        channel="core-2",
        ceiling=False,
        unit="mlog10",
        required=6_500,
        least=640,
        most=1_980,
        lose_ms=0,
        why="needed 6.50-log10; 0.64-log10 shown, 1.98-log10 at the most favourable"
        "; surface: smoke humidity unproven",
    )
    sensor = replace(
        chamber,
        kind="humidity",
        name="smoke humidity",
        asks="at or above 60 %",
        standing=Standing.UNPROVEN,
        verdict=Verdict.UNPROVEN,
        channel="",
        unit="",
        required=0,
        least=0,
        most=0,
        why="no channel of role humidity reports",
    )
    dry = replace(chamber, name="dry chamber", standing=Standing.MET, least=0, most=0)
    dry = replace(dry, asks="50.0 degC to 60.0 degC", why="was never outside")
    chill = replace(come_up, kind="cooling option", ahead=None)
    chill = replace(chill, name="cooling", control_point="CCP-3", lose_ms=0, unit="")
    chill = replace(chill, standing=Standing.WAITING, asks="FSIS Appendix B, option 1")
    return (come_up, lethality, chill, dry, chamber, sensor)


def channels(now_ms: int) -> tuple[ChannelView, ...]:
    """Three channels of the north smokehouse, and one of the larder."""
    north = ("north", "degC", Heard.HEARD)
    return (
        ChannelView(
            *("chamber", Role.CHAMBER, *north, 61_200, now_ms - 4_000, 1_000),
            low_mc=74_000,
            high_mc=82_000,
        ),
        ChannelView("core-1", Role.CORE, *north, 52_100, now_ms - 6_000, 500),
        ChannelView(
            *("core-2", Role.CORE, "north", "degC", Heard.QUIET),
            *(51_900, now_ms - 12 * MIN, 500),
        ),
        ChannelView("larder", Role.COOLER, "larder", "degC", Heard.WAITING),
    )


def alerts(now_ms: int) -> tuple[AlertView, ...]:
    """Two alerts that wait for somebody, and one that does not."""
    sent, failed = "sent", "failed"
    return (
        AlertView(
            number=7,
            lot=LOT,
            title=f"come-up at risk: lot {LOT}, smokehouse north",
            why="core-2 may be between 10.0 degC and 54.4 degC for 5 h 18 min of 6 h\n"
            "If it is missed: hold the lot apart; ask a process authority.",
            since_ms=now_ms - 3 * MIN,
            state=AlertState.UNACKNOWLEDGED,
            answer=True,
            told=(
                ToldView("operator", failed, now_ms - 3 * MIN, "no answer within 4 s"),
                ToldView("operator", sent, now_ms - 2 * MIN),
                ToldView("backup", failed, now_ms - MIN, "no answer within 4 s"),
            ),
        ),
        AlertView(
            number=6,
            lot=LOT,
            title=f"channel core-2 quiet: lot {LOT}, smokehouse north",
            why="nothing heard for 2 min since its last reading",
            since_ms=now_ms - 10 * MIN,
            state=AlertState.UNACKNOWLEDGED,
            answer=True,
            told=(ToldView("operator", sent, now_ms - 10 * MIN),),
        ),
        AlertView(
            number=5,
            lot=LOT,
            title=f"cook chamber deviation: lot {LOT}, smokehouse north",
            why="chamber was not 74.0 degC to 82.0 degC for longer than 10 min",
            since_ms=now_ms - 14 * MIN,
            state=AlertState.ACKNOWLEDGED,
            answer=True,
            acknowledged_by="AB",
            acknowledged_ms=now_ms - 9 * MIN,
            told=(ToldView("operator", sent, now_ms - 14 * MIN),),
        ),
    )


def curve(channel: Channel, now_ms: int) -> CurveView:
    """What a channel gave since the lot was begun, with its holes."""
    kept = Curve(channel)
    for reading in readings(channel, now_ms):
        kept.add(reading)
    return kept.view()


def readings(channel: Channel, now_ms: int) -> Iterator[Reading]:
    """Readings along the channel's course, one a period, none inside a hole."""
    course = [
        (now_ms - before * MIN, value_mc) for before, value_mc in COURSES[channel]
    ]
    holes = [(now_ms - a * MIN, now_ms - b * MIN) for a, b in HOLES[channel]]
    begun_ms = now_ms - 320 * MIN
    for at_ms in range(begun_ms, now_ms, channel.every_ms):
        if any(from_ms < at_ms < to_ms for from_ms, to_ms in holes):
            continue
        later = next(i for i, (ms, _) in enumerate(course) if ms > at_ms)
        (a_ms, a_mc), (b_ms, b_mc) = course[later - 1], course[later]
        value_mc = a_mc + (b_mc - a_mc) * (at_ms - a_ms) // (b_ms - a_ms)
        swing_mc = 900 * ((at_ms // 240_000) % 3 - 1) if channel is CHAMBER else 0
        yield Reading(channel.name, at_ms, value_mc + swing_mc, channel.accuracy_mc)
