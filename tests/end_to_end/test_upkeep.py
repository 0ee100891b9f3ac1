"""What looks after a running daemon: damage, backup, figures, heartbeat, status.

Outside the project: mosquitto, an HTTP server of Python's own, and SQLite's ``dbstat``,
which says where in the file a table is.
"""

import json
import sqlite3
import subprocess
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path

import pytest

from daemon.journal import Journal
from daemon.settings import Settings, load
from rules.facts import Reading
from tests.daemon.test_heartbeat import Watch
from tests.daemon.test_rescue import leaf_of
from tests.end_to_end.conftest import MakeSite
from tests.end_to_end.site import PASSWORD, Site
from tests.servers import wait_for
from tests.tools import tool
from tests.victoria import DIRECT

WHO = ("-u", "fumarium", "-P", PASSWORD)


def publish(site: Site, count: int) -> None:
    """Numbers of the cooler's probe, once the daemon's pulse is back."""
    wait_for(partial(hears, site), "the daemon to hear itself", site.log, 60)
    site.broker.publish("yard/cooler", [f"{n}.5" for n in range(count)], options=WHO)


def hears(site: Site) -> bool:
    try:
        return figure(site, "fumarium_horizon_lag_seconds") > 0
    except OSError:  # its page is not up, or has nothing to show yet
        return False


def kept(site: Site, count: int) -> bool:
    with site.journal() as journal:
        return journal.counts().readings >= count


def said(site: Site, name: str, now: str) -> str:
    """Why a part of the site has become what it is; "" if it has not."""
    with site.journal() as journal:
        events = [one.event for one in journal.events("")]
    found = [one.why for one in events if (one.name, one.now) == (name, now)]
    return found[-1] if found else ""


def is_damaged(site: Site) -> bool:
    return bool(list(site.folder.glob("journal.db.damaged-*Z")))


def overwrite(path: Path, page: int) -> None:
    with path.open("r+b") as file:
        file.seek(page * 1024)
        file.write(b"\xa5" * 1024)


def test_a_page_lost_while_it_was_off_is_said_and_recording_goes_on(
    make_site: MakeSite,
) -> None:
    site = make_site(times=1)
    site.start()
    publish(site, 1)
    wait_for(partial(kept, site, 1), "the reading")
    site.stop()
    path = site.settings.journal
    with site.journal() as journal:
        old = [Reading("core-1", 1_000 * n, n, 500) for n in range(2_000)]
        journal.append(old, [])
    overwrite(path, leaf_of(path, "reading", 20))
    site.start()
    why = said(site, "journal file", "damaged")
    assert "core-1: about " in why
    assert "UTC and 1970-01-01 00:" in why
    notice = site.receiver.wait_for(1)[0]
    assert notice.title == "journal file damaged"
    assert why in notice.body
    assert is_damaged(site)
    before = len(old) - 60
    publish(site, 1)
    wait_for(partial(kept, site, before), "a reading in the new file", site.log)
    assert "lost with the damaged journal: core-1: about " in site.log()


def test_a_page_lost_under_the_running_daemon_stops_it_not(
    make_site: MakeSite,
) -> None:
    site = make_site(times=1)
    site.start()
    publish(site, 1)
    wait_for(partial(kept, site, 1), "the reading")
    assert site.process is not None
    process = site.process.pid
    site.command("backup", str(site.folder / "b.db"))
    with site.journal() as journal:
        journal.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        overwrite(journal.path, leaf_of(journal.path, "entry_of_lot", 0))
        overwrite(journal.path, leaf_of(journal.path, "entry", 0))
        # Whoever commits makes the daemon look at the file again.
        journal.append([Reading("core-9", 1, 1, 1)], [])
    wait_for(partial(is_damaged, site), "the damaged file", site.log, 60)
    wait_for(partial(said, site, "journal file", "damaged"), "the event", site.log)
    publish(site, 1)
    wait_for(partial(kept, site, 3), "readings in the new file", site.log)
    assert site.process.pid == process and site.process.poll() is None
    assert "the journal is damaged, and is opened anew" in site.log()


def test_a_daemon_waits_for_a_journal_that_cannot_be_opened(
    make_site: MakeSite,
) -> None:
    """As on a card that came up read-only; a folder of its name is no more use."""
    site = make_site(times=1)
    site.settings.journal.mkdir()
    (site.folder / "daemon.log").touch()
    with ThreadPoolExecutor(1) as pool:
        started = pool.submit(site.start)
        words = f"not recording: journal {site.settings.journal}: it cannot be opened"
        wait_for(lambda: words in site.log(), words, site.log, 60)
        site.settings.journal.rmdir()
        started.result(timeout=60)
    publish(site, 1)
    wait_for(partial(kept, site, 1), "a reading", site.log)


