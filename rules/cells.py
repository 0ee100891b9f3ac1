"""CSV text as cells that know where they stand.

Cells are parted by commas and may stand in double quotes.  Empty lines and lines
that begin with # are skipped.  Lines and columns count from 1.
"""

import re
from collections.abc import Iterator
from typing import NamedTuple

CELL = re.compile(r'(?:^|,)[ \t]*("(?:[^"]|"")*"|[^,]*?)[ \t]*(?=,|$)')


class Cell(NamedTuple):
    """One cell and where it begins, both counted from 1."""

    line: int
    column: int
    text: str


def rows(text: str) -> Iterator[list[Cell]]:
    """The cells of every line that holds any."""
    for number, line in enumerate(text.splitlines(), start=1):
        line = line.removeprefix("\ufeff")  # some spreadsheets begin a file with it
        if line.strip() and not line.startswith("#"):
            yield [
                Cell(number, found.start(1) + 1, _unquoted(found[1]))
                for found in CELL.finditer(line)
            ]


def _unquoted(text: str) -> str:
    if len(text) > 1 and text.startswith('"') and text.endswith('"'):
        return text[1:-1].replace('""', '"').strip()
    return text
