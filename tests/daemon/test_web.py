"""The page's server, asked over real HTTP on loopback.

Sources: RFC 9110 section 13.1.2 for entity tags; the HTML standard, server-sent
events, for the form of a stream; the Fetch standard for ``Origin``, the Fetch
Metadata draft of W3C for ``Sec-Fetch-Site``.  Status words are those of RFC 9110.
"""

import gzip
import http.client
import json
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from daemon.journal import Cook, Journal
from daemon.lots import Lots
from daemon.view import AlertView
from daemon.web import AddEntry, Page, PageError
from rules.facts import Entry, EntryKind
from tests.browser.yard import LOT, yard

NOW_MS = 1_768_021_200_000
VIEW = yard(NOW_MS)
JSON = {"Content-Type": "application/json"}
DEADLINE_S = 20
NO_LOTS = Lots(Path("no-journal.db"), Path("no-records"))


class Desk:
    """Where entries of a test arrive; the thread they come in is kept too."""

    def __init__(self) -> None:
        self.entries: list[tuple[str, Entry]] = []
        self.threads: set[int] = set()

    def add(self, lot: str, entry: Entry) -> int:
        self.threads.add(threading.get_ident())
        self.entries.append((lot, entry))
        return len(self.entries)


class Answer:
    """Status, headers and body of one answer."""

    def __init__(self, answer: http.client.HTTPResponse) -> None:
        self.status = answer.status
        self.headers = answer.headers
        self.body = answer.read()

    @property
    def tree(self) -> dict[str, object]:
        tree: dict[str, object] = json.loads(self.body)
        return tree


@contextmanager
def served(add: AddEntry, stuck_after_s: float = 60) -> Iterator[Page]:
    """A page on a free loopback port, with nothing published yet."""
    page = Page(
        *("127.0.0.1", 0, add),
        now_ms=lambda: NOW_MS,
        lots=NO_LOTS,
        stuck_after_s=stuck_after_s,
    )
    page.start()
    try:
        yield page
    finally:
        page.stop()


@pytest.fixture
def desk() -> Desk:
    return Desk()


@pytest.fixture
def page(desk: Desk) -> Iterator[Page]:
    with served(desk.add) as page:
        page.publish(VIEW)
        yield page


def ask(
    page: Page,
    method: str,
    path: str,
    body: bytes | None = None,
    headers: dict[str, str] | None = None,
) -> Answer:
    """One request of its own connection."""
    line = http.client.HTTPConnection("127.0.0.1", page.port, timeout=DEADLINE_S)
    try:
        line.request(method, path, body, headers or {})
        return Answer(line.getresponse())
    finally:
        line.close()


def post(page: Page, path: str, tree: object, **headers: str) -> Answer:
    """Post JSON as the page does."""
    return ask(page, "POST", path, json.dumps(tree).encode(), {**JSON, **headers})


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/", "text/html; charset=utf-8"),
        ("/style.css", "text/css; charset=utf-8"),
        ("/page.js", "text/javascript; charset=utf-8"),
    ],
)
def test_the_page_s_files_are_served_and_need_not_be_sent_twice(
    page: Page, path: str, kind: str
) -> None:
    answer = ask(page, "GET", path)
    assert (answer.status, answer.headers["Content-Type"]) == (200, kind)
    again = ask(page, "GET", path, headers={"If-None-Match": answer.headers["ETag"]})
    assert (again.status, again.body) == (304, b"")


def test_nothing_but_the_page_s_files_is_served(page: Page) -> None:
    for path in ("/../web.py", "/%2e%2e/web.py", "/page/", "/index.html", "/x"):
        assert ask(page, "GET", path).status == 404


@pytest.mark.parametrize("path", ["/", "/view", "/x", "/health"])
def test_every_answer_carries_the_protecting_headers(page: Page, path: str) -> None:
    headers = ask(page, "GET", path).headers
    policy = headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "no-referrer"
    assert "Server" not in headers


def test_the_view_is_served_with_a_tag(page: Page) -> None:
    answer = ask(page, "GET", "/view")
    assert answer.tree["site"] == "Juniper Yard (invented)"
    tag = answer.headers["ETag"]
    assert ask(page, "GET", "/view", headers={"If-None-Match": tag}).status == 304
    page.publish(replace(VIEW, now_ms=NOW_MS + 1))
    after = ask(page, "GET", "/view", headers={"If-None-Match": f'"x", {tag}'})
    assert (after.status, after.tree["now_ms"]) == (200, NOW_MS + 1)


