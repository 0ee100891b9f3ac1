"""``fumarium import``: the preview, what is written, and how it exits."""

from pathlib import Path

import pytest

from daemon.cli import main

TABLE = "Zeit;Kern °C\n13.01.2026 05:00;{}\n13.01.2026 05:01;71,5\n"


def test_a_preview_writes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "t.csv"
    path.write_text(TABLE.format("70,5"), encoding="utf-8")
    assert main(["import", str(path), "--zone", "+01:00"]) == 0
    shown = capsys.readouterr().out
    assert "2 rows:\ntime,Kern [degC]\n2026-01-13T04:00:00.000Z,70.5\n" in shown
    assert "nothing is written" in shown
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("encoding", ["cp1252", "utf-8", "utf-8-sig", "utf-16"])
def test_what_is_written_can_be_rehearsed(encoding: str, tmp_path: Path) -> None:
    path, out = tmp_path / "t.csv", tmp_path / "trace.csv"
    path.write_text(TABLE.format("70,5"), encoding=encoding)
    asked = ["import", str(path), "--zone", "Europe/Vienna", "--write", str(out)]
    asked += ["--column", "Kern °C=core-1 [degC]"]
    if encoding == "cp1252":
        assert main(asked) == 3  # it is not UTF-8, and which it is must be said
        asked += ["--encoding", encoding]
    assert main(asked) == 0
    assert out.read_text() == (
        "time,core-1 [degC]\n"
        "2026-01-13T04:00:00.000Z,70.5\n"
        "2026-01-13T04:01:00.000Z,71.5\n"
    )


def test_faults_are_shown_and_many_are_cut_short(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, out = tmp_path / "t.csv", tmp_path / "trace.csv"
    rows = "".join(f"13.01.2026 05:{i:02}:00;7x{i}\n" for i in range(50))
    path.write_text("Zeit;Kern °C\n" + rows, encoding="utf-8")
    asked = ["import", str(path), "--zone", "Europe/Vienna", "--write", str(out)]
    assert main(asked) == 3
    shown = capsys.readouterr().err
    assert "'7x0' is not a number" in shown
    assert "and 30 more like these" in shown
    assert not out.exists()


@pytest.mark.parametrize(
    ("options", "code"),
    [
        (["--zone", "Europe/Wien"], 2),
        (["--zone", "+1h"], 2),
        (["--column", "Kern"], 2),
        (["--encoding", "none-such"], 2),
        (["--write", "/nowhere/trace.csv", "--zone", "UTC"], 4),
    ],
)
def test_a_bad_command_says_so(options: list[str], code: int, tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text(TABLE.format("70,5"), encoding="utf-8")
    assert main(["import", str(path), *options]) == code


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    assert main(["import", str(tmp_path / "none.csv")]) == 3
