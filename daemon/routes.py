"""What the page answers: every route, and who may ask.

Importing this imports the web framework; ``daemon.web`` does so in the page's own
thread.

Rule 1: a question is answered from the last view; only a written entry goes
further, and it counts as written only after ``add_entry`` has answered.
Rule 2: whoever asks under a name that is not this machine's is turned away (a
foreign page could have pointed its own name here), and so is a form that a page
from elsewhere sends.
Rule 3: nothing asked is unbounded: bytes, seconds, listeners.

Source: the response headers follow W3C Content Security Policy Level 3 and the
Fetch standard (Origin, Sec-Fetch-Site); events are the HTML standard's
``text/event-stream``.
"""

import asyncio
import hashlib
import ipaddress
import json
import logging
import socket
from collections.abc import AsyncIterator, Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from starlette.applications import Starlette
from starlette.datastructures import Headers, MutableHeaders
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from daemon import metrics
from daemon.asked import Asked, read_acknowledgement, read_move, read_note, read_spots
from daemon.journal_errors import JournalError
from daemon.lots import Lots, NoLotError, lots_as_json
from daemon.view import View, as_json, curves_as_json
from daemon.web import AddEntry, Latest
from rules.facts import Entry

LOG = logging.getLogger(__name__)
Found = TypeVar("Found")

MOST_BYTES = 16_384
BODY_S = 10
LISTENERS = 32
KEEP_ALIVE_S = 15
PAGE = Path(__file__).with_name("page")
KINDS = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
}
HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; "
        "connect-src 'self'; img-src 'self' data:; base-uri 'none'; "
        "form-action 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
# Endings that no one outside can register (RFC 6761, RFC 6762, RFC 8375, ICANN).
OWN_ENDINGS = (".local", ".localhost", ".home.arpa", ".internal", ".lan")


@dataclass(frozen=True, slots=True)
class Desk:
    """What the routes may use of the daemon."""

    latest: Latest
    entries: ThreadPoolExecutor  # of one thread
    add_entry: AddEntry
    now_ms: Callable[[], int]
    readers: ThreadPoolExecutor  # of one thread
    lots: Lots
    names: frozenset[str]
    stuck_after_s: float


def application(desk: Desk) -> ASGIApp:
    """Everything the page answers, behind the check of who may ask."""
    answers = Answers(desk)
    routes = [
        Route("/view", answers.view, methods=["GET"]),
        Route("/curves", answers.curves, methods=["GET"]),
        Route("/events", answers.events, methods=["GET"]),
        Route("/health", answers.health, methods=["GET"]),
        Route("/metrics", answers.metrics, methods=["GET"]),
        Route("/lots", answers.lots, methods=["GET"]),
        Route("/lot", answers.lot, methods=["GET"]),
        Route("/file", answers.file, methods=["GET"]),
        Route("/acknowledge", answers.acknowledge, methods=["POST"]),
        Route("/note", answers.note, methods=["POST"]),
        Route("/moved", answers.moved, methods=["POST"]),
        Route("/spot-check", answers.spot_check, methods=["POST"]),
        *(Route(path, reply, methods=["GET"]) for path, reply in _files()),
    ]
    return Guard(GZipMiddleware(Starlette(routes=routes), 1000, 6), desk.names)


