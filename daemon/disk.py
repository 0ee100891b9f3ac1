"""How much room is left for the journal, and when people have to know.

Below 10 % there is time to make room; below 5 % there is little.  Both are told of
their own.  It counts as ``df`` does: of the space that this user can have.
"""

import os
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from daemon.health import Change

# Name of the event, the share it is told below, and the word for it then.
MARKS = (("disk space", 10, "low"), ("last disk space", 5, "nearly gone"))
CLEAR = 2  # that much more has to be free before it counts as over


class Space(NamedTuple):
    """Bytes that are free and that there are."""

    free: int
    whole: int

    @property
    def percent(self) -> float:
        """The free share."""
        return 100 * self.free / self.whole if self.whole else 100.0


def space_at(path: Path) -> Space:
    """The space on the disk that holds a path.

    Raises:
        OSError: There is no such path.
    """
    found = os.statvfs(path)
    used = found.f_blocks - found.f_bfree
    free = found.f_bavail
    return Space(free * found.f_frsize, (used + free) * found.f_frsize)


class DiskWatch:
    """Which marks the free space has fallen below, and what to say of it."""

    def __init__(self, folder: Path, told: Mapping[str, str]) -> None:
        """Begin with what was told before: the last word of each event, by name."""
        self._folder = folder
        self._low = {name for name, _, word in MARKS if told.get(name) == word}

    def look(self, space: Space) -> list[Change]:
        """What has changed."""
        changes = []
        for name, mark, word in MARKS:
            if name not in self._low and space.percent < mark:
                self._low.add(name)
                changes.append(Change(name, "within", word, self._words(space)))
            elif name in self._low and space.percent >= mark + CLEAR:
                self._low.remove(name)
                changes.append(Change(name, word, "within", self._words(space)))
        return changes

    def _words(self, space: Space) -> str:
        left = f"{_say(space.free)} of {_say(space.whole)} ({space.percent:.1f} %)"
        words = f"free for {self._folder}: {left}"
        if self._low:
            words += "; move old backups and damaged journals away: on a full disk"
            words += " nothing is recorded"
        return words


def _say(count: int) -> str:
    return f"{count / 1e9:.1f} GB" if count >= 1e9 else f"{count / 1e6:.1f} MB"
