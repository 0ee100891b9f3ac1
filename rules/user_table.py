"""A table of temperatures and times that its user brings: poultry, a validated process.

It names its title, source, who approved it and when, and which meat it is for; a
table that lacks one of these is refused.  It stands in a schedule, or as CSV in a
file of its own, which the schedule names::

    tables:
      - chicken.csv
      - table: Beef links, validated by challenge study
        source: study report 14
        approved by: AB
        approved on: 2026-03-01
        for: beef
        rows: [60 degC for 12 min, 70 degC reached]

As CSV each of those keys is a line of two cells, and the rows stand under a header
that names their units::

    table,Chicken links
    source,...
    approved by,...
    approved on,2026-03-01
    for,poultry
    temperature [degF],dwell [s]
    150,71

A dwell of 0 means that reaching the temperature is enough.
"""

import re
from collections.abc import Iterator
from datetime import date
from itertools import pairwise
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field
from pydantic_core import PydanticCustomError

from rules import cells
from rules.cells import Cell
from rules.faults import Fault
from rules.limit import Words, Written
from rules.reader import Marked, Path, Place, Tree
from rules.standards.tables import DwellRow, DwellTable
from rules.units import duration, refused, say_mc, say_ms, temperature

Meat = Literal["pork", "beef", "poultry", "mixed"]

HEADER = re.compile(r"^temperature \[(degC|degF)\]$")
DWELL = re.compile(r"^dwell \[(s|min|h)\]$")
RIGHT_HEADER = "write for example: temperature [degF],dwell [s]"
APART = {";": "semicolons", "\t": "tabs"}
RIGHT_APART = "part them by commas, and write numbers with a decimal point"
RIGHT_ROW = "write for example: 60 degC for 12 min, or: 70 degC reached"


def row(text: object) -> DwellRow:
    """Read ``60 degC for 12 min`` or ``70 degC reached``."""
    if not isinstance(text, str):
        raise refused("one row of a table is wanted here", RIGHT_ROW)
    if text.endswith(" reached"):
        return DwellRow(temperature(text.removesuffix(" reached")), 0, text)
    degrees, joint, dwell = text.partition(" for ")
    if not joint:
        raise refused(f"{text!r} is not a row of a table", RIGHT_ROW)
    return DwellRow(temperature(degrees), duration(dwell), text)


def _day(text: object) -> str:
    try:
        return date.fromisoformat(str(text)).isoformat()
    except ValueError:
        right = "write year, month and day, for example: 2026-03-01"
        raise refused(f"{text!r} is not a day", right) from None


class UserTable(Written):
    """A dwell table as its user wrote it."""

    title: str = Field(alias="table", min_length=1)
    edition: str = ""
    source: str = Field(min_length=1)
    approved_by: str = Field(alias="approved by", min_length=1)
    approved_on: Annotated[str, BeforeValidator(_day)] = Field(alias="approved on")
    meats: Annotated[tuple[Meat, ...], *Words.__metadata__] = Field(
        alias="for", min_length=1
    )
    notes: str = ""
    rows: tuple[Annotated[DwellRow, BeforeValidator(row)], ...] = Field(min_length=1)

    @property
    def table(self) -> DwellTable:
        """The table as the limits use it, coldest row first."""
        by = f"approved by {self.approved_by} on {self.approved_on}"
        meats = ", ".join(self.meats)
        note = f"The user's own table, for {meats}; {by}."
        return DwellTable(
            name=self.title,
            edition=self.edition or self.approved_on,
            source=self.source,
            note=f"{note} {self.notes}".rstrip(),
            verified=True,
            rows=tuple(sorted(self.rows)),
        )


def unsteady(marked: Marked, loc: Path, texts: list[Tree]) -> Iterator[Fault]:
    """Rows that stand twice, or that ask for more time where it is hotter."""
    read = []
    for i, text in enumerate(texts):
        try:
            read.append((row(text), i))
        except PydanticCustomError:
            continue
    for (cold, _), (hot, i) in pairwise(sorted(read)):
        right = "look it up in the table again"
        if cold.temp_mc == hot.temp_mc:
            yield marked.fault(
                (*loc, i), f"two rows are for {say_mc(hot.temp_mc)}", right
            )
        elif cold.dwell_ms < hot.dwell_ms:
            found = (
                f"{say_ms(hot.dwell_ms)} at {say_mc(hot.temp_mc)} is longer than at "
                f"{say_mc(cold.temp_mc)}, which is colder"
            )
            yield marked.fault((*loc, i), found, right)


