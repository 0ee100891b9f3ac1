"""Paper: how the record's document puts words, tables and scenes on a page.

Rule 1: it fits both A4 and letter when printed unscaled: A4 pages with 48 points
free above and below, 40 on each side.
Rule 2: black and greys only; bold and rules carry what colour would.
Rule 3: any text can be written.  A character that the font lacks is shown as a
mark, and ``lacking`` says so afterwards; the attached record holds it exactly.

The font is DejaVu Sans (Debian: ``apt-get install fonts-dejavu-core``), embedded in
part.  Where it is not installed the PDF reader's own Helvetica serves, which knows
Latin letters only, and the document is then no PDF/A.

Units: points.
"""

from collections.abc import Sequence
from datetime import UTC, datetime
from html import escape
from pathlib import Path as FilePath
from typing import Any, NamedTuple

from fpdf import FPDF
from fpdf.enums import MethodReturnValue, WrapMode

from daemon.chart import Box, Scene, degrees
from daemon.chart import Path as Line

DEJAVU = FilePath("/usr/share/fonts/truetype/dejavu")
FACES = {"": "DejaVuSans.ttf", "B": "DejaVuSans-Bold.ttf"}
MONO = "DejaVuSansMono.ttf"
MARGIN, SIDE = 48.0, 40.0
WIDTH = 595.28 - 2 * SIDE
SMALL, TEXT, LARGE, HUGE = 6.2, 7.4, 9.5, 17.0
LEADING = 1.28
PALE, RULE = 235, 150


# What a PDF/A says of itself (ISO 19005-4, section 6.7).
XMP = """<x:xmpmeta xmlns:x="adobe:ns:meta/">
<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"
  xmlns:dc="http://purl.org/dc/elements/1.1/"
  xmlns:xmp="http://ns.adobe.com/xap/1.0/"
  xmlns:pdfaid="http://www.aiim.org/pdfa/ns/id/">
<rdf:Description rdf:about="" xmp:CreatorTool="Fumarium"
  xmp:CreateDate="{at}" xmp:ModifyDate="{at}" xmp:MetadataDate="{at}">
<pdfaid:part>4</pdfaid:part>
<pdfaid:conformance>F</pdfaid:conformance>
<pdfaid:rev>2020</pdfaid:rev>
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{title}</rdf:li></rdf:Alt></dc:title>
</rdf:Description>
</rdf:RDF>
</x:xmpmeta>"""


class Column(NamedTuple):
    """A column of a table."""

    title: str
    width: float  # a share of the table's whole width
    align: str = "L"


class Row(NamedTuple):
    """A row of a table."""

    cells: tuple[str, ...]
    bold: bool = False
    small: bool = False
    spans: bool = False  # the first cell takes the whole width
    rule: bool = True  # a line above it


