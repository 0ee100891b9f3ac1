"""A journal that cannot be opened is waited for, and people are told meanwhile.

SQLite cannot open a folder either; unlike rights, that holds for root as well.
"""

import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest

from daemon import unopened
from daemon.alarm import AGAIN_MS, FIRST_MS
from daemon.health import Notifier
from daemon.journal import Journal
from daemon.journal_swap import beside
from daemon.secrets import Secret
from daemon.settings import Settings, read_settings
from daemon.unopened import Unopened
from rules.facts import Reading
from tests.daemon.test_run import SETTINGS, SetClock
from tests.receivers import HttpReceiver
from tests.servers import wait_for


class Manager(Notifier):
    """Remembers what it was told."""

    said = ""

    def alive(self, status: str) -> None:
        """Take notice of a sign of life."""
        self.said = status


@pytest.fixture(autouse=True)
def soon(monkeypatch: pytest.MonkeyPatch) -> None:
    """Try again at once."""
    monkeypatch.setattr(unopened, "RETRY_S", 0.01)


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """Of a site without contacts."""
    found = read_settings(tmp_path / "settings.yaml", SETTINGS, {})
    assert isinstance(found, Settings)
    return found


@pytest.fixture
def receiver() -> Iterator[HttpReceiver]:
    """Where alerts arrive."""
    with HttpReceiver() as started:
        yield started


def test_people_are_told_that_nothing_is_recorded_and_then_that_it_is(
    settings: Settings, receiver: HttpReceiver
) -> None:
    contacts = {"operator": Secret(f"json://127.0.0.1:{receiver.port}/phone")}
    settings, clock = replace(settings, contacts=contacts), SetClock()
    settings.journal.mkdir()
    manager, stopping = Manager({}), threading.Event()
    waits = Unopened(settings, clock, manager)
    with ThreadPoolExecutor(1) as pool:
        waited = pool.submit(waits.wait, stopping)
        try:
            wait_for(lambda: manager.said, "the service manager to be told")
            clock.at_ms += FIRST_MS
            [told] = receiver.wait_for(1)
            settings.journal.rmdir()
            waited.result(timeout=30)
        finally:
            stopping.set()
    assert told.title == "NOT RECORDING"
    assert manager.said.startswith("NOT RECORDING: journal ")
    assert f"journal {settings.journal}: it cannot be opened; check that" in told.body
    clock.at_ms += AGAIN_MS
    assert waits.alarm.well(clock.at_ms).startswith("nothing could be recorded for 10")
    [over] = waits.alarm.due(clock.at_ms)
    assert over.title == "Recording again"
    waits.sender.close()


def test_a_journal_that_can_be_opened_is_not_waited_for(settings: Settings) -> None:
    waits = Unopened(settings, SetClock(), Notifier({}))
    waits.wait(threading.Event())
    Journal(settings.journal, create=False).close()


def test_what_was_cut_off_is_finished_before_a_new_file_is_made(
    settings: Settings,
) -> None:
    """As after a swap on a disk that came up read-only; see ``daemon.journal_swap``."""
    swapped = Journal(beside(settings.journal, "new"))
    swapped.append([Reading("core-1", 5, 7, 1)], [])
    swapped.close()
    beside(settings.journal, "swap").write_text("journal.db.aside")
    Unopened(settings, SetClock(), Notifier({})).wait(threading.Event())
    opened = Journal(settings.journal, create=False)
    assert opened.counts().readings == 1
    opened.close()


def test_what_waiting_does_not_mend_is_left_to_whoever_opens_it(
    settings: Settings,
) -> None:
    settings.journal.write_text("Juniper links, 12 kg\n" * 100)
    Unopened(settings, SetClock(), Notifier({})).wait(threading.Event())
    assert settings.journal.read_text().startswith("Juniper")


def test_the_wait_ends_with_the_daemon(settings: Settings) -> None:
    settings.journal.mkdir()
    stopping = threading.Event()
    waits = Unopened(settings, SetClock(), Notifier({}))
    with ThreadPoolExecutor(1) as pool:
        waited = pool.submit(waits.wait, stopping)
        stopping.set()
        waited.result(timeout=30)