def read_csv(path: str, text: str) -> tuple[Marked, list[Fault]]:
    """A table in CSV as a tree with its places, and what is wrong with its cells.

    Its keys are judged where the schedule's are.
    """
    sheet = _Sheet(path)
    apart = cells.parted_by(text)
    for line in cells.rows(text, apart):
        if apart != cells.COMMA and not sheet.faults:
            sheet.fault(line[0], f"its cells are parted by {APART[apart]}", RIGHT_APART)
        sheet.take(line)
    if not sheet.units:
        sheet.fault(Cell(1, 1, ""), "no line says what the columns are", RIGHT_HEADER)
    if sheet.faults and not sheet.rows:
        sheet.rows.append(
            "0 degC reached"
        )  # so that its own faults are all that is said
    tree: dict[str, Tree] = {**sheet.heads, "rows": [*sheet.rows]}
    return Marked(path, tree, sheet.values, sheet.keys), sheet.faults


class _Sheet:
    """One reading of one CSV file."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.heads: dict[str, Tree] = {}
        self.rows: list[str] = []
        self.units: tuple[str, str] | None = None
        self.values: dict[Path, Place] = {(): Place(1, 1, 1, path)}
        self.keys: dict[Path, Place] = {}
        self.faults: list[Fault] = []

    def fault(self, cell: Cell, found: str, remedy: str) -> None:
        """Note what is wrong with a cell, and go on."""
        self.faults.append(Fault(*self.place(cell), found, remedy))

    def place(self, cell: Cell) -> tuple[str, int, int, int]:
        """Where a cell stands."""
        return self.path, cell.line, cell.column, max(len(cell.text), 1)

    def take(self, line: list[Cell]) -> None:
        """Take one line that holds something."""
        if line[0].text.lower().startswith("temp"):
            self.header(line)
        elif len(line) != 2:
            found = f"{len(line)} cells stand here, and 2 are wanted"
            right = "write two cells, a decimal point, and quotes around a comma"
            self.fault(line[0], found, right)
        elif self.units:
            self.row(*line)
        else:
            self.head(*line)

    def header(self, line: list[Cell]) -> None:
        """Take the units of the rows below."""
        first = HEADER.match(line[0].text)
        second = DWELL.match(line[1].text) if len(line) == 2 else None
        if not (first and second):
            found = f"{','.join(c.text for c in line)!r} does not name two units"
            self.fault(line[0], found, RIGHT_HEADER)
        self.units = (first[1] if first else "degC", second[1] if second else "s")
        self.values[("rows",)] = Place(*self.place(line[0])[1:], self.path)

    def head(self, key: Cell, value: Cell) -> None:
        """Take one line of what the table is."""
        if key.text in self.heads:
            self.fault(key, f"{key.text!r} stands twice", "keep one of them")
        self.heads[key.text] = value.text
        self.keys[(key.text,)] = Place(*self.place(key)[1:], self.path)
        self.values[(key.text,)] = Place(*self.place(value)[1:], self.path)

    def row(self, degrees: Cell, dwell: Cell) -> None:
        """Take one temperature and its time."""
        assert self.units
        texts = [f"{degrees.text} {self.units[0]}", f"{dwell.text} {self.units[1]}"]
        reads = (temperature, duration)
        wrong = False
        for cell, text, read in zip((degrees, dwell), texts, reads, strict=True):
            try:
                read(text)
            except PydanticCustomError as error:
                found = str((error.context or {})["found"])
                self.fault(cell, found, "write a number in this cell")
                wrong = True
        if wrong:
            return
        at_once = re.fullmatch(r"0+(\.0+)?", dwell.text)
        place = Place(*self.place(degrees)[1:], self.path)
        self.values[("rows", len(self.rows))] = place
        self.rows.append(f"{texts[0]} reached" if at_once else " for ".join(texts))


__all__ = ["UserTable", "read_csv", "row", "unsteady"]
