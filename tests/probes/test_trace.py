"""probes/trace.py: traces read, written, and faulted in exact words."""

from collections import defaultdict

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.zones import zone_named
from probes.contract import Unit
from probes.stamps import say_stamp
from probes.trace import Column, Trace, median_period_ms, read, write
from rules.facts import Reading
from rules.faults import render_all

NOW_MS = 1_768_021_200_000  # 2026-01-10T05:00:00Z
ACCURACY_MC = {"chamber": 1_000, "core-1": 500, "humidity": 2_000}

GOOD = """\
# Invented.
time,chamber [degC],core-1 [degF],humidity [%RH]
2026-01-10T05:00:00Z,54.8,50,61

2026-01-10T06:00:10+01:00, 55.1 ,,"60"
2026-01-10T05:00:20.5Z,,50.9,
"""


def faults(text: str, begins_ms: int | None = None) -> str:
    """Everything wrong with the text, as its author would see it."""
    found = read("day.csv", text, ACCURACY_MC, begins_ms, zone_named)
    assert isinstance(found, list)
    return render_all(found, text)


def trace(text: str, begins_ms: int | None = None) -> Trace:
    """The trace in a text that is right."""
    found = read("day.csv", text, ACCURACY_MC, begins_ms, zone_named)
    assert isinstance(found, Trace), found
    return found


def test_a_good_trace() -> None:
    assert trace(GOOD) == Trace(
        (
            Column("chamber", Unit.CELSIUS),
            Column("core-1", Unit.FAHRENHEIT),
            Column("humidity", Unit.PERCENT),
        ),
        (
            Reading("chamber", NOW_MS, 54_800, 1_000),
            Reading("core-1", NOW_MS, 10_000, 500),
            Reading("humidity", NOW_MS, 61_000, 2_000),
            Reading("chamber", NOW_MS + 10_000, 55_100, 1_000),
            Reading("humidity", NOW_MS + 10_000, 60_000, 2_000),
            Reading("core-1", NOW_MS + 20_500, 10_500, 500),
        ),
    )


@pytest.mark.parametrize(
    ("unit", "second", "after_ms"),
    [("s", "90", 90_000), ("min", "1.5", 90_000), ("h", "0.025", 90_000)],
)
def test_times_counted_from_a_beginning(unit: str, second: str, after_ms: int) -> None:
    text = f"time [{unit}],core-1 [degC]\n0,98.2\n{second},97.5\n"
    assert [reading.at_ms for reading in trace(text, NOW_MS).readings] == [
        NOW_MS,
        NOW_MS + after_ms,
    ]


def test_times_of_a_zone_that_the_header_names() -> None:
    """Directive 2000/84/EC: clocks go back at 01:00 UTC on October's last Sunday."""
    shown = [
        "2026-10-25 01:30",
        "2026-10-25 02:30",
        "2026-10-25T02:30",
        "2026-10-25 03:30",
    ]
    text = "\n".join(
        ["time [Europe/Vienna],core-1 [degC]", *(f"{x},60" for x in shown)]
    )
    times = [say_stamp(one.at_ms)[:16] for one in trace(text).readings]
    assert times == [
        "2026-10-24T23:30",
        "2026-10-25T00:30",
        "2026-10-25T01:30",
        "2026-10-25T02:30",
    ]
    fixed = "time [+05:30],core-1 [degC]\n2026-01-10 05:00,60\n2026-01-10T00:00Z,61\n"
    times = [say_stamp(one.at_ms)[:16] for one in trace(fixed).readings]
    assert times == ["2026-01-09T23:30", "2026-01-10T00:00"]


@pytest.mark.parametrize(
    ("shown", "why"),
    [
        (
            "2026-10-25 02:30",
            "time 2026-10-25 02:30:00 came twice in Europe/Vienna, and the rows do not "
            "show which is meant",
        ),
        (
            "2026-03-29 02:30",
            "time 2026-03-29 02:30:00 was shown by no clock in Europe/Vienna: it was "
            "set forward then",
        ),
    ],
)
def test_an_hour_that_the_zone_leaves_open_is_not_guessed(shown: str, why: str) -> None:
    said = faults(f"time [Europe/Vienna],core-1 [degC]\n{shown},60\n")
    assert why in said
    assert "write this time with its own zone, such as +01:00" in said


