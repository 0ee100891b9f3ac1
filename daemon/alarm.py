"""Tells people what cannot be written down: that nothing is being recorded.

Every other alert comes out of the journal (``daemon.outbox``); this one is for when
the journal itself fails, so it goes straight to every contact of the site and nothing
is kept of it.  It is told once the failure has lasted, told again while it does, and
what ends it is told too.

Units: ``_ms`` milliseconds of a clock that never steps.
"""

from collections.abc import Iterable

from rules.alerts import Notice, Outcome
from rules.units import say_ms

FIRST_MS = 20_000  # what mends itself sooner is nobody's business
AGAIN_MS = 600_000
RETRY_MS = 10_000

OURS = 0  # no alert of the journal has this number


class Alarm:
    """Whether the recording fails, since when, and who is still to be told."""

    def __init__(self, contacts: Iterable[str]) -> None:
        """Begin with all well."""
        self._contacts = tuple(contacts)
        self._since_ms: int | None = None
        self._why = ""
        self._told = False  # at least once, so that its end is worth telling
        self._next_ms: dict[str, int] = {}  # when each contact is to be told

    def failing(self, why: str, now_ms: int) -> None:
        """Take notice that nothing can be recorded, and why."""
        self._why = why
        if self._since_ms is None:
            self._since_ms = now_ms
            self._next_ms = dict.fromkeys(self._contacts, now_ms + FIRST_MS)

    def well(self, now_ms: int) -> str:
        """Take notice that all is recorded; the words of a failure that is over."""
        if self._since_ms is None:
            return ""
        lasted_ms, self._since_ms = now_ms - self._since_ms, None
        words = f"nothing could be recorded for {say_ms(lasted_ms)}: {self._why}"
        self._next_ms = dict.fromkeys(self._contacts, now_ms) if self._told else {}
        self._why = words
        return words if lasted_ms >= FIRST_MS else ""

    def due(self, now_ms: int) -> list[Notice]:
        """The notices to send now; each contact's is put off until it is answered."""
        notices = []
        for contact, at_ms in self._next_ms.items():
            if at_ms <= now_ms:
                self._next_ms[contact] = now_ms + AGAIN_MS
                notices.append(Notice(OURS, contact, *self._words(), 0))
        if self._since_ms is None:
            self._told = False
            self._next_ms = {c: at for c, at in self._next_ms.items() if at <= now_ms}
        else:
            self._told = self._told or bool(notices)
        return notices

    def answered(self, notice: Notice, outcome: Outcome, now_ms: int) -> None:
        """Try again soon where a contact could not be told."""
        if self._since_ms is not None and outcome is Outcome.FAILED:
            self._next_ms[notice.contact] = now_ms + RETRY_MS

    def _words(self) -> tuple[str, str]:
        if self._since_ms is None:
            return "Recording again", f"{self._why}\nWhat the broker kept is recorded."
        return "NOT RECORDING", f"{self._why}\nReadings wait in the broker until then."
