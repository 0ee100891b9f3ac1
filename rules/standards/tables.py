"""Dwell tables: how long a core must have been at or above each temperature.

Temperatures are keyed by the printed degree Fahrenheit, turned into thousandths of
a degree Celsius by the rule that turns a reading, so that a reading of exactly the
printed degree stands on its row.  The Celsius that the sources print beside it is
rounded (137 degF is printed as 58.4) and is not used.  A dwell of 0 ms means that
reaching the temperature is enough.

None of these tables is for a product that holds any poultry: FSIS-GD-2021-14 gives
such a product tables of its own, which are not carried here.

Units: ``_mc`` thousandths of a degree Celsius; ``_ms`` milliseconds.

Source: FSIS Appendix A, January and June 1999; FDA Food Code section 3-401.11.
"""

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from rules.units import fahrenheit_mc


@dataclass(frozen=True, slots=True, order=True)
class DwellRow:
    """One line of a table, and the words to name it by."""

    temp_mc: int
    dwell_ms: int
    printed: str
    verified: bool = True  # read in its source


@dataclass(frozen=True, slots=True)
class DwellTable:
    """One column of a published table, coldest row first."""

    name: str  # as a schedule writes it
    edition: str
    source: str
    note: str  # to be shown wherever the table decides
    verified: bool  # every row was read in its source
    rows: tuple[DwellRow, ...]

    def said_in(self, degree: type[int]) -> "DwellTable":
        """The same table, whose temperatures are said in degC or in degF."""
        rows = (replace(row, temp_mc=degree(row.temp_mc)) for row in self.rows)
        return replace(self, rows=tuple(rows))


def dwell_table(name: str) -> DwellTable | None:
    """Find the table that a schedule names; none has another spelling."""
    return DWELL_TABLES.get(name)


def row_at(table: DwellTable, value_mc: int) -> DwellRow | None:
    """Find the row that holds at a temperature; below the first row there is none."""
    place = bisect_right(table.rows, value_mc, key=lambda row: row.temp_mc)
    return table.rows[place - 1] if place else None


def needed(table: DwellTable, value_mc: int) -> int | None:
    """The dwell that a temperature needs; ``None`` where no time is enough."""
    row = row_at(table, value_mc)
    return None if row is None else row.dwell_ms


def _row(degf: int, dwell_s: int, verified: bool = True, at_once: str = "") -> DwellRow:
    minutes, seconds = divmod(dwell_s, 60)
    dwell = f"for {dwell_s} s" if seconds else f"for {minutes} min"
    return DwellRow(
        fahrenheit_mc(Fraction(degf)),
        dwell_s * 1000,
        f"{degf} degF {dwell if dwell_s else at_once or 'reached'}",
        verified,
    )


def _rows(pairs: Iterable[tuple[int, int]]) -> tuple[DwellRow, ...]:
    return tuple(_row(degf, dwell_s) for degf, dwell_s in pairs)


# degF, seconds for 6.5-log10, seconds for 7-log10 of Salmonella.
_MEAT = (
    (130, 6720, 7260),
    (131, 5340, 5820),
    (132, 4260, 4620),
    (133, 3360, 3720),
    (134, 2700, 2820),
    (135, 2160, 2220),
    (136, 1680, 1920),
    (137, 1380, 1440),
    (138, 1080, 1140),
    (139, 900, 900),
    (140, 720, 720),
    (141, 540, 600),
    (142, 480, 480),
    (143, 360, 360),
    (144, 300, 300),
    (145, 240, 240),
    (146, 169, 182),
    (147, 134, 144),
    (148, 107, 115),
    (149, 85, 91),
    (150, 67, 72),
    (151, 54, 58),
    (152, 43, 46),
    (153, 34, 37),
    (154, 27, 29),
    (155, 22, 23),
    (156, 17, 19),
    (157, 14, 15),
    (158, 0, 0),
    (159, 0, 0),
    (160, 0, 0),
)

_MEAT_EDITION = "1999, carried in FSIS-GD-2021-14"
_MEAT_SOURCE = "FSIS Appendix A, January and June 1999, meat table"
_MEAT_NOTE = (
    "The figures were read in the 1999 text. The 1999 and 2017 editions may not be "
    "cited as support after 14 December 2022 (86 FR 71007). That FSIS-GD-2021-14 "
    "prints the same {column} is from memory, to be verified. Not for a product with "
    "any poultry. Time and temperature are one of three: come-up time and humidity "
    "belong to the same claim."
)

_COMMINUTED = ((145, 180), (150, 60))
_COMMINUTED_NOTE = (
    "Read in state texts of the Food Code, not in the edition itself: {where}. "
    "Editions to 2013 ask 15 s at 155 degF, editions from 2017 ask 17 s. "
    "Not for a product with any poultry."
)


def _comminuted(edition: str, at_155_s: int, where: str) -> DwellTable:
    return DwellTable(
        f"FDA Food Code 3-401.11, comminuted, {edition}",
        edition,
        "FDA Food Code section 3-401.11(A)(2)",
        _COMMINUTED_NOTE.format(where=where),
        True,
        (
            *_rows(_COMMINUTED),
            _row(155, at_155_s),
            _row(158, 0, at_once="under 1 s (instantaneous)"),
        ),
    )


# Those marked True were read; the others are from memory, and equal the FSIS column.
_ROAST = (
    (130, 6720, True),
    (131, 5340, False),
    (133, 3360, False),
    (135, 2160, False),
    (136, 1680, False),
    (138, 1080, False),
    (140, 720, True),
    (142, 480, True),
    (144, 300, True),
    (145, 240, True),
    (147, 134, False),
    (149, 85, False),
    (151, 54, False),
    (153, 34, False),
    (155, 22, False),
    (157, 14, False),
    (158, 0, False),
)

_TABLES = (
    DwellTable(
        "FSIS Appendix A, meat, 6.5-log10",
        _MEAT_EDITION,
        _MEAT_SOURCE + ", 6.5-log10 column",
        _MEAT_NOTE.format(column="figures"),
        True,
        _rows((degf, dwell_s) for degf, dwell_s, _ in _MEAT),
    ),
    DwellTable(
        "FSIS Appendix A, meat, 7-log10",
        _MEAT_EDITION,
        _MEAT_SOURCE + ", 7-log10 column",
        _MEAT_NOTE.format(column="figures, or this column at all,"),
        True,
        _rows((degf, dwell_s) for degf, _, dwell_s in _MEAT),
    ),
    _comminuted("2017", 17, "North Carolina food handler manual, page 55"),
    _comminuted("2013", 15, "Minnesota Rules 4626.0340"),
    DwellTable(
        "FDA Food Code 3-401.11(B), whole roast",
        "2013 to 2022",
        "FDA Food Code section 3-401.11(B)",
        "The rows at 130, 140, 142, 144 and 145 degF were read (North Carolina food "
        "handler manual, page 55); the others are from memory, to be verified, and "
        "equal the 6.5-log10 column of FSIS Appendix A. For whole roasts, cured pork "
        "roasts included, in an oven that the same section asks for.",
        False,
        tuple(_row(degf, dwell_s, verified) for degf, dwell_s, verified in _ROAST),
    ),
)

DWELL_TABLES: Mapping[str, DwellTable] = {table.name: table for table in _TABLES}
