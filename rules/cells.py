"""CSV text as cells that know where they stand.

Cells are parted by commas and may stand in double quotes.  Empty lines and lines
that begin with # are skipped.  Lines and columns count from 1.
"""

import re
from collections.abc import Iterator
from typing import NamedTuple

CELL = r'(?:^|,)[ \t]*("(?:[^"]|"")*"|[^,]*?)[ \t]*(?=,|$)'
COMMA, OTHERS = ",", ";\t"  # of a spreadsheet where a comma is the decimal sign


class Cell(NamedTuple):
    """One cell and where it begins, both counted from 1."""

    line: int
    column: int
    text: str


def rows(text: str, apart: str = COMMA) -> Iterator[list[Cell]]:
    """The cells of every line that holds any."""
    cell = re.compile(CELL.replace(COMMA, apart))
    for number, line in enumerate(text.splitlines(), start=1):
        line = line.removeprefix("\ufeff")  # some spreadsheets begin a file with it
        if line.strip() and not line.startswith("#"):
            yield [
                Cell(number, found.start(1) + 1, _unquoted(found[1]))
                for found in cell.finditer(line)
            ]


def parted_by(text: str) -> str:
    """What parts the cells: a comma, or a mark that stands in every line instead."""
    lines = [one for one in text.splitlines() if one.strip() and one[0] != "#"]
    return next((one for one in OTHERS if all(one in x for x in lines)), COMMA)


def _unquoted(text: str) -> str:
    if len(text) > 1 and text.startswith('"') and text.endswith('"'):
        return text[1:-1].replace('""', '"').strip()
    return text
