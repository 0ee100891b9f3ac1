"""A real chromium, and a real page of the invented yard on loopback.

The browser is the system's own; nothing is downloaded.  A page that writes an error
to the console, or that asks anything of another machine, fails its test.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Request, sync_playwright
from playwright.sync_api import Page as Tab

from daemon.lots import Lots
from daemon.view import View
from daemon.web import Page
from rules.facts import Entry
from tests.browser.yard import yard
from tests.tools import tool

FLAGS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic"),
    *("--no-first-run", "--disable-background-networking"),
    *("--disable-component-update", "--disable-sync"),
)
# 2026-01-10T13:30:00Z: what a test looks at lies on the same day in every zone
# that it opens the page in, so that no clock time needs its weekday.
NOW_MS = 1_768_051_800_000
PHONE = {"width": 390, "height": 844}


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """The system's chromium, ended before other tests want an event loop."""
    with sync_playwright() as playwright:
        path = tool("chromium")
        browser = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield browser
        browser.close()


@dataclass
class Yard:
    """The served page of the invented yard, and what people wrote on it."""

    page: Page
    view: View
    entries: list[tuple[str, Entry]] = field(default_factory=list)

    def show(self, **changes: object) -> None:
        """Publish the view with changes; its time always moves on."""
        changes.setdefault("now_ms", self.view.now_ms + 1_000)
        self.view = replace(self.view, **changes)  # type: ignore[arg-type]
        self.page.publish(self.view)


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Yard]:
    """The page of the invented yard, on a free loopback port."""
    entries: list[tuple[str, Entry]] = []

    def add(lot: str, entry: Entry) -> int:
        entries.append((lot, entry))
        return len(entries)

    lots = Lots(tmp_path / "journal.db", tmp_path / "records")
    page = Page("127.0.0.1", 0, add, now_ms=lambda: NOW_MS, lots=lots)
    page.start()
    page.publish(view := yard(NOW_MS))
    yield Yard(page, view, entries)
    page.stop()


@dataclass
class Watched:
    """A tab, what it said in its console, and whom it asked."""

    tab: Tab
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    def on_console(self, message: ConsoleMessage) -> None:
        """Keep what is worse than a word."""
        if message.type in ("error", "warning"):
            self.said.append(message.text)

    def on_request(self, request: Request) -> None:
        """Keep every address asked."""
        self.asked.append(request.url)


OpenTab = Callable[..., Watched]


@pytest.fixture
def open_tab(browser: Browser, served: Yard) -> Iterator[OpenTab]:
    """Open the page as on a phone in Berlin, or as the keywords say."""
    contexts = []

    def opened(clock: bool = False, **options: object) -> Watched:
        given = {"viewport": PHONE, "device_scale_factor": 2, **options}
        given.setdefault("timezone_id", "Europe/Berlin")
        context = browser.new_context(**given)  # type: ignore[arg-type]
        contexts.append(context)
        watched = Watched(context.new_page())
        watched.tab.on("console", watched.on_console)
        watched.tab.on("pageerror", lambda error: watched.said.append(str(error)))
        watched.tab.on("request", watched.on_request)
        if clock:
            watched.tab.clock.install()
        watched.tab.goto(f"http://127.0.0.1:{served.page.port}/")
        watched.tab.wait_for_selector(".chart svg")
        return watched

    yield opened
    for context in contexts:
        context.close()
