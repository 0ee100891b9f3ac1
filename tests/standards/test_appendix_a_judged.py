"""Every row of the FSIS meat table, both columns, judged by the engine.

Source:    FSIS Appendix A, January and June 1999, meat table (rows_appendix_a.py).
Rows:      typed from the table; never printed by our own code.
Tolerance: none: a core at exactly the printed degree for exactly the printed time is
           met at that moment.  One second less is not enough, and one tenth of a
           degree Fahrenheit less does not stand on the row: there the next colder
           row, with its longer time, decides.
"""

from fractions import Fraction

import pytest

from rules.facts import Verdict
from tests.standards.held import full_at_ms, held, mc
from tests.standards.rows_appendix_a import SEVEN, SIX_AND_A_HALF

TABLES = {
    "FSIS Appendix A, meat, 6.5-log10": SIX_AND_A_HALF,
    "FSIS Appendix A, meat, 7-log10": SEVEN,
}
ROWS = [(name, *row) for name, rows in TABLES.items() for row in rows]
TIMED = [row for row in ROWS if row[2]]
every_row = pytest.mark.parametrize(("table", "degf", "dwell_s"), ROWS)
every_timed_row = pytest.mark.parametrize(("table", "degf", "dwell_s"), TIMED)
TENTH_F = Fraction(1, 10)


def period_s(dwell_s: int) -> int:
    """A second for what lasts seconds; a long dwell is shown by fewer readings."""
    return 1 if dwell_s < 600 else 10


@every_row
def test_exactly_the_printed_degree_and_time(
    table: str, degf: int, dwell_s: int
) -> None:
    judged = held(table, mc(degf), dwell_s, period_s(dwell_s))
    assert judged.verdict is Verdict.MET
    assert judged.since_ms == full_at_ms(dwell_s)


@every_timed_row
def test_one_second_less_is_not_enough(table: str, degf: int, dwell_s: int) -> None:
    """Nor is it missed: the core may have been hot on the way up, and down again.

    Both took no more than a second, so that three seconds less are surely missed.
    """
    judged = held(table, mc(degf), dwell_s - 1, period_s(dwell_s))
    assert judged.verdict is Verdict.UNPROVEN
    judged = held(table, mc(degf), dwell_s - 3, period_s(dwell_s))
    assert judged.verdict is Verdict.MISSED


@every_row
def test_a_tenth_of_a_degree_less_is_another_row(
    table: str, degf: int, dwell_s: int
) -> None:
    """The printed time is not enough there, unless the colder row prints the same."""
    colder = dict(TABLES[table]).get(degf - 1)
    judged = held(table, mc(degf - TENTH_F), dwell_s, period_s(dwell_s))
    met = colder is not None and colder <= dwell_s
    assert judged.verdict is (Verdict.MET if met else Verdict.MISSED)
    if colder is not None:
        judged = held(table, mc(degf - TENTH_F), colder, period_s(colder))
        assert judged.verdict is Verdict.MET


@every_row
def test_a_doubted_reading_needs_its_uncertainty_on_top(
    table: str, degf: int, dwell_s: int
) -> None:
    """With 0.5 K of doubt the row is met from 0.5 K above it, and not 1 mK below."""
    every_s = period_s(dwell_s)
    judged = held(table, mc(degf) + 500, dwell_s, every_s, within_mc=500)
    assert judged.verdict is Verdict.MET
    assert judged.since_ms == full_at_ms(dwell_s)
    judged = held(table, mc(degf) + 499, dwell_s, every_s, within_mc=500)
    colder = dict(TABLES[table]).get(degf - 1)
    met = colder is not None and colder <= dwell_s
    assert judged.verdict is (Verdict.MET if met else Verdict.UNPROVEN)


def test_no_row_was_lost() -> None:
    assert (len(SIX_AND_A_HALF), len(SEVEN), len(ROWS), len(TIMED)) == (31, 31, 62, 56)


def test_only_the_hottest_rows_need_no_more_than_the_colder_one() -> None:
    """Else the tests of a tenth of a degree would judge nothing: 159 and 160 degF."""
    same = [
        (name, degf)
        for name, degf, dwell_s in ROWS
        if dict(TABLES[name]).get(degf - 1) == dwell_s
    ]
    assert {degf for _, degf in same} == {159, 160}
    assert len(same) == 4
