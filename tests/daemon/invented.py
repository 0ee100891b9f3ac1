"""An invented smokehouse and its lots, for the tests of the record.

Juniper Yard, its people and its lots exist nowhere else.  Curves are straight lines
between points that we made up; the readings, the judging, the journal and the outbox
are the real ones.
"""

import itertools
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from daemon.dossier import Dossier, gather
from daemon.journal import Cook, Journal
from daemon.outbox import Outbox
from probes.contract import Refusal
from rules.alerts import Outcome as Sent
from rules.channels import Channel, Role
from rules.facts import Entry, EntryKind, Event, Quality, Reading, Subject
from rules.replay import replay
from rules.schedule import Schedule, read_schedule

BEGUN_MS = 1_768_021_200_000  # 2026-01-10T05:00:00Z
MIN_MS = 60_000

SCHEDULE = """\
schedule: Smoked juniper links, cured (invented)
revision: 4
approved by: R. T., 2 January 2026 (invented)
product:
  meat: pork
  form: comminuted
  cured: yes
  cooked: fully
  diameter: 32 mm
  nitrite: 156 ppm
  erythorbate: 500 ppm
stages:
  - stage: dry
    chamber: 50 degC to 60 degC
    settle: 15 min
    ends: after 45 min
  - stage: smoke
    chamber: 57 degC to 63 degC
    settle: 10 min
    ends: after 3 h
  - stage: cook
    chamber: 74 degC to 82 degC
    settle: 15 min
    ends: when every core reaches 69 degC
    at most: 4 h
  - stage: chill
    ends: when every core falls to 4 degC
limits:
  - limit: come-up
    control point: CCP-1
    kind: time between
    channel: core
    between: 50 degF and 130 degF
    during: dry, smoke, cook
    at most: 6 h
    warn: 45 min before
    hazard: growth of Staphylococcus aureus
    source: FSIS Cooking Guideline 2021
    if missed: [hold the lot apart, ask a process authority]
  - limit: lethality
    control point: CCP-2
    kind: dwell table
    channel: core
    during: dry, smoke, cook
    table: FSIS Appendix A, meat, 6.5-log10
  - limit: cooling
    control point: CCP-3
    kind: cooling option
    channel: core
    option: FSIS Appendix B 2021, option 2
    if missed: [hold the lot apart, ask a process authority]
alerts:
  - tell: operator
    when: at risk, deviation, probe fault
    again every: 10 min until acknowledged
    then after 20 min tell: backup
"""

Points = Sequence[tuple[int, int]]  # minutes, degC


class Told(NamedTuple):
    """The curves of one invented cook, and what goes wrong in it."""

    chamber: Points
    core_1: Points
    core_2: Points
    quiet: tuple[int, int] = (0, 0)  # minutes during which core-2 says nothing
    every_s: int = 60


GOOD = Told(
    chamber=[
        (0, 20),
        (10, 55),
        (45, 58),
        (225, 60),
        (237, 77),
        (335, 78),
        (345, 20),
        (700, 8),
    ],
    core_1=[
        (0, 8),
        (60, 30),
        (120, 44),
        (225, 55),
        (310, 70),
        (330, 71),
        (337, 60),
        (370, 25),
        (440, 4),
        (470, 2),
    ],
    core_2=[
        (0, 8),
        (60, 29),
        (120, 43),
        (225, 54),
        (330, 70),
        (337, 60),
        (375, 25),
        (450, 4),
        (470, 2),
    ],
)
BAD = Told(
    chamber=[
        (0, 20),
        (10, 55),
        (45, 58),
        (150, 60),
        (172, 43),
        (184, 44),
        (205, 60),
        (225, 60),
        (237, 77),
        (365, 78),
        (375, 20),
        (900, 8),
    ],
    core_1=[
        (0, 8),
        (60, 30),
        (120, 44),
        (225, 52),
        (340, 70),
        (360, 71),
        (370, 60),
        (480, 27),
        (700, 4),
        (760, 2),
    ],
    core_2=[
        (0, 8),
        (60, 29),
        (120, 43),
        (225, 51),
        (360, 70),
        (370, 60),
        (485, 27),
        (720, 4),
        (760, 2),
    ],
    quiet=(262, 276),
)
BRIEF = Told(  # a cook cut down to the size of one page of lines
    chamber=[(0, 20), (470, 20)], core_1=GOOD.core_1, core_2=GOOD.core_2, every_s=900
)


