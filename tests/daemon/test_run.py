"""The road's own decisions about time, with real parts and a clock we set.

What the road does with a real broker is in ``tests/end_to_end``.
"""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from daemon.alarm import Alarm
from daemon.clock import Clock
from daemon.cooks import Cooks, Running
from daemon.health import Notifier
from daemon.journal import Cook, Journal
from daemon.link import Link
from daemon.lots import Lots
from daemon.mqtt import Message, Subscriber
from daemon.numbering import Numbering
from daemon.outbox import Outbox
from daemon.repeats import Repeats
from daemon.run import AWAY_MS, PATIENCE_MS, Road
from daemon.sender import Sender
from daemon.settings import Settings, read_settings
from daemon.show import Show
from daemon.web import Page
from probes.contract import Arrival, numbers_of
from rules import moving, spots
from rules.calibration import as_judged
from rules.channels import Check, Point
from rules.facts import Entry, EntryKind, Event, Quality, Reading

SETTINGS = """\
site: Juniper Yard (invented)
journal: journal.db
records: records
key: device-key.pem
lateness: 10 s
broker: {}
channels:
  - {channel: core-1, smokehouse: north, role: core, topic: yard/cores,
     payload: senml, unit: degC, every: 10 s, quiet after: 2 min, accuracy: 0.5 K}
"""

BY_HAND = """\
schedule: By hand
revision: 1
product: {meat: pork, form: comminuted, cured: yes}
stages:
  - {stage: dry, ends: by hand}
  - {stage: smoke, ends: by hand}
  - {stage: cook, ends: by hand}
"""

NOON_MS = 1_768_046_400_000  # 2026-01-10T12:00:00Z
MIN = 60_000


class SetClock(Clock):
    """A clock that stands until it is moved."""

    def __init__(self) -> None:
        self.at_ms = NOON_MS

    def now_ms(self) -> int:
        """The time it was set to."""
        return self.at_ms

    def monotonic_ms(self) -> int:
        """The same count, so both move together."""
        return self.at_ms


@pytest.fixture
def clock() -> SetClock:
    """At noon."""
    return SetClock()


@pytest.fixture
def road(tmp_path: Path, clock: SetClock) -> Iterator[Road]:
    """A road whose broker was never there."""
    settings = read_settings(tmp_path / "settings.yaml", SETTINGS, {})
    assert isinstance(settings, Settings)
    journal = Journal(settings.journal)
    cooks = Cooks(journal)
    lots = Lots(settings.journal, settings.records)
    yield Road(
        settings=settings,
        clock=clock,
        journal=journal,
        subscriber=Subscriber(settings.broker, settings.topics, clock),
        cooks=cooks,
        outbox=Outbox(journal, {}),
        sender=Sender(),
        show=Show(settings),
        page=Page("127.0.0.1", 0, lambda *_: 0, now_ms=clock.now_ms, lots=lots),
        notifier=Notifier({}),
        alarm=Alarm({}),
        repeated=Repeats(journal),
        handled_ms=clock.monotonic_ms(),
        entries_seen=cooks.entries_seen,
    )
    journal.close()


def begin(road: Road, lot: str = "R-1") -> None:
    """Begin a cook at noon."""
    channels = road.settings.channels("north")
    cook = Cook(lot, "north", BY_HAND, "hand.yaml", channels, NOON_MS, "AB")
    road.journal.begin(cook, NOON_MS)


def test_a_pulse_moves_the_horizon_to_its_stamp_less_the_lateness(road: Road) -> None:
    road.let_time_pass(NOON_MS - 500)
    assert road.horizon_ms == NOON_MS - 500 - 10_000


def test_a_lot_that_cannot_be_judged_is_shown_until_a_person_ends_it(
    road: Road, clock: SetClock
) -> None:
    schedule = BY_HAND.replace("by hand", "as the moon wanes")
    cook = Cook("R-1", "north", schedule, "other.yaml", (), NOON_MS, "AB")
    road.journal.begin(cook, NOON_MS)
    road.read_entries()
    view = road.show.view(road)
    assert view.unjudged == ("R-1",)
    assert "'as the moon wanes'" in view.notices[0].words
    clock.at_ms += MIN
    later = road.show.view(road)
    assert later.same_but_time(view)  # or every page would be sent it each second
    road.journal.add_entry("R-1", Entry(EntryKind.END, NOON_MS, NOON_MS, "AB"))
    road.read_entries()
    assert road.show.view(road).unjudged == ()