def test_a_second_daemon_is_turned_away(make_site: MakeSite) -> None:
    site = make_site(times=1)
    site.start()
    words = f"journal {site.settings.journal}: a daemon is running on it; stop it first"
    assert words in site.command("run", code=4)
    assert words in site.command("restore", str(backed_up(site)), "--over", code=4)
    site.stop()
    words = "there is one; --over puts it aside"
    assert words in site.command("restore", str(backed_up(site, "c.db")), code=4)
    site.command("restore", str(site.folder / "b.db"), "--over")
    site.start()
    publish(site, 1)
    wait_for(partial(kept, site, 1), "a reading in the restored journal", site.log)


def backed_up(site: Site, name: str = "b.db") -> Path:
    site.command("backup", str(site.folder / name))
    return site.folder / name


def figure(site: Site, name: str) -> float:
    """One figure without labels, as it is shown now."""
    url = f"http://127.0.0.1:{site.settings.page.port}/metrics"
    with DIRECT.open(urllib.request.Request(url), timeout=30) as answer:
        text = answer.read().decode()
    [line] = [one for one in text.splitlines() if one.startswith(f"{name} ")]
    return float(line.split()[1])


@pytest.fixture
def watched(make_site: MakeSite, tmp_path: Path) -> tuple[Site, Watch]:
    """A site that calls somebody, and whoever is called."""
    watch = Watch()
    watch.start()
    site = make_site(times=1)
    beat = f"heartbeat: {{address: '{watch.address}', every: 1 s}}\n"
    site.path.write_text(site.path.read_text() + beat)
    found = load(site.path, site.environment)
    assert isinstance(found, Settings), found
    site.settings = found
    return site, watch


def test_what_others_can_see_of_it(watched: tuple[Site, Watch]) -> None:
    site, watch = watched
    site.start()
    wait_for(lambda: len(watch.calls) >= 3, "three calls", site.log)
    publish(site, 1)
    site.broker.publish("yard/cooler", ["warm"], options=WHO)

    def counted() -> bool:
        return figure(site, "fumarium_refusals_total") == 1

    wait_for(counted, "the figures", site.log)
    assert figure(site, "fumarium_readings_total") == 1
    assert figure(site, "fumarium_recording") == 1
    assert figure(site, "fumarium_broker_connected") == 1
    assert figure(site, "fumarium_journal_bytes") > 50_000
    whole, free = (figure(site, f"fumarium_disk{n}_bytes") for n in ("", "_free"))
    assert whole > free > 0

    command = [tool("mosquitto_sub"), "-p", str(site.broker.port), *WHO]
    command += ["-t", "fumarium/fumarium-test/status", "-C", "1", "-W", "20"]
    ran = subprocess.run(command, capture_output=True, timeout=30)
    assert json.loads(ran.stdout)["status"] == "online"

    watch.status = 500
    wait_for(partial(said, site, "heartbeat", "failing"), "the event", site.log, 90)
    assert "qzqzqz" not in site.log()
    site.kill()
    count = len(watch.calls)
    ran = subprocess.run(command, capture_output=True, timeout=30)
    assert json.loads(ran.stdout) == {"status": "offline", "since_ms": None}
    assert len(watch.calls) == count  # a dead board calls nobody
    watch.stop()


def test_old_readings_are_packed_at_the_start(watched: tuple[Site, Watch]) -> None:
    site, watch = watched
    watch.stop()
    text = site.path.read_text()
    paced = text[text.index("pace: ") : text.index("heartbeat: ")]
    site.path.write_text(text.replace(paced, ""))  # on the machine's own clock
    old = [Reading("core-1", 1_000 * n, n % 50, 500) for n in range(5_000)]
    with site.journal() as journal:
        journal.append(old, [])
    site.start()

    def packed() -> bool:
        stranger = sqlite3.connect(site.settings.journal)
        (rows,) = stranger.execute("SELECT count(*) FROM reading").fetchone()
        stranger.close()
        return bool(rows == 1)

    wait_for(packed, "4,999 readings to be packed", site.log, 60)
    journal = Journal(site.settings.journal)
    assert list(journal.readings(["core-1"], 0, 1 << 60)) == old
    journal.close()
