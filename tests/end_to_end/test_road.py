"""The main job, end to end: messages on a real broker to a record a stranger verifies.

Outside the project: mosquitto takes and hands out the messages, apprise and an HTTP
server carry the alerts, ``openssl`` verifies the signature, ``pdfsig`` and ``qpdf``
look at the PDF.
"""

import json
import shutil
import subprocess
import sys
import urllib.request
from pathlib import Path
from typing import Any

import pytest

from probes.days import long_day
from probes.simulator import simulate
from tests.end_to_end.conftest import MakeSite
from tests.end_to_end.site import BEGINS_MS, Probes, Site, plain, undisturbed
from tests.readme import block_with
from tests.servers import wait_for
from tests.tools import tool

LOT = "T-001"
SCHEDULE = Path(__file__).parent / "links.yaml"


@pytest.fixture(scope="module")
def cooked(make_one_site: MakeSite) -> tuple[Site, Probes]:
    """A site after a whole cook in which the fire dies and a probe goes quiet."""
    site = make_one_site(times=1500)
    site.start()
    site.command("begin", str(SCHEDULE), "--lot", LOT, "--who", "AB")
    probes = Probes(site, list(simulate(long_day(BEGINS_MS, every_ms=30_000))))
    site.broker.publish("yard/cooler", ["3.25"], options=PUBLISHER)
    site.broker.publish("yard/cooler", ["warm"], options=PUBLISHER)
    site.broker.publish("yard/cores", ['[{"n":"core-9","v":1}]'], options=PUBLISHER)
    probes.publish()
    site.wait_until_judged(LOT)
    site.wait_until_kept(len(probes.published) + 1)  # the cooler gave one
    return site, probes


PUBLISHER = ("-u", "fumarium", "-P", "invented-for-the-test")


def test_a_whole_cook_becomes_a_record_that_openssl_verifies(
    cooked: tuple[Site, Probes],
) -> None:
    site, probes = cooked

    with site.journal() as journal:
        names = [channel.name for channel in site.settings.channels("north")]
        kept = list(journal.readings(names, 0, 1 << 62))
        refusals = [refusal.why for _, refusal in journal.refusals()]
        alerts = site.receiver.arrived
    stamped = [one._replace(received_ms=0) for one in kept if one.channel != "cooler"]
    assert sorted(stamped) == sorted(probes.published)
    cooler = [one for one in kept if one.channel == "cooler"]
    assert [one.value_mc for one in cooler] == [3250]
    assert len(refusals) == 2
    assert any("warm" in why for why in refusals)
    assert any("core-9" in why for why in refusals)

    events = [noticed.event for noticed in site.events(LOT)]
    assert plain(events) == plain(undisturbed(site, LOT, kept).events)
    found = {(event.name, event.now) for event in events}
    assert ("smoke chamber", "deviation") in found  # the fire had died
    assert ("core-2", "quiet") in found
    assert ("cook", "overdue") in found
    assert ("lethality", "met") in found
    assert any("core-2" in alert.title for alert in alerts)
    assert any("smoke chamber" in alert.title for alert in alerts)

    paths = [Path(line) for line in site.command("record", LOT).split()]
    public, record, pdf = paths
    assert "core" not in site.command("verify", str(record), "--key", str(public))
    site.command("verify", str(pdf), "--key", str(public))
    assert openssl_says(record, public).strip() == "Verified OK"
    said = subprocess.run([tool("pdfsig"), str(pdf)], capture_output=True, text=True)
    assert "Signature is Valid" in said.stdout
    subprocess.run([tool("qpdf"), "--check", str(pdf)], check=True, capture_output=True)
    again = site.command("record", LOT).split()
    assert [str(path) for path in paths] == again