def test_a_link_that_lets_us_in_but_not_hear_is_told_like_a_lost_one(
    road: Road, clock: SetClock
) -> None:
    """Without the pulse nothing is judged, however connected we are."""
    road.pulsed_ms = NOON_MS + 60 * MIN  # no pulse: its broker was never there
    why = "the broker refuses what we publish: not authorized"
    road.subscriber.state = Link(True, NOON_MS, why)
    road.watch_link()
    clock.at_ms += AWAY_MS
    road.watch_link()
    assert road.unsaid == []
    clock.at_ms += 1
    road.watch_link()
    road.subscriber.state = Link(True, NOON_MS, "")
    road.watch_link()
    assert [(one.name, one.was, one.now, one.why) for one in road.unsaid] == [
        ("broker", "reporting", "away", f"broker: {why}"),
        ("broker", "away", "reporting", "broker: it is back"),
    ]


def test_a_backlog_that_takes_long_makes_no_reading_late(
    road: Road, clock: SetClock
) -> None:
    """After a day without the daemon the broker hands out for an hour, say."""
    begin(road)
    road.read_entries()
    for _ in range(60):
        clock.at_ms += MIN
        road.handled_ms = clock.at_ms  # a group of the backlog was handled
        road.let_time_pass(0)
    waited = Reading("core-1", NOON_MS + MIN, 60_000, 500, Quality.GOOD)
    assert road.too_late(waited) == 0


def test_with_nothing_from_the_broker_the_clock_takes_over(
    road: Road, clock: SetClock
) -> None:
    road.let_time_pass(0)
    assert road.horizon_ms == 0
    clock.at_ms += PATIENCE_MS + 1
    road.let_time_pass(0)
    assert road.horizon_ms == clock.at_ms - 10_000 - PATIENCE_MS


