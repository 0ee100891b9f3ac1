"""The demonstration, as a newcomer runs it: it ends by itself, with a record."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.end_to_end.site import ROOT
from tests.tools import tool


@pytest.mark.parametrize("broker", ["mosquitto", "embedded"])
def test_the_demonstration_ends_with_a_verified_record(broker: str) -> None:
    tool("mosquitto")
    embedded = ["--built-in-broker"] if broker == "embedded" else []
    done = subprocess.run(
        [sys.executable, "-m", "daemon.cli", "demo", "--seconds", "20", *embedded],
        capture_output=True,
        text=True,
        timeout=110,
        cwd=ROOT,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    lines = done.stdout.splitlines()
    assert "invented" in lines[0]
    assert any(line.startswith(f"broker: {broker}") for line in lines)
    assert any("ALERT  smoke chamber" in line for line in lines)
    assert any("ALERT  channel core-2 quiet" in line for line in lines)
    verified = [line for line in lines if "is as it was signed" in line]
    assert len(verified) == 2  # the record, and the PDF around it
    assert lines[-2].startswith("page:   http://127.0.0.1:")
    pdf = Path(lines[-1])
    said = subprocess.run([tool("pdfsig"), str(pdf)], capture_output=True, text=True)
    assert "Signature is Valid" in said.stdout
