"""rules/standards/tables.py against the FSIS meat table, both columns.

Source:    FSIS Appendix A, January and June 1999, meat table (rows_appendix_a.py).
Rows:      typed from the table; never printed by our own code.
Tolerance: none: times in whole seconds, temperatures in whole degrees Fahrenheit,
           which stand at the nearest thousandth of a degree Celsius.
"""

from fractions import Fraction
from itertools import pairwise

import pytest

from rules.standards.tables import DwellTable, dwell_table, needed, row_at
from rules.units import temperature
from tests.standards.rows_appendix_a import MEAT, SEVEN, SIX_AND_A_HALF

COLUMNS = [
    pytest.param("FSIS Appendix A, meat, 6.5-log10", SIX_AND_A_HALF, id="6.5-log10"),
    pytest.param("FSIS Appendix A, meat, 7-log10", SEVEN, id="7-log10"),
]


def table(name: str) -> DwellTable:
    found = dwell_table(name)
    assert found is not None
    return found


def nearest_mc(degf: Fraction) -> int:
    """Thousandths of a degree Celsius, by whole numbers: (F - 32) * 5000 / 9."""
    twice = 2 * (degf - 32) * 5000 / 9
    return int((twice + 1) // 2)


@pytest.mark.parametrize(("name", "rows"), COLUMNS)
def test_every_row_holds_from_exactly_its_printed_degree(
    name: str, rows: list[tuple[int, int]]
) -> None:
    for degf, dwell_s in rows:
        assert needed(table(name), nearest_mc(Fraction(degf))) == dwell_s * 1000


@pytest.mark.parametrize("step_mc", [1, 56])
@pytest.mark.parametrize(("name", "rows"), COLUMNS)
def test_one_step_above_a_row_is_still_that_row(
    name: str, rows: list[tuple[int, int]], step_mc: int
) -> None:
    for degf, dwell_s in rows:
        above_mc = nearest_mc(Fraction(degf)) + step_mc  # 0.001 degC, 0.1 degF
        assert needed(table(name), above_mc) == dwell_s * 1000


@pytest.mark.parametrize("step_mc", [1, 56])
@pytest.mark.parametrize(("name", "rows"), COLUMNS)
def test_one_step_below_a_row_needs_the_time_of_the_colder_row(
    name: str, rows: list[tuple[int, int]], step_mc: int
) -> None:
    for (_, colder_s), (degf, _) in pairwise(rows):
        below_mc = nearest_mc(Fraction(degf)) - step_mc
        assert needed(table(name), below_mc) == colder_s * 1000


@pytest.mark.parametrize(("name", "rows"), COLUMNS)
def test_below_the_first_row_no_time_is_enough(
    name: str, rows: list[tuple[int, int]]
) -> None:
    first_mc = nearest_mc(Fraction(rows[0][0]))
    assert needed(table(name), first_mc - 1) is None
    assert needed(table(name), first_mc - 56) is None
    assert row_at(table(name), first_mc - 1) is None


@pytest.mark.parametrize(("name", "rows"), COLUMNS)
def test_a_millisecond_or_a_second_short_is_short(
    name: str, rows: list[tuple[int, int]]
) -> None:
    for degf, dwell_s in rows:
        dwell_ms = needed(table(name), nearest_mc(Fraction(degf)))
        assert dwell_ms is not None
        for step_ms in (-1000, -1, 0, 1, 1000):
            lasted_ms = dwell_s * 1000 + step_ms
            assert (lasted_ms >= dwell_ms) is (step_ms >= 0)


@pytest.mark.parametrize(("name", "rows"), COLUMNS)
def test_a_reading_of_exactly_the_printed_fahrenheit_is_at_its_row(
    name: str, rows: list[tuple[int, int]]
) -> None:
    for degf, dwell_s in rows:
        assert needed(table(name), temperature(f"{degf} degF")) == dwell_s * 1000
        row = row_at(table(name), temperature(f"{degf}.9 degF"))
        assert row is not None
        assert row.printed.startswith(f"{degf} degF ")


@pytest.mark.parametrize(("name", "rows"), COLUMNS)
def test_rows_are_named_as_they_are_printed(
    name: str, rows: list[tuple[int, int]]
) -> None:
    words = [row.printed for row in table(name).rows]
    assert len(words) == len(rows)
    assert words[0] == f"130 degF for {rows[0][1] // 60} min"
    assert words[15] == "145 degF for 4 min"
    assert words[16] == f"146 degF for {rows[16][1]} s"
    assert words[28:] == ["158 degF reached", "159 degF reached", "160 degF reached"]


@pytest.mark.parametrize(("name", "rows"), COLUMNS)
def test_the_edition_and_its_withdrawal_are_said(
    name: str, rows: list[tuple[int, int]]
) -> None:
    assert table(name).edition == "1999, carried in FSIS-GD-2021-14"
    assert "14 December 2022 (86 FR 71007)" in table(name).note
    assert "from memory, to be verified" in table(name).note
    assert "poultry" in table(name).note
    assert table(name).verified
    assert len(table(name).rows) == len(rows)


def test_the_example_of_the_2021_text_agrees() -> None:
    """FSIS-GD-2021-14, attachment A2, type 1: 154 degF for 27 s."""
    example_mc = nearest_mc(Fraction(154))
    assert needed(table("FSIS Appendix A, meat, 6.5-log10"), example_mc) == 27_000


def test_a_table_nobody_published_is_not_found() -> None:
    assert dwell_table("FSIS Appendix A, meat") is None
    assert dwell_table("fsis appendix a, meat, 6.5-log10") is None


def test_no_row_was_lost() -> None:
    assert len(MEAT) == 31
    assert [degf for degf, _, _ in MEAT] == list(range(130, 161))
