"""Screening of temperatures that real probes said: nothing doubted, faults found.

Source: the data sets named in ``tests/bench/recorded.py``, recorded by others.  Their
        numbers of readings are those of their help pages in R, and for the missing
        hours what was counted once with the library that carries them.
"""

from pathlib import Path

import pytest

from probes.doubts import Doubt
from tests.bench import days, recorded, screening

SERIES = recorded.series()
COUNTS = {
    "CoolingWater": 222,
    "beaver1": 114,
    "beaver2": 100,
    "weather, EWR": 8_702,
    "weather, JFK": 8_706,
    "weather, LGA": 8_706,
}
AT_ONCE = [Doubt.RANGE, Doubt.POWER_ON, Doubt.ZERO, Doubt.JUMP, Doubt.UNIT]


def test_the_series_are_whole() -> None:
    assert {name: len(day.readings) for name, day in SERIES.items()} == COUNTS
    curve = SERIES["CoolingWater"].readings
    assert (curve[0].value_mc, curve[-1].value_mc) == (98_200, 25_800)


@pytest.mark.parametrize("name", COUNTS)
def test_nothing_that_was_honestly_recorded_is_doubted(name: str) -> None:
    assert screening.false_alarms(SERIES[name]) == (0, 0)


@pytest.mark.parametrize("doubt", AT_ONCE)
def test_a_fault_in_a_recorded_curve_is_told_at_its_second_reading(
    doubt: Doubt,
) -> None:
    found = screening.row(doubt, recorded.ill(SERIES["CoolingWater"], doubt))
    assert (found.tried, found.detected, found.wrongly) == (4, 4, 0)
    assert max(found.after_ms) == 60_000
    assert found.doubted == found.false


def test_a_curve_without_noise_cannot_show_that_it_is_frozen() -> None:
    """The jump at its end is told instead; a limit of ours, and printed as one."""
    day = SERIES["CoolingWater"]
    found = screening.row(Doubt.FROZEN, recorded.ill(day, Doubt.FROZEN))
    assert (found.tried, found.named) == (4, 0)


def test_a_trace_of_ones_own_is_tried_with_its_chamber_too() -> None:
    day = recorded.own(days.TRACES / "steady.csv")
    assert screening.false_alarms(day) == (0, 0)
    assert Doubt.PULLED_OUT in recorded.faults(day)
    found = screening.row(Doubt.PULLED_OUT, recorded.ill(day, Doubt.PULLED_OUT))
    assert (found.tried, found.detected) == (4, 4)


def test_a_trace_with_faults_is_refused_with_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "own.csv"
    path.write_text("time,left [degC]\n2026-01-10T05:00:00Z,20.0\n", encoding="utf-8")
    monkeypatch.setattr("sys.argv", ["screening", str(path)])
    assert screening.main() == 3
    assert "column 'left' has no role" in capsys.readouterr().err