def test_curves_are_compressed_where_asked(page: Page) -> None:
    answer = ask(page, "GET", "/curves", headers={"Accept-Encoding": "gzip"})
    assert answer.headers["Content-Encoding"] == "gzip"
    whole = json.loads(gzip.decompress(answer.body))["curves"]
    last_ms = whole[0]["pieces"][-1][1]
    part = ask(page, "GET", f"/curves?after={last_ms}").tree["curves"]
    assert isinstance(part, list)
    assert part[0]["pieces"] == whole[0]["pieces"][-1:]


@pytest.mark.parametrize("after", ["x", "-1", "1" * 16, "%D9%A1"])
def test_curves_from_no_time_are_refused(page: Page, after: str) -> None:
    answer = ask(page, "GET", f"/curves?after={after}")
    assert answer.status == 400
    assert "is not a time in ms" in str(answer.tree["refused"])


def test_before_the_first_view_there_is_nothing_to_see(desk: Desk) -> None:
    with served(desk.add) as page:
        assert ask(page, "GET", "/").status == 200
        assert ask(page, "GET", "/view").status == 503
        assert ask(page, "GET", "/curves").status == 503
        assert ask(page, "GET", "/health").status == 503
        assert post(page, "/acknowledge", {"alert": 7, "who": "AB"}).status == 503


def until_health(page: Page, status: int) -> Answer:
    """Ask after the health until it is so."""
    end = time.monotonic() + DEADLINE_S
    while time.monotonic() < end:
        if (answer := ask(page, "GET", "/health")).status == status:
            return answer
    raise AssertionError(f"health was never {status}")


def test_health_follows_the_road(desk: Desk) -> None:
    with served(desk.add, stuck_after_s=0.2) as page:
        page.publish(VIEW)
        assert until_health(page, 503).tree["road_moves"] is False
        page.publish(VIEW)
        good = until_health(page, 200).tree
        assert (good["broker_connected"], good["recording"]) == (True, True)


def test_health_is_bad_while_a_lot_is_not_judged(page: Page) -> None:
    page.publish(replace(VIEW, unjudged=("R-1",)))
    answer = until_health(page, 503).tree
    assert (answer["road_moves"], answer["lots_not_judged"]) == (True, ["R-1"])
    page.publish(VIEW)
    assert until_health(page, 200).tree["lots_not_judged"] == []