@pytest.mark.parametrize(
    ("zone", "shown"), [("+05:30", "0001-01-01 00:00"), ("-11:00", "9999-12-31 23:59")]
)
def test_a_time_beyond_the_calendar_is_a_fault(zone: str, shown: str) -> None:
    said = faults(f"time [{zone}],core-1 [degC]\n{shown},60\n")
    assert f"time {shown}:00 was shown by no clock" in said


def test_a_spreadsheet_s_mark_and_line_ends_are_fine() -> None:
    text = "\ufefftime,core-1 [K]\r\n2026-01-10T05:00:00Z,273.15\r\n"
    assert trace(text).readings == (Reading("core-1", NOW_MS, 0, 500),)


def test_every_fault_is_shown_at_once_and_in_file_order() -> None:
    text = """\
time,chamber,core-1 [C],core-9 [degC]
2026-01-10T05:00:00,1,2,3
2026-01-10T05:00:10Z,1,2
"""
    assert (
        faults(text)
        == """\
day.csv:1:6: column 'chamber' does not say its unit
    1 | time,chamber,core-1 [C],core-9 [degC]
      |      ^^^^^^^
  add [degC] after the name; units are degC, degF, K or %RH

day.csv:1:14: 'C' is not a unit of a probe
    1 | time,chamber,core-1 [C],core-9 [degC]
      |              ^^^^^^^^^^
  write degC? units are degC, degF, K or %RH

day.csv:1:25: no accuracy is known for channel 'core-9'
    1 | time,chamber,core-1 [C],core-9 [degC]
      |                         ^^^^^^^^^^^^^
  give how far its readings may be off

day.csv:2:1: time '2026-01-10T05:00:00' does not say its zone
    2 | 2026-01-10T05:00:00,1,2,3
      | ^^^^^^^^^^^^^^^^^^^
  add Z for UTC, or +01:00 and the like

day.csv:3:24: the row has 3 cells, the header 4
    3 | 2026-01-10T05:00:10Z,1,2
      |                        ^
  leave a cell empty where there is no reading
"""
    )


HEAD = "time [s],core-1 [degC]\n"


@pytest.mark.parametrize(
    ("text", "place", "found", "remedy"),
    [
        ("", "1:1", "the trace is empty", "begin with a line: time,core-1 [degC]"),
        (
            "# no more\n\n",
            "1:1",
            "the trace is empty",
            "begin with a line: time,core-1 [degC]",
        ),
        (
            "time;core-1 [degC]\n0;71,2\n",
            "1:1",
            "the columns are parted by ;",
            "part them by commas",
        ),
        (
            "core-1 [degC],humidity [%RH]\n",
            "1:1",
            "the first column is 'core-1 [degC]', not the time",
            "name it time, time [s], time [min] or time [h]",
        ),
        (
            "time [days],core-1 [degC]\n0,1\n",
            "1:1",
            "time is counted in 'days'",
            "write time [s], time [min] or time [h], or a zone: time [+01:00]",
        ),
        (
            "time [s]\n0\n",
            "1:1",
            "the trace has no channel",
            "write a column for each channel, for example: core-1 [degC]",
        ),
        (
            "time [s],core-1 [degC],core-1 [degF]\n",
            "1:24",
            "channel 'core-1' has two columns",
            "rename one",
        ),
        (
            HEAD + "0,71,2\n",
            "2:6",
            "the row has 3 cells, the header 2",
            "a decimal comma makes two cells of one: write 71.2, not 71,2",
        ),
        (HEAD + '0,"71,2"\n', "2:3", "'71,2' has a decimal comma", "write 71.2"),
        (
            HEAD + "10,71\n5,71\n",
            "3:1",
            "time '5' goes back",
            "put the rows in the order of time, one row for one time",
        ),
        (
            HEAD + "10,71\n10.0,71\n",
            "3:1",
            "time '10.0' is that of the row before it",
            "put the rows in the order of time, one row for one time",
        ),
        (
            HEAD + "ten,71\n",
            "2:1",
            "time 'ten' is not a bare number",
            "write a plain number",
        ),
        (HEAD + ",71\n", "2:1", "the row has no time", "give it one, or leave it out"),
        (
            HEAD + "1e9999,71\n",
            "2:1",
            "time '1e9999' has too many digits",
            "write a plain number",
        ),
        (
            HEAD + "0,nan\n",
            "2:3",
            "'nan' is not a bare number",
            "leave the cell empty where there is no reading",
        ),
        (
            HEAD + "0,-127\n",
            "2:3",
            "open circuit: value = -127 degC is how a 1-wire library says that the "
            "probe is not connected",
            "leave the cell empty where there is no reading",
        ),
        (
            HEAD + "0, 900\n",
            "2:4",
            "out of range: value = 900 degC is outside -200 to 850 degC",
            "leave the cell empty where there is no reading",
        ),
        (
            HEAD + "0,1e9999\n",
            "2:3",
            "value = 1E+9999 is no number that a probe can mean",
            "leave the cell empty where there is no reading",
        ),
    ],
)
def test_a_fault(text: str, place: str, found: str, remedy: str) -> None:
    answer = read("day.csv", text, ACCURACY_MC, NOW_MS)
    assert isinstance(answer, list)
    (fault,) = answer
    assert f"{fault.line}:{fault.column}" == place
    assert (fault.found, fault.remedy) == (found, remedy)


