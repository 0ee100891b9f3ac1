"""``fumarium probes``: what every channel says, from a real journal."""

from pathlib import Path

import pytest

from daemon import cli, probe_table
from daemon.clock import Clock
from daemon.journal import Cook, Journal
from daemon.settings import Settings, read_settings
from daemon.show import Show
from probes.contract import Refusal, battery_of
from probes.doubts import Doubt
from rules import moving
from rules.facts import Entry, EntryKind, Event, Quality, Reading, Subject

NOW_MS = 1_768_021_200_000  # 2026-01-10T05:00:00Z
SETTINGS = """\
site: Juniper Yard
journal: journal.db
records: records
key: device-key.pem
broker: {}
channels:
  - channel: core-1
    smokehouse: north
    role: core
    topic: yard/cores
    payload: json
    value at: /core
    battery at: /battery
    probe: TH-7
    unit: degC
    every: 10 s
    quiet after: 2 min
    accuracy: 0.5 K
    resolution: 0.0625 K
  - channel: damp
    smokehouse: north
    role: humidity
    topic: yard/damp
    payload: number
    unit: '%RH'
    every: 10 s
    quiet after: 2 min
    accuracy: 2 %RH
  - channel: core-2
    smokehouse: south
    role: core
    topic: yard/more
    payload: number
    unit: degC
    every: 10 s
    quiet after: 2 min
    accuracy: 0.5 K
calibrations:
  - channel: core-1
    at: 2026-01-09T07:30:00Z
    by: AB
    points:
      - {said: 0.4 degC, reference: 0.0 degC, within: 0.1 K}
"""
SCHEDULE = """\
schedule: Links
revision: 1
product: {meat: pork, form: comminuted, cured: yes}
stages:
  - {stage: smoke, ends: when every core rises to 69 degC}
  - {stage: chill, ends: when every core falls to 4 degC}
"""


class Stopped(Clock):
    """A clock that stands still."""

    def now_ms(self) -> int:
        """Always the same moment."""
        return NOW_MS


@pytest.fixture
def path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The settings of the yard, and a journal in which something was heard."""
    monkeypatch.setattr(probe_table, "clock_of", lambda _: Stopped())
    path = tmp_path / "settings.yaml"
    path.write_text(SETTINGS)
    journal = Journal(tmp_path / "journal.db")
    journal.begin(cook(settings(path)), NOW_MS)
    journal.append(
        [
            Reading("core-1", NOW_MS - 65_000, 64_300, 500, received_ms=NOW_MS),
            Reading(battery_of("core-1"), NOW_MS - 65_000, 81_000, 0),
            Reading("damp", NOW_MS - 600_000, 51_000, 2_000, Quality.AGE_UNKNOWN),
        ],
        [
            Refusal("yard/cores", "core-1", NOW_MS - 9_000, "an old word", b""),
            Refusal("yard/cores", "core-1", NOW_MS - 8_000, "the newest word", b""),
        ],
    )
    why = "the same to the last digit for 15 min"
    told = ("core-1", "core-1", "reporting", Doubt.FROZEN, why)
    doubt = Event(NOW_MS - 70_000, Subject.CHANNEL, *told)
    journal.add_events("", [doubt], NOW_MS, NOW_MS)
    journal.close()
    return path


def settings(path: Path) -> Settings:
    """The settings in a file that has no fault."""
    found = read_settings(path, path.read_text(), {})
    assert isinstance(found, Settings), found
    return found


def cook(told: Settings) -> Cook:
    """A cook in the north, judged with the checks that there are."""
    channels = told.channels("north")
    return Cook("L1", "north", SCHEDULE, "links.yaml", channels, NOW_MS - 9**6, "AB")


def test_every_channel_is_shown(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["probes", "--settings", str(path)]) == cli.GOOD
    assert (
        capsys.readouterr().out
        == """\
north
  core-1       core      63.900 degC ± 0.589 K, 1 min 5 s ago
      said 64.300 degC
      probe TH-7
      checked 2026-01-09T07:30:00.000Z by AB: said 0.4 degC at 0.0 degC ± 0.1 K
      frozen since 2026-01-10T04:58:50.000Z: the same to the last digit for 15 min
      last refused 2026-01-10T04:59:52.000Z: the newest word
      battery 81 %, 1 min 5 s ago
      advice: core-1 is judged at 69.0 degC and was not checked within 10.0 K of it: \
add a point there
  damp         humidity  51.000 %RH ± 2.000 %RH, 10 min ago, QUIET, age unknown: \
no evidence
      no identity: another probe in its place would not be noticed
south
  core-2       core      never heard
      no identity: another probe in its place would not be noticed
      advice: core-2 has no calibration: what it says is taken as it is