def listen(page: Page) -> tuple[socket.socket, Iterator[bytes]]:
    """A listener to the page's events, and what it hears, blank line by blank line."""
    line = socket.create_connection(("127.0.0.1", page.port), timeout=DEADLINE_S)
    line.sendall(b"GET /events HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
    return line, blocks(line)


def blocks(line: socket.socket) -> Iterator[bytes]:
    """The head of the answer, then every event with the chunk sizes around it."""
    heard = b""
    while True:
        while b"\n\n" not in heard and b"\r\n\r\n" not in heard:
            more = line.recv(65_536)
            if not more:
                return
            heard += more
        end = b"\r\n\r\n" if heard.startswith(b"HTTP/") else b"\n\n"
        block, _, heard = heard.partition(end)
        yield block


def test_events_say_the_whole_view_or_only_that_time_passed(page: Page) -> None:
    line, events = listen(page)
    with line:
        head = next(events)
        assert b"text/event-stream" in head
        assert b"event: view" in next(events)
        page.publish(replace(VIEW, now_ms=NOW_MS + 1_000))
        pulse = next(events)
        assert b"event: pulse" in pulse
        assert str(NOW_MS + 1_000).encode() in pulse
        page.publish(replace(VIEW, now_ms=NOW_MS + 2_000, alerts=()))
        assert b'"alerts":[]' in next(events)


def test_no_more_than_so_many_listen_and_one_that_leaves_makes_room(page: Page) -> None:
    listeners = [listen(page) for _ in range(32)]
    for _, events in listeners:
        next(events)
        next(events)
    answer = ask(page, "GET", "/events")
    assert answer.status == 503
    assert answer.tree["refused"] == "32 pages are listening already"
    for line, _ in listeners:
        line.close()
    end = time.monotonic() + DEADLINE_S
    while time.monotonic() < end:
        line, events = listen(page)
        with line:
            if b"200 OK" in next(events):
                return
    raise AssertionError("nobody else was let in")


def test_a_listener_who_does_not_read_holds_nobody_up(page: Page) -> None:
    line, _ = listen(page)
    with line:
        for second in range(2_000):
            page.publish(replace(VIEW, now_ms=NOW_MS + second, alerts=()))
            page.publish(VIEW)
        page.publish(replace(VIEW, site="Still here"))
        assert ask(page, "GET", "/view").tree["site"] == "Still here"


def test_stopping_ends_the_stream_and_gives_the_port_back(desk: Desk) -> None:
    with served(desk.add) as page:
        page.publish(VIEW)
        line, events = listen(page)
        assert b"200 OK" in next(events)
        next(events)
    with line:
        assert b"event:" not in b"".join(events)
    page.publish(VIEW)
    with socket.create_server(("127.0.0.1", page.port)):
        assert page.trouble == ""


def test_an_acknowledgement_becomes_an_entry(page: Page, desk: Desk) -> None:
    answer = post(page, "/acknowledge", {"alert": 7, "who": " AB "})
    assert (answer.status, answer.tree) == (201, {"entry": 1, "at_ms": NOW_MS})
    entry = Entry(EntryKind.ACKNOWLEDGE, NOW_MS, NOW_MS, "AB", about="7")
    assert desk.entries == [(LOT, entry)]


def test_a_note_and_a_corrective_action_are_told_apart(page: Page, desk: Desk) -> None:
    note = {"lot": LOT, "who": "AB", "text": "wind from the east", "corrective": False}
    assert post(page, "/note", note).status == 201
    action = {**note, "text": "relit\nthe fire", "corrective": True, "about": "come-up"}
    assert post(page, "/note", action).status == 201
    kinds = [(e.kind, e.text, e.about) for _, e in desk.entries]
    assert kinds == [
        (EntryKind.NOTE, "wind from the east", ""),
        (EntryKind.CORRECTIVE_ACTION, "relit\nthe fire", "come-up"),
    ]
    assert len(desk.threads) == 1
    assert threading.get_ident() not in desk.threads


def test_a_probe_that_was_moved_is_an_entry_about_it(page: Page, desk: Desk) -> None:
    move = {"lot": LOT, "who": "AB", "channel": "core-1", "text": "the thickest"}
    assert post(page, "/moved", move).status == 201
    (entry,) = [entry for _, entry in desk.entries]
    assert (entry.kind, entry.about) == (EntryKind.MOVED, "core-1")
    assert entry.text == "settling 5 min; the thickest"
    for wrong in ({"channel": "chamber"}, {"lot": "JY-0"}, {"who": ""}):
        assert post(page, "/moved", {**move, **wrong}).status == 400
    assert len(desk.entries) == 1


def test_a_set_by_hand_is_refused_as_the_command_refuses_it(
    page: Page, desk: Desk
) -> None:
    taken = {"lot": LOT, "who": "AB", "pieces": "69.9, 71.8 degC", "stage": "cook"}
    taken |= {"instrument": "TH-2", "within": ""}
    assert post(page, "/spot-check", taken).status == 201
    (entry,) = [entry for _, entry in desk.entries]
    assert (entry.kind, entry.about) == (EntryKind.SPOT_CHECK, "cook")
    assert entry.text == (
        "2 pieces by hand: 69.9 degC, 71.8 degC; the lowest 69.9 degC; with TH-2, "
        "within 0.5 K, calibrated 2026-01-02, due 2027-01-02; "
        "stage cook is borne out: every piece is surely at 69.0 degC"
    )
    for wrong, said in (
        ({"pieces": "69,9 degC"}, "pieces: '69,9 degC' is not a temperature"),
        ({"pieces": "69.9"}, "pieces: "),
        ({"instrument": "TH-3"}, "within: say how far it may be off"),
        ({"instrument": "TH-2; within 0 K"}, "instrument: name the thermometer"),
        ({"stage": "chill"}, f"stage: lot {LOT} has come to no stage 'chill'"),
        ({"lot": "JY-0"}, "lot: no lot 'JY-0' goes on here"),
        ({"who": ""}, "who: write initials"),
    ):
        answer = post(page, "/spot-check", {**taken, **wrong})
        assert answer.status == 400
        assert str(answer.tree["refused"]).startswith(said)
    assert len(desk.entries) == 1


def test_what_a_set_doubts_is_lifted_by_a_word_of_its_own(
    page: Page, desk: Desk
) -> None:
    note = {"lot": LOT, "who": "AB", "text": "it was bone", "corrective": False}
    note |= {"about": "cook"}
    assert post(page, "/note", note).status == 201
    assert post(page, "/note", {**note, "lifts": True}).status == 201
    kinds = [(entry.kind, entry.about) for _, entry in desk.entries]
    assert kinds == [(EntryKind.NOTE, "cook"), (EntryKind.LIFTED, "cook")]
    for about in ("", "dry", "core-1"):
        answer = post(page, "/note", {**note, "lifts": True, "about": about})
        assert answer.status == 400
    (cook,) = VIEW.cooks
    page.publish(replace(VIEW, cooks=(replace(cook, spots=()),)))
    answer = post(page, "/note", {**note, "lifts": True})
    assert str(answer.tree["refused"]).startswith("lifts: no set by hand leaves")


def test_an_entry_is_in_the_journal_when_the_answer_comes(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    journal = Journal(path)
    journal.begin(Cook(LOT, "north", "schedule: x", "x.yaml", (), NOW_MS, "AB"), NOW_MS)

    def add(lot: str, entry: Entry) -> int:
        own = Journal(path)
        try:
            return own.add_entry(lot, entry)
        finally:
            own.close()

    with served(add) as page:
        page.publish(VIEW)
        answer = post(page, "/acknowledge", {"alert": 6, "who": "AB"})
    kept = journal.entries(LOT)[-1]
    journal.close()
    assert answer.tree["entry"] == kept.number
    assert kept.entry == Entry(EntryKind.ACKNOWLEDGE, NOW_MS, NOW_MS, "AB", about="6")


def test_an_entry_that_could_not_be_kept_is_said_to_be_so(
    caplog: pytest.LogCaptureFixture,
) -> None:
    def add(lot: str, entry: Entry) -> int:
        raise OSError("the disk is full")

    with served(add) as page:
        page.publish(VIEW)
        answer = post(page, "/acknowledge", {"alert": 7, "who": "AB"})
    assert answer.status == 503
    assert answer.tree == {"refused": "NOT written: the disk is full"}
    assert "an entry could not be written" in caplog.text


NOTE = {"lot": LOT, "who": "AB", "text": "x", "corrective": False}


@pytest.mark.parametrize(
    ("path", "tree", "words"),
    [
        ("/acknowledge", [], "send an object with alert, who"),
        ("/acknowledge", {}, "alert is missing; who is missing"),
        (
            "/acknowledge",
            {"alert": "7", "who": 7, "x": 1},
            "'x' is not asked for; alert is not a whole number; who is not text",
        ),
        ("/acknowledge", {"alert": True, "who": "AB"}, "alert is not a whole number"),
        ("/acknowledge", {"alert": 7.0, "who": "AB"}, "alert is not a whole number"),
        ("/acknowledge", {"alert": 99, "who": "AB"}, "there is no alert 99"),
        (
            "/acknowledge",
            {"alert": 5, "who": "CD"},
            "alert 5 was acknowledged by AB",
        ),
        (
            "/acknowledge",
            {"alert": 7, "who": "  "},
            "who: write initials or a name, 1 to 20 letters",
        ),
        (
            "/acknowledge",
            {"alert": 7, "who": "A\nB"},
            "who: write initials or a name, 1 to 20 letters",
        ),
        (
            "/note",
            {**NOTE, "lot": "JY-0"},
            f"lot: there is no lot 'JY-0' here; there is: {LOT}",
        ),
        ("/note", {**NOTE, "corrective": 1}, "corrective is not true or false"),
        ("/note", {**NOTE, "text": " \n "}, "text: write 1 to 1000 letters"),
        ("/note", {**NOTE, "text": "x" * 1001}, "text: write 1 to 1000 letters"),
        (
            "/note",
            {**NOTE, "text": "a\x07"},
            "text: it holds a letter that cannot be printed",
        ),
        (
            "/note",
            {**NOTE, "text": "a\ud800"},
            "text: it holds a letter that cannot be printed",
        ),
        (
            "/note",
            {**NOTE, "about": "chil"},
            f"about: lot {LOT} has no limit, stage or channel 'chil'",
        ),
    ],
)
def test_wrong_input_is_answered_in_words_and_writes_nothing(
    page: Page, desk: Desk, path: str, tree: object, words: str
) -> None:
    answer = post(page, path, tree)
    assert (answer.status, answer.tree) == (400, {"refused": words})
    assert desk.entries == []


def test_good_news_asks_for_no_answer(page: Page) -> None:
    alert: AlertView = replace(VIEW.alerts[0], number=8, answer=False)
    page.publish(replace(VIEW, alerts=(alert,)))
    answer = post(page, "/acknowledge", {"alert": 8, "who": "AB"})
    assert answer.tree == {"refused": "alert 8 asks for no answer"}


GOOD = b'{"alert": 7, "who": "AB"}'


@pytest.mark.parametrize(
    ("body", "headers", "status", "words"),
    [
        (b"", JSON, 400, "this is not JSON"),
        (b"{", JSON, 400, "this is not JSON"),
        (b"\xff", JSON, 400, "this is not JSON"),
        (b"[" * 16_000, JSON, 400, "this is not JSON"),
        (b'{"alert": ' + b"9" * 5_000 + b"}", JSON, 400, "this is not JSON"),
        (b" " * 16_385, JSON, 413, "more than 16384 bytes"),
        (GOOD, {}, 415, "send JSON, as application/json"),
        (GOOD, {"Content-Type": "text/plain"}, 415, "send JSON, as application/json"),
    ],
)
def test_what_is_not_bounded_json_is_refused(
    page: Page,
    desk: Desk,
    body: bytes,
    headers: dict[str, str],
    status: int,
    words: str,
) -> None:
    answer = ask(page, "POST", "/acknowledge", body, headers)
    assert (answer.status, answer.tree) == (status, {"refused": words})
    assert desk.entries == []


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://elsewhere.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:1"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_what_a_page_from_elsewhere_sends_is_not_written(
    page: Page, desk: Desk, headers: dict[str, str]
) -> None:
    answer = ask(page, "POST", "/acknowledge", GOOD, {**JSON, **headers})
    assert answer.status == 403
    assert desk.entries == []


def test_what_our_own_page_sends_is_written(page: Page, desk: Desk) -> None:
    own = {
        "Origin": f"http://127.0.0.1:{page.port}",
        "Sec-Fetch-Site": "same-origin",
    }
    answer = ask(page, "POST", "/acknowledge", GOOD, {**JSON, **own})
    assert answer.status == 201
    assert len(desk.entries) == 1


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("127.0.0.1", 200),
        ("192.0.2.7:8080", 200),
        ("[2001:db8::7]:8080", 200),
        ("localhost:8080", 200),
        ("smoker", 200),
        ("smoker.local:8080", 200),
        ("smoker.home.arpa.", 200),
        ("attacker.example", 421),
        ("attacker.example:8080", 421),
        ("local.attacker.example", 421),
        ("192.0.2.7.attacker.example", 421),
        ("", 421),
    ],
)
def test_only_own_names_are_answered(page: Page, host: str, status: int) -> None:
    """Against a foreign page that points its own name at this machine."""
    assert ask(page, "GET", "/view", headers={"Host": host}).status == status


