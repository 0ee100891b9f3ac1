"""A cook whose schedule this version does not understand is told of, and on hold."""

import argparse
from pathlib import Path

import pytest

from daemon import commands
from daemon.cli import CommandError
from daemon.cooks import Cooks
from daemon.journal import Cook, Journal
from daemon.outbox import Outbox
from daemon.settings import Settings, read_settings
from daemon.unjudged import changes, told
from rules.facts import Entry, EntryKind, Event, Standing, Subject

NOON_MS = 1_768_046_400_000  # 2026-01-10T12:00:00Z
OTHER = """\
schedule: Of another version
revision: 1
product: {meat: pork, form: comminuted, cured: yes}
stages:
  - {stage: dry, ends: when the casing feels dry}
"""
PLAIN = """\
schedule: Plain
revision: 1
product: {meat: pork, form: comminuted, cured: yes}
stages: [{stage: dry, ends: by hand}]
alerts: [{tell: maker, when: at risk}]
"""
SETTINGS = """\
site: Juniper Yard (invented)
journal: journal.db
records: records
key: device-key.pem
broker: {}
channels:
  - {channel: core-1, smokehouse: north, role: core, topic: yard/cores,
     payload: senml, unit: degC, every: 10 s, quiet after: 2 min, accuracy: 0.5 K}
"""
RISK = Event(
    *(NOON_MS, Subject.LIMIT, "come-up", "core-1"),
    *(Standing.WITHIN, Standing.AT_RISK, "45 min are left"),
)


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """Of an invented site whose one cook was begun by another version."""
    found = read_settings(tmp_path / "settings.yaml", SETTINGS, {})
    assert isinstance(found, Settings)
    journal = Journal(found.journal)
    journal.begin(Cook("R-1", "north", OTHER, "other.yaml", (), NOON_MS, "AB"), NOON_MS)
    journal.add_events("R-1", [RISK], NOON_MS, NOON_MS)
    journal.close()
    return found


def said(cooks: Cooks) -> list[tuple[str, str, str]]:
    """What is to be said of the lots, without the reasons."""
    return [(name, was, now) for name, was, now, _ in cooks.news()]


def test_it_becomes_one_alert_that_names_the_fault(settings: Settings) -> None:
    journal = Journal(settings.journal)
    cooks = Cooks(journal)
    [(name, was, now, why)] = cooks.news()
    assert (name, was, now) == ("lot R-1", "judged", "not judged")
    assert "other.yaml:5: 'when the casing feels dry' does not say" in why
    assert "the lot is on hold" in why
    assert cooks.news() == []
    assert said(Cooks(journal)) != []  # a crash came before it was durable
    site = Event(NOON_MS, Subject.CHANNEL, name, "", was, now, why)
    journal.add_events("", [site], NOON_MS, 0)
    assert said(Cooks(journal)) == []
    outbox = Outbox(journal, {"maker": "json://127.0.0.1"})
    outbox.collect(lambda lot: cooks.rules_of(lot, ["maker"]), NOON_MS)
    [notice] = outbox.due(NOON_MS)
    assert (notice.contact, notice.title) == ("maker", "lot R-1 not judged")
    assert [one.event for one in journal.events("R-1")] == [RISK]
    journal.close()


def test_it_is_shown_as_on_hold_and_can_be_ended(
    settings: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    commands.lots(settings)
    shown = capsys.readouterr().out
    assert "R-1\tnorth\ton hold: this version does not understand" in shown
    journal = Journal(settings.journal)
    plain = Cook("R-2", "north", PLAIN, "plain.yaml", (), NOON_MS + 1, "AB")
    journal.add_entry("R-1", Entry(EntryKind.END, NOON_MS, NOON_MS, "AB"))
    journal.begin(plain, NOON_MS + 1)
    assert Cooks(journal).unjudged() == ()
    assert [running.cook.lot for running in Cooks(journal)] == ["R-2"]
    journal.close()


def test_trouble_of_the_site_is_told_where_no_cook_asks_for_it(
    settings: Settings,
) -> None:
    journal = Journal(settings.journal)
    plain = Cook("R-2", "south", PLAIN, "plain.yaml", (), NOON_MS, "AB")
    journal.begin(plain, NOON_MS)
    [rule] = Cooks(journal).rules_of("", ["owner"])
    assert (rule.tell, rule.when) == ("owner", frozenset({"probe fault"}))
    journal.close()


def test_it_is_told_to_everybody_whoever_another_cook_names(settings: Settings) -> None:
    """Whom its own schedule names nobody can read."""
    journal = Journal(settings.journal)
    asks = PLAIN.replace("when: at risk", "when: probe fault")
    journal.begin(Cook("R-2", "south", asks, "plain.yaml", (), NOON_MS, "AB"), NOON_MS)
    cooks = Cooks(journal)
    assert cooks.unjudged() == ("R-1",)
    told_of = [rule.tell for rule in cooks.rules_of("", ["owner", "maker"])]
    assert told_of == ["maker", "owner", "maker"]
    cooks.give_up("R-1")
    assert cooks.unjudged() == ()
    assert [rule.tell for rule in cooks.rules_of("", ["owner", "maker"])] == ["maker"]
    journal.close()


def test_a_version_that_understands_it_says_so(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "journal.db")
    event = Event(1, Subject.CHANNEL, "lot R-1", "", "judged", "not judged", "why")
    journal.add_events("", [event], 1, 1)
    before = told(journal.events())
    assert before == {"R-1": "not judged"}
    [change] = changes({}, before, ["R-1", "R-2"])
    assert change[:3] == ("lot R-1", "not judged", "judged")
    journal.close()


def test_a_smokehouse_that_is_not_free_is_said_and_exits_one(
    settings: Settings, tmp_path: Path
) -> None:
    schedule = tmp_path / "plain.yaml"
    schedule.write_text(PLAIN.split("alerts")[0])
    asked = argparse.Namespace(
        name="begin", who="AB", lot="R-2", schedule=schedule, sheet=None, smokehouse=""
    )
    with pytest.raises(CommandError, match="lot R-1 is still going on") as no:
        commands.entry(asked, settings)
    assert no.value.code == 1
