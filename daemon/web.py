"""The page's server: its own thread, its own port, nothing of the road in it.

The road publishes a ``View``; whoever asks over HTTP is answered from the last one.
What a person writes goes out through ``add_entry`` and nothing else does.

Rule 1: nothing heavy is imported before ``start``, and then in the page's own
thread: the road never waits for the page.
Rule 2: a page that fails says so in ``trouble``; it never stops the recording.
"""

import asyncio
import errno
import logging
import socket
import threading
from collections.abc import Callable, Collection
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING

from daemon.journal import Journal
from daemon.lots import Lots
from daemon.view import View
from rules.facts import Entry

if TYPE_CHECKING:
    import uvicorn

LOG = logging.getLogger(__name__)

AddEntry = Callable[[str, Entry], int]


class PageError(Exception):
    """The page cannot be served; the words say why and what to do."""


class Latest:
    """The last view published, and a way to wait for the next one.

    ``publish`` may be called from any thread; the rest belongs to the page's loop.
    """

    def __init__(self) -> None:
        """Start with no view and no loop to wake."""
        self.view: View | None = None
        self.closing = False
        self._lock = threading.Lock()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._news = asyncio.Event()
        self._moved_s: float | None = None

    def publish(self, view: View) -> None:
        """Replace the view, and wake whoever waits for it."""
        self.view = view
        self._wake(self._moved)

    def close(self) -> None:
        """Wake whoever waits, for the last time."""
        self.closing = True
        self._wake(self._tell)

    def attach(self) -> None:
        """From now on wake the loop that runs in this thread."""
        with self._lock:
            self._loop = asyncio.get_running_loop()
        if self.view is not None:
            self._moved()

    def detach(self) -> None:
        """From now on wake nobody."""
        with self._lock:
            self._loop = None

    async def after(self, seen: View | None, wait_s: float) -> bool:
        """Wait until there is another view than the one seen, or time is up."""
        if self.view is seen and not self.closing:
            try:
                async with asyncio.timeout(wait_s):
                    await self._news.wait()
            except TimeoutError:
                return False
        return True

    def still_s(self) -> float | None:
        """For how long nothing was published; None before the first view."""
        if self._moved_s is None:
            return None
        return asyncio.get_running_loop().time() - self._moved_s

    def _wake(self, call: Callable[[], None]) -> None:
        with self._lock:
            if self._loop is not None:
                self._loop.call_soon_threadsafe(call)

    def _moved(self) -> None:
        self._moved_s = asyncio.get_running_loop().time()
        self._tell()

    def _tell(self) -> None:
        told, self._news = self._news, asyncio.Event()
        told.set()


class Page:
    """The page of one site, served from a thread of the daemon."""

    def __init__(
        self,
        listen: str,
        port: int,
        add_entry: AddEntry,
        *,
        now_ms: Callable[[], int],
        lots: Lots,
        names: Collection[str] = (),
        stuck_after_s: float = 15,
    ) -> None:
        """Prepare a page that is not served yet.

        ``add_entry`` keeps an entry and answers its number; it is called in one
        thread of the page's own, one call at a time.  ``now_ms`` stamps entries.
        ``lots`` says where lots and records are read.  ``names`` are further host
        names under which people reach the page.  The road counts as stuck when it
        has not published for ``stuck_after_s``.
        """
        self._listen, self._port = listen, port
        self._add_entry, self._now_ms, self._lots = add_entry, now_ms, lots
        self._names = frozenset(name.lower() for name in names)
        self._stuck_after_s = stuck_after_s
        self._latest = Latest()
        self._server: uvicorn.Server | None = None
        self._socket: socket.socket | None = None
        self._thread: threading.Thread | None = None
        self.trouble = ""  # in words, once the page has stopped by itself

    @property
    def port(self) -> int:
        """The port people use; the one asked for until ``start`` has chosen."""
        return self._port

    def start(self) -> None:
        """Take the port and return at once; the first answer comes when it can.

        Raises:
            PageError: The port or the address cannot be had.
        """
        self._socket = _listening(self._listen, self._port)
        self._port = self._socket.getsockname()[1]
        self._thread = threading.Thread(target=self._run, name="page", daemon=True)
        self._thread.start()

    def publish(self, view: View) -> None:
        """Show this view from now on."""
        self._latest.publish(view)

    def stop(self) -> None:
        """Answer what was asked, then give the port back."""
        self._latest.close()
        if self._server is not None:
            self._server.should_exit = True
        if self._thread is not None:
            self._thread.join(timeout=10)
        if self._socket is not None:
            self._socket.close()

    def _run(self) -> None:
        try:
            asyncio.run(self._serve())
        except Exception as error:
            self.trouble = f"the page has stopped: {error!r}"
            LOG.exception("the page has stopped; the recording goes on")

    async def _serve(self) -> None:
        import uvicorn

        from daemon.routes import Desk, application

        assert self._socket is not None
        self._latest.attach()
        with (
            ThreadPoolExecutor(1, "page-entries") as entries,
            ThreadPoolExecutor(1, "page-lots") as readers,
        ):
            desk = Desk(
                latest=self._latest,
                entries=entries,
                add_entry=self._add_entry,
                now_ms=self._now_ms,
                readers=readers,
                lots=self._lots,
                names=self._names,
                stuck_after_s=self._stuck_after_s,
            )
            config = uvicorn.Config(
                application(desk),
                http="h11",
                ws="none",
                lifespan="off",
                log_config=None,
                access_log=False,
                server_header=False,
                proxy_headers=False,
                limit_concurrency=64,
                timeout_graceful_shutdown=2,
            )
            self._server = uvicorn.Server(config)
            try:
                if not self._latest.closing:
                    await self._server.serve(sockets=[self._socket])
            finally:
                self._latest.detach()


def writer(path: Path) -> Callable[[str, Entry], int]:
    """What the page adds entries with: a journal of its own, opened when needed."""
    opened: list[Journal] = []

    def add_entry(lot: str, entry: Entry) -> int:
        if not opened:
            opened.append(Journal(path))
        return opened[0].add_entry(lot, entry)

    return add_entry


def _listening(listen: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in listen else socket.AF_INET
    try:
        # Listening already here lets the first callers wait for the imports.
        taken = socket.create_server((listen, port), family=family, backlog=64)
        # Without this every answer waits 40 ms for a delayed acknowledgement.
        taken.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return taken
    except OSError as error:
        remedy = {
            errno.EADDRINUSE: "another program has this port: choose another one",
            errno.EACCES: "this user may not take this port: choose one above 1023",
            errno.EADDRNOTAVAIL: "this machine has no such address",
        }.get(error.errno or 0, str(error))
        raise PageError(f"page: cannot listen at {listen}:{port}: {remedy}") from error
    except OverflowError as error:
        raise PageError(f"page: {port} is not a port: choose 0 to 65535") from error
