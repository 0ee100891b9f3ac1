"""The scripts of deploy/: what a shell linter says, and what a person is told.

Each fault here is met for real: in a copy of the checkout, on a PATH without
Python, behind a proxy that refuses.
"""

import os
import shutil
import subprocess
import time
from pathlib import Path

import pytest

from tests.test_layers import ROOT
from tests.tools import tool

SCRIPTS = sorted(
    path
    for path in [*(ROOT / "deploy").iterdir(), ROOT / ".ci" / "run"]
    if path.is_file() and path.read_bytes().startswith(b"#!")
)
# All that set-up needs of a system before it has found a Python.
SYSTEM = ("sh", "dirname", "cat", "mktemp", "rm", "sha256sum", "cut", "id", "uname")


def run(*command: str | Path, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run a command to its end; only the variables given here are added or changed."""
    return subprocess.run(
        command, env=os.environ | environment, capture_output=True, text=True
    )


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A copy of what set-up reads, with nothing set up."""
    copy = tmp_path / "checkout"
    shutil.copytree(ROOT / "deploy", copy / "deploy")
    for name in ("pyproject.toml", "requirements.lock", "requirements-test.lock"):
        shutil.copy(ROOT / name, copy)
    return copy


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.name)
def test_a_script_is_clean_and_says_what_it_does(path: Path) -> None:
    linted = run(tool("shellcheck"), path)
    assert not linted.stdout
    first, second, *_ = lines = path.read_text(encoding="utf-8").splitlines()
    assert first == "#!/bin/sh"
    assert second.startswith("# ")
    assert os.access(path, os.X_OK)
    assert "set -eu" in lines or len(lines) == 3


def test_every_script_is_looked_at() -> None:
    names = {path.name for path in SCRIPTS}
    assert names >= {"bench", "demo", "install", "lock", "run", "setup", "test"}


def test_a_command_that_set_up_does_not_know(checkout: Path) -> None:
    ran = run(checkout / "deploy" / "setup", "everything")
    assert (ran.returncode, ran.stderr) == (
        2,
        "usage: deploy/setup [run | test | board DIR]\n",
    )


def test_no_python_here(checkout: Path, tmp_path: Path) -> None:
    path = tmp_path / "bin"
    path.mkdir()
    for name in SYSTEM:
        (path / name).symlink_to(shutil.which(name) or name)
    ran = run(checkout / "deploy" / "setup", PATH=str(path))
    assert (ran.returncode, ran.stderr) == (
        4,
        "set-up: Python 3.11 or newer is needed, and was not found here.\n"
        "set-up: On Debian 12, Raspberry Pi OS (Bookworm) or newer:\n"
        "set-up:     sudo apt-get install python3 python3-venv\n",
    )


def test_a_python_that_is_too_old(checkout: Path, tmp_path: Path) -> None:
    path = tmp_path / "bin"
    path.mkdir()
    for name in SYSTEM:
        (path / name).symlink_to(shutil.which(name) or name)
    old = path / "python3"  # what any Python 3.10 answers to the question asked
    old.write_text("#!/bin/sh\nexit 1\n", encoding="utf-8")
    old.chmod(0o755)
    ran = run(checkout / "deploy" / "setup", PATH=str(path))
    assert ran.returncode == 4
    assert "Python 3.11 or newer is needed" in ran.stderr


def test_no_network_here(checkout: Path, free_port: int) -> None:
    """Every client is sent to a port on which nobody listens."""
    proxy = f"http://127.0.0.1:{free_port}"
    ran = run(
        checkout / "deploy" / "setup",
        HTTPS_PROXY=proxy,
        https_proxy=proxy,
        HTTP_PROXY=proxy,
        http_proxy=proxy,
        ALL_PROXY=proxy,
        NO_PROXY="",
        no_proxy="",
        PIP_CONFIG_FILE=os.devnull,
        PIP_FIND_LINKS="",
        PIP_NO_CACHE_DIR="1",
    )
    assert ran.returncode == 4
    assert ran.stdout.startswith("setting up: 1/3 a Python environment in ")
    assert ran.stderr.endswith(
        "set-up: the package index could not be reached: "
        "check this machine's network,\n"
        "set-up: then run the same command again; nothing done so far is lost\n"
    )
    assert not list((checkout / ".venv").glob("set-up.*"))


def test_a_second_start_does_nothing_and_is_quick() -> None:
    if not (ROOT / ".venv" / "set-up.test").exists():
        pytest.fail("this checkout is not set up: deploy/setup test", pytrace=False)
    began = time.monotonic()
    ran = run(ROOT / "deploy" / "setup", "test")
    assert (ran.returncode, ran.stdout, ran.stderr) == (0, "", "")
    assert time.monotonic() - began < 5
