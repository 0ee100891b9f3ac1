"""When what people wrote acts on a cook: at its own time, or later if it came late.

An entry that came after its time was already judged acts at the horizon instead.
The daemon says so by a ``LATE`` entry, so that a restart, the record and its
verification let it act at the same moment as the daemon did.
"""

from collections.abc import Iterable

from daemon.journal import Kept
from rules.facts import Entry, EntryKind

MOVES = (
    EntryKind.NEXT_STAGE,
    EntryKind.END,
    EntryKind.MOVED,
    EntryKind.SPOT_CHECK,
    EntryKind.LIFTED,
)
BY_US = "fumarium"


def late(kept: Kept, horizon_ms: int, now_ms: int) -> Entry:
    """The entry that says from when a late one acts."""
    return Entry(EntryKind.LATE, horizon_ms, now_ms, BY_US, about=str(kept.number))


def acting(kept: Iterable[Kept]) -> list[Entry]:
    """Entries at the moments at which they act, without what only says so."""
    rows = list(kept)
    says = [row.entry for row in rows if row.entry.kind is EntryKind.LATE]
    moved = {entry.about: entry.at_ms for entry in says}
    return [_at(row, moved) for row in rows if row.entry.kind is not EntryKind.LATE]


def _at(row: Kept, moved: dict[str, int]) -> Entry:
    at_ms = moved.get(str(row.number))
    if at_ms is None:
        return row.entry
    text = "; ".join(filter(None, [row.entry.text, "came late, and counts from here"]))
    return row.entry._replace(at_ms=at_ms, text=text)
