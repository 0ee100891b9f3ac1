"""Free space as df counts it, and what is said when it runs out.

Outside the project: ``df`` of GNU coreutils.
"""

import os
import subprocess
from pathlib import Path

import pytest

from daemon.disk import DiskWatch, Space, space_at
from daemon.health import Change

FOLDER = Path("/var/lib/fumarium")
WHOLE = 16_000_000_000
REMEDY = (
    "; move old backups and damaged journals away: on a full disk nothing is recorded"
)


def at(percent: float) -> Space:
    return Space(round(WHOLE * percent / 100), WHOLE)


def names(changes: list[Change]) -> list[tuple[str, str, str]]:
    return [(one.name, one.was, one.now) for one in changes]


def test_it_counts_as_df_does(tmp_path: Path) -> None:
    """Others write to this disk meanwhile, so some of it may have come or gone."""
    command = ["df", "-B1", "--output=avail,used", str(tmp_path)]
    environment = {**os.environ, "LC_ALL": "C"}
    said = subprocess.run(command, capture_output=True, text=True, env=environment)
    avail, used = map(int, said.stdout.splitlines()[1].split())
    found = space_at(tmp_path)
    assert found.free == pytest.approx(avail, abs=500_000_000)
    assert found.whole == pytest.approx(avail + used, abs=500_000_000)


def test_each_mark_is_told_once_and_that_it_is_over() -> None:
    watch = DiskWatch(FOLDER, {})
    assert watch.look(at(10)) == []
    [low] = watch.look(at(9.9))
    assert low == Change(
        "disk space",
        "within",
        "low",
        f"free for {FOLDER}: 1.6 GB of 16.0 GB (9.9 %){REMEDY}",
    )
    assert watch.look(at(9)) == watch.look(at(5)) == []
    gone = watch.look(at(4.9))
    assert names(gone) == [("last disk space", "within", "nearly gone")]
    assert watch.look(at(0)) == []
    # Around a mark it hovers: two percent more end it.
    assert watch.look(at(6.9)) == []
    assert names(watch.look(at(7))) == [("last disk space", "nearly gone", "within")]
    assert watch.look(at(11.9)) == []
    [over] = watch.look(at(12))
    assert over.now == "within"
    assert over.why == f"free for {FOLDER}: 1.9 GB of 16.0 GB (12.0 %)"


def test_both_marks_at_once() -> None:
    watch = DiskWatch(FOLDER, {})
    assert [one.name for one in watch.look(at(1))] == ["disk space", "last disk space"]
    assert [one.name for one in watch.look(at(50))] == ["disk space", "last disk space"]


def test_after_a_restart_nothing_is_told_twice() -> None:
    watch = DiskWatch(FOLDER, {"disk space": "low", "last disk space": "within"})
    assert watch.look(at(8)) == []
    assert names(watch.look(at(3))) == [("last disk space", "within", "nearly gone")]
    watch = DiskWatch(FOLDER, {"disk space": "low", "last disk space": ""})
    assert names(watch.look(at(30))) == [("disk space", "low", "within")]
