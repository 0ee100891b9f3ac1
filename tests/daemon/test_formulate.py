"""``fumarium formulate`` and ``begin --sheet``: what they print, keep and refuse."""

from pathlib import Path

import pytest

from daemon.cli import main
from daemon.journal import Journal
from rules.schedule import Schedule, read_schedule
from tests.readme import block_with

SETTINGS = """\
site: Invented
journal: journal.db
records: records
key: device-key.pem
lateness: 10 s
broker: {host: 127.0.0.1, port: 1883, client id: invented}
channels:
  - {channel: core, smokehouse: north, role: core, topic: a/core, payload: number,
     unit: degC, every: 10 s, quiet after: 2 min, accuracy: 0.5 K}
"""
SCHEDULE = """\
schedule: links
revision: 1
product: {meat: pork, form: comminuted, cured: yes, cooked: fully}
stages: [{stage: chill, ends: when every core falls to 4 degC}]
limits:
  - {limit: cooling, kind: cooling option, channel: core,
     option: "FSIS Appendix B 2021, option 3"}
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Settings, a schedule and a lot sheet that supports it."""
    (tmp_path / "settings.yaml").write_text(SETTINGS)
    (tmp_path / "links.yaml").write_text(SCHEDULE)
    (tmp_path / "lot.yaml").write_text(block_with("yaml", "lot sheet:"))
    return tmp_path


def begin(folder: Path) -> int:
    files = [str(folder / "links.yaml"), "--sheet", str(folder / "lot.yaml")]
    who = ["--lot", "L-1", "--who", "AB", "--settings", str(folder / "settings.yaml")]
    return main(["begin", *files, *who])


def test_the_figures_are_printed(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["formulate", str(folder / "lot.yaml")]) == 0
    printed = capsys.readouterr().out
    assert "ingoing nitrite: 156.25 ppm of green weight" in printed
    assert "rounded to a hundredth" in printed
    assert "not judged nitrite in the finished product: at most 200 ppm" in printed
    assert "the same weight would make 2500 ppm, which can kill" in printed


def test_salt_and_acidity_are_printed_and_held_against_the_models(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """320 g and 93.75 % of 50 g of cure are 366.875 g of 21.38 kg: 1.716 %."""
    lot = folder / "lot.yaml"
    written = lot.read_text()
    lot.write_text(written + "pH: 6.0\n")
    assert main(["formulate", str(lot)]) == 0
    printed = capsys.readouterr().out
    assert "\nsalt: 1.72 % of the mix as it was weighed; drying raises it\n" in printed
    assert "\npH: 6, as it was measured\n" in printed
    assert "\n  can be    C. perfringens, " in printed
    lot.write_text(written + "pH: 4.5\n")
    assert main(["formulate", str(lot)]) == 0
    assert ": the product's pH is 4.5; the model holds for" in capsys.readouterr().out
    for no_ph, words in ("14.5", "is not a pH"), ("5,9", "it may mean 5.9 or 59"):
        lot.write_text(f"{written}pH: {no_ph}\n")
        assert main(["formulate", str(lot)]) == 3
        assert words in capsys.readouterr().err


def test_whoever_weighed_pure_nitrite_is_not_asked_what_if(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A quarter of an ounce per 100 lb is what is allowed, and pure as it stands."""
    (folder / "lot.yaml").write_text(
        "lot sheet: pure\nproduct class: comminuted\nkeep refrigerated: yes\n"
        "meat: 100 lb\ncures:\n"
        "  - {cure: nitrite, weight: 1/4 oz, nitrite: 100 %, checked by: CD}\n"
    )
    assert main(["formulate", str(folder / "lot.yaml")]) == 0
    printed = capsys.readouterr().out
    assert "nitrite is 156.25 ppm" in printed and "Were the jar" not in printed


def test_a_breach_is_exit_1(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Four times the cure is 625 ppm: the ceiling is 156.25 (9 CFR 424.21(c))."""
    lot = folder / "lot.yaml"
    lot.write_text(lot.read_text().replace("50 g", "200 g"))
    assert main(["formulate", str(lot)]) == 1
    printed = capsys.readouterr().out
    assert "warning: wrong strength? 625 ppm" in printed
    assert "missed    nitrite is 625 ppm" in printed
    assert begin(folder) == 1
    assert "nitrite is 625 ppm" in capsys.readouterr().err


def test_the_journal_keeps_the_lots_facts(folder: Path) -> None:
    assert begin(folder) == 0
    journal = Journal(folder / "journal.db")
    cook = journal.cook("L-1")
    journal.close()
    assert cook is not None
    assert "# meat: 20 kg\n" in cook.schedule
    schedule = read_schedule("links.yaml", cook.schedule)
    assert isinstance(schedule, Schedule)
    assert schedule.product.nitrite_ppm == 156
    assert schedule.product.erythorbate_ppm == 500


def test_no_cook_begins_by_an_option_its_lot_does_not_support(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lot = folder / "lot.yaml"
    text = lot.read_text()
    lot.write_text(text[: text.index("accelerators")])
    assert begin(folder) == 1
    assert "erythorbate or ascorbate is 0 ppm" in capsys.readouterr().err
    journal = Journal(folder / "journal.db")
    assert journal.cook("L-1") is None
    journal.close()
