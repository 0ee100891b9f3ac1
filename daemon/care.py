"""What looks after the board beside the road: its disk, its heartbeat, old readings.

Nothing here may hold up the road: looking at the disk is one call of the system, and
the rest has threads and processes of its own.
"""

import contextlib
from collections.abc import Callable, Iterator
from pathlib import Path

from daemon.compaction import Compactor
from daemon.disk import MARKS, DiskWatch, Space, space_at
from daemon.health import Change
from daemon.heartbeat import Heartbeat
from daemon.journal import Journal, JournalError
from daemon.settings import Settings
from daemon.view import Figures

LOOK_MS = 10_000
UNKNOWN = Space(0, 0)


class Care:
    """The parts, from the daemon's start to its end."""

    def __init__(
        self,
        settings: Settings,
        journal: Journal,
        last_word: Callable[[str], str],
        space: Callable[[Path], Space] = space_at,
    ) -> None:
        """Start them; ``last_word`` gives how an event of the site stood, by name."""
        self._journal, self._space_at = journal, space
        self._folder = journal.path.absolute().parent
        told = {name: last_word(name) for name, _, _ in MARKS}
        self._disk, self._space = DiskWatch(self._folder, told), UNKNOWN
        self._looked_ms: int | None = None
        self._refusals = 0
        beat = settings.heartbeat
        self._heart = beat and Heartbeat(beat.address.reveal(), beat.every_ms / 1000)
        # An invented clock says nothing about how old a reading is.
        age_ms = settings.compact_ms
        self._compactor = None if settings.pace else Compactor(journal.path, age_ms)

    def look(self, now_ms: int, *, recording: bool) -> Iterator[Change]:
        """What has changed; ``now_ms`` counts steadily."""
        if self._heart:
            if recording:
                self._heart.alive()
            yield from self._heart.news()
        if self._looked_ms is None or now_ms - self._looked_ms >= LOOK_MS:
            self._looked_ms = now_ms
            with contextlib.suppress(OSError):
                self._space = self._space_at(self._folder)
                yield from self._disk.look(self._space)

    def figures(self, readings: int) -> Figures:
        """What is counted, as far as it can be had just now."""
        with contextlib.suppress(JournalError):
            self._refusals = self._journal.last_refusal()
        return Figures(
            readings=readings,
            refusals=self._refusals,
            journal_bytes=sum(map(_size, self._files())),
            free_bytes=self._space.free,
            whole_bytes=self._space.whole,
        )

    def close(self) -> None:
        """End every part."""
        if self._heart:
            self._heart.close()
        if self._compactor:
            self._compactor.close()

    def _files(self) -> list[Path]:
        path = self._journal.path
        return [path, path.with_name(f"{path.name}-wal")]


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0
