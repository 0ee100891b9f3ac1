"""The package as it is installed on a board: every file of the three, and no other."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

from tests.test_layers import ROOT


def test_the_wheel_holds_every_file_of_the_three_packages(tmp_path: Path) -> None:
    built = subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", tmp_path],
        cwd=ROOT,
        # The archive's times are then the same on every run.
        env=os.environ | {"SOURCE_DATE_EPOCH": "1767225600"},
        capture_output=True,
        text=True,
    )
    assert built.returncode == 0, built.stderr
    (wheel,) = tmp_path.glob("fumarium-*.whl")
    held = {
        name
        for name in zipfile.ZipFile(wheel).namelist()
        if not name.startswith("fumarium-")
    }
    assert held == {
        str(path.relative_to(ROOT))
        for layer in ("daemon", "probes", "rules")
        for path in (ROOT / layer).rglob("*")
        if path.is_file() and path.suffix != ".pyc"
    }
