"""What the service manager is told: ready, alive, and in a few words how it goes.

The watchdog notice is sent by the road itself after it has moved, so a stuck road
is restarted.  Outside a service manager nothing is sent.

Source: sd_notify(3) of systemd: one datagram to ``$NOTIFY_SOCKET``, lines of
``VARIABLE=value``; a name that begins with ``@`` is in the abstract namespace.
"""

import contextlib
import socket
from collections.abc import Mapping


class Notifier:
    """Sends notices to the service manager, if there is one."""

    def __init__(self, environment: Mapping[str, str]) -> None:
        """Take the manager's address from ``NOTIFY_SOCKET``."""
        address = environment.get("NOTIFY_SOCKET", "")
        self._address = "\0" + address[1:] if address.startswith("@") else address

    def ready(self) -> None:
        """Say that the start is over."""
        self._send("READY=1")

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
