"""``fumarium schedules``: what is listed, copied out, and refused."""

from pathlib import Path

import pytest

from daemon.cli import main


def test_every_schedule_is_listed_with_its_title(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["schedules"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "bacon            Bacon, smoked, not fully cooked"
    assert len(lines) == 10
    assert lines[-1] == "copy one out: fumarium schedules NAME --to FOLDER"


def test_a_copy_can_be_checked_and_rehearsed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["schedules", "reheat_and_hold", "--to", str(tmp_path)]) == 0
    names = ["reheat_and_hold.yaml", "reheat_and_hold.rehearsal.yaml"]
    paths = [str(tmp_path / name) for name in names]
    assert capsys.readouterr().out.splitlines() == paths
    assert main(["check", paths[0]]) == 0
    assert main(["rehearse", paths[1]]) == 0
    assert ": no fault, 3 warnings\n" in capsys.readouterr().out


def test_a_table_is_copied_with_its_schedule_and_refused_until_approved(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["schedules", "poultry_sausage", "--to", str(tmp_path / "new")]) == 0
    assert main(["check", str(tmp_path / "new" / "poultry_sausage.yaml")]) == 3
    said = capsys.readouterr().out
    assert "poultry_table.csv:8:13: nothing is written for 'approved by'" in said


def test_no_file_is_written_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "bacon.yaml").write_text("mine")
    assert main(["schedules", "bacon", "--to", str(tmp_path)]) == 2
    assert f"{tmp_path / 'bacon.yaml'}: is there already" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["bacon.yaml"]
    assert (tmp_path / "bacon.yaml").read_text() == "mine"


def test_a_name_that_is_none_is_answered(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["schedules", "bacn"]) == 2
    assert "did you mean 'bacon'?" in capsys.readouterr().err
