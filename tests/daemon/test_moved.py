"""``fumarium moved`` and ``spot-check``: one short entry, and what is refused of it."""

from pathlib import Path

import pytest

from daemon import record
from daemon.cli import BAD_COMMAND, CHECK_FAILED, GOOD, main
from daemon.journal import Journal
from daemon.verify import verify
from rules import moving, spot_sets
from rules.facts import REPORTING, Entry, EntryKind, Event, Subject
from tests.daemon import invented
from tests.daemon.records import KEY, PEM
from tests.end_to_end.test_identity import SCHEDULE, SETTINGS

LOT = "T-9"


@pytest.fixture
def at(tmp_path: Path) -> tuple[str, str]:
    """The settings of a site whose lot has begun."""
    path = tmp_path / "settings.yaml"
    path.write_text(SETTINGS.format(port=1, page=1))
    (tmp_path / "links.yaml").write_text(SCHEDULE)
    settings = ("--settings", str(path))
    begin = ["begin", str(tmp_path / "links.yaml"), "--lot", LOT, "--who", "AB"]
    assert main([*begin, *settings]) == GOOD
    return settings


def test_a_move_is_one_short_entry(at: tuple[str, str]) -> None:
    assert main(["moved", LOT, "core-1", "--who", "AB", *at]) == GOOD
    words = ["into the thickest", "--settling", "10 min"]
    assert main(["moved", LOT, "core-2", *words, "--who", "AB", *at]) == GOOD
    journal = Journal(Path(at[1]).with_name("journal.db"))
    kept = [one.entry for one in journal.entries(LOT)][1:]
    journal.close()
    assert [(one.kind, one.about, one.text) for one in kept] == [
        (EntryKind.MOVED, "core-1", "settling 5 min"),
        (EntryKind.MOVED, "core-2", "settling 10 min; into the thickest"),
    ]


def test_spot_checks_are_one_entry_with_what_they_bear_out(
    at: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["70.4, 90 degC", "--with", "TH-2", "--within", "0.5 K", "--who", "AB"]
    assert main(["spot-check", LOT, *words, *at]) == GOOD
    said = capsys.readouterr().out
    assert "2 pieces by hand: 70.4 degC, 90.0 degC; the lowest 70.4 degC" in said
    assert "limit lethality is NOT borne out: not every piece is surely at" in said
    journal = Journal(Path(at[1]).with_name("journal.db"))
    entry = journal.entries(LOT)[-1].entry
    journal.close()
    assert entry.kind is EntryKind.SPOT_CHECK
    assert entry.text in said


def test_a_thermometer_of_the_settings_counts_and_no_name_can_say_that_it_does(
    at: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    path = Path(at[1])
    known = (
        "thermometers:\n  - {thermometer: TH-2, within: 0.5 K, "
        "calibrated: 2020-01-02T00:00:00Z, due: 2999-01-02T00:00:00Z}\n"
    )
    path.write_text(path.read_text() + known)
    for name, counts in (
        (["TH-2"], "with TH-2, within 0.5 K, calibrated 2020-01-02, due 2999-01-02"),
        (["TH-2", "--within", "0.1 K"], "within 0.5 K, calibrated"),
        (["TH-3", "--within", "0.1 K"], "within 0.1 K, advice alone: no thermometer"),
    ):
        asked = ["spot-check", LOT, "70 degC", "--with", *name, "--who", "A", *at]
        assert main(asked) == GOOD
        assert counts in capsys.readouterr().out
    for words, said in (
        (["X, within 0 K, calibrated 2026-01-01"], "--with: name the thermometer"),
        (["TH-3"], "--within: say how far it may be off"),
        (["TH-2", "--of", "smoke"], "--of: lot T-9 has come to no stage 'smoke'"),
    ):
        asked = ["spot-check", LOT, "70 degC", "--with", *words, "--who", "A", *at]
        assert main(asked) == BAD_COMMAND
        assert said in capsys.readouterr().err


def test_nothing_is_lifted_where_no_set_doubts_anything(
    at: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    note = ["note", LOT, "it was bone", "--lift", "--about", "cook", "--who", "A", *at]
    assert main(note) == CHECK_FAILED
    assert "no set by hand leaves anything of lot T-9 unproven" in (
        capsys.readouterr().err
    )
    path = Path(at[1]).with_name("journal.db")
    journal = Journal(path)
    head = (1, Subject.CHANNEL, spot_sets.NAME, "", REPORTING, spot_sets.BELOW, "why")
    stage = Event(0, Subject.STAGE, "cook", "", "to come", "running", "begun")
    journal.add_events(LOT, [stage, Event(*head)], 2, 2)
    journal.close()
    assert main([*note[:5], "smoke", *note[6:]]) == BAD_COMMAND
    assert "say by --about for which stage or limit: cook" in capsys.readouterr().err
    assert main(note) == GOOD
    journal = Journal(path)
    last = journal.entries(LOT)[-1].entry
    journal.close()
    assert (last.kind, last.about, last.text) == (
        *(EntryKind.LIFTED, "cook", "it was bone"),
    )


def test_a_set_without_a_unit_is_refused(
    at: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["70.4, 90", "--with", "TH-2", "--within", "0.5 K", "--who", "AB"]
    assert main(["spot-check", LOT, *words, *at]) == BAD_COMMAND
    assert capsys.readouterr().err == (
        "spot-check: '70.4 90' is not a temperature; "
        "write, for example: '72.1, 71.8, 73.0 degC' --within '0.5 K'\n"
    )


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([LOT, "chamber"], "lot T-9 has no core 'chamber'; write one of: core-1,"),
        ([LOT, "core-3"], "lot T-9 has no core 'core-3'; did you mean 'core-"),
        (["T-8", "core-1"], "T-8"),
        ([LOT, "core-1", "--settling", "soon"], "--settling: 'soon' is not a length"),
    ],
)
def test_what_cannot_be_is_refused_in_words(
    words: list[str],
    said: str,
    at: tuple[str, str],
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["moved", *words, "--who", "AB", *at]) == BAD_COMMAND
    assert said in capsys.readouterr().err


def test_a_record_with_a_move_verifies_and_tells_of_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text, at_ms = moving.text_of("5 min", "the thickest"), invented.at(200)
    move = Entry(EntryKind.MOVED, at_ms, at_ms, "AB", text, "core-1")
    monkeypatch.setattr(invented, "ENTRIES", [*invented.ENTRIES, move])
    sealed = record.write(invented.dossier(tmp_path, invented.BRIEF), KEY)
    assert verify(sealed, PEM).failures == ()
    told = b"moved to another piece by AB (the thickest); no evidence until"
    assert told in sealed
