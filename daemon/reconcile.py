"""Counts both sides of the mirror, and names what is missing in the copy.

The copy is read back through ``/api/v1/export``, which answers every stamp of a
series as JSON lines; a database without it cannot be counted here, and that is
said.  Both sides are walked in stretches of ``STRETCH`` readings, so that neither is
in memory as a whole.

Units: ``_ms`` milliseconds since 1970-01-01T00:00:00Z.
"""

import json
from collections.abc import Iterable, Iterator, Mapping
from itertools import islice
from typing import Any, NamedTuple

from daemon.copying import TIMEOUT_S, away, refusal
from daemon.journal import QUALITIES, YEAR_10000_MS, Journal
from daemon.mirror import Condition, MirrorError, Target

STRETCH = 50_000
LAST_MS = YEAR_10000_MS - 1

Key = tuple[int, str]  # at_ms and what tells two points of that time apart


class Gap(NamedTuple):
    """A run of points, one after the other in the journal, that the copy lacks."""

    channel: str  # "" for events
    from_ms: int
    to_ms: int
    points: int


class Side(NamedTuple):
    """How many points of one channel each side holds."""

    channel: str  # "" for events
    journal: int
    mirror: int


class Reconciled(NamedTuple):
    """Both sides counted, one ``Side`` a channel and one for events."""

    sides: tuple[Side, ...]
    gaps: tuple[Gap, ...]

    @property
    def equal(self) -> bool:
        """Whether nothing is missing and nothing is too many."""
        return not self.gaps and all(one.journal == one.mirror for one in self.sides)


def reconcile(journal: Journal, target: Target) -> Reconciled:
    """Count the journal's points and the copy's, and find what the copy lacks.

    A database may show what it has just confirmed only after a second or two.

    Raises:
        JournalError: The journal cannot be read.
        MirrorError: The database does not answer, or cannot be read back.
    """
    sides: list[Side] = []
    gaps: list[Gap] = []
    for name, number in sorted(journal.channels().items()):
        kept = copied = from_ms = 0
        pruned = journal.pruned_spans(number)  # the copy may keep what is gone here
        for stretch, to_ms in _stretches(journal, number):
            series = {"__name__": "reading_value", "site": target.site, "channel": name}
            here = set(stretch)
            found = [
                (at_ms, quality)
                for tags, stamps in _exported(target, series, from_ms, to_ms)
                for quality in [tags.get("quality", QUALITIES[0])]
                for at_ms in stamps
                if (at_ms, quality) in here or not _within(pruned, at_ms)
            ]
            kept, copied = kept + len(stretch), copied + len(found)
            gaps += _gaps(name, stretch, set(found))
            from_ms = to_ms + 1
        sides.append(Side(name, kept, copied))
    side, lacking = _events(journal, target)
    return Reconciled((*sides, side), (*gaps, *lacking))


def _within(spans: Iterable[tuple[int, int]], at_ms: int) -> bool:
    return any(first <= at_ms <= last for first, last in spans)


def _stretches(journal: Journal, channel: int) -> Iterator[tuple[list[Key], int]]:
    """A channel's points in order, cut up, each with the last time it reaches to."""
    after_ms = -1
    while after_ms < LAST_MS:
        copies = journal.copies(channel, after_ms + 1, LAST_MS)
        rows = [(copy[0], copy[2]) for copy in islice(copies, STRETCH)]
        after_ms = LAST_MS
        if len(rows) == STRETCH:
            # The last time may have one more copy: leave it to the next stretch.
            after_ms = rows[-1][0] - 1
            rows = [row for row in rows if row[0] <= after_ms]
        if rows:
            yield [(at_ms, QUALITIES[place]) for at_ms, place in rows], after_ms


def _events(journal: Journal, target: Target) -> tuple[Side, list[Gap]]:
    names = ("lot", "subject", "name", "channel", "now")
    kept: list[Key] = sorted(
        (noticed.event.at_ms, json.dumps([noticed.lot, *noticed.event.key[1:]]))
        for noticed in journal.events()
    )
    series = {"__name__": "event_happened", "site": target.site}
    found = [
        (at_ms, json.dumps([tags.get(name, "") for name in names]))
        for tags, stamps in _exported(target, series, 0, LAST_MS)
        for at_ms in stamps
    ]
    return Side("", len(kept), len(found)), _gaps("", kept, set(found))


def _gaps(channel: str, kept: Iterable[Key], found: set[Key]) -> list[Gap]:
    gaps: list[Gap] = []
    missing: list[int] = []

    def close() -> None:
        if missing:
            gaps.append(Gap(channel, missing[0], missing[-1], len(missing)))
            missing.clear()

    for key in kept:
        if key in found:
            close()
        else:
            missing.append(key[0])
    close()
    return gaps


def _exported(
    target: Target, series: Mapping[str, str], from_ms: int, to_ms: int
) -> Iterator[tuple[Mapping[str, str], list[int]]]:
    """The tags and stamps of each part of the series that the copy holds."""
    import urllib3

    wanted = ",".join(f"{name}={json.dumps(text)}" for name, text in series.items())
    fields: Any = {"match[]": f"{{{wanted}}}", "start": _s(from_ms), "end": _s(to_ms)}
    try:
        with urllib3.PoolManager(timeout=TIMEOUT_S, retries=False) as pool:
            answer = pool.request(
                "GET",
                target.url.rstrip("/") + "/api/v1/export",
                fields=fields,
                headers={"Authorization": f"Token {target.token}"},
                preload_content=False,
            )
            if answer.status in (404, 405):
                words = f"mirror: {target.url} cannot be counted: no /api/v1/export"
                raise MirrorError(Condition.REFUSED, words)
            if answer.status != 200:
                said = answer.read(1_000).decode(errors="replace")
                raise refusal(target, answer.status, said)
            for line in answer:
                part = json.loads(line)
                yield part["metric"], part["timestamps"]
    except (urllib3.exceptions.HTTPError, OSError):
        raise away(target) from None


def _s(at_ms: int) -> str:
    whole, rest = divmod(at_ms, 1000)
    return f"{whole}.{rest:03}"