def test_counted_times_need_a_beginning_and_dates_forbid_one() -> None:
    assert "but from when is not known\n" in faults("time [min],core-1 [degC]\n0,1\n")
    assert "these times are dates themselves\n" in faults(GOOD, NOW_MS)


def test_a_date_with_an_unknown_zone() -> None:
    assert faults("time,core-1 [degC]\n2026-01-10T05:00:00 CET,1\n") == (
        "day.csv:2:1: time '2026-01-10T05:00:00 CET' is not a time\n"
        "    2 | 2026-01-10T05:00:00 CET,1\n"
        "      | ^^^^^^^^^^^^^^^^^^^^^^^\n"
        "  write it like 2026-01-10T05:00:00Z\n"
    )


@st.composite
def traces(draw: st.DrawFn) -> Trace:
    """Any trace whose channels have some readings, in the order of a file."""
    names = draw(
        st.lists(
            st.from_regex(r"[a-z]([a-z0-9 ~\-]{0,5}[a-z0-9])?", fullmatch=True),
            min_size=1,
            max_size=4,
            unique=True,
        )
    )
    columns = tuple(Column(name, draw(st.sampled_from(Unit))) for name in names)
    times = draw(st.lists(st.integers(0, 4 * 10**12), max_size=6, unique=True))
    readings = tuple(
        Reading(column.name, at_ms, draw(st.integers(0, 100_000)), 500)
        for at_ms in sorted(times)
        for column in columns
        if draw(st.booleans())
    )
    return Trace(columns, readings)


@given(traces())
def test_what_is_written_is_read_back(trace: Trace) -> None:
    accuracy_mc = defaultdict(
        lambda: 500, dict.fromkeys([c.name for c in trace.channels], 500)
    )
    assert read("again.csv", write(trace), accuracy_mc) == trace


@given(st.text(max_size=60) | st.text('time [s]min,degC"\n;#0129.-', max_size=60))
def test_whatever_the_text_is_it_answers(text: str) -> None:
    """Every fault stands in a line of the text, with words for a person."""
    answer = read("any.csv", text, ACCURACY_MC, NOW_MS)
    if not isinstance(answer, Trace):
        assert answer
        assert render_all(answer, text).encode("utf-8", "surrogatepass")
        assert all(fault.line <= max(1, len(text.splitlines())) for fault in answer)


@pytest.mark.parametrize("name", ["", "a,b", "a [b]", 'a"b', "a "])
def test_a_name_that_cannot_stand_in_a_header(name: str) -> None:
    with pytest.raises(ValueError, match="cannot name a column"):
        write(Trace((Column(name, Unit.CELSIUS),), ()))


def test_a_reading_of_no_channel_is_not_lost() -> None:
    with pytest.raises(ValueError, match="'x' is no channel of the trace"):
        write(Trace((), (Reading("x", 0, 0, 0),)))


@pytest.mark.parametrize(
    ("at_ms", "period_ms"),
    [
        ({}, 0),
        ({"a": [5]}, 0),
        ({"a": [0, 10]}, 10),
        ({"a": [30, 0, 10, 20, 90]}, 10),  # one hole, any order
        ({"a": [0, 10, 30]}, 10),  # the lower of two middle ones
        ({"a": [0, 10], "b": [3, 23], "c": [7, 27]}, 20),  # never between channels
    ],
)
def test_the_median_period(at_ms: dict[str, list[int]], period_ms: int) -> None:
    readings = [
        Reading(channel, one_ms, 0, 0) for channel in at_ms for one_ms in at_ms[channel]
    ]
    assert median_period_ms(readings) == period_ms
