"""What the service manager is told: ready, alive, and in a few words how it goes.

``Change`` is what a part that watches the board has to say of it.

The watchdog notice is sent by the road itself after it has moved, so a stuck road
is restarted.  Before there is a road, while a large journal is looked over and its
cooks are taken up, a thread asks for more time, and not for ever.  Outside a service
manager nothing is sent.

Source: sd_notify(3) of systemd: one datagram to ``$NOTIFY_SOCKET``, lines of
``VARIABLE=value``; a name that begins with ``@`` is in the abstract namespace.
``EXTEND_TIMEOUT_USEC`` lets a start take that much longer, from now on.
"""

import contextlib
import socket
import threading
from collections.abc import Iterator, Mapping
from typing import NamedTuple

BUSY_US = 60_000_000
BUSY_EVERY_S = 20.0
START_S = 3600.0  # reading over some gigabytes on a slow card


class Change(NamedTuple):
    """A part of the site that is not what it was, in the words of an event."""

    name: str
    was: str
    now: str
    why: str


class Notifier:
    """Sends notices to the service manager, if there is one."""

    def __init__(self, environment: Mapping[str, str]) -> None:
        """Take the manager's address from ``NOTIFY_SOCKET``."""
        address = environment.get("NOTIFY_SOCKET", "")
        self._address = "\0" + address[1:] if address.startswith("@") else address

    def ready(self) -> None:
        """Say that the start is over."""
        self._send("READY=1")

    def busy(self, status: str) -> None:
        """Say that a long piece of work goes on, before ``ready`` or after it."""
        self._send(f"WATCHDOG=1\nEXTEND_TIMEOUT_USEC={BUSY_US}\nSTATUS={status}")

    @contextlib.contextmanager
    def starting(
        self, status: str, every_s: float = BUSY_EVERY_S, most_s: float = START_S
    ) -> Iterator[None]:
        """Say that the start goes on, for as long as the block does or ``most_s``."""
        over = threading.Event()

        def go_on() -> None:
            left_s = most_s
            while left_s > 0 and not over.wait(min(every_s, left_s)):
                left_s -= every_s
                self.busy(status)

        thread = threading.Thread(target=go_on, name="starting", daemon=True)
        if self._address:
            thread.start()
        try:
            yield
        finally:
            over.set()
            if self._address:
                thread.join()

    def alive(self, status: str) -> None:
        """Say that the road has moved, and how it goes."""
        self._send(f"WATCHDOG=1\nSTATUS={status}")

    def stopping(self) -> None:
        """Say that the end was asked for."""
        self._send("STOPPING=1")

    def _send(self, lines: str) -> None:
        if not self._address:
            return
        # A manager that does not listen must not stop the recording.
        with (
            contextlib.suppress(OSError),
            socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as notices,
        ):
            notices.sendto(lines.encode(), self._address)