def test_a_board_that_is_lost_is_made_again_from_its_backup(
    cooked: tuple[Site, Probes], tmp_path: Path
) -> None:
    """The restore drill: the backup, the key and the settings are on a new board."""
    site, _ = cooked
    _, record, _ = (Path(line) for line in site.command("record", LOT).split())
    site.command("backup", str(tmp_path / "b.db"))
    new = tmp_path / "settings.yaml"
    shutil.copy(site.path, new)
    shutil.copy(site.settings.key, tmp_path)

    def typed(*words: str) -> str:
        ran = subprocess.run(
            [sys.executable, "-m", "daemon.cli", *words],
            capture_output=True,
            text=True,
            env=site.environment,
            timeout=120,
        )
        assert ran.returncode == 0, ran.stderr
        return ran.stdout

    at = ("--settings", str(new))
    typed("restore", str(tmp_path / "b.db"), *at)
    public, again, _ = typed("record", LOT, *at).split()
    typed("verify", again, "--key", public)
    assert Path(again).is_relative_to(tmp_path)
    assert settled(Path(again)) == settled(record)


def settled(record: Path) -> list[dict[str, Any]]:
    """The lines of a record, but for who was told meanwhile, and their chain."""
    lines = [json.loads(line) for line in record.read_text().splitlines()[:-1]]
    assert len(lines) > 50
    told = ("alert", "closing")
    return [
        {key: value for key, value in line.items() if key not in ("before", "line")}
        for line in lines
        if line["kind"] not in told
    ]


def test_one_byte_changed_in_the_record_of_a_cook_is_named(
    cooked: tuple[Site, Probes],
) -> None:
    site, _ = cooked
    public, record, _ = (Path(line) for line in site.command("record", LOT).split())
    octets = record.read_bytes()
    place = octets.index(b'"kind":"readings"')
    row = octets.index(b'"rows":[[', place) + len(b'"rows":[[') + 3
    forged = bytearray(octets)
    forged[row] = ord("1") if forged[row] != ord("1") else ord("2")
    record.write_bytes(forged)
    said = site.command("verify", str(record), "--key", str(public), code=1)
    line = octets[:row].count(b"\n") + 1
    assert f"line {line}" in said
    assert "readings" in said
    assert openssl_says(record, public).strip() != "Verified OK"


def test_the_page_shows_the_cook(cooked: tuple[Site, Probes]) -> None:
    site, _ = cooked
    url = f"http://127.0.0.1:{site.settings.page.port}/view"
    with urllib.request.urlopen(url, timeout=10) as answer:
        view = json.load(answer)
    assert [cook["lot"] for cook in view["cooks"]] == [LOT]
    assert view["broker"]["connected"] is True
    assert view["recording"]["recording"] is True
    # What was refused at the beginning of the day was shown then, for an hour.
    assert view["notices"] == []
    channels = {channel["name"] for channel in view["channels"]}
    assert channels == {"chamber", "core-1", "core-2", "core-3", "cooler"}


def test_an_acknowledgement_by_message_answers_the_alert(make_site: MakeSite) -> None:
    site = make_site(times=600)
    site.start()
    site.command("begin", str(SCHEDULE), "--lot", LOT, "--who", "AB")
    site.receiver.wait_for(1)  # no probe ever speaks
    topic = "fumarium/fumarium-test/acknowledge"
    site.broker.publish(topic, ['{"alert": "all", "who": "AB"}'], options=PUBLISHER)

    def entries() -> list[str]:
        with site.journal() as journal:
            return [kept.entry.who for kept in journal.entries("")]

    wait_for(lambda: entries() == ["AB"], "the acknowledgement", entries)
    url = f"http://127.0.0.1:{site.settings.page.port}/view"

    def states() -> list[str]:
        with urllib.request.urlopen(url, timeout=10) as answer:
            return [alert["acknowledged_by"] for alert in json.load(answer)["alerts"]]

    wait_for(lambda: "AB" in states(), "the alert to be acknowledged", states)


def openssl_says(record: Path, public: Path) -> str:
    """Verify a record by the very lines of README, with no part of ours."""
    lines = block_with("sh", "openssl dgst").splitlines(keepends=True)
    assert lines[0].startswith("record=")
    script = "".join([f"record={record} public={public}\n", *lines[1:]])
    done = subprocess.run(
        ["sh", "-c", script],
        capture_output=True,
        text=True,
        cwd=record.parent,
        env={"PATH": "/usr/bin:/bin"},
    )
    return done.stdout
