"""The exports of loggers: tables as their programs write them, read into a trace.

What a table means is taken from the whole of it, and every choice is told in words:
which line is the header, what parts the cells, which mark is the decimal one, in
which order a date gives its parts, which cells are no readings.  What the table does
not decide is a fault that names the option which decides it; nothing is guessed.

The rows end up in the order of time, in UTC, with the digits that the logger wrote.

Units: ``_ms`` milliseconds since 1970-01-01T00:00:00Z.
"""

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from decimal import Decimal
from itertools import pairwise
from typing import NamedTuple

from probes.contract import Unit
from probes.json_text import Unusable, say
from probes.screen import nearest, trusted
from probes.stamps import say_stamp
from probes.trace import HEAD, Column, Zones
from probes.wall_clock import (
    BOTH,
    CLOCK,
    DATE,
    Dates,
    Hour,
    fixed_zone,
    in_utc,
    order_of,
    read_wall,
)
from rules.cells import Cell
from rules.faults import Fault
from rules.units import say_ms

SEPARATORS = (";", "\t", ",")
SEPARATED = {";": "semicolons", "\t": "tabs", ",": "commas"}
NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d+)?")
# How units are written in headers and cells; the letters around must be none.
UNITS = {
    Unit.CELSIUS: r"(?:°|deg|º) ?C|Cel(?:sius)?|℃",
    Unit.FAHRENHEIT: r"(?:°|deg|º) ?F|Fahrenheit|℉",
    Unit.PERCENT: r"% ?(?:RH|rh|r\.? ?[FH]\.?)",
    Unit.KELVIN: r"K",
}
IN_HEAD = [
    (unit, re.compile(rf"[\s,_]*(?:\bin )?[\[(]?(?<![A-Za-z])(?:{words})[\])]?$"))
    for unit, words in UNITS.items()
]
PLACE = re.compile(r"\b[A-Z][A-Za-z]+(?:/[A-Z][A-Za-z_]+){1,2}\b")
AFTER_NUMBER = re.compile(rf" ?(?:{'|'.join(UNITS.values())}|°)$")
IN_CELL = [(unit, re.compile(rf"\d ?(?:{words})$")) for unit, words in UNITS.items()]
# A zone beside the word for time in a header: "Time (UTC+1)", "Time Europe/Vienna".
ZONE = re.compile(r"\b(?:UTC|GMT)(?: ?([+-])(\d{1,2})(?::?([0-5]\d))?)?(?!\w)")
LEAVE_OUT = ""
GAPS_TOLD = 10


@dataclass(frozen=True, slots=True)
class Asked:
    """What the person says of the table, where it does not say it itself."""

    zone: tzinfo | None = None
    dates: Dates | None = None
    hour: Hour | None = None
    columns: Mapping[str, str] = field(default_factory=dict)  # header: name [unit]
    zones: Zones = fixed_zone  # what knows the zones that a header may name


class Imported(NamedTuple):
    """What was understood: the trace, its text, and every choice in words."""

    columns: tuple[Column, ...]
    times_ms: tuple[int, ...]
    text: str
    choices: tuple[str, ...]


def read_export(path: str, text: str, asked: Asked) -> Imported | list[Fault]:
    """The trace that a logger's table holds, or everything that is not clear in it."""
    table = _Table(path, text.removeprefix("\ufeff"), asked)
    found = table.read()
    return sorted(table.faults) if found is None or table.faults else found


class _Line(NamedTuple):
    number: int
    text: str
    cells: list[Cell]


