"""rules/standards/retention.py against the regulation, whatever the year.

Source:    9 CFR 417.5(e)(1): records are kept for at least one year where product is
           refrigerated, and for at least two where it is frozen, preserved or
           shelf-stable.
Rows:      typed from the text; never printed by our own code.
Tolerance: none; a year is as long as the calendar makes it, a leap day included.
"""

from datetime import date, timedelta

import pytest

from rules.standards.retention import LONGEST_DAYS, RETENTION_DAYS

ROWS = [  # how it is kept, years
    ("refrigerated", 1),
    ("frozen", 2),
    ("preserved", 2),
    ("shelf-stable", 2),
]
DAYS = [date(2023, 2, 27) + timedelta(days=number) for number in range(3 * 366)]


def years_later(day: date, years: int) -> date:
    """The same day; the first of March, where there is no 29th of February."""
    if (day.month, day.day) == (2, 29):
        return date(day.year + years, 3, 1)
    return day.replace(year=day.year + years)


@pytest.mark.parametrize(("kept", "years"), ROWS)
def test_no_record_goes_before_its_day_comes_again(kept: str, years: int) -> None:
    """From any day of three years; and by no more than a day over for each year."""
    days = {str(one): days for one, days in RETENTION_DAYS.items()}[kept]
    for written in DAYS:
        over = written + timedelta(days=days) - years_later(written, years)
        assert timedelta(0) <= over <= timedelta(days=years)


def test_no_row_was_lost() -> None:
    assert [kept for kept, _ in ROWS] == [str(one) for one in RETENTION_DAYS]
    assert max(RETENTION_DAYS.values()) == LONGEST_DAYS
