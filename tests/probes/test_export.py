"""probes/export.py: a logger's table, what was understood of it, and what was not.

The tables are invented in the manner of loggers: no product's own form.
"""

from datetime import UTC
from zoneinfo import ZoneInfo

import pytest

from probes import trace
from probes.export import LEAVE_OUT, Asked, Imported, read_export
from probes.wall_clock import Dates
from rules.faults import render_all

VIENNA = ZoneInfo("Europe/Vienna")
GERMAN = """\
Protokoll 7;;
Erstellt;10.01.2026;
Datum;Uhrzeit;Kern 1 (°C);Kammer [°F];Feuchte in % r.F.
13.01.2026;05:00:00;12,5;131,0;48
13.01.2026;05:01:00;12,75 °C;131,4;OFL
13.01.2026;05:05:00;12,9;---;49
"""


def understood(text: str, asked: Asked) -> Imported:
    """The table, which must be clear."""
    found = read_export("t.csv", text, asked)
    assert isinstance(found, Imported), render_all(found, text)
    return found


def unclear(text: str, asked: Asked) -> str:
    """What is said of a table that is not clear."""
    found = read_export("t.csv", text, asked)
    assert isinstance(found, list)
    return render_all(found, text)


def test_a_table_with_semicolons_commas_and_preamble() -> None:
    found = understood(GERMAN, Asked(VIENNA, columns={"Kern 1 (°C)": "core-1 [degC]"}))
    assert found.text == (
        "time,core-1 [degC],Kammer [degF],Feuchte [%RH]\n"
        "2026-01-13T04:00:00.000Z,12.5,131.0,48\n"
        "2026-01-13T04:01:00.000Z,12.75,131.4,\n"
        "2026-01-13T04:05:00.000Z,12.9,,49\n"
    )
    assert found.choices == (
        "line 3 names the columns",
        "lines above it are left out: 2",
        "cells are parted by semicolons",
        "dates are day-first (seen in the dates)",
        "times are those of Europe/Vienna",
        "column 'Kern 1 (°C)' is core-1 in degC (as asked)",
        "column 'Kammer [°F]' is Kammer in degF",
        "column 'Feuchte in % r.F.' is Feuchte in %RH",
        "the decimal mark is a comma",
        "no reading in 1 cell of Kammer: '---'",
        "no reading in 1 cell of Feuchte: 'OFL'",
        "rows come every 60 s as a rule",
        "gap of 240 s after 2026-01-13T04:01:00.000Z",
    )


def test_what_is_written_is_a_trace() -> None:
    found = understood(GERMAN, Asked(VIENNA))
    accuracy = {column.name: 500 for column in found.columns}
    back = trace.read("t.csv", found.text, accuracy)
    assert isinstance(back, trace.Trace)
    assert back.channels == found.columns
    values = {(one.channel, one.value_mc) for one in back.readings}
    assert ("Kammer", 55_000) in values  # 131 degF = 55 degC
    assert len(back.readings) == 7


def test_a_table_with_commas_and_american_dates() -> None:
    text = (
        '"Time","Pit Temp, °F","Food °F"\n'
        '"01/13/2026 5:00:00 AM",225.5,"41"\n'
        '"01/13/2026 1:00:00 PM",230,150.2\n'
    )
    asked = Asked(
        ZoneInfo("America/Chicago"),
        columns={"Pit Temp, °F": "chamber [degF]", "Food °F": "core-1 [degF]"},
    )
    assert understood(text, asked).text == (
        "time,chamber [degF],core-1 [degF]\n"
        "2026-01-13T11:00:00.000Z,225.5,41\n"
        "2026-01-13T19:00:00.000Z,230,150.2\n"
    )


def test_tabs_and_a_zone_of_their_own() -> None:
    text = "no\ttime\tcore-1 [K]\n1\t2026-01-10T05:00:00+01:00\t300.15\n"
    found = understood(text, Asked(columns={"no": LEAVE_OUT}))
    assert found.text == "time,core-1 [K]\n2026-01-10T04:00:00.000Z,300.15\n"
    assert "times carry their own zone" in found.choices


def test_the_newest_row_may_come_first() -> None:
    """In the night of the repeated hour too."""
    rows = ["03:00", "02:30", "02:00", "02:30", "02:00", "01:30"]
    body = "".join(f"2026-10-25 {row},{70 + i}\n" for i, row in enumerate(rows))
    found = understood("at,core-1 °C\n" + body, Asked(VIENNA))
    assert "the newest row came first; turned round" in found.choices
    assert [line.partition(",")[0][11:16] for line in found.text.splitlines()[1:]] == [
        *("23:30", "00:00", "00:30", "01:00", "01:30", "02:00")
    ]
    assert found.text.splitlines()[1].endswith(",75")