def schedule(text: str = SCHEDULE) -> Schedule:
    """Read a schedule that has no fault."""
    found = read_schedule("juniper.yaml", text)
    assert isinstance(found, Schedule), found
    return found


def channels(every_s: int) -> tuple[Channel, ...]:
    """The probes of the yard's north smokehouse."""
    every_ms = every_s * 1000
    return tuple(
        Channel(name, role, every_ms, 5 * every_ms, accuracy_mc, probe)
        for name, role, accuracy_mc, probe in (
            ("chamber", Role.CHAMBER, 1_000, "28-0316a2795e10"),
            ("core-1", Role.CORE, 500, "28-0316a2795e1c"),
            ("core-2", Role.CORE, 500, "28-0316a2795e2d"),
            ("yard", Role.AMBIENT, 1_000, ""),
        )
    )


def at(minute: int) -> int:
    """The time of a minute of the cook."""
    return BEGUN_MS + minute * MIN_MS


def readings(told: Told) -> list[Reading]:
    """What the probes say, to a hundredth of a degree, with a little unrest."""
    every_ms = told.every_s * 1000
    last_ms = told.core_2[-1][0] * MIN_MS
    said = []
    for number, past_ms in enumerate(range(0, last_ms + 1, every_ms)):
        minute = past_ms // MIN_MS
        unrest_mc = (number * 7919 % 13 - 6) * 10
        yard_mc = 4_000 + 10 * (number % 90)
        row = (
            ("chamber", _on(told.chamber, past_ms) + 12 * unrest_mc, 1_000),
            ("core-1", _on(told.core_1, past_ms) + unrest_mc // 3, 500),
            ("core-2", _on(told.core_2, past_ms) - unrest_mc // 3, 500),
            ("yard", yard_mc, 1_000),
        )
        said += [
            Reading(channel, BEGUN_MS + past_ms, value_mc, uncertainty_mc)
            for channel, value_mc, uncertainty_mc in row
            if channel != "core-2" or not told.quiet[0] <= minute < told.quiet[1]
        ]
    return said


def _on(points: Points, past_ms: int) -> int:
    for (from_min, from_c), (to_min, to_c) in itertools.pairwise(points):
        if past_ms <= to_min * MIN_MS:
            part_ms = past_ms - from_min * MIN_MS
            span_ms = (to_min - from_min) * MIN_MS
            return from_c * 1000 + (to_c - from_c) * 1000 * part_ms // span_ms
    return points[-1][1] * 1000


ENTRIES = [
    Entry(
        EntryKind.CORRECTIVE_ACTION,
        at(176),
        at(214),
        "R. T.",
        "Fire rekindled, damper opened; lot kept in the smokehouse. "
        "Cause: wet wood. Dry wood is now stacked indoors.",
        "smoke chamber",
    ),
    Entry(EntryKind.ACKNOWLEDGE, at(50), at(50), "R. T.", "", "all"),
    Entry(EntryKind.ACKNOWLEDGE, at(95), at(95), "R. T.", "", "all"),
    Entry(EntryKind.ACKNOWLEDGE, at(176), at(176), "R. T.", "on my way", "all"),
    Entry(EntryKind.ACKNOWLEDGE, at(228), at(228), "M. Ö.", "", "all"),
    Entry(EntryKind.ACKNOWLEDGE, at(268), at(268), "M. Ö.", "", "all"),
    Entry(EntryKind.ACKNOWLEDGE, at(346), at(346), "R. T.", "", "all"),
    Entry(EntryKind.ACKNOWLEDGE, at(436), at(436), "R. T.", "", "all"),
    Entry(
        EntryKind.NOTE,
        at(270),
        at(271),
        "M. Ö.",
        "Stecker von core\N{NON-BREAKING HYPHEN}2 war feucht, getrocknet, "
        "½ h später geprüft. 芯温 °C ✓",
        "core-2",
    ),
]
REFUSALS = [
    Refusal(
        "yard/north/cores",
        "core-1",
        at(100),
        "core-1: 85.0 after power-up",
        b'[{"n":"core-1","v":85}]',
    ),
    Refusal("yard/north/cores", "", at(101), "not JSON", b"\xff\xfe" * 300),
]
AWAY, BACK = "away", "connected"
SITE = [
    Event(at(90), Subject.CHANNEL, "broker", "", BACK, AWAY, "nobody answers"),
    Event(at(91), Subject.CHANNEL, "broker", "", AWAY, "within", "it answers again"),
]


def cook(lot: str, told: Told, text: str = SCHEDULE) -> Cook:
    """The cook that makes a lot in the north smokehouse."""
    return Cook(
        lot=lot,
        smokehouse="north",
        schedule=text,
        schedule_path="juniper.yaml",
        channels=channels(told.every_s),
        begun_ms=BEGUN_MS,
        who="R. T.",
    )


class Yard(NamedTuple):
    """A journal and its outbox."""

    journal: Journal
    outbox: Outbox


def yard(folder: Path) -> Yard:
    """Open a new journal in a folder."""
    journal = Journal(folder / "journal.db")
    return Yard(journal, Outbox(journal, {"operator": "", "backup": ""}))


def live_through(place: Yard, lot: str, told: Told) -> None:
    """Put a whole cook into the journal, as the daemon would."""
    journal, outbox = place
    begun = cook(lot, told, SCHEDULE)  # as it is now: a test may patch it
    journal.begin(begun, BEGUN_MS)
    said = readings(told)
    stale = Reading("yard", at(-200), 3_000, 1_000, Quality.AGE_UNKNOWN, at(1))
    unset = Reading("yard", at(3) + 7, 3_000, 1_000, Quality.CLOCK_UNSET, at(3))
    journal.append([*said, stale, unset], REFUSALS)
    until_ms = said[-1].at_ms + 20 * MIN_MS
    outcome = replay(schedule(), begun.channels, BEGUN_MS, said, ENTRIES, until_ms)
    happenings: list[tuple[int, Event | Entry]] = [
        *((entry.entered_ms, entry) for entry in ENTRIES),
        *((event.at_ms + 11_000, event) for event in (*SITE, *outcome.events)),
    ]
    minutes = [(minute_ms, None) for minute_ms in range(BEGUN_MS, until_ms, MIN_MS)]
    for now_ms, what in sorted([*happenings, *minutes], key=lambda one: one[0]):
        if isinstance(what, Entry):
            journal.add_entry(lot, what)
        elif isinstance(what, Event):
            whose = "" if what in SITE else lot
            journal.add_events(whose, [what], now_ms, what.at_ms)
        outbox.collect(lambda _: schedule().alert_rules, now_ms)
        for notice in outbox.due(now_ms):
            works = notice.contact == "operator"
            sent = Sent.SENT if works else Sent.FAILED
            outbox.told(notice, sent, now_ms + 900, "" if works else "timed out")
    journal.add_events(lot, [], until_ms, until_ms)


def dossier(folder: Path, told: Told, lot: str = "2026-01-10 N links") -> Dossier:
    """Gather the dossier of a cook that was lived through."""
    place = yard(folder)
    live_through(place, lot, told)
    found = gather(*place, lot, site="Juniper Yard (invented)", closed_ms=at(800))
    place.journal.close()
    assert isinstance(found, Dossier), found
    return found