def test_every_entry_acts_once_whenever_it_is_read(
    road: Road, clock: SetClock, tmp_path: Path
) -> None:
    begin(road)
    road.read_entries()
    kind, who = EntryKind.NEXT_STAGE, "AB"
    at_ms = NOON_MS + MIN
    road.journal.add_entry("R-1", Entry(kind, at_ms, at_ms, who, about="dry"))
    resumed = Cooks(road.journal)  # a restart reads it with the cook
    road.cooks, road.entries_seen = resumed, resumed.entries_seen
    later_ms = NOON_MS + 2 * MIN
    road.journal.add_entry("R-1", Entry(kind, later_ms, later_ms, who, about="smoke"))
    road.read_entries()
    clock.at_ms += 3 * MIN
    road.let_time_pass(clock.at_ms)
    ended = [
        (noticed.event.name, (noticed.event.at_ms - NOON_MS) // MIN)
        for noticed in road.journal.events("R-1")
        if noticed.event.now == "ended"
    ]
    assert ended == [("dry", 1), ("smoke", 2)]


def test_the_last_set_by_hand_of_each_stage_is_shown_after_a_restart_too(
    road: Road, clock: SetClock
) -> None:
    begin(road)
    road.read_entries()
    kind, counts = EntryKind.SPOT_CHECK, "calibrated 2026-01-02, due 2027-01-02"
    for minute, pieces in ((1, "60, 61"), (2, "71.25, 70.5")):
        text = spots.text_of(spots.read(f"{pieces} degC", "0.5 K"), "TH-2", counts)
        at_ms = NOON_MS + minute * MIN
        road.journal.add_entry("R-1", Entry(kind, at_ms, at_ms, "AB", text, "dry"))
    road.read_entries()
    clock.at_ms += 3 * MIN
    road.let_time_pass(clock.at_ms)
    ((shown,),) = (cook.spots for cook in road.show.view(road).cooks)
    assert (shown.stage, shown.at_ms, shown.who) == ("dry", NOON_MS + 2 * MIN, "AB")
    assert (shown.pieces, shown.decides_mc, shown.counts) == (2, 70_500, True)
    road.cooks = Cooks(road.journal)
    assert [cook.spots for cook in road.show.view(road).cooks] == [(shown,)]


def test_the_page_corrects_a_value_as_its_cook_is_judged(
    road: Road, clock: SetClock
) -> None:
    check = Check(NOON_MS - MIN, "AB", (Point(2_000, 0, 100),))
    (core,) = road.settings.channels("north")
    channels = (replace(core, probe="TH-7", checks=(check,)),)
    cook = Cook("R-1", "north", BY_HAND, "hand.yaml", channels, NOON_MS, "AB")
    road.journal.begin(cook, NOON_MS)
    road.read_entries()
    said = Reading("core-1", NOON_MS + 2 * MIN, 64_000, 500)

    def shown(probe: str) -> int | None:
        (known,) = road.settings.probes
        known = replace(known, identity=probe, checks=(check,))
        road.show = Show(replace(road.settings, probes=(known,)))
        road.show.heard(said)
        return road.show.view(road).channels[0].value_mc

    assert shown("TH-7") == as_judged(channels[0], said).value_mc == 62_000
    assert shown("TH-8") == 64_000  # nobody has said that it was replaced
    text = moving.text_of("5 min", moving.another("TH-8"))
    entry = Entry(EntryKind.MOVED, NOON_MS + MIN, NOON_MS + MIN, "AB", text, "core-1")
    road.journal.add_entry("R-1", entry)
    road.read_entries()
    (judged,) = moving.channels_after(channels, [entry])
    assert shown("TH-8") == as_judged(judged, said).value_mc == 64_000
    at_ms = NOON_MS + 3 * MIN
    road.journal.add_entry("R-1", Entry(EntryKind.END, at_ms, at_ms, "AB"))
    road.read_entries()
    clock.at_ms += 5 * MIN
    road.let_time_pass(clock.at_ms)
    assert shown("TH-8") == 62_000  # no cook goes on: as the settings say


def test_settled_cooks_are_known_after_a_restart_and_not_read_back(
    road: Road, clock: SetClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last three are, for whoever looks at the page."""
    lots = [f"R-{number}" for number in range(1, 6)]
    for lot in lots:
        begin(road, lot)
        entry = Entry(EntryKind.END, NOON_MS + MIN, NOON_MS + MIN, "AB")
        road.journal.add_entry(lot, entry)
    road.read_entries()
    clock.at_ms += 3 * MIN
    road.let_time_pass(clock.at_ms)
    assert road.journal.settled() == set(lots)
    read: list[str] = []
    real = Running.resumed

    def resumed(cook: Cook, *rest: Any) -> tuple[Running, list[Event]]:
        read.append(cook.lot)
        return real(cook, *rest)

    monkeypatch.setattr(Running, "resumed", resumed)
    again = Cooks(road.journal)
    assert read == [one.cook.lot for one in again.past] == lots[2:]
    assert list(again) == []
    early = Reading("core-1", NOON_MS + 1, 60_000, 500)
    assert again.too_late(early) == road.cooks.too_late(early) == 3 * MIN - 10_001


def test_a_cook_that_an_older_program_settled_is_settled_at_the_first_turn(
    road: Road, clock: SetClock
) -> None:
    begin(road)
    at_ms = NOON_MS + MIN
    road.journal.add_entry("R-1", Entry(EntryKind.END, at_ms, at_ms, "AB"))
    road.read_entries()
    clock.at_ms += 3 * MIN
    road.let_time_pass(clock.at_ms)
    road.journal.connection.execute("DELETE FROM settled")
    road.cooks = Cooks(road.journal)
    assert [one.cook.lot for one in road.cooks] == ["R-1"]
    road.let_time_pass(0)
    assert road.journal.settled() == {"R-1"}
    assert list(road.cooks) == []


def test_what_no_core_can_say_is_kept_and_told_and_no_evidence(
    road: Road, clock: SetClock
) -> None:
    """A broken wire must not end a chill: 0 degC from a core at 54 degC."""
    begin(road)
    road.read_entries()
    for number, degrees in enumerate((54.2, 54.0, 53.9, 0.0, 0.0, 0.0)):
        clock.at_ms = NOON_MS + number * 10_000
        pack = b'[{"n":"core-1","u":"Cel","bt":%d,"v":%.1f}]'
        payload = pack % (clock.at_ms // 1_000, degrees)
        arrival = Arrival("yard/cores", payload, clock.at_ms)
        group = road.decoded([Message(arrival, number + 1, 1, False, 1)])
        assert not group.refusals
        road.keep_group(group._replace(messages=[]))
    qualities = [one.quality for one in road.journal.readings(["core-1"], 0, 1 << 62)]
    assert qualities == [Quality.GOOD] * 3 + [Quality.SUSPECT] * 3
    told = [
        (noticed.event.name, noticed.event.now) for noticed in road.journal.events("")
    ]
    assert told == [("core-1", "dead zero")]
    road.let_time_pass(clock.at_ms + MIN)
    (running,) = road.cooks
    assert running.state.sights[0].at_ms == NOON_MS + 20_000


@pytest.mark.parametrize("kind", [EntryKind.NEXT_STAGE, EntryKind.END])
def test_an_entry_that_comes_late_acts_now_here_and_in_every_replay(
    road: Road, clock: SetClock, kind: EntryKind
) -> None:
    begin(road)
    road.read_entries()
    clock.at_ms += 10 * MIN
    road.let_time_pass(clock.at_ms)  # all up to a moment ago is judged
    horizon_ms = road.horizon_ms
    late_ms = NOON_MS + MIN
    road.journal.add_entry("R-1", Entry(kind, late_ms, clock.at_ms, "AB", about="dry"))
    road.read_entries()
    clock.at_ms += MIN
    road.let_time_pass(clock.at_ms)
    live = {noticed.event for noticed in road.journal.events("R-1")}
    ended = [event for event in live if event.now == "ended"]
    assert [event.at_ms for event in ended] == [horizon_ms]
    cook = road.journal.cook("R-1")
    assert cook is not None
    _, replayed = Running.resumed(cook, road.journal, entries_seen=1 << 62)
    assert set(replayed) == live


def test_a_numbered_sample_that_never_came_is_told_once_the_horizon_has_passed(
    road: Road, clock: SetClock
) -> None:
    """Also after a restart, and then not a second time."""

    def pack(number: int) -> bytes:
        at_s = (NOON_MS + number * 1_000) // 1_000
        return (
            f'[{{"n":"x","u":"Cel","t":{at_s},"v":20}},'
            f'{{"n":"x:seq","t":{at_s},"v":{number}}}]'
        ).encode()

    clock.at_ms += 10_000
    for packet, number in enumerate((1, 2, 5), start=1):
        arrival = Arrival("yard/cores", pack(number), clock.at_ms)
        road.keep_group(road.decoded([Message(arrival, packet, 1, False, 1)]))
    road.let_time_pass(NOON_MS + 5_000 + 10_000)
    assert road.journal.events("") == []  # it may still be on its way
    road.numbering = Numbering()
    names, from_ms = [numbers_of("core-1")], NOON_MS
    road.numbering.take(road.journal.readings(names, from_ms, 1 << 62))
    clock.at_ms += 10_000
    for _ in range(2):
        road.let_time_pass(clock.at_ms)
    (told,) = road.journal.events("")
    assert (told.event.name, told.event.now) == ("core-1: samples", "missing")
    assert told.event.why == (
        "2 of the samples numbered 3 to 4 never came from the board"
    )


def every_ten_seconds(from_ms: int, to_ms: int) -> list[Reading]:
    """A reading every ten seconds, one in a hundred of them in doubt."""
    return [
        Reading(
            "core-1",
            at_ms,
            8_000 + at_ms // 977 % 500,
            500,
            Quality.GOOD if at_ms // 10_000 % 100 else Quality.SUSPECT,
        )
        for at_ms in range(from_ms, to_ms, 10_000)
    ]


def test_after_a_start_the_page_comes_to_what_it_showed_before(road: Road) -> None:
    """Bit by bit, and what comes meanwhile is drawn after it."""
    before = every_ten_seconds(NOON_MS - 720 * MIN, NOON_MS)
    late = every_ten_seconds(NOON_MS, NOON_MS + 30 * MIN)
    road.journal.append(before, [])
    for reading in [*before, *late]:
        road.show.heard(reading)
    never_stopped = road.show.view(road)

    road.show = Show(road.settings)
    road.show.remember(road.journal, NOON_MS)
    assert road.show.view(road).channels[0].at_ms == NOON_MS - 10_000
    bits = 0
    for reading in late:
        road.show.heard(reading)
        bits += road.show.recall()
    assert bits == 12 * 4  # quarters of an hour
    assert not road.show.recall()
    assert road.show.view(road) == never_stopped
