"""``fumarium check`` and ``begin`` with schedules that are made of several files."""

import hashlib
import json
from pathlib import Path

import pytest

from daemon.cli import main
from daemon.files import schedule_at
from daemon.journal import Journal
from rules.schedule import Schedule, read_schedule
from tests.daemon.test_formulate import SETTINGS

HOUSE = """\
schedule: house
revision: 1
approved by: AB
product: {meat: pork, form: comminuted, cured: yes}
stages: [{stage: chill, ends: when every core falls to 4 degC}]
limits:
  - {limit: cooling, kind: cooling option, channel: core, if missed: [add ice],
     option: FDA Food Code 3-501.14(A)}
alerts: [{tell: AB, when: deviation}]
"""
MINE = """\
schedule: mine
revision: 1
approved by: AB
extends: house.yaml
stages: [{stage: chill, at most: 9 h}]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A house's base, and a schedule that extends it."""
    (tmp_path / "house.yaml").write_text(HOUSE)
    (tmp_path / "mine.yaml").write_text(MINE)
    contacts = "contacts: [{contact: AB, address: 'json://127.0.0.1/'}]\n"
    (tmp_path / "settings.yaml").write_text(SETTINGS + contacts)
    return tmp_path


def check(folder: Path, *options: str) -> int:
    return main(["check", str(folder / "mine.yaml"), *options])


def test_differences_are_shown_and_are_no_fault(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert check(folder) == 0
    path = folder / "mine.yaml"
    assert capsys.readouterr().out == (
        f"{path}:5:25: difference: stage 'chill': at most: '9 h', where "
        f"{folder / 'house.yaml'}:5 has nothing\n"
        "    5 | stages: [{stage: chill, at most: 9 h}]\n"
        "      |                         ^^^^^^^\n"
        "\n"
        f"{path}: no fault, 1 difference\n"
    )


def test_a_fault_of_the_base_is_shown_with_its_own_line(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "house.yaml").write_text(HOUSE.replace("cured: yes", "cured: often"))
    assert check(folder) == 3
    assert "   4 | product: {meat: pork" in capsys.readouterr().out
    assert check(folder, "--json") == 3
    (said,) = json.loads(capsys.readouterr().out)
    assert said["path"] == str(folder / "house.yaml")
    assert said["severity"] == "fault"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("lot sheet: mine\ncures: []\n", "'meat' is missing"),
        ("schedule: mine.yaml\nrehearsals: []\n", "nothing is written for 'rehears"),
    ],
)
def test_other_files_are_checked_as_what_they_are(
    folder: Path, text: str, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "mine.yaml").write_text(text)
    assert check(folder) == 3
    assert words in capsys.readouterr().out


def test_a_base_that_is_not_there_is_said(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "house.yaml").unlink()
    assert check(folder) == 3
    assert "house.yaml: cannot be read: No such file" in capsys.readouterr().out
    (folder / "house.yaml").write_bytes(b"\xff")
    assert check(folder) == 3
    assert "house.yaml: not UTF-8 text" in capsys.readouterr().out


def test_the_journal_keeps_all_of_it_in_one_text(folder: Path) -> None:
    path, settings = str(folder / "mine.yaml"), str(folder / "settings.yaml")
    who = ["--lot", "L-1", "--who", "AB", "--settings", settings]
    assert main(["begin", path, *who]) == 0
    schedule, _ = schedule_at(folder / "mine.yaml")
    (folder / "house.yaml").unlink()
    journal = Journal(folder / "journal.db")
    cook = journal.cook("L-1")
    journal.close()
    assert cook
    assert read_schedule(cook.schedule_path, cook.schedule) == schedule
    assert isinstance(schedule, Schedule)
    for name, text in (("mine.yaml", MINE), ("house.yaml", HOUSE)):
        assert (
            f"# {hashlib.sha256(text.encode()).hexdigest()}  {name}\n" in cook.schedule
        )