class Answers:
    """One method a route."""

    def __init__(self, desk: Desk) -> None:
        """Answer from this desk, with nobody listening yet."""
        self._desk = desk
        self._listeners = 0

    async def view(self, request: Request) -> Response:
        """The last view as JSON."""
        view = self._desk.latest.view
        if view is None:
            return _refused(503, "the daemon has not shown anything yet")
        return _json(request, as_json(view))

    async def curves(self, request: Request) -> Response:
        """The recent past of every channel, from ``after`` on where it is given."""
        view, after = self._desk.latest.view, request.query_params.get("after", "0")
        if not (after.isascii() and after.isdigit() and len(after) <= 15):
            return _refused(400, f"after: {after[:40]!r} is not a time in ms")
        if view is None:
            return _refused(503, "the daemon has not shown anything yet")
        return _json(request, curves_as_json(view, int(after)))

    async def events(self, request: Request) -> Response:
        """Every view as it comes; ``pulse`` where nothing but the time changed."""
        if self._listeners >= LISTENERS:
            return _refused(503, f"{LISTENERS} pages are listening already")
        return StreamingResponse(
            self._stream(),
            media_type="text/event-stream",
            headers={"Cache-Control": "no-store", "X-Accel-Buffering": "no"},
        )

    async def health(self, request: Request) -> Response:
        """200 while the road moves and judges every lot that goes on, else 503."""
        still_s, view = self._desk.latest.still_s(), self._desk.latest.view
        moves = still_s is not None and still_s <= self._desk.stuck_after_s
        plain = {
            "road_moves": moves,
            "still_for_ms": None if still_s is None else round(still_s * 1000),
            "broker_connected": view is not None and view.broker.connected,
            "recording": view is not None and view.recording.recording,
            "lots_not_judged": [] if view is None else list(view.unjudged),
        }
        well = moves and not plain["lots_not_judged"]
        headers = {"Cache-Control": "no-store"}
        return JSONResponse(plain, 200 if well else 503, headers)

    async def metrics(self, request: Request) -> Response:
        """The figures of the last view, for a monitoring system."""
        view = self._desk.latest.view
        if view is None:
            return _refused(503, "the daemon has not shown anything yet")
        text = metrics.as_text(view, self._desk.latest.still_s())
        headers = {"Content-Type": metrics.KIND, "Cache-Control": "no-store"}
        return Response(text, headers=headers)

    async def lots(self, request: Request) -> Response:
        """One page of the lots, newest first; ``find`` is a part of their names."""
        page, find = (request.query_params.get(name, "") for name in ("page", "find"))
        if page and not (page.isascii() and page.isdigit() and len(page) <= 9):
            return _refused(400, f"page: {page[:40]!r} is not a number")

        def read() -> bytes:
            return lots_as_json(self._desk.lots.listed(int(page or 1), find))

        return await self._read(request, read)

    async def lot(self, request: Request) -> Response:
        """One lot, with its stages, limits, addenda and what was written."""
        name = request.query_params.get("lot", "")
        return await self._read(
            request, lambda: lots_as_json(self._desk.lots.whole(name))
        )

    async def file(self, request: Request) -> Response:
        """A file of a lot's record, to be kept."""
        lot, name = (request.query_params.get(each, "") for each in ("lot", "name"))
        found = await self._found(lambda: self._desk.lots.file(lot, name))
        if isinstance(found, Response):
            return found
        return FileResponse(found, filename=found.name)

    async def _read(self, request: Request, read: Callable[[], bytes]) -> Response:
        found = await self._found(read)
        return found if isinstance(found, Response) else _json(request, found)

    async def _found(self, look: Callable[[], Found]) -> Found | Response:
        """What a look at journal and records gives, in the thread that reads them."""
        loop = asyncio.get_running_loop()
        try:
            return await loop.run_in_executor(self._desk.readers, look)
        except NoLotError as error:
            return _refused(404, str(error))
        except (JournalError, OSError) as error:
            LOG.warning("the lots cannot be read: %s", error)
            return _refused(503, f"the lots cannot be read: {error}")

    async def acknowledge(self, request: Request) -> Response:
        """Keep that somebody has acknowledged an alert."""
        return await self._written(request, read_acknowledgement)

    async def note(self, request: Request) -> Response:
        """Keep a note or a corrective action."""
        return await self._written(request, read_note)

    async def moved(self, request: Request) -> Response:
        """Keep that a probe is in another piece now."""
        return await self._written(request, read_move)

    async def spot_check(self, request: Request) -> Response:
        """Keep a set of temperatures that were taken by hand."""
        return await self._written(request, read_spots)

    async def _written(
        self, request: Request, read: Callable[[object, View], Asked | str]
    ) -> Response:
        view = self._desk.latest.view
        if view is None:
            return _refused(503, "the daemon has not shown anything yet: try again")
        body = await _body(request)
        if isinstance(body, Response):
            return body
        asked = read(body, view)
        if isinstance(asked, str):
            return _refused(400, asked)
        now_ms = self._desk.now_ms()
        entry = Entry(asked.kind, now_ms, now_ms, asked.who, asked.text, asked.about)
        try:
            number = await asyncio.get_running_loop().run_in_executor(
                self._desk.entries, self._desk.add_entry, asked.lot, entry
            )
        except Exception as error:
            LOG.exception("an entry could not be written")
            return _refused(503, f"NOT written: {error}")
        return JSONResponse({"entry": number, "at_ms": now_ms}, 201)

    async def _stream(self) -> AsyncIterator[bytes]:
        latest, seen = self._desk.latest, None
        self._listeners += 1
        try:
            while not latest.closing:
                view = latest.view
                if view is not None and view is not seen:
                    yield _event(view, seen)
                    seen = view
                elif not await latest.after(seen, KEEP_ALIVE_S):
                    yield b": no news\n\n"
        finally:
            self._listeners -= 1


