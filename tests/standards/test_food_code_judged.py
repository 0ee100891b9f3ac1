"""The comminuted and whole roast rows of the Food Code, judged by the engine.

Source:    FDA Food Code section 3-401.11(A)(2) and (B) (rows_food_code.py), as carried
           in Minnesota Rules 4626.0340 and the North Carolina food handler manual,
           page 55; the roast rows marked there are from memory, to be verified.
Rows:      typed from the sources; never printed by our own code.
Tolerance: none: degrees Fahrenheit and seconds as printed.
"""

from fractions import Fraction

import pytest

from rules.facts import Verdict
from tests.standards.held import full_at_ms, held, mc
from tests.standards.rows_food_code import COMMINUTED, WHOLE_ROAST

TABLES = {
    f"FDA Food Code 3-401.11, comminuted, {edition}": dict(rows)
    for edition, rows in COMMINUTED.items()
}
TABLES["FDA Food Code 3-401.11(B), whole roast"] = {
    degf: dwell_s for degf, dwell_s, _ in WHOLE_ROAST
}
ROWS = [(name, *row) for name, rows in TABLES.items() for row in rows.items()]
every_row = pytest.mark.parametrize(("table", "degf", "dwell_s"), ROWS)


def colder(table: str, degf: int) -> int | None:
    """The time of the next colder row; None below the coldest."""
    below = [row for row in TABLES[table] if row < degf]
    return TABLES[table][max(below)] if below else None


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


@pytest.mark.parametrize(("table", "degf", "dwell_s"), [row for row in ROWS if row[2]])
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
    value_mc, below_s = mc(degf - Fraction(1, 10)), colder(table, degf)
    judged = held(table, value_mc, dwell_s, period_s(dwell_s))
    assert judged.verdict is Verdict.MISSED
    if below_s is not None:
        judged = held(table, value_mc, below_s, period_s(below_s))
        assert judged.verdict is Verdict.MET


@every_row
def test_a_doubted_reading_needs_its_uncertainty_on_top(
    table: str, degf: int, dwell_s: int
) -> None:
    every_s = period_s(dwell_s)
    judged = held(table, mc(degf) + 500, dwell_s, every_s, within_mc=500)
    assert judged.verdict is Verdict.MET
    judged = held(table, mc(degf) + 499, dwell_s, every_s, within_mc=500)
    assert judged.verdict is Verdict.UNPROVEN


def test_no_row_was_lost() -> None:
    assert [len(rows) for rows in TABLES.values()] == [4, 4, 17]
    assert len(ROWS) == 25
