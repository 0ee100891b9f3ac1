"""rules/standards/tables.py against the Food Code's cooking section.

Source:    FDA Food Code section 3-401.11(A)(2) and (B) (rows_food_code.py).
Rows:      typed from the sources; never printed by our own code.  Whole roast rows
           marked False are from memory, to be verified.
Tolerance: none: whole seconds and whole degrees Fahrenheit.
"""

from fractions import Fraction
from itertools import pairwise

import pytest

from rules.standards.tables import DWELL_TABLES, DwellTable, needed, row_at
from rules.units import fahrenheit_mc
from tests.standards.rows_food_code import COMMINUTED, WHOLE_ROAST


def comminuted(edition: str) -> DwellTable:
    return DWELL_TABLES[f"FDA Food Code 3-401.11, comminuted, {edition}"]


ROAST = DWELL_TABLES["FDA Food Code 3-401.11(B), whole roast"]

CASES = [
    *(
        pytest.param(comminuted(edition), rows, id=f"comminuted, {edition}")
        for edition, rows in COMMINUTED.items()
    ),
    pytest.param(ROAST, [row[:2] for row in WHOLE_ROAST], id="whole roast"),
]


@pytest.mark.parametrize(("table", "rows"), CASES)
def test_every_row_at_its_degree_and_a_step_either_side(
    table: DwellTable, rows: list[tuple[int, int]]
) -> None:
    colder_ms = [None, *(dwell_s * 1000 for _, dwell_s in rows)]
    for (degf, dwell_s), below_ms in zip(rows, colder_ms, strict=False):
        at_mc = fahrenheit_mc(Fraction(degf))
        assert needed(table, at_mc) == dwell_s * 1000
        for step_mc in (1, 56):  # 0.001 degC, 0.1 degF
            assert needed(table, at_mc + step_mc) == dwell_s * 1000
            assert needed(table, at_mc - step_mc) == below_ms


@pytest.mark.parametrize(("edition", "dwell_s"), [("2017", 17), ("2013", 15)])
def test_the_edition_decides_the_time_at_155(edition: str, dwell_s: int) -> None:
    row = row_at(comminuted(edition), fahrenheit_mc(Fraction(155)))
    assert row is not None
    assert (row.dwell_ms, row.printed) == (dwell_s * 1000, f"155 degF for {dwell_s} s")


def test_145_asks_three_minutes_of_comminuted_and_four_of_a_roast() -> None:
    at_mc = fahrenheit_mc(Fraction(145))
    assert needed(comminuted("2017"), at_mc) == 180_000
    assert needed(ROAST, at_mc) == 240_000


def test_what_was_not_read_says_so() -> None:
    assert [row.verified for row in ROAST.rows] == [read for _, _, read in WHOLE_ROAST]
    assert not ROAST.verified
    assert "from memory, to be verified" in ROAST.note


def test_a_table_is_verified_when_all_of_its_rows_are() -> None:
    for table in DWELL_TABLES.values():
        assert table.verified is all(row.verified for row in table.rows)


def test_rows_rise_in_temperature_and_never_in_time() -> None:
    for table in DWELL_TABLES.values():
        for colder, hotter in pairwise(table.rows):
            assert colder.temp_mc < hotter.temp_mc
            assert colder.dwell_ms >= hotter.dwell_ms


def test_no_row_was_lost() -> None:
    assert [len(rows) for rows in COMMINUTED.values()] == [4, 4]
    assert len(WHOLE_ROAST) == 17
    assert sorted(DWELL_TABLES) == [
        "FDA Food Code 3-401.11(B), whole roast",
        "FDA Food Code 3-401.11, comminuted, 2013",
        "FDA Food Code 3-401.11, comminuted, 2017",
        "FSIS Appendix A, meat, 6.5-log10",
        "FSIS Appendix A, meat, 7-log10",
    ]
