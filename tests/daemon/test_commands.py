"""What a command says before it has anything to do."""

from pathlib import Path

import pytest

from daemon import cli


@pytest.mark.parametrize(
    ("variable", "option", "said_by"),
    [
        (False, True, "by --settings"),
        (True, False, "by FUMARIUM_SETTINGS"),
        (False, False, "where neither --settings nor FUMARIUM_SETTINGS says otherwise"),
    ],
)
def test_settings_that_are_not_there_are_said_with_who_looked_for_them(
    variable: bool,
    option: bool,
    said_by: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    path = str(tmp_path / "settings.yaml")
    monkeypatch.delenv("FUMARIUM_SETTINGS", raising=False)
    if variable:
        monkeypatch.setenv("FUMARIUM_SETTINGS", path)
    else:
        monkeypatch.setattr(cli, "SETTINGS", path)
        monkeypatch.setattr("daemon.commands.SETTINGS", "" if option else path)
    asked = ["lots", *(["--settings", path] if option else [])]
    assert cli.main(asked) == cli.BAD_FILE
    assert capsys.readouterr().err == (
        f"{path}: there is no such settings file; it was looked for there {said_by}\n"
        "  sudo deploy/install makes one, in a clone of the repository;\n"
        "  deploy/example/settings.yaml there is one to copy and change\n"
    )
