"""Where alerts arrive in tests: a real HTTP server and a real SMTP server.

Both listen on loopback, are started and stopped by the test that needs them, and
come back on the same port after a stop.  ``wait_for`` waits for arrivals by a
condition, never by sleeping.
"""

import json
import threading
from email import message_from_bytes, policy
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import TracebackType
from typing import Any, NamedTuple, Self

from aiosmtpd.controller import Controller

from tests.servers import unused_port


class Arrived(NamedTuple):
    """One alert as it came in."""

    title: str
    body: str
    path: str  # of the HTTP request, or the mail's recipients


class Receiver:
    """What both have in common: arrivals, and waiting for them."""

    def __init__(self, port: int = 0) -> None:
        self.port = port or unused_port()
        self._arrived: list[Arrived] = []
        self._tried = 0
        self._changed = threading.Condition()

    def start(self) -> None:
        """Listen on the port, again if it was stopped."""
        raise NotImplementedError

    def stop(self) -> None:
        """Stop listening: whoever comes now is refused."""
        raise NotImplementedError

    def wait_for(self, n: int, deadline_s: float = 30.0) -> list[Arrived]:
        """Wait until ``n`` alerts have arrived; answer all there are."""
        with self._changed:
            came = self._changed.wait_for(lambda: len(self._arrived) >= n, deadline_s)
            assert came, f"{len(self._arrived)} of {n} arrived in {deadline_s:g} s"
            return list(self._arrived)

    def wait_for_tries(self, n: int, deadline_s: float = 30.0) -> int:
        """Wait until somebody has tried ``n`` times, with or without success."""
        with self._changed:
            came = self._changed.wait_for(lambda: self._tried >= n, deadline_s)
            assert came, f"{self._tried} of {n} tries in {deadline_s:g} s"
            return self._tried

    @property
    def arrived(self) -> list[Arrived]:
        """All alerts that have arrived."""
        with self._changed:
            return list(self._arrived)

    def keep(self, arrived: Arrived | None) -> None:
        """Count a try, and keep what arrived with it."""
        with self._changed:
            self._tried += 1
            if arrived:
                self._arrived.append(arrived)
            self._changed.notify_all()

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()


class HttpReceiver(Receiver):
    """An HTTP server that takes apprise's ``json://`` form.

    ``status`` is what it answers; anything but 200 keeps nothing.  While ``holds``
    is set it takes a request and answers only when ``holds`` is cleared.
    """

    def __init__(self, port: int = 0, status: int = 200) -> None:
        super().__init__(port)
        self.status = status
        self._free = threading.Event()
        self._free.set()
        self._server: ThreadingHTTPServer | None = None

    @property
    def address(self) -> str:
        """Its address in apprise's form."""
        return f"json://127.0.0.1:{self.port}/alerts"

    def hold(self) -> None:
        """Answer nobody until ``release``."""
        self._free.clear()

    def release(self) -> None:
        """Answer again, also those who have waited."""
        self._free.set()

    def start(self) -> None:
        """Listen on the port, again if it was stopped."""
        receiver = self

        class Request(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                length = int(self.headers["Content-Length"])
                body = json.loads(self.rfile.read(length))
                good = receiver.status == 200
                arrived = Arrived(body["title"], body["message"], self.path)
                receiver.keep(arrived if good else None)
                receiver._free.wait()
                self.send_response(receiver.status)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, format: str, *args: Any) -> None:
                """Say nothing on the terminal."""

        self._server = ThreadingHTTPServer(("127.0.0.1", self.port), Request)
        self._server.daemon_threads = True
        threading.Thread(
            target=self._server.serve_forever, args=(0.02,), daemon=True
        ).start()

    def stop(self) -> None:
        """Stop listening: whoever comes now is refused."""
        self.release()
        if self._server:
            self._server.shutdown()
            self._server.server_close()
            self._server = None


class SmtpReceiver(Receiver):
    """A mail server.  ``refuses`` makes it answer 451 (RFC 5321, 4.2.3)."""

    def __init__(self, port: int = 0) -> None:
        super().__init__(port)
        self.refuses = False
        self._controller: Controller | None = None

    @property
    def address(self) -> str:
        """Its address in apprise's form."""
        return (
            f"mailto://127.0.0.1:{self.port}"
            "?from=house@example.org&to=operator@example.org&mode=insecure"
        )

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        """Take one mail, as aiosmtpd asks its handler to."""
        if self.refuses:
            self.keep(None)
            return "451 Requested action aborted: local error in processing"
        mail = message_from_bytes(envelope.content, policy=policy.default)
        text = mail.get_body(("plain",))
        assert text is not None
        title, to = str(mail["Subject"]), ", ".join(envelope.rcpt_tos)
        self.keep(Arrived(title, text.get_content().strip(), to))
        return "250 OK"

    def start(self) -> None:
        """Listen on the port, again if it was stopped."""
        self._controller = Controller(self, hostname="127.0.0.1", port=self.port)
        self._controller.start()

    def stop(self) -> None:
        """Stop listening: whoever comes now is refused."""
        if self._controller:
            self._controller.stop()
            self._controller = None