class Sheet(FPDF):
    """Pages with a foot that says which lot and record they belong to."""

    def __init__(
        self, title: str, foot: str, at_ms: int, fonts: FilePath = DEJAVU
    ) -> None:
        """Begin the first page."""
        whole = all((fonts / name).is_file() for name in (*FACES.values(), MONO))
        super().__init__(
            unit="pt", format="A4", enforce_compliance="PDF/A-4F" if whole else None
        )
        self._foot = foot
        self.lacking = False
        self.mark = "\u25a1" if whole else "?"
        self._known: frozenset[int] | None = None
        self._text, self._code = "helvetica", "courier"
        if whole:
            self._embed(fonts)
        self.set_title(self.plain(title))
        self.set_creator("Fumarium")
        self.set_lang("en")
        at = datetime.fromtimestamp(at_ms // 1000, UTC)
        self.set_creation_date(at)
        if whole:  # the library would write the time of day into it
            words = {"title": escape(self.plain(title)), "at": at.isoformat()}
            self.set_xmp_metadata(XMP.format(**words))
        self.set_margins(SIDE, MARGIN, SIDE)
        self.set_auto_page_break(True, margin=MARGIN + 14)
        self.c_margin = 0
        self.add_page()

    def _embed(self, fonts: FilePath) -> None:
        self._text, self._code = "text", "code"
        for face, name in FACES.items():
            self.add_font(self._text, face, fonts / name)
        self.add_font(self._code, "", fonts / MONO)
        cmaps: list[Any] = [
            self.fonts[key].cmap  # type: ignore[union-attr]
            for key in (self._text, self._text + "B", self._code)
        ]
        self._known = frozenset.intersection(*(frozenset(cmap) for cmap in cmaps))

    def footer(self) -> None:
        """Write lot, digest and page number under every page."""
        self.set_y(-MARGIN - 2)
        self._set(SMALL)
        self.set_text_color(90)
        self.cell(WIDTH - 60, 8, self.plain(self._foot))
        self.cell(60, 8, f"page {self.page_no()} of {{nb}}", align="R")
        self.set_text_color(0)

    def plain(self, text: str) -> str:
        """Give the text as this page can show it, on one line."""
        kept = []
        for letter in " ".join(degrees(text).split()):
            if self._shows(letter):
                kept.append(letter)
            else:
                self.lacking = True
                kept.append(self.mark)
        return "".join(kept)

    def _shows(self, letter: str) -> bool:
        if not letter.isprintable():
            return False
        if self._known is not None:
            return ord(letter) in self._known
        try:
            letter.encode("latin-1")
        except UnicodeEncodeError:
            return False
        return True

    def _set(self, size: float, bold: bool = False, code: bool = False) -> None:
        family = self._code if code else self._text
        self.set_font(family, "B" if bold and not code else "", size)

    def say(
        self,
        text: str,
        size: float = TEXT,
        *,
        bold: bool = False,
        width: float = WIDTH,
        code: bool = False,
    ) -> None:
        """Write a paragraph; ``code`` keeps its lines as they are, and on one page."""
        self._set(size, bold, code)
        lines = text.splitlines() if code else [text]
        if code:
            self.room(len(lines) * size * LEADING)
        for line in lines:
            self.multi_cell(
                width,
                size * LEADING,
                self.plain(line) if not code else line,
                align="L",
                new_x="LMARGIN",
                new_y="NEXT",
                wrapmode=WrapMode.CHAR if code else WrapMode.WORD,
            )

    def blank(self, words: str) -> None:
        """Leave a line to be filled in by hand."""
        self.room(26)
        self.ln(8)
        self._set(TEXT)
        text = self.plain(words)
        self.text(SIDE, self.get_y() + TEXT, text)
        left, y = SIDE + self.get_string_width(text) + 6, self.get_y() + TEXT + 1.5
        self.set_line_width(0.4)
        self.line(left, y, SIDE + WIDTH, y)
        self.ln(14)

    def heading(self, text: str, keep: float = 40) -> None:
        """Write a heading, on a page that has ``keep`` more points for what follows."""
        self.room(keep + 20)
        self.ln(7)
        self.say(text, LARGE, bold=True)
        self.ln(1.5)

    def left(self) -> float:
        """How much height is left on this page."""
        return float(self.page_break_trigger - self.get_y())

    def room(self, height: float) -> None:
        """Begin a new page unless this one has room for so much."""
        if self.will_page_break(height):
            self.add_page()

    def banner(self, words: str, under: Sequence[str], *, dark: bool) -> None:
        """Write the line that nobody must miss, in a box."""
        self.ln(5)
        top, indent = self.get_y(), 10
        self._set(TEXT + 0.6)
        inner = WIDTH - 2 * indent
        rows = sum(len(self._lines(text, inner)) for text in under)
        height = HUGE + 16 + rows * (TEXT + 0.6) * LEADING
        self.set_line_width(1.4)
        self.set_draw_color(0)
        if dark:
            self.set_fill_color(0)
            self.rect(SIDE, top, WIDTH, HUGE + 10, style="F")
        self.rect(SIDE, top, WIDTH, height, style="D")
        self.set_xy(SIDE + indent, top + 4)
        self.set_text_color(255 if dark else 0)
        size = HUGE if len(words) < 40 else HUGE - 4
        self._set(size, bold=True)
        self.cell(inner, HUGE + 2, self.plain(words))
        self.set_text_color(0)
        self.set_y(top + HUGE + 12)
        for text in under:
            self.set_x(SIDE + indent)
            self.say(text, TEXT + 0.6, width=inner)
        self.set_y(top + height + 2)

    def facts(self, pairs: Sequence[tuple[str, str]]) -> None:
        """Write names and values in two columns."""
        half = (len(pairs) + 1) // 2
        width = WIDTH / 2
        top = bottom = self.get_y()
        for number, (name, value) in enumerate(pairs):
            if number == half:
                self.set_y(top)
            left = SIDE if number < half else SIDE + width
            self.set_x(left)
            self._set(SMALL)
            self.set_text_color(90)
            self.cell(70, TEXT * LEADING, self.plain(name))
            self.set_text_color(0)
            self._set(TEXT)
            self.multi_cell(
                width - 76,
                TEXT * LEADING,
                self.plain(value),
                align="L",
                new_x="LMARGIN",
                new_y="NEXT",
            )
            bottom = max(bottom, self.get_y())
        self.set_y(bottom)

    def rows(self, columns: Sequence[Column], rows: Sequence[Row]) -> None:
        """Write a table; its head is written again on every page."""
        shares = sum(column.width for column in columns)
        widths = [column.width / shares * WIDTH for column in columns]
        aligns = [column.align for column in columns]
        head = Row(tuple(column.title for column in columns), bold=True, small=True)
        self._row(head, widths, aligns, rule=False, pale=True)
        for row in rows:
            if self.will_page_break(self._height(row, widths)):
                self.add_page()
                self._row(head, widths, aligns, rule=False, pale=True)
            self._row(row, widths, aligns, rule=row.rule)
        self._ruled()

    def _row(
        self,
        row: Row,
        widths: Sequence[float],
        aligns: Sequence[str],
        *,
        rule: bool,
        pale: bool = False,
    ) -> None:
        top, left, height = self.get_y(), SIDE, self._height(row, widths)
        if pale:
            self.set_fill_color(PALE)
            self.rect(SIDE, top, WIDTH, height, style="F")
        if rule:
            self._ruled()
        size = SMALL if row.small else TEXT
        self._set(size, row.bold)
        for cell, width, align in zip(
            row.cells, [WIDTH] if row.spans else widths, aligns, strict=False
        ):
            self.set_xy(left, top + 1.2)
            self.multi_cell(width - 5, size * LEADING, self.plain(cell), align=align)
            left += width
        self.set_xy(SIDE, top + height)

    def _height(self, row: Row, widths: Sequence[float]) -> float:
        size = SMALL if row.small else TEXT
        self._set(size, row.bold)
        most = max(
            len(self._lines(cell, width - 5))
            for cell, width in zip(
                row.cells, [WIDTH] if row.spans else widths, strict=False
            )
        )
        return most * size * LEADING + 2.4

    def _lines(self, text: str, width: float) -> list[str]:
        lines = self.multi_cell(
            width,
            text=self.plain(text),
            dry_run=True,
            output=MethodReturnValue.LINES,
        )
        assert isinstance(lines, list)
        return lines or [""]

    def _ruled(self) -> None:
        self.set_draw_color(RULE)
        self.set_line_width(0.3)
        self.line(SIDE, self.get_y(), SIDE + WIDTH, self.get_y())
        self.set_draw_color(0)

    def draw(self, scene: Scene) -> None:
        """Draw a scene over the width of the page."""
        self.room(scene.height)
        left, top = SIDE, self.get_y()
        for mark in scene.marks:
            if isinstance(mark, Box):
                self.set_fill_color(mark.shade)
                at = (left + mark.x, top + mark.y)
                self.rect(*at, mark.width, mark.height, style="F")
            elif isinstance(mark, Line):
                self._line(mark, left, top)
            else:
                self._set(mark.size, mark.bold)
                self.set_text_color(mark.shade)
                text = self.plain(mark.text)
                back = {"start": 0.0, "middle": 0.5, "end": 1.0}[mark.anchor]
                x = left + mark.x - back * self.get_string_width(text)
                self.text(x, top + mark.y, text)
        self.set_dash_pattern()
        self.set_draw_color(0)
        self.set_text_color(0)
        self.set_y(top + scene.height)

    def _line(self, mark: Line, left: float, top: float) -> None:
        points = [(left + x, top + y) for x, y in mark.points]
        if mark.filled:
            self.set_fill_color(mark.shade)
            self.polygon(points, style="F")
            return
        self.set_draw_color(mark.shade)
        self.set_line_width(mark.width)
        self.set_dash_pattern(*mark.dash)
        self.polyline(points)