class _Table:
    """One reading of one table: its lines, and what was found wrong so far."""

    def __init__(self, path: str, text: str, asked: Asked) -> None:
        self.path, self.asked = path, asked
        self.faults: list[Fault] = []
        self.choices: list[str] = []
        self.texts = [
            (number, line)
            for number, line in enumerate(text.splitlines(), start=1)
            if line.strip()
        ]

    def read(self) -> Imported | None:
        body = self.body()
        if body is None:
            return None
        header, rows, place = body
        width = self.time_width(rows[0], place)
        rows = self.whole_rows(header, rows)
        if not rows:
            return None
        named = " ".join(c.text for c in header.cells[place : place + width])
        times = self.times(rows, place, width, self.zone(header.cells[place], named))
        columns = self.columns(header, range(place, place + width), rows)
        mark = self.decimal_mark(rows, columns)
        lines = {
            at_ms: [self.cell(row.cells[i], column, mark) for i, column in columns]
            for row, at_ms in zip(rows, times, strict=True)
            if at_ms is not None
        }
        self.tell_silent_cells(rows, columns)
        if self.faults:
            return None
        ordered = sorted(lines)
        self.tell_gaps(ordered)
        kept = tuple(column for _, column in columns)
        heads = [f"{column.name} [{column.unit}]" for column in kept]
        text = [",".join([say_stamp(at_ms), *lines[at_ms]]) for at_ms in ordered]
        whole = "\n".join([",".join(["time", *heads]), *text, ""])
        return Imported(kept, tuple(ordered), whole, tuple(self.choices))

    def fault(self, cell: Cell, found: str, remedy: str) -> None:
        """Note what is not clear, and go on."""
        width = max(1, len(cell.text))
        place = (cell.line, cell.column, width)
        self.faults.append(Fault(self.path, *place, found, remedy))

    def body(self) -> tuple[_Line, list[_Line], int] | None:
        """Header, rows, and where in a row its date stands."""
        best: tuple[int, int, str, int] | None = None  # rows, first, separator, place
        for separator in SEPARATORS:
            for length, first, place in self.runs(separator):
                if best is None or length > best[0]:
                    best = (length, first, separator, place)
        if best is None:
            none = Cell(1, 1, self.texts[0][1] if self.texts else "")
            right = "each row has a date, a time of day and values"
            self.fault(none, "there is no row with a date in this table", right)
            return None
        _, first, separator, place = best
        if first == 0:
            cell = Cell(self.texts[0][0], 1, self.texts[0][1])
            right = "write a line above that names the columns"
            self.fault(cell, "the first line is a row already, not a header", right)
            return None
        lines = [_Line(n, t, _cells(n, t, separator)) for n, t in self.texts]
        header = lines[first - 1]
        self.choices.append(f"line {header.number} names the columns")
        if before := lines[: first - 1]:
            self.choices.append(f"lines above it are left out: {len(before)}")
        self.choices.append(f"cells are parted by {SEPARATED[separator]}")
        return header, lines[first:], place

    def runs(self, separator: str) -> Iterator[tuple[int, int, int]]:
        """Every run of lines of one width with a date in one place."""
        last: tuple[int, int] | None = None
        begin = 0
        shapes = [_shape(n, t, separator) for n, t in self.texts]
        for i, shape in enumerate([*shapes, None]):
            if shape != last:
                if last is not None:
                    yield i - begin, begin, last[1]
                begin, last = i, shape

    def time_width(self, row: _Line, place: int) -> int:
        """How many cells the time takes: a date may have its time of day behind it."""
        after = row.cells[place + 1].text if place + 1 < len(row.cells) else ""
        return 2 if DATE.fullmatch(row.cells[place].text) and CLOCK.match(after) else 1

    def whole_rows(self, header: _Line, rows: list[_Line]) -> list[_Line]:
        """The rows that are as wide as the header."""
        whole = []
        for row in rows:
            if len(row.cells) != len(header.cells):
                found = f"the row has {len(row.cells)} cells, not {len(header.cells)}"
                right = "take the line out, or mend it; a decimal comma makes two cells"
                self.fault(Cell(row.number, 1, row.text), found, right)
            else:
                whole.append(row)
        return whole

    def zone(self, cell: Cell, named: str) -> tzinfo | None:
        """The zone of the table's times: as asked, or as the header names it."""
        asked = self.asked.zone
        for said in PLACE.findall(named):
            if zone := self.asked.zones(said):
                break
        else:
            if not (found := ZONE.search(named)):
                return asked
            said, zone = found[0], _fixed(*found.groups("0"))
        if asked is None:
            self.choices.append(f"the header says that times are those of {zone}")
        elif not _same(asked, zone):
            text = f"the header says {say(said)}, and --zone says {asked}"
            self.fault(cell, text, "leave --zone out, or mend the header")
        return asked or zone

    def times(
        self, rows: list[_Line], place: int, width: int, zone: tzinfo | None
    ) -> list[int | None]:
        """The time of every row, where it is clear."""
        cells = [
            row.cells[place]._replace(
                text=" ".join(c.text for c in row.cells[place : place + width])
            )
            for row in rows
        ]
        dates = self.asked.dates or order_of(cell.text for cell in cells)
        if dates is None:
            found = f"{say(cells[0].text)}: which is the day and which the month?"
            right = "add --dates day-first, or month-first"
            self.fault(cells[0], found, right)
            return [None] * len(rows)
        said = "as asked" if self.asked.dates else "seen in the dates"
        self.choices.append(f"dates are {dates} ({said})")
        walls = [read_wall(cell.text, dates) for cell in cells]
        for cell, wall in zip(cells, walls, strict=True):
            if isinstance(wall, Unusable):
                self.fault(cell, wall.why, "mend the time, or take the line out")
        clear = [wall for wall in walls if isinstance(wall, datetime)]
        if len(clear) < len(walls):
            return [None] * len(rows)
        return self.instants(cells, clear, zone)

    def instants(
        self, cells: list[Cell], walls: list[datetime], zone: tzinfo | None
    ) -> list[int | None]:
        """The times in UTC of what the logger's clock showed."""
        local = any(wall.tzinfo is None for wall in walls)
        if local and zone is None:
            found = f"{say(cells[0].text)} does not say its zone"
            right = "add --zone with the logger's, for example: --zone Europe/Vienna"
            self.fault(cells[0], found, right)
            return [None] * len(cells)
        if any((wall.tzinfo is None) != local for wall in walls):
            found = "some times of this table carry a zone, and some none"
            self.fault(cells[0], found, "write them all in one way")
            return [None] * len(cells)
        falls = sum(b < a for a, b in pairwise(walls))
        if walls[-1] < walls[0] and falls * 2 > len(walls):
            self.choices.append("the newest row came first; turned round")
            turned = self.in_order(cells[::-1], walls[::-1], zone if local else None)
            return turned[::-1]
        return self.in_order(cells, walls, zone if local else None)

    def in_order(
        self, cells: list[Cell], walls: list[datetime], zone: tzinfo | None
    ) -> list[int | None]:
        """The same for rows that begin with the oldest; no zone: they carry theirs."""
        whose = f"times are those of {zone}" if zone else "times carry their own zone"
        self.choices.append(whose)
        instants = in_utc(walls, zone or UTC, self.asked.hour)
        return list(self.forward(cells, instants))

    def forward(
        self, cells: list[Cell], instants: list[int | Unusable]
    ) -> Iterator[int | None]:
        """The times, which must go forward from row to row."""
        before_ms: int | None = None
        for cell, at_ms in zip(cells, instants, strict=True):
            if isinstance(at_ms, Unusable):
                found, _, remedy = at_ms.why.partition("; ")
                self.fault(cell, found, remedy)
                yield None
            elif before_ms is not None and at_ms <= before_ms:
                how = "is that of the row above" if at_ms == before_ms else "goes back"
                right = "put the rows in order, one for each time"
                self.fault(cell, f"time {say(cell.text)} {how}", right)
                yield None
            else:
                before_ms = at_ms
                yield at_ms

    def columns(
        self, header: _Line, taken: range, rows: list[_Line]
    ) -> list[tuple[int, Column]]:
        """What each column is called and counts in, where that is clear."""
        found: list[tuple[int, Column]] = []
        names = _told_apart([cell.text for cell in header.cells])
        for i, cell in enumerate(header.cells):
            if i in taken:
                continue
            asked = self.asked.columns.get(names[i])
            if asked == LEAVE_OUT:
                self.choices.append(f"column {say(names[i])} is left out (as asked)")
                continue
            if asked is None and not any(row.cells[i].text for row in rows):
                self.choices.append(f"column {say(names[i])} is empty")
                continue
            column = self.column(cell, names[i], asked)
            if column and any(column.name == other.name for _, other in found):
                right = f"add --column '{names[i]}=NAME [{column.unit}]'"
                self.fault(cell, f"two columns are {say(column.name)}", right)
            elif column:
                words = f"column {say(names[i])} is {column.name} in {column.unit}"
                self.choices.append(words + _as_asked(cell.text, column, asked))
                self.same_unit(column, [row.cells[i] for row in rows])
                found.append((i, column))
        for name in self.asked.columns:
            if name not in names:
                near = nearest(name, names)
                text = f"there is no column {say(name)}; the nearest is {say(near)}"
                cell = Cell(header.number, 1, header.text)
                self.fault(cell, text, "write it as it stands in the header")
        return found

    def column(self, cell: Cell, name: str, asked: str | None) -> Column | None:
        """One column, from what was asked or from its own header."""
        option = f"add --column '{name}=core-1 [degC]', or --leave-out '{name}'"
        if asked is not None:
            head = HEAD.fullmatch(asked)
            if head and head["unit"] in list(Unit):
                return Column(head["name"], Unit(head["unit"]))
            self.fault(cell, f"{say(asked)} names no channel with a unit", option)
            return None
        found = _in_head(cell.text)
        head = HEAD.fullmatch(found[0]) if found else None
        if found and head and not head["unit"]:
            return Column(*found)
        self.fault(cell, f"column {say(name)} does not say its unit", option)
        return None

    def same_unit(self, column: Column, cells: Sequence[Cell]) -> None:
        """No cell may say another unit than its column: it would be read as that."""
        for cell in cells:
            for unit, pattern in IN_CELL:
                if unit is not column.unit and pattern.search(cell.text):
                    found = (
                        f"{say(cell.text)} is in {unit}, its column in {column.unit}"
                    )
                    right = "write one unit in the whole column, and in its header"
                    self.fault(cell, found, right)

    def decimal_mark(
        self, rows: list[_Line], columns: Sequence[tuple[int, Column]]
    ) -> str:
        """The one mark that stands in the numbers."""
        first: dict[str, Cell] = {}
        for row in rows:
            for i, _ in columns:
                cell = row.cells[i]
                for mark in ",.":
                    if mark in _bare(cell.text) and NUMBER.fullmatch(_bare(cell.text)):
                        first.setdefault(mark, cell)
        if len(first) == 2:
            cell = max(first.values())
            found = f"{say(cell.text)} has another decimal mark than the rows above"
            self.fault(cell, found, "write one decimal mark in the whole table")
        mark = next(iter(first), ".")
        named = {",": "comma", ".": "point"}[mark]
        self.choices.append(
            f"the decimal mark is a {named}" if first else "no decimals"
        )
        return mark

    def cell(self, cell: Cell, column: Column, mark: str) -> str:
        """The number in a cell as a trace writes it; "" where it is no reading."""
        bare = _bare(cell.text)
        if not NUMBER.fullmatch(bare):
            if any(c.isdigit() for c in bare):
                right = "write a plain number, or empty the cell"
                self.fault(cell, f"{say(cell.text)} is not a number", right)
            return ""
        text = bare.replace(mark, ".")
        if isinstance(trusted(Decimal(text.replace(",", ".")), column.unit, 0), str):
            return ""
        return text

    def tell_silent_cells(
        self, rows: list[_Line], columns: Sequence[tuple[int, Column]]
    ) -> None:
        """Say which cells are taken for no reading, and how many of them there are."""
        for i, column in columns:
            silent: Counter[str] = Counter()
            for row in rows:
                bare = _bare(row.cells[i].text)
                if not NUMBER.fullmatch(bare):
                    silent[say(bare) if bare else "nothing"] += 1
                elif isinstance(why := _impossible(bare, column), str):
                    silent[why] += 1
            for what, count in sorted(silent.items()):
                cells = "cell" if count == 1 else "cells"
                words = f"no reading in {count} {cells} of {column.name}: {what}"
                self.choices.append(words)

    def tell_gaps(self, times_ms: Sequence[int]) -> None:
        """Say how far apart the rows are, and where they are farther."""
        steps = sorted(b - a for a, b in pairwise(times_ms))
        if not steps:
            return
        usual_ms = steps[(len(steps) - 1) // 2]
        self.choices.append(f"rows come every {say_ms(usual_ms)} as a rule")
        gaps = [(a, b) for a, b in pairwise(times_ms) if (b - a) * 2 > usual_ms * 3]
        for a, b in gaps[:GAPS_TOLD]:
            words = f"gap of {say_ms(b - a)} after {say_stamp(a)}"
            self.choices.append(words)
        if len(gaps) > GAPS_TOLD:
            self.choices.append(f"and {len(gaps) - GAPS_TOLD} gaps more")


def _fixed(sign: str, hours: str, minutes: str) -> tzinfo:
    ahead = timedelta(hours=int(hours), minutes=int(minutes))
    return timezone(-ahead if sign == "-" else ahead)


def _same(one: tzinfo, other: tzinfo) -> bool:
    """Whether two zones are one by name, or fixed ones of the same offset."""
    ahead = one.utcoffset(None)
    fixed = ahead is not None and ahead == other.utcoffset(None)
    return fixed or str(one) == str(other)


def _told_apart(names: Sequence[str]) -> list[str]:
    """The names of columns; where one stands more than once, each with its number."""
    seen: Counter[str] = Counter()
    apart = []
    for name in names:
        seen[name] += 1
        apart.append(f"{name}#{seen[name]}" if names.count(name) > 1 else name)
    return apart


def _in_head(text: str) -> tuple[str, Unit] | None:
    """What stands before the unit in a header, and the unit, where it has one."""
    for unit, pattern in IN_HEAD:
        if found := pattern.search(text):
            return re.sub(r"\s+", " ", text[: found.start()]).strip(" ,_:"), unit
    return None


def _as_asked(text: str, column: Column, asked: str | None) -> str:
    if asked is None:
        return ""
    said = _in_head(text)
    if said is None or said[1] is column.unit:
        return " (as asked)"
    return f" (as asked; its header says {said[1]})"


def _impossible(bare: str, column: Column) -> str | None:
    value = trusted(Decimal(bare.replace(",", ".")), column.unit, 0)
    return value.partition("; ")[0] if isinstance(value, str) else None


def _bare(text: str) -> str:
    """The text of a cell without the unit behind its number."""
    return AFTER_NUMBER.sub("", text.strip()).strip()


def _shape(number: int, text: str, separator: str) -> tuple[int, int] | None:
    """How many cells a line has and where its date stands, where it has one."""
    cells = _cells(number, text, separator)
    if len(cells) < 2:
        return None
    for i, cell in enumerate(cells):
        if BOTH.fullmatch(cell.text) or DATE.fullmatch(cell.text):
            return len(cells), i
    return None


def _cells(number: int, text: str, separator: str) -> list[Cell]:
    mark = re.escape(separator)
    found = re.finditer(
        rf'(?:^|{mark})[ ]*("(?:[^"]|"")*"|[^{mark}]*?)[ ]*(?={mark}|$)', text
    )
    return [Cell(number, one.start(1) + 1, _unquoted(one[1])) for one in found]


def _unquoted(text: str) -> str:
    if len(text) > 1 and text.startswith('"') and text.endswith('"'):
        return text[1:-1].replace('""', '"').strip()
    return text.strip()