def test_a_number_that_no_probe_can_mean_is_no_reading() -> None:
    text = "at;core-1 °C\n2026-01-10 05:00;3276,7\n2026-01-10 05:01;71,5\n"
    found = understood(text, Asked(UTC))
    assert found.text.splitlines()[1:] == [
        "2026-01-10T05:00:00.000Z,",
        "2026-01-10T05:01:00.000Z,71.5",
    ]
    assert any("3276.7 degC is outside -200 to 850 degC" in x for x in found.choices)


MIXED = """\
at;core-1;chamber °C;chamber (°C)
10.01.2026 05:00;12,5;60,1;1
11.01.2026 05:00;12.5;60.2;2
12.01.2026 05:00;12,5
"""


def test_everything_that_is_not_clear_is_said_at_once() -> None:
    assert (
        unclear(MIXED, Asked())
        == """\
t.csv:1:4: column 'core-1' does not say its unit
    1 | at;core-1;chamber °C;chamber (°C)
      |    ^^^^^^
  add --column 'core-1=core-1 [degC]', or --leave-out 'core-1'

t.csv:1:22: two columns are 'chamber'
    1 | at;core-1;chamber °C;chamber (°C)
      |                      ^^^^^^^^^^^^
  rename one

t.csv:2:1: '10.01.2026 05:00': which is the day and which the month?
    2 | 10.01.2026 05:00;12,5;60,1;1
      | ^^^^^^^^^^^^^^^^
  add --dates day-first, or month-first

t.csv:3:23: '60.2' has another decimal mark than the rows above
    3 | 11.01.2026 05:00;12.5;60.2;2
      |                       ^^^^
  write one decimal mark in the whole table

t.csv:4:1: the row has 2 cells, not 4
    4 | 12.01.2026 05:00;12,5
      | ^^^^^^^^^^^^^^^^^^^^^
  take the line out, or mend it; a decimal comma makes two cells
"""
    )


ONE = "at;core-1 °C\n2026-01-10 05:00;{0}\n2026-01-10 05:01;71,5\n"


@pytest.mark.parametrize(
    ("text", "asked", "words"),
    [
        (ONE.format("70,5"), Asked(), "does not say its zone"),
        (ONE.format("1.234,5"), Asked(UTC), "'1.234,5' is not a number"),
        (ONE.format("70,5*"), Asked(UTC), "'70,5*' is not a number"),
        (ONE.replace("05:01", "05:00").format("1"), Asked(UTC), "is that of the row"),
        (ONE.replace("05:01", "04:00").format("1"), Asked(UTC), "goes back"),
        (ONE.format("1").replace("05:01", "05:01Z"), Asked(UTC), "some none"),
        (ONE.format("1").partition("\n")[2], Asked(UTC), "not a header"),
        ("", Asked(UTC), "no row with a date"),
        ("a;b\n1;2\n", Asked(UTC), "no row with a date"),
        (
            ONE.format("1"),
            Asked(UTC, columns={"Core-1 °C": "core-1 [degC]"}),
            "there is no column 'Core-1 °C'; the nearest is 'core-1 °C'",
        ),
        (
            ONE.format("1"),
            Asked(UTC, columns={"core-1 °C": "core-1"}),
            "'core-1' names no channel with a unit",
        ),
        (
            ONE.format("1").replace("2026-01-10 05:01", "2026-03-29 02:30"),
            Asked(VIENNA),
            "was shown by no clock",
        ),
        (
            ONE.format("1").replace("2026-01-10 05:01", "2026-10-25 02:30"),
            Asked(VIENNA),
            "add --repeated-hour first, or second",
        ),
        (
            "at,core-1 °C\n2026-01-10 05:00,71,5\n2026-01-10 05:01,71,6\n",
            Asked(UTC),
            "a decimal comma makes two cells",
        ),
    ],
)
def test_what_is_not_clear_is_not_guessed(text: str, asked: Asked, words: str) -> None:
    assert words in unclear(text, asked)


def test_dates_that_show_nothing_are_as_asked() -> None:
    text = "at;core-1 °C\n10.01.2026 05:00;1\n"
    for dates, stamp in [
        (Dates.DAY_FIRST, "2026-01-10T05:00:00.000Z,1"),
        (Dates.MONTH_FIRST, "2026-10-01T05:00:00.000Z,1"),
    ]:
        assert stamp in understood(text, Asked(UTC, dates)).text
