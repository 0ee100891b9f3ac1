"""daemon/watching.py: which channels are watched, from when, and after a restart."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from daemon import cli, rehearse
from daemon.cooks import Cooks
from daemon.journal import Cook, Journal, Kept
from daemon.settings import Settings, read_settings
from daemon.watching import Group, Watching, bound
from probes.contract import Refusal, battery_of
from probes.doubts import Doubt
from rules.channels import Channel, Role
from rules.facts import Entry, EntryKind, Event, Quality, Reading, Subject
from rules.moving import another
from tests.daemon.test_settings import LEAST

NOON_MS = 1_768_046_400_000
CORE = Channel("core-1", Role.CORE, 10_000, 300_000, 500)
SCHEDULE = """\
schedule: By hand
revision: 1
product: {meat: pork, form: comminuted, cured: yes}
stages: [{stage: cook, ends: by hand}]
limits:
  - {limit: hot, kind: hold, channel: core, at or above: 60 degC}
"""


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """One with a cook that goes on."""
    journal = Journal(tmp_path / "journal.db")
    cook = Cook("W-1", "north", SCHEDULE, "hand.yaml", (CORE,), NOON_MS, "AB")
    journal.begin(cook, NOON_MS)
    yield journal
    journal.close()


def said(degrees: Sequence[float], from_s: int = 0) -> list[Reading]:
    """These degrees, one every ten seconds."""
    return [
        Reading("core-1", NOON_MS + (from_s + 10 * n) * 1_000, round(c * 1_000), 500)
        for n, c in enumerate(degrees)
    ]


def qualities(group: Group) -> str:
    """A letter a reading: g or s."""
    return "".join(one.quality[0] for one in group.readings)


def take(journal: Journal, watching: Watching, readings: list[Reading]) -> Group:
    """What the road does with a group."""
    cooks = Cooks(journal)
    assert not cooks.troubles
    group = watching.screened(cooks, readings)
    journal.add_events("", group.events, NOON_MS, NOON_MS)
    journal.append(group.readings, [])
    watching.kept(group)
    return group


def test_what_was_doubted_stays_so_when_it_is_sent_again(journal: Journal) -> None:
    watching = Watching(journal)
    readings = said([60, 60, 60, 0, 0])
    assert qualities(take(journal, watching, readings)) == "gggss"
    for again in (watching, Watching(journal)):
        take(journal, again, readings)
        kept = journal.readings(["core-1"], 0, 1 << 62)
        assert "".join(one.quality[0] for one in kept) == "gggss"
    journal.append(readings, [])
    assert sum(one.quality is Quality.SUSPECT for one in journal.latest().values()) == 1


def test_a_channel_of_no_cook_is_not_watched(journal: Journal) -> None:
    yard = [one._replace(channel="yard") for one in said([60, 60, 60, 0, 0])]
    assert qualities(take(journal, Watching(journal), yard)) == "ggggg"


def test_a_group_that_was_not_kept_is_screened_as_if_for_the_first_time(
    journal: Journal,
) -> None:
    watching, cooks = Watching(journal), Cooks(journal)
    readings = said([85, 60, 60, 60, 0, 0])
    first, second = (watching.screened(cooks, readings) for _ in range(2))
    assert first == second
    assert qualities(first) == "sgggss"


@pytest.mark.parametrize("stop", range(1, 9))
def test_a_restart_anywhere_changes_nothing(journal: Journal, stop: int) -> None:
    readings = said([85, 60, 60, 60, 0, 0, 20, 61, 61])
    watching = Watching(journal)
    groups = [take(journal, watching, readings[:stop])]
    groups += [take(journal, Watching(journal), readings[stop:])]
    assert "".join(map(qualities, groups)) == "sgggsssgg"
    assert [one.event.now for one in journal.events("")] == [Doubt.ZERO, "reporting"]


def test_a_note_about_a_probe_is_believed(journal: Journal) -> None:
    watching = Watching(journal)
    take(journal, watching, said([60, 60, 60, 20, 20]))
    at_ms = NOON_MS + 45_000
    text = "put into another piece"
    note = Entry(EntryKind.NOTE, at_ms, at_ms, "AB", text, "core-1")
    number = journal.add_entry("W-1", note)
    events: list[Event] = watching.written(journal.entries(after=number - 1)[0])
    assert [(e.was, e.now, e.why) for e in events] == [
        (Doubt.JUMP, "reporting", "AB wrote: put into another piece")
    ]
    assert qualities(take(journal, watching, said([20, 20], 50))) == "gg"
    assert qualities(take(journal, Watching(journal), said([20, 20], 70))) == "gg"


def wrote(journal: Journal, kind: EntryKind, at_s: int, text: str) -> Kept:
    """What a person writes about the core."""
    at_ms = NOON_MS + at_s * 1_000
    entry = Entry(kind, at_ms, at_ms, "AB", text, "core-1")
    number = journal.add_entry("W-1", entry)
    return journal.entries(after=number - 1)[0]


def bound_to(journal: Journal, probe: str) -> tuple[Journal, Watching]:
    """A lot that was begun with probe 28-1, under settings that have another now."""
    if journal.cook("W-2") is None:
        core = replace(CORE, name="core-9", probe="28-1")
        cook = Cook("W-2", "south", SCHEDULE, "hand.yaml", (core,), NOON_MS, "AB")
        journal.begin(cook, NOON_MS)
    return journal, Watching(journal, {"core-9": probe})


def of_9(degrees: Sequence[float], from_s: int) -> list[Reading]:
    """What the channel of that lot says."""
    return [one._replace(channel="core-9") for one in said(degrees, from_s)]


def test_a_probe_that_the_cook_did_not_begin_with_is_no_evidence_until_it_is_said(
    journal: Journal,
) -> None:
    told: list[tuple[str, str]] = []
    for from_s, probe, shown in (
        (0, "28-1", "gg"),
        (20, "28-2", "ss"),
        (40, "28-2", "ss"),  # a restart tells nobody again
        (60, "28-3", "ss"),
        (80, "28-1", "gg"),  # the first one is back in the settings
        (100, "28-2", "ss"),
    ):
        group = take(*bound_to(journal, probe), of_9([60, 60], from_s))
        told += [(one.was, one.now) for one in group.events]
        assert qualities(group) == shown, from_s
    out, back = ("reporting", Doubt.REPLACED), (Doubt.REPLACED, "reporting")
    assert told == [out, back, out]
    _, watching = bound_to(journal, "28-2")
    take(journal, watching, of_9([60], 120))
    for kind, text, lifted in (
        (EntryKind.NOTE, "it is well", False),
        (EntryKind.MOVED, "settling 5 min", False),
        (EntryKind.MOVED, f"settling 5 min; {another('28-3')}", False),
        (EntryKind.MOVED, f"settling 5 min; {another('28-2')}", True),
    ):
        at_ms = NOON_MS + 125_000
        entry = Entry(kind, at_ms, at_ms, "AB", text, "core-9")
        number = journal.add_entry("W-2", entry)
        events = watching.written(journal.entries(after=number - 1)[0])
        assert bool(events) is lifted, text
    assert [(one.was, one.now) for one in events] == [back]
    journal.add_events("", events, NOON_MS, NOON_MS)
    assert qualities(take(journal, watching, of_9([60], 130))) == "g"
    assert qualities(take(*bound_to(journal, "28-2"), of_9([60], 140))) == "g"
    assert qualities(take(*bound_to(journal, "28-1"), of_9([60], 150))) == "s"


@pytest.mark.parametrize(
    ("begun", "now", "shown"),
    [
        ("probe: 28-1\n    record: a", "probe: 28-1\n    record: a", "gg"),
        ("probe: 28-1\n    record: a", "probe: 28-1\n    record: b", "ss"),
        ("probe: 28-1\n    record: a", "probe: 28-2\n    record: a", "ss"),
        ("probe: 28-1\n    record: a", "probe: 28-1", "ss"),
        ("record: a", "record: b", "ss"),
        ("probe: a\n    record: a", "probe: a", "gg"),  # both name the same
    ],
)
def test_neither_probe_nor_record_is_another_unsaid(
    journal: Journal, begun: str, now: str, shown: str
) -> None:
    def told(words: str) -> Settings:
        yard = LEAST.replace("core-1", "core-9").replace("north", "south")
        text = f"{yard}    {words}\n"
        found = read_settings(Path("settings.yaml"), text, {})
        assert isinstance(found, Settings), found
        return found

    channels = told(begun).channels("south")
    cook = Cook("W-2", "south", SCHEDULE, "hand.yaml", channels, NOON_MS, "AB")
    journal.begin(cook, NOON_MS)
    watching = Watching(journal, bound(told(now).probes))
    assert qualities(take(journal, watching, of_9([60, 60], 0))) == shown


@pytest.mark.parametrize("restart", [False, True])
def test_a_probe_that_is_left_out_is_no_evidence_until_a_note(
    journal: Journal, restart: bool
) -> None:
    watching = Watching(journal)
    assert qualities(take(journal, watching, said([60, 60, 60]))) == "ggg"
    kept = wrote(journal, EntryKind.LEFT_OUT, 25, "it touches the hook")
    (told,) = watching.written(kept)
    assert (told.was, told.now) == ("reporting", "left out")
    assert told.why == (
        "AB wrote: it touches the hook; no evidence until a note about it"
    )
    journal.add_events("", [told], NOON_MS, NOON_MS)
    if restart:
        watching = Watching(journal)
    group = take(journal, watching, said([60, 61, 62], 30))
    assert qualities(group) == "sss" and not group.events
    back = watching.written(wrote(journal, EntryKind.NOTE, 55, "moved"))
    assert [(e.was, e.now, e.why) for e in back] == [
        ("left out", "reporting", "AB wrote: moved")
    ]
    assert qualities(take(journal, watching, said([63, 63], 60))) == "gg"
    assert qualities(take(journal, Watching(journal), said([63, 63], 80))) == "gg"


def test_a_channel_is_left_out_by_its_name(
    journal: Journal, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    settings = tmp_path / "settings.yaml"
    settings.write_text(LEAST)
    asked = ["note", "W-1", "it fell out", "--left-out", "--who", "AB"]
    asked += ["--settings", str(settings), "--about"]
    assert cli.main([*asked, "core 1"]) == cli.BAD_COMMAND
    said = "--left-out: say by --about which channel: core-1\n"
    assert capsys.readouterr().err == said
    assert cli.main([*asked, "core-1"]) == cli.GOOD
    assert capsys.readouterr().out.endswith(": left out by AB\n")


def refusals(why: str, *seconds: int) -> list[Refusal]:
    """Messages about the core that gave no value, received at these seconds."""
    return [
        Refusal("north/core-1", "core-1", NOON_MS + s * 1_000, why, b"x")
        for s in seconds
    ]


OPEN = "open circuit: is the probe plugged in, and whole?"


def test_a_value_of_the_moment_of_a_fault_does_not_end_it(journal: Journal) -> None:
    """A group that waited in the broker is received within one millisecond."""
    watching, cooks = Watching(journal), Cooks(journal)
    for from_s, now in ((0, [Doubt.OPEN]), (1, [Doubt.OPEN, "reporting"])):
        faults, values = refusals(OPEN, 0, 0), said([20], from_s)
        group = watching.screened(cooks, values, faults)
        assert [one.now for one in group.events] == now


def test_what_a_source_says_of_its_probe_is_told_once(journal: Journal) -> None:
    watching, cooks = Watching(journal), Cooks(journal)
    found: list[Event] = []
    for seconds in ((0,), (10,), (20, 30), (40,)):
        group = watching.screened(cooks, [], refusals(OPEN, *seconds))
        watching.kept(group)
        found += group.events
    group = watching.screened(cooks, said([60], 50), refusals("no number", 45))
    assert [(e.at_ms - NOON_MS, e.was, e.now, e.why) for e in found + group.events] == [
        (0, "reporting", "open circuit", "is the probe plugged in, and whole?"),
        (
            50_000,
            "open circuit",
            "reporting",
            "says 60.0 degC after 50 s without a value",
        ),
    ]


def test_one_refusal_or_one_that_is_no_fault_of_the_probe_tells_nobody(
    journal: Journal,
) -> None:
    watching, cooks = Watching(journal), Cooks(journal)
    some = [*refusals(OPEN, 0), *refusals("v is not a number", 10, 20)]
    group = watching.screened(cooks, said([60], 30), some)
    assert (group.events, qualities(group)) == ([], "g")


def test_a_restart_tells_no_fault_of_a_source_twice(journal: Journal) -> None:
    watching, cooks = Watching(journal), Cooks(journal)
    group = watching.screened(cooks, [], refusals(OPEN, 0, 10))
    journal.add_events("", group.events, NOON_MS, NOON_MS)
    again = Watching(journal)
    group = again.screened(cooks, [], refusals(OPEN, 20, 30))
    assert group.events == []
    again.kept(group)
    group = again.screened(cooks, said([60], 40))
    assert [(e.was, e.now) for e in group.events] == [("open circuit", "reporting")]


def test_a_source_that_is_back_ends_no_doubt_of_its_values(journal: Journal) -> None:
    watching = Watching(journal)
    take(journal, watching, said([60, 60, 60, 20, 20]))
    group = watching.screened(Cooks(journal), said([20], 90), refusals(OPEN, 60, 70))
    assert [(e.was, e.now) for e in group.events] == [
        ("reporting", "open circuit"),
        ("open circuit", Doubt.JUMP),
    ]
    assert qualities(group) == "s"


def test_a_rehearsal_screens_a_trace_as_the_road_does(journal: Journal) -> None:
    degrees = [85, 60, 60, 60, 0, 0, 20, 61, 61, 61]
    readings, events = rehearse.screened([CORE], said(degrees))
    watching = Watching(journal)
    groups = [
        take(journal, watching, said(degrees)[n : n + 3]) for n in range(0, 10, 3)
    ]
    assert readings == [one for group in groups for one in group.readings]
    assert events == [one for group in groups for one in group.events]
    assert [one.now for one in events] == [Doubt.ZERO, "reporting"]


def charges(*percent: int) -> list[Reading]:
    """The charge of the core's battery, every ten seconds."""
    name = battery_of("core-1")
    return [
        Reading(name, NOON_MS + n * 10_000, each * 1_000, 0)
        for n, each in enumerate(percent)
    ]


