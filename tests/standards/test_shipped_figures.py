"""Every published figure that a shipped schedule writes itself, against its text.

What a schedule takes from a published table by its name is held where the table is.

Source:    FSIS-GD-2021-14, come-up time: no more than 6 h between 50 and 130 degF, for
           product that reaches full lethality; cured poultry: 155 degF as an instant
           option.  FDA Food Code section 3-501.16(A)(1): 135 degF or above in hot
           holding; 3-501.14(A): 41 degF within a total of 6 h; 3-403.11(A) and (D):
           165 degF within 2 h.  9 CFR 318.17(a)(2): no more than 1 log10 of growth of
           Clostridium perfringens in stabilization.
Rows:      typed from the texts; never printed by our own code.
Tolerance: none, in thousandths of a degree: degrees Fahrenheit as printed, by hand.
"""

import csv

import pytest

from rules.hold import HoldLimit
from rules.predicted import STANDARD_MLOG10
from rules.schedule import Schedule
from rules.stages import Stage
from rules.time_between import TimeBetween
from tests.rules.test_library import FOLDER, NAMES, shipped

HOUR_MS = 3_600_000
F_50, F_130, F_135, F_165 = 10_000, 54_444, 57_222, 73_889  # (degF - 32) / 1.8
COME_UP = [*NAMES]
COME_UP.remove("reheat_and_hold")  # what is reheated was cooked before


def whole(name: str) -> Schedule:
    found = shipped(name).schedule
    assert found is not None
    return found


def stage(name: str, of: str) -> Stage:
    (found,) = (one for one in whole(of).stages if one.name == name)
    return found


@pytest.mark.parametrize("name", COME_UP)
def test_come_up_is_six_hours_between_50_and_130(name: str) -> None:
    (limit,) = (one for one in whole(name).limits if isinstance(one, TimeBetween))
    assert limit.between == (F_50, F_130)
    assert limit.at_most_ms == 6 * HOUR_MS
    assert "FSIS-GD-2021-14" in limit.source


def test_hot_holding_is_at_135() -> None:
    (limit,) = (o for o in whole("reheat_and_hold").limits if isinstance(o, HoldLimit))
    assert (limit.at_or_above_mc, limit.at_or_below_mc) == (F_135, None)
    assert "3-501.16(A)(1)" in limit.source


def test_a_reheat_stage_ends_at_165_or_above_within_two_hours() -> None:
    """The schedule says that its stages ask for a little more than the limit does."""
    reheat = stage("reheat", "reheat_and_hold")
    assert reheat.ends.mc >= F_165
    assert reheat.at_most_ms == 2 * HOUR_MS


def test_a_chill_that_names_the_food_code_ends_at_41_within_six_hours() -> None:
    chill = stage("chill", "fresh_smoked")
    assert "41 degF within a total of 6 h" in chill.source
    assert (chill.ends.mc, chill.at_most_ms) == (5_000, 6 * HOUR_MS)


def test_the_one_row_for_cured_poultry_is_155_at_once() -> None:
    text = (FOLDER / "poultry_table.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    (head,) = (n for n, line in enumerate(lines) if line.startswith("temperature"))
    assert list(csv.reader(lines[head:])) == [
        ["temperature [degF]", "dwell [s]"],
        ["155", "0"],
    ]


def test_growth_is_compared_with_one_log10() -> None:
    assert STANDARD_MLOG10 == 1_000