"""
    )


@pytest.mark.parametrize(
    ("probe", "said", "shown"),
    [
        ("TH-7", False, "63.900 degC"),  # corrected, as the cook is judged
        ("TH-8", False, "64.300 degC"),  # no evidence, and corrected by nothing
        ("TH-8", True, "64.300 degC"),  # judged as it was said
    ],
)
def test_a_replaced_probe_is_shown_as_it_is_judged(
    path: Path,
    capsys: pytest.CaptureFixture[str],
    probe: str,
    said: bool,
    shown: str,
) -> None:
    path.write_text(SETTINGS.replace("probe: TH-7", f"probe: {probe}"))
    if said:
        at_ms = NOW_MS - 70_000
        text = moving.text_of("5 min", moving.another(probe))
        journal = Journal(path.with_name("journal.db"))
        moved = Entry(EntryKind.MOVED, at_ms, at_ms, "AB", text, "core-1")
        journal.add_entry("L1", moved)
        journal.close()
    assert cli.main(["probes", "--settings", str(path)]) == cli.GOOD
    out = capsys.readouterr().out
    assert f"core-1       core      {shown} ± 0." in out
    unused = "not used by the cook that goes on: checked 2026-01-09" in out
    assert unused is (probe == "TH-8")


def test_a_check_that_the_cook_was_not_begun_with_corrects_nothing_yet(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    later = (
        "  - channel: core-1\n    at: 2026-01-10T04:00:00Z\n    by: AB\n    points:\n"
        "      - {said: 2.0 degC, reference: 0.0 degC, within: 0.1 K}\n"
    )
    path.write_text(SETTINGS + later)
    assert cli.main(["probes", "--settings", str(path)]) == cli.GOOD
    out = capsys.readouterr().out
    assert "core-1       core      63.900 degC" in out
    assert "not used by the cook that goes on: checked 2026-01-10T04:00" in out


@pytest.mark.parametrize(
    ("due", "told"),
    [
        ("2026-01-24T05:00:01Z", ""),
        ("2026-01-24T05:00:00Z", "core-1 is to be checked by 2026-01-24"),
        ("2026-01-10T05:00:01Z", "core-1 is to be checked by 2026-01-10"),
        (
            "2026-01-10T05:00:00Z",
            "core-1 was to be checked by 2026-01-10: it is",
        ),
    ],
)
def test_a_check_that_is_due_is_told_beforehand_and_afterwards(
    path: Path, capsys: pytest.CaptureFixture[str], due: str, told: str
) -> None:
    path.write_text(SETTINGS.replace("by: AB", f"by: AB\n    due: {due}"))
    assert cli.main(["probes", "--settings", str(path)]) == cli.GOOD
    out = capsys.readouterr().out
    assert ("to be checked" in out) is bool(told)
    assert told in out
    assert "core-1       core      63.900 degC ± 0.589 K" in out  # judged as before
    view = Show(settings(path))
    assert [one.words.startswith(told) for one in view.due(NOW_MS)] == (
        [True] if told else []
    )


def test_every_doubt_is_told_with_its_rule(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["probes", "doubts"]) == cli.GOOD
    said = capsys.readouterr().out
    names = [line for line in said.splitlines() if not line.startswith(" ")]
    assert names == list(Doubt)
    assert len(said.splitlines()) == 4 * len(names)
    assert said.startswith(
        "open circuit\n"
        "    shows     the source's own sign or code\n"
        "    evidence  no: no value is kept, only the message and why it was refused\n"
        "    ends      it says a value again\n"
    )


def test_a_history_that_was_rewritten_is_named(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path.write_text(SETTINGS.replace("said: 0.4 degC", "said: 0.1 degC"))
    assert cli.main(["probes", "--settings", str(path)]) == cli.GOOD
    assert capsys.readouterr().out.splitlines()[-1] == (
        "lot L1 was judged with core-1 checked 2026-01-09T07:30:00.000Z by AB: said "
        "0.4 degC at 0.0 degC ± 0.1 K, and the settings no longer say so; a history "
        "is written onward, never changed"
    )


def test_no_journal_is_said(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (path.parent / "journal.db").unlink()
    assert cli.main(["probes", "--settings", str(path)]) == cli.MACHINE
    assert "no journal yet; it begins with the daemon" in capsys.readouterr().err
    assert not (path.parent / "journal.db").exists()


def test_settings_and_schedule_checked_together(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    schedule = path.parent / "links.yaml"
    schedule.write_text(SCHEDULE)
    assert cli.main(["check", str(path), str(schedule)]) == cli.GOOD
    advice = [
        line
        for line in capsys.readouterr().out.splitlines()
        if line.startswith("advice: ")
    ]
    assert advice == [
        "advice: core-1 is judged at 69.0 degC and was not checked within 10.0 K of "
        "it: add a point there",
        "advice: core-2 has no calibration: what it says is taken as it is",
    ]
