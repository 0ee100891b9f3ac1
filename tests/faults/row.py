"""One row of the table: what a fault did, counted, and how the table is printed.

``lost`` is what was published and is not in the journal, ``duplicated`` what stands
in it more than once or was never published.  Both must read 0.
"""

from collections import Counter
from collections.abc import Iterable
from typing import NamedTuple

from rules.facts import Event, Reading
from rules.replay import in_order

HEAD = ("fault", "tried", "published", "per s", "journalled", "duplicated", "lost")
HEAD_2 = ("events", "alerts due", "delivered", "seconds")


class Row(NamedTuple):
    """What came of one fault, tried so often."""

    fault: str
    tried: int
    published: int
    journalled: int
    duplicated: int
    lost: int
    events: str  # "equal", or how they differ from the undisturbed run
    due: int
    delivered: int
    remarks: tuple[str, ...] = ()  # what else did not hold; none is good
    spoke_s: float = 0.0  # for how long readings were published at an even pace

    @property
    def pace(self) -> str:
        """How many readings a second were published; "-" where they had no pace."""
        return f"{self.published / self.spoke_s:.0f}" if self.spoke_s else "-"

    @property
    def good(self) -> bool:
        """Whether nothing was lost, doubled, judged otherwise or left untold."""
        return (
            (self.lost, self.duplicated) == (0, 0)
            and self.journalled == self.published
            and self.events in ("equal", "-")
            and self.delivered == self.due
            and not self.remarks
        )


def together(rows: Iterable[Row]) -> Row:
    """The rows of one fault as one."""
    rows = list(rows)
    first = rows[0]
    return Row(
        first.fault,
        tried=sum(row.tried for row in rows),
        published=sum(row.published for row in rows),
        journalled=sum(row.journalled for row in rows),
        duplicated=sum(row.duplicated for row in rows),
        lost=sum(row.lost for row in rows),
        events=next((row.events for row in rows if row.events != "equal"), "equal"),
        due=sum(row.due for row in rows),
        delivered=sum(row.delivered for row in rows),
        remarks=tuple(word for row in rows for word in row.remarks),
        spoke_s=sum(row.spoke_s for row in rows),
    )


class Kept(NamedTuple):
    """What was published against what the journal holds."""

    published: int
    journalled: int
    duplicated: int
    lost: int


def compared(published: Iterable[Reading], journalled: Iterable[Reading]) -> Kept:
    """Count readings by channel, time, value and quality, each exactly once."""
    sent = Counter(one._replace(received_ms=0) for one in published)
    kept = Counter(one._replace(received_ms=0) for one in journalled)
    lost, extra = sent - kept, kept - sent
    return Kept(sent.total(), kept.total(), extra.total(), lost.total())


def events_against(found: Iterable[Event], wanted: Iterable[Event]) -> str:
    """The word "equal", or how two sets of events differ."""
    ours, theirs = in_order(found), in_order(wanted)
    if ours == theirs:
        return "equal"
    missing = [event for event in theirs if event not in ours]
    extra = [event for event in ours if event not in theirs]
    return f"{len(missing)} missing {missing[:1]}, {len(extra)} extra {extra[:1]}"


def head() -> str:
    """The first lines of the table."""
    return f"{_cells((*HEAD, *HEAD_2))}\n{'-' * 125}"


def line(row: Row, seconds: float) -> str:
    """A row as a line of the table; below it what did not hold."""
    counts = (row.tried, row.published, row.pace, *row[3:6])
    cells = (*counts, row.events[:9], row.due, row.delivered, f"{seconds:.0f}")
    words = [] if row.events in ("equal", "-") else [f"events: {row.events}"]
    below = [f"    {word}" for word in [*words, *row.remarks]]
    return "\n".join([_cells((row.fault, *map(_figure, cells))), *below])


def _figure(cell: object) -> str:
    return f"{cell:,}" if isinstance(cell, int) else str(cell)


def _cells(cells: Iterable[str]) -> str:
    first, *rest = cells
    return f"{first:<31}" + "".join(
        f"{cell:>{len_}}" for cell, len_ in zip(rest, W, strict=True)
    )


W = (7, 11, 7, 12, 12, 7, 11, 12, 11, 9)
