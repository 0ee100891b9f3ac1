"""probes/export.py: a logger's table, what was understood of it, and what was not.

The tables are invented in the manner of loggers: no product's own form.
"""

from dataclasses import replace
from datetime import UTC, timedelta, timezone
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
        "rows come every 1 min as a rule",
        "gap of 4 min after 2026-01-13T04:01:00.000Z",
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
  add --column 'chamber (°C)=NAME [degC]'

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


def test_a_cell_in_another_unit_than_its_column_is_refused() -> None:
    """50 degF that were taken for 50 degC would be a core that was cooked."""
    text = "Time;Core [°C]\n2026-01-02 06:00;50.0 °C\n2026-01-02 06:01;50.0 °F\n"
    assert "'50.0 °F' is in degF, its column in degC" in unclear(text, Asked(UTC))
    kelvin = "Time;Core [°F]\n2026-01-02 06:00;280 K\n"
    assert "'280 K' is in K, its column in degF" in unclear(kelvin, Asked(UTC))
    other = Asked(UTC, columns={"Core [°C]": "core-1 [degF]"})
    assert "'50.0 °C' is in degC, its column in degF" in unclear(text, other)


def test_a_unit_that_is_asked_against_the_header_is_told() -> None:
    text = "Time;Core [°C]\n2026-01-02 06:00;50.0\n"
    asked = Asked(UTC, columns={"Core [°C]": "core-1 [degF]"})
    words = "column 'Core [°C]' is core-1 in degF (as asked; its header says degC)"
    assert words in understood(text, asked).choices


TWICE = "Time;T [°C];T [°C];n;n\n2026-01-02 06:00;1.5;60.5;3;4\n"


def test_columns_of_one_name_are_told_apart_by_their_number() -> None:
    faults = unclear(TWICE, Asked(UTC))
    assert "add --column 'T [°C]#2=NAME [degC]'" in faults
    assert "or --leave-out 'n#1'" in faults
    assert "or --leave-out 'n#2'" in faults
    both = unclear(TWICE, Asked(UTC, columns={"n": LEAVE_OUT}))
    assert "there is no column 'n'; the nearest is 'n#" in both
    columns = {"T [°C]#2": "air [degC]", "n#1": LEAVE_OUT, "n#2": LEAVE_OUT}
    found = understood(TWICE, Asked(UTC, columns=columns))
    assert found.text.splitlines()[0] == "time,T [degC],air [degC]"


@pytest.mark.parametrize(
    ("head", "said", "at"),
    [
        ("Time (UTC)", "UTC", "06:00"),
        ("Time [UTC+1]", "UTC+01:00", "05:00"),
        ("GMT -05:30", "UTC-05:30", "11:30"),
        ("Date/Time GMT+0100", "UTC+01:00", "05:00"),
    ],
)
def test_a_fixed_zone_in_the_header_is_taken(head: str, said: str, at: str) -> None:
    text = f"{head};Core [°C]\n2026-01-02 06:00;1.5\n"
    found = understood(text, Asked())
    assert f"the header says that times are those of {said}" in found.choices
    assert found.text.splitlines()[1] == f"2026-01-02T{at}:00.000Z,1.5"


def test_a_zone_that_is_asked_against_the_header_is_a_fault() -> None:
    text = "Time (UTC+1);Core [°C]\n2026-01-02 06:00;1.5\n"
    words = "the header says 'UTC+1', and --zone says Europe/Vienna"
    assert words in unclear(text, Asked(VIENNA))
    agreed = understood(text, Asked(timezone(timedelta(hours=1))))
    assert agreed.text.splitlines()[1] == "2026-01-02T05:00:00.000Z,1.5"


@pytest.mark.parametrize(
    "number", ["1,000.5", "1.000,5", "1 000,5", "1'000.5", "1.5E+01", "\u22121,5"]
)
def test_a_number_with_other_marks_than_a_decimal_one_is_refused(number: str) -> None:
    text = f"Time;Core [°F]\n2026-01-02 06:00;{number}\n"
    assert f"{number!r} is not a number" in unclear(text, Asked(UTC))


def test_a_zone_that_the_header_names_is_taken_if_it_is_known() -> None:
    text = "Date/Time (Europe/Vienna);Core [°C]\n2026-07-02 06:00;1.5\n"
    asked = Asked(zones={"Europe/Vienna": VIENNA}.get)
    found = understood(text, asked)
    assert "the header says that times are those of Europe/Vienna" in found.choices
    assert found.text.splitlines()[1] == "2026-07-02T04:00:00.000Z,1.5"
    words = "the header says 'Europe/Vienna', and --zone says UTC"
    assert words in unclear(text, replace(asked, zone=UTC))
    far = replace(asked, zone=ZoneInfo("America/Chicago"))
    assert "and --zone says America/Chicago" in unclear(text, far)
    assert understood(text, replace(asked, zone=VIENNA)).times_ms == found.times_ms
