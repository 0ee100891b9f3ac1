"""deploy/install, run for real under a directory of its own."""

import hashlib
import os
import stat
import subprocess
from pathlib import Path

import pytest

from daemon import VERSION, checking
from daemon.keys import load
from tests.deploy.conftest import Board, install
from tests.test_layers import ROOT


def contents(root: Path) -> dict[str, str]:
    """Every file below a directory with its mode and the digest of its bytes."""
    return {
        str(path.relative_to(root)): f"{mode(path):o} "
        + hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(root.rglob("*"))
        if path.is_file()
    }


def mode(path: Path) -> int:
    """The permission bits of a file."""
    return stat.S_IMODE(path.stat().st_mode)


def test_what_an_installed_board_holds(board: Board) -> None:
    modes = {
        str(path.relative_to(board.root)): f"{mode(path):o}"
        for path in board.root.rglob("*")
    }
    assert modes == {
        "etc": modes["etc"],
        "etc/fumarium": "750",
        "etc/fumarium/backup.address": "600",
        "etc/fumarium/broker.password": "600",
        "etc/fumarium/operator.address": "600",
        "etc/fumarium/probes": "700",
        "etc/fumarium/probes/cooler.password": "600",
        "etc/fumarium/probes/north-chamber.password": "600",
        "etc/fumarium/probes/north-cores.password": "600",
        "etc/fumarium/schedules": "750",
        "etc/fumarium/schedules/links.yaml": "640",
        "etc/fumarium/settings.yaml": "640",
        "etc/mosquitto": modes["etc/mosquitto"],
        "etc/mosquitto/conf.d": modes["etc/mosquitto/conf.d"],
        "etc/mosquitto/conf.d/fumarium.conf": "644",
        "etc/mosquitto/fumarium.acl": "640",
        "etc/mosquitto/fumarium.passwords": "600",
        "etc/systemd": modes["etc/systemd"],
        "etc/systemd/system": modes["etc/systemd/system"],
        "etc/systemd/system/fumarium.service": "644",
        "usr": modes["usr"],
        "usr/local": modes["usr/local"],
        "usr/local/bin": modes["usr/local/bin"],
        "usr/local/bin/fumarium": "755",
        "var": modes["var"],
        "var/lib": modes["var/lib"],
        "var/lib/fumarium": "750",
        "var/lib/fumarium/device-key.pem": "600",
        "var/lib/fumarium/records": "750",
    }


def test_the_settings_have_no_fault(board: Board) -> None:
    settings = board.root / "etc" / "fumarium"
    paths = [settings / "settings.yaml", settings / "schedules" / "links.yaml"]
    assert checking.check(paths, as_json=False) == 0


def test_the_command_is_there(board: Board) -> None:
    command = board.root / "usr" / "local" / "bin" / "fumarium"
    ran = subprocess.run([command, "--version"], capture_output=True, text=True)
    assert (ran.returncode, ran.stdout) == (0, f"fumarium {VERSION}\n")


def test_the_key_signs(board: Board) -> None:
    key = load(board.root / "var" / "lib" / "fumarium" / "device-key.pem")
    assert key.public().verifies(b"a record", key.sign(b"a record"))


def test_no_password_is_said_or_kept_twice(board: Board) -> None:
    names = ["fumarium", "north-cores", "north-chamber", "cooler"]
    passwords = [board.password(name) for name in names]
    assert len(set(passwords)) == len(names)
    hashed = board.root / "etc" / "mosquitto" / "fumarium.passwords"
    kept = hashed.read_text(encoding="utf-8")
    assert [line.split(":")[0] for line in kept.splitlines()] == names
    for password in passwords:
        assert len(password) >= 32
        assert password not in board.said
        assert password not in kept


def test_a_second_run_changes_nothing(board: Board) -> None:
    before = contents(board.root)
    ran = install(board.root)
    assert (ran.returncode, contents(board.root)) == (0, before)


def test_what_the_owner_wrote_is_kept(board: Board) -> None:
    settings = board.root / "etc" / "fumarium" / "settings.yaml"
    settings.write_text("site: Our own\n", encoding="utf-8")
    ran = install(board.root)
    assert ran.returncode == 0
    assert settings.read_text(encoding="utf-8") == "site: Our own\n"
    assert f"install: kept {settings}\n" in ran.stdout


def test_a_probe_named_later_gets_a_password(board: Board) -> None:
    hashed = board.root / "etc" / "mosquitto" / "fumarium.passwords"
    before = hashed.read_text(encoding="utf-8")
    rights = board.root / "etc" / "mosquitto" / "fumarium.acl"
    with rights.open("a", encoding="utf-8") as file:
        file.write("\nuser south-cores\ntopic write yard/south/cores\n")
    assert install(board.root).returncode == 0
    after = hashed.read_text(encoding="utf-8")
    assert after.startswith(before)
    assert after.removeprefix(before).startswith("south-cores:$")
    assert len(board.password("south-cores")) >= 32


def test_probes_on_the_board_get_a_service_and_a_right_of_their_own(
    board: Board,
) -> None:
    etc = board.root / "etc"
    before = contents(board.root)
    probes = etc / "fumarium-probes"
    probes.mkdir()
    (probes / "board.yaml").write_text(
        (ROOT / "deploy" / "example" / "board.yaml")
        .read_text(encoding="utf-8")
        .replace("/etc/", f"{etc}/")
        .replace("/var/lib/", f"{board.root}/var/lib/"),
        encoding="utf-8",
    )
    assert install(board.root).returncode == 0
    after = contents(board.root)
    assert sorted(after.keys() - before.keys()) == [
        "etc/fumarium-probes/board.yaml",
        "etc/fumarium-probes/broker.password",
        "etc/systemd/system/fumarium-probes.service",
    ]
    assert mode(probes) == 0o750
    assert after["etc/fumarium-probes/board.yaml"].startswith("640 ")
    assert after["etc/fumarium-probes/broker.password"].startswith("600 ")
    assert checking.check([probes / "board.yaml"], as_json=False) == 0
    rights = (etc / "mosquitto" / "fumarium.acl").read_text(encoding="utf-8")
    assert rights.endswith("user fumarium-probes\ntopic write yard/north/cores\n")
    unit = etc / "systemd" / "system" / "fumarium-probes.service"
    assert f"probes publish {probes}/board.yaml\n" in unit.read_text(encoding="utf-8")
    assert install(board.root).returncode == 0
    assert contents(board.root) == after


def test_a_dry_run_changes_nothing(tmp_path: Path) -> None:
    ran = install(tmp_path / "board", "--dry-run")
    assert ran.returncode == 0, ran.stderr
    assert not (tmp_path / "board").exists()
    assert f"would write: {tmp_path}/board/etc/fumarium/settings.yaml\n" in ran.stdout
    assert ran.stdout.endswith("install: nothing was changed\n")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (
            ["--everything"],
            "usage: deploy/install [--dry-run] [--root DIR] [--program DIR]\n",
        ),
        (["--root"], "install: --root needs a directory\n"),
    ],
)
def test_a_bad_command(tmp_path: Path, options: list[str], said: str) -> None:
    ran = install(tmp_path / "board", *options)
    assert (ran.returncode, ran.stderr) == (2, said)
    assert not os.listdir(tmp_path)