def test_a_battery_that_runs_low_is_told_once_and_proves_no_less(
    journal: Journal,
) -> None:
    watching = Watching(journal)
    group = take(journal, watching, [*said([60]), *charges(34, 20, 21, 19)])
    assert qualities(group) == "ggggg"
    assert [(e.name, e.now, e.why) for e in group.events] == [
        (
            "core-1: battery",
            Doubt.BATTERY,
            "its battery says 20 %: put in a full one before it goes quiet",
        )
    ]
    later = Watching(journal)
    assert take(journal, later, charges(0, 0, 0, 0, 18)[4:]).events == []
    events = later.screened(Cooks(journal), charges(0, 29, 95)[1:]).events
    assert [(e.was, e.now) for e in events] == [(Doubt.BATTERY, "reporting")]


def test_the_battery_of_no_watched_channel_is_no_matter(journal: Journal) -> None:
    yard = [one._replace(channel="yard: battery") for one in charges(3)]
    assert Watching(journal).screened(Cooks(journal), yard).events == []


def test_what_was_told_in_an_earlier_cook_is_over_with_the_next(
    journal: Journal,
) -> None:
    """The daemon was not there when the earlier cook ended."""
    told = ("core-1", "core-1", "reporting", Doubt.JUMP, "it jumped")
    early = Event(NOON_MS - 60_000, Subject.CHANNEL, *told)
    journal.add_events("", [early], NOON_MS, NOON_MS)
    group = take(journal, Watching(journal), said([20, 20]))
    assert [(e.at_ms, e.was, e.now) for e in group.events] == [
        (NOON_MS, Doubt.JUMP, "reporting")
    ]
    assert take(journal, Watching(journal), said([20], 60)).events == []