def test_a_name_from_the_settings_is_answered_too(desk: Desk) -> None:
    page = Page(
        *("127.0.0.1", 0, desk.add),
        now_ms=lambda: 1,
        lots=NO_LOTS,
        names=["Smoke.Example.org"],
    )
    page.start()
    page.publish(VIEW)
    answer = ask(page, "GET", "/view", headers={"Host": "smoke.example.org"})
    page.stop()
    assert answer.status == 200


def test_a_port_that_is_taken_is_said_at_once(page: Page, desk: Desk) -> None:
    second = Page("127.0.0.1", page.port, desk.add, now_ms=lambda: 1, lots=NO_LOTS)
    with pytest.raises(PageError) as caught:
        second.start()
    assert str(caught.value) == (
        f"page: cannot listen at 127.0.0.1:{page.port}: "
        "another program has this port: choose another one"
    )


def test_an_address_of_another_machine_is_said_at_once(desk: Desk) -> None:
    page = Page("192.0.2.1", 0, desk.add, now_ms=lambda: 1, lots=NO_LOTS)
    with pytest.raises(PageError, match="this machine has no such address"):
        page.start()


def test_stopping_before_the_first_answer_is_no_trouble(desk: Desk) -> None:
    page = Page("127.0.0.1", 0, desk.add, now_ms=lambda: 1, lots=NO_LOTS)
    page.stop()
    page.start()
    page.stop()
    assert page.trouble == ""


def test_nothing_heavy_is_imported_before_the_start() -> None:
    script = "import sys, daemon.web; print(*sorted(sys.modules))"
    ran = subprocess.run(
        [sys.executable, "-c", script],
        cwd=Path(__file__).parents[2],
        check=True,
        capture_output=True,
        text=True,
    )
    loaded = {name.split(".")[0] for name in ran.stdout.split()}
    assert "daemon" in loaded
    assert not loaded & {"starlette", "uvicorn", "anyio", "h11", "httptools"}