class Guard:
    """Turns away who may not ask, and puts the protecting headers on every answer."""

    def __init__(self, inner: ASGIApp, names: frozenset[str]) -> None:
        """Let through to ``inner`` who asks under an own name or one of ``names``."""
        self._inner = inner
        self._names = names | {socket.gethostname().lower(), socket.getfqdn().lower()}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""

        async def protected(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).update(HEADERS)
            await send(message)

        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if not self._is_own(host):
            why = (
                f"this page does not go by the name {host[:80]!r}: "
                "use this machine's address"
            )
            await _refused(421, why)(scope, receive, protected)
        elif scope["method"] not in ("GET", "HEAD") and _is_foreign(headers, host):
            why = "this was sent by a page from elsewhere, and is not written"
            await _refused(403, why)(scope, receive, protected)
        else:
            await self._inner(scope, receive, protected)

    def _is_own(self, host: str) -> bool:
        name = _without_port(host).lower().rstrip(".")
        try:
            ipaddress.ip_address(name.strip("[]"))
        except ValueError:
            pass
        else:
            return True
        # A name without a dot cannot be had outside either.
        own = name.endswith(OWN_ENDINGS) or name in self._names
        return own or (bool(name) and "." not in name)


def _is_foreign(headers: Headers, host: str) -> bool:
    origin = headers.get("origin")
    if origin is not None and origin.partition("://")[2].lower() != host.lower():
        return True
    return headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none")


def _without_port(host: str) -> str:
    name, colon, port = host.rpartition(":")
    return name if colon and port.isdigit() and not name.endswith(":") else host


async def _body(request: Request) -> object | Response:
    if request.headers.get("content-type", "").partition(";")[0].strip() != (
        "application/json"
    ):
        return _refused(415, "send JSON, as application/json")
    body = b""
    try:
        async with asyncio.timeout(BODY_S):
            async for chunk in request.stream():
                body += chunk
                if len(body) > MOST_BYTES:
                    return _refused(413, f"more than {MOST_BYTES} bytes")
        plain: object = json.loads(body)
    except TimeoutError:
        return _refused(408, f"it took longer than {BODY_S} s to come")
    except ClientDisconnect:
        return _refused(400, "it broke off")
    except (ValueError, RecursionError):
        return _refused(400, "this is not JSON")
    return plain


def _event(view: View, seen: View | None) -> bytes:
    if seen is not None and view.same_but_time(seen):
        pulse = {"now_ms": view.now_ms, "horizon_ms": view.horizon_ms}
        return b"event: pulse\ndata: " + json.dumps(pulse).encode() + b"\n\n"
    return b"event: view\ndata: " + as_json(view) + b"\n\n"


def _json(request: Request, body: bytes) -> Response:
    return _tagged(request, body, "application/json", "no-cache")


def _tagged(request: Request, body: bytes, kind: str, cache: str) -> Response:
    tag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    headers = {"ETag": tag, "Cache-Control": cache}
    # A proxy or the compression may have weakened the tag (RFC 9110, 13.1.2).
    asked = request.headers.get("if-none-match", "")
    if tag in (each.strip().removeprefix("W/") for each in asked.split(",")):
        return Response(status_code=304, headers=headers)
    return Response(body, media_type=kind, headers=headers)


def _files() -> list[tuple[str, Callable[[Request], Awaitable[Response]]]]:
    replies = []
    for path in sorted(PAGE.iterdir()):
        if kind := KINDS.get(path.suffix):
            name = "" if path.name == "index.html" else path.name
            replies.append((f"/{name}", _file(path.read_bytes(), kind)))
    return replies


def _file(body: bytes, kind: str) -> Callable[[Request], Awaitable[Response]]:
    async def reply(request: Request) -> Response:
        return _tagged(request, body, kind, "no-cache")

    return reply


def _refused(status: int, why: str) -> JSONResponse:
    return JSONResponse({"refused": why}, status, {"Cache-Control": "no-store"})
