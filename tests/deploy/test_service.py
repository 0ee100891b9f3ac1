"""The services of deploy/ against systemd's own judgement of it.

Source: systemd-analyze(1), ``verify`` and ``security``.  The exposure that it works
out goes from 0.0 (least) to 10.0; it calls what is below 2.0 "OK".  Ours may be 1.5.
"""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.test_layers import ROOT
from tests.tools import tool

NAMES = ("fumarium", "fumarium-probes")
UNITS = [ROOT / "deploy" / f"{name}.service" for name in NAMES]
each = pytest.mark.parametrize("unit", UNITS, ids=lambda path: path.stem)
MOST_EXPOSED = 1.5


@each
def test_the_unit_has_no_fault(unit: Path, tmp_path: Path) -> None:
    """With a program that is there, in the place of the installed one."""
    text, count = re.subn(
        "(?m)^ExecStart=/opt/fumarium/bin/fumarium",
        f"ExecStart={sys.executable}",
        unit.read_text(encoding="utf-8"),
    )
    assert count == 1
    laid = tmp_path / unit.name
    laid.write_text(text, encoding="utf-8")
    ran = subprocess.run(
        [tool("systemd-analyze"), "verify", "--man=no", laid],
        capture_output=True,
        text=True,
    )
    said = [line for line in ran.stderr.splitlines() if unit.name in line]
    assert (ran.returncode, said) == (0, [])


@each
def test_the_service_is_shut_in(unit: Path) -> None:
    ran = subprocess.run(
        [
            *(tool("systemd-analyze"), "security", "--offline=true", "--no-pager"),
            *(f"--threshold={MOST_EXPOSED * 10:.0f}", unit),
        ],
        capture_output=True,
        text=True,
    )
    found = re.search(rf"exposure level for {unit.name}: ([0-9.]+)", ran.stdout)
    assert found, ran.stderr
    assert float(found[1]) <= MOST_EXPOSED
    assert ran.returncode == 0


@each
def test_a_stuck_loop_is_started_again_for_ever(unit: Path) -> None:
    settings = set(unit.read_text(encoding="utf-8").splitlines())
    assert settings >= {
        "Type=notify",
        "WatchdogSec=60",
        "Restart=always",
        "StartLimitIntervalSec=0",
        f"User={unit.stem}",
        f"StateDirectory={unit.stem}",
    }
