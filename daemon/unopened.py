"""A journal that cannot be opened yet: people are told, and it is tried again.

A board may come up on a disk that is full, that may only be read (a card that the
kernel no longer trusts) or that is not there.  A daemon that ends then is started
again for ever, and nobody hears of it; the broker keeps the readings meanwhile.
"""

import logging
import threading
from pathlib import Path

from daemon.alarm import Alarm
from daemon.clock import Clock
from daemon.health import Notifier
from daemon.journal import Journal, JournalError, Trouble
from daemon.journal_swap import held
from daemon.sender import Sender
from daemon.settings import Settings

LOG = logging.getLogger(__name__)

RETRY_S = 1.0
# What mends itself, or can be mended beside a daemon that waits.
WAITED_FOR = frozenset(
    {Trouble.DISK_FULL, Trouble.READ_ONLY, Trouble.MISSING, Trouble.OTHER}
)


class Unopened:
    """The wait for a journal, with the alarm that tells people of it.

    The road goes on with the same alarm, which then tells that it is over.
    """

    def __init__(self, settings: Settings, clock: Clock, notifier: Notifier) -> None:
        """Wait for the journal of these settings."""
        self._settings, self._clock, self._notifier = settings, clock, notifier
        self.alarm, self.sender = Alarm(settings.contacts), Sender()

    def wait(self, stopping: threading.Event) -> None:
        """Return once it can be opened, or it is known that waiting will not help."""
        said = ""
        while not stopping.is_set():
            trouble = _trouble(self._settings.journal)
            if not trouble:
                return
            if trouble != said:
                LOG.error("not recording: %s", trouble)
                self._notifier.ready()  # or the start would be given up
            said = trouble
            self._tell(trouble)
            self._notifier.alive(f"NOT RECORDING: {trouble}")
            stopping.wait(RETRY_S)

    def _tell(self, trouble: str) -> None:
        now_ms = self._clock.monotonic_ms()
        self.alarm.failing(trouble, now_ms)
        for notice in self.alarm.due(now_ms):
            address = self._settings.contacts[notice.contact].reveal()
            self.sender.offer(notice, address)
        for notice, outcome, _ in self.sender.finished():
            self.alarm.answered(notice, outcome, now_ms)


def _trouble(path: Path) -> str:
    """Why it cannot be opened yet; "" where whoever opens it is to see for himself."""
    try:
        with held(path):  # which finishes what was cut off before a new file is made
            Journal(path).close()
    except JournalError as error:
        return str(error) if error.trouble in WAITED_FOR else ""
    except OSError as error:
        return f"journal {path}: {error.strerror}"
    return ""
