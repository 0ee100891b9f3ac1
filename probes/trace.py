"""Trace files: recorded temperatures as CSV text, any number of channels.

Form::

    time,chamber [degC],core-1 [degC],humidity [%RH]
    2026-01-10T05:00:00Z,54.8,10.2,61
    2026-01-10T05:00:10Z,55.1,,60

The time column is ISO 8601 with its zone; or ``time [Europe/Vienna]`` and the like,
what the clocks of that zone showed; or ``time [s]``, ``time [min]`` or ``time [h]``,
counted from a beginning the caller gives.  Each other column names its channel and its
unit.  An empty cell is no reading.  Empty lines and lines that begin with # are
skipped.  Cells may stand in double quotes.

Nothing is guessed: a decimal comma, a missing unit or zone, or a time that does not
go forward is a fault.  All faults of a file are answered at once.

Units: ``_mc`` as in ``rules.facts``; ``_ms`` milliseconds since 1970-01-01T00:00:00Z.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import datetime, tzinfo
from decimal import Decimal
from itertools import pairwise
from typing import NamedTuple

from probes.contract import Unit
from probes.forms.number import read_number
from probes.json_text import Unusable, say
from probes.screen import nearest, trusted
from probes.stamps import read_iso, say_stamp
from probes.units import EXACT, in_unit
from probes.wall_clock import fixed_zone, in_utc
from rules import cells
from rules.cells import Cell
from rules.facts import Reading
from rules.faults import Fault

HEAD = re.compile(r"(?P<name>[^\[\],\"]*[^\[\],\" ]) *(?:\[(?P<unit>[^\[\]]*)\])?")
COUNTED_MS = {"s": 1_000, "min": 60_000, "h": 3_600_000}
UNITS = "degC, degF, K or %RH"


class Column(NamedTuple):
    """One channel of a trace, and the unit its file is written in."""

    name: str
    unit: Unit


class Trace(NamedTuple):
    """What a trace file holds, its readings in the order of the file."""

    channels: tuple[Column, ...]
    readings: tuple[Reading, ...]


Zones = Callable[[str], tzinfo | None]  # the zone of a name, if there is one


def read(
    path: str,
    text: str,
    accuracy_mc: Mapping[str, int],
    begins_ms: int | None = None,
    zones: Zones = fixed_zone,
) -> Trace | list[Fault]:
    """The trace in this text, or everything that is wrong with it.

    ``accuracy_mc`` gives the uncertainty of each channel's readings; ``begins_ms``
    is the zero of times that are counted, and only of those; ``zones`` knows the zones
    that a header may name.
    """
    rows = list(cells.rows(text))
    if not rows:
        found, remedy = "the trace is empty", "begin with a line: time,core-1 [degC]"
        return [Fault(path, 1, 1, 1, found, remedy)]
    sheet = _Sheet(path, accuracy_mc, begins_ms, zones)
    readings = sheet.read(rows)
    if sheet.faults:
        return sorted(sheet.faults)
    return Trace(tuple(column for column in sheet.columns if column), tuple(readings))


def write(trace: Trace) -> str:
    """The text of a trace: ``read`` answers the same trace for it.

    Raises:
        ValueError: A channel's name cannot stand in a header, or a reading is of no
            channel in the trace.
    """
    place = {column.name: number for number, column in enumerate(trace.channels)}
    for name in place:
        if not (head := HEAD.fullmatch(name)) or head["name"] != name:
            raise ValueError(f"{name!r} cannot name a column of a trace")
    rows: dict[int, list[str]] = {}
    for reading in trace.readings:
        if reading.channel not in place:
            raise ValueError(f"{reading.channel!r} is no channel of the trace")
        row = rows.setdefault(reading.at_ms, [""] * len(place))
        number = place[reading.channel]
        value = in_unit(reading.value_mc, trace.channels[number].unit)
        row[number] = f"{value:f}"
    heads = [f"{column.name} [{column.unit}]" for column in trace.channels]
    lines = [",".join([say_stamp(at_ms), *rows[at_ms]]) for at_ms in sorted(rows)]
    return "\n".join([",".join(["time", *heads]), *lines, ""])


def median_period_ms(readings: Iterable[Reading]) -> int:
    """The middle one of the times between readings of the same channel.

    The lower of the two middle ones where their number is even; 0 where no channel
    has two readings.
    """
    times: dict[str, list[int]] = {}
    for reading in readings:
        times.setdefault(reading.channel, []).append(reading.at_ms)
    periods = sorted(
        after - before
        for of_channel in times.values()
        for before, after in pairwise(sorted(of_channel))
    )
    return periods[(len(periods) - 1) // 2] if periods else 0


class _Sheet:
    """One reading of one file: what its header said, and the faults so far."""

    def __init__(
        self,
        path: str,
        accuracy_mc: Mapping[str, int],
        begins_ms: int | None,
        zones: Zones,
    ) -> None:
        self.path = path
        self.zones = zones
        self.accuracy_mc = accuracy_mc
        self.begins_ms = begins_ms
        self.faults: list[Fault] = []
        self.columns: list[Column | None] = []
        self.counted_ms = 0  # of the unit times are counted in; 0 where they are dates
        self.zone: tzinfo | None = None  # of dates that do not say theirs

    def read(self, rows: Sequence[list[Cell]]) -> list[Reading]:
        """Take the header, then every row."""
        header, *body = rows
        if len(header) == 1 and ";" in header[0].text:
            self.fault(header[0], "the columns are parted by ;", "part them by commas")
            return []
        timed = self.take_time_head(header[0])
        for cell in header[1:]:
            self.columns.append(self.column(cell))
        if len(header) == 1:
            remedy = "write a column for each channel, for example: core-1 [degC]"
            self.fault(header[0], "the trace has no channel", remedy)
        readings: list[Reading] = []
        before_ms: int | None = None
        walls = _walls([row[0].text for row in body], self.zone) if self.zone else []
        for number, row in enumerate(body):
            if self.fits(row, len(header)) and timed:
                wall = walls[number] if walls else None
                at_ms = self.time(row[0], before_ms, wall)
                readings += self.values(row[1:], at_ms)
                before_ms = before_ms if at_ms is None else at_ms
        return readings

    def fault(self, cell: Cell, found: str, remedy: str) -> None:
        """Note a mistake and go on, so that all are shown at once."""
        width = max(1, len(cell.text))
        self.faults.append(
            Fault(self.path, cell.line, cell.column, width, found, remedy)
        )

    def take_time_head(self, cell: Cell) -> bool:
        """Whether the first column says how its times are written."""
        head = HEAD.fullmatch(cell.text)
        if not head or head["name"] != "time":
            found = f"the first column is {say(cell.text)}, not the time"
            self.fault(cell, found, "name it time, time [s], time [min] or time [h]")
            return False
        unit = head["unit"]
        if unit in COUNTED_MS and self.begins_ms is None:
            found = f"times are counted in {unit}, but from when is not known"
            self.fault(cell, found, "say when the trace begins, with date and zone")
            return False
        self.counted_ms = COUNTED_MS.get(unit or "", 0)
        self.zone = self.zones(unit) if unit and not self.counted_ms else None
        if unit and not self.counted_ms and not self.zone:
            remedy = "write time [s], time [min] or time [h], or a zone: time [+01:00]"
            self.fault(cell, f"time is counted in {say(unit)}", remedy)
            return False
        if not self.counted_ms and self.begins_ms is not None:
            found = "a beginning was given, but these times are dates themselves"
            self.fault(cell, found, "leave the beginning out")
        return True

    def column(self, cell: Cell) -> Column | None:
        """The channel a header cell names, if it does so rightly."""
        head = HEAD.fullmatch(cell.text)
        if not head or head["unit"] is None:
            found = f"column {say(cell.text)} does not say its unit"
            self.fault(cell, found, f"add [degC] after the name; units are {UNITS}")
            return None
        name, unit = head["name"], head["unit"]
        if unit not in list(Unit):
            near = nearest(unit, Unit)
            found = f"{say(unit)} is not a unit of a probe"
            self.fault(cell, found, f"write {near}? units are {UNITS}")
        elif any(column and column.name == name for column in self.columns):
            self.fault(cell, f"channel {say(name)} has two columns", "rename one")
        elif name not in self.accuracy_mc:
            found = f"no accuracy is known for channel {say(name)}"
            self.fault(cell, found, "give how far its readings may be off")
        else:
            return Column(name, Unit(unit))
        return None

    def fits(self, row: Sequence[Cell], width: int) -> bool:
        """Whether a row has as many cells as the header."""
        if len(row) == width:
            return True
        found = f"the row has {len(row)} cells, the header {width}"
        if len(row) > width:
            remedy = "a decimal comma makes two cells of one: write 71.2, not 71,2"
            self.fault(row[width], found, remedy)
        else:
            self.fault(row[-1], found, "leave a cell empty where there is no reading")
        return False

    def time(
        self, cell: Cell, before_ms: int | None, wall: int | Unusable | None
    ) -> int | None:
        """The time of a row, if it is one and later than the row before it.

        ``wall`` is what it comes to where the header names a zone.
        """
        if not cell.text:
            self.fault(cell, "the row has no time", "give it one, or leave it out")
            return None
        at_ms = self.counted(cell.text) if self.counted_ms else wall
        if at_ms is None:
            at_ms = read_iso(cell.text)
        if isinstance(at_ms, Unusable):
            found, _, remedy = at_ms.why.partition("; ")
            self.fault(cell, f"time {found}", remedy or "write a plain number")
            return None
        if before_ms is not None and at_ms <= before_ms:
            how = "is that of the row before it" if at_ms == before_ms else "goes back"
            remedy = "put the rows in the order of time, one row for one time"
            self.fault(cell, f"time {say(cell.text)} {how}", remedy)
            return None
        return at_ms

    def counted(self, text: str) -> int | Unusable:
        """The time that a count from the beginning stands for."""
        count = read_number(text.encode("utf-8", "replace"))
        if isinstance(count, Unusable):
            return count
        try:
            spent_ms = round(EXACT.multiply(count, Decimal(self.counted_ms)))
        except ArithmeticError:
            return Unusable(f"{say(text)} has too many digits")
        return spent_ms + (self.begins_ms or 0)

    def values(self, cells: Sequence[Cell], at_ms: int | None) -> Iterator[Reading]:
        """The readings of a row; a cell is checked even where its time was wrong."""
        for column, cell in zip(self.columns, cells, strict=True):
            if column and cell.text:
                accuracy_mc = self.accuracy_mc[column.name]
                value_mc = self.value(cell, column.unit, accuracy_mc)
                if value_mc is not None and at_ms is not None:
                    yield Reading(column.name, at_ms, value_mc, accuracy_mc)

    def value(self, cell: Cell, unit: Unit, accuracy_mc: int) -> int | None:
        """The value in a cell, if it is one that can be true."""
        number = read_number(cell.text.encode("utf-8", "replace"))
        if isinstance(number, Unusable):
            found, _, remedy = number.why.partition("; ")
            remedy = remedy.replace("send", "write")
            empty = "leave the cell empty where there is no reading"
            self.fault(cell, found, remedy or empty)
            return None
        value_mc = trusted(number, unit, accuracy_mc)
        if isinstance(value_mc, str):
            found, _, _ = value_mc.partition("; ")
            self.fault(cell, found, "leave the cell empty where there is no reading")
            return None
        return value_mc


def _walls(texts: Sequence[str], zone: tzinfo) -> list[int | Unusable]:
    """The time of every row by the clock of a zone; a text may say its own."""
    found: list[int | Unusable] = []
    walls: list[datetime] = []
    for text in texts:
        try:
            walls.append(datetime.fromisoformat(text))
            found.append(0)
        except ValueError:
            words = "is not a time; write it like 2026-01-10 06:00"
            found.append(Unusable(f"{say(text)} {words}"))
    known = iter(in_utc(walls, zone))
    return [
        one if isinstance(one, Unusable) else _said_apart(next(known)) for one in found
    ]


def _said_apart(at_ms: int | Unusable) -> int | Unusable:
    """The same, with the remedy of a file instead of the import's option."""
    if isinstance(at_ms, int):
        return at_ms
    found, _, _ = at_ms.why.partition("; ")
    return Unusable(f"{found}; write this time with its own zone, such as +01:00")
