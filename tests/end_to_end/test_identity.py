"""Probes that are numbered anew while a cook runs: no chamber becomes a core.

The kernel's tree is that of ``tests.sysfs``, read by the publisher in its own process;
mosquitto carries what it says to the daemon in another.  Beside them speaks a gateway
that sends its probes by their place in a list, and changes their order.
"""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from daemon.cli import main
from daemon.journal import Journal
from tests.servers import Mosquitto, mosquitto, unused_port, wait_for
from tests.sysfs import Sysfs

ROOT = Path(__file__).parents[2]
LOT = "T-9"
COLD, HOT = "23125\n", "85250\n"
CORE, CHAMBER = "tmp102:1-0048:temp1", "tmp102:1-0049:temp1"
SCHEDULE = """\
schedule: Juniper links for the test of a plug (invented)
revision: 1
product: {meat: pork, form: comminuted, cured: yes}
stages:
  - {stage: cook, chamber: 74 degC to 90 degC, ends: when every core reaches 70 degC}
limits:
  - {limit: lethality, kind: dwell table, channel: core,
     table: "FSIS Appendix A, meat, 6.5-log10"}
"""
SETTINGS = """\
site: Juniper Yard (invented)
journal: journal.db
records: records
key: device-key.pem
lateness: 1 s
broker: {{port: {port}}}
page: {{port: {page}}}
channels:
  - {{channel: core-1, smokehouse: north, role: core, topic: yard/board,
     payload: senml, record: "tmp102:1-0048:temp1", unit: degC, every: 1 s,
     quiet after: 30 s, accuracy: 0.5 K, probe: "tmp102:1-0048:temp1"}}
  - {{channel: core-2, smokehouse: north, role: core, topic: yard/gateway,
     payload: json, value at: /0/v, probe at: /0/id, probe: A7, unit: degC, every: 1 s,
     quiet after: 30 s, accuracy: 0.5 K}}
  - {{channel: chamber, smokehouse: north, role: chamber, topic: yard/board,
     payload: senml, record: "tmp102:1-0049:temp1", unit: degC, every: 1 s,
     quiet after: 30 s, accuracy: 1 K, probe: "tmp102:1-0049:temp1"}}
"""
BOARD = """\
board: north-board
topic: yard/board
buffer: board.db
sysfs: sys
broker: {{port: {port}}}
probes:
  - {{probe: "tmp102:1-0048:temp1", every: 1 s}}
  - {{probe: "tmp102:1-0049:temp1", every: 1 s}}
"""


@contextmanager
def running(folder: Path, *words: str) -> Iterator[None]:
    """A command of ours in a process of its own, ended with the test."""
    with (folder / "said.log").open("ab") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", "daemon.cli", *words],
            stdout=log,
            stderr=log,
            cwd=folder,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )
    try:
        yield
    finally:
        process.kill()
        process.wait(20)


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Mosquitto]:
    """A broker, a daemon and the files of a site; its board does not run yet."""
    with mosquitto(tmp_path) as broker:
        ports = {"port": broker.port, "page": unused_port()}
        (tmp_path / "settings.yaml").write_text(SETTINGS.format(**ports))
        (tmp_path / "board.yaml").write_text(BOARD.format(**ports))
        (tmp_path / "links.yaml").write_text(SCHEDULE)
        settings = ("--settings", str(tmp_path / "settings.yaml"))
        assert main(["key", "create", *settings]) == 0
        with running(tmp_path, "run", *settings):
            wait_for((tmp_path / "journal.db").exists, "the journal")
            yield broker


def plugged(tree: Sysfs, numbers: tuple[int, int]) -> list[Path]:
    """The two chips, numbered so: the core's, which is cold, and the chamber's."""
    files = {"name": "tmp102\n", "temp1_input": ""}
    places = zip(("1-0048", "1-0049"), numbers, (COLD, HOT), strict=True)
    return [
        tree.hwmon(place, number, {**files, "temp1_input": text})
        for place, number, text in places
    ]


def test_no_order_of_the_kernel_lets_a_chamber_end_a_core_limit(
    site: Mosquitto, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    tree, settings = Sysfs(tmp_path / "sys"), tmp_path / "settings.yaml"
    order = (0, 1)
    folders = plugged(tree, order)
    schedule = str(tmp_path / "links.yaml")
    told = ["begin", schedule, "--lot", LOT, "--who", "AB", "--settings"]
    assert main([*told, str(settings)]) == 0
    with running(tmp_path, "probes", "publish", str(tmp_path / "board.yaml")):
        wait_for(lambda: begun(tmp_path), "the cook to be followed")
        wait_until_heard(tmp_path)
        site.publish("yard/gateway", [listed("A7", 23.1, "B2", 85.3)])
        for _ in range(4):
            site.publish("yard/gateway", [listed("B2", 85.3, "A7", 23.1)])
        wait_for(lambda: doubts_of(tmp_path, "core-2"), "the gateway's other order")
        for _ in range(2):
            wait_until_heard(tmp_path)
            for folder in folders:
                tree.unplug(folder)
            order = order[::-1]
            folders = plugged(tree, order)
        wait_until_heard(tmp_path)
    assert set(said(tmp_path, "core-1")) == {23_125}
    assert set(said(tmp_path, "chamber")) == {85_250}
    assert set(said(tmp_path, "core-2")) == {23_100}
    with journal(tmp_path) as kept:
        names = [(one.event.name, one.event.now) for one in kept.events(LOT)]
    assert ("cook", "begun") in names
    assert not {("lethality", "met"), ("cook", "ended")} & set(names)
    assert doubts_of(tmp_path, "core-2") == ["another probe"]  # told once
    capsys.readouterr()
    assert main(["probes", "--settings", str(settings)]) == 0
    shown = capsys.readouterr().out
    assert "another probe: 'B2' speaks where the settings have 'A7'" in shown


def test_a_probe_that_the_settings_name_later_ends_no_core_limit_unsaid(
    tmp_path: Path,
) -> None:
    """The settings are changed while a cook goes on, and the daemon is started anew."""
    path = tmp_path / "settings.yaml"
    with mosquitto(tmp_path) as broker:
        text = SETTINGS.format(port=broker.port, page=unused_port())
        path.write_text(text)
        (tmp_path / "links.yaml").write_text(SCHEDULE)
        at = ("--settings", str(path))
        begin = ["begin", str(tmp_path / "links.yaml"), "--lot", LOT, "--who", "AB"]
        assert main([*begin, *at]) == 0
        with running(tmp_path, "run", *at):
            wait_for(lambda: begun(tmp_path), "the cook to be followed")
            publish_until(broker, tmp_path, ("A7", 23.1), 2)
        path.write_text(text.replace("probe: A7", "probe: B2"))
        with running(tmp_path, "run", *at):
            publish_until(broker, tmp_path, ("B2", 85.3), 4)
            # What A7 said last may have waited in the broker, and is refused besides.
            wait_for(
                lambda: "probe replaced" in doubts_of(tmp_path, "core-2"), "the doubt"
            )
            assert "met" not in limit_words(tmp_path)
            moved = ["moved", LOT, "core-2", "--replaced", "--settling", "1 s"]
            assert main([*moved, "--who", "AB", *at]) == 0

            def met() -> bool:
                enough = len(said(tmp_path, "core-2")) + 1
                publish_until(broker, tmp_path, ("B2", 85.3), enough)
                return "met" in limit_words(tmp_path)

            wait_for(met, "the limit to be met by the probe that was said")
        assert doubts_of(tmp_path, "core-2")[-1] == "reporting"


def limit_words(folder: Path) -> set[str]:
    """What the limit on core-2 came to, as far as it moved."""
    with journal(folder) as kept:
        events = [one.event for one in kept.events(LOT)]
    return {one.now for one in events if (one.name, one.channel) == LIMIT}


LIMIT = ("lethality", "core-2")


def publish_until(
    broker: Mosquitto, folder: Path, probe: tuple[str, float], enough: int
) -> None:
    """Let the gateway say what one probe says until so many readings are kept."""
    payload = json.dumps([{"id": probe[0], "v": probe[1]}])

    def kept() -> bool:
        broker.publish("yard/gateway", [payload])
        return len(said(folder, "core-2")) >= enough

    wait_for(kept, f"{enough} readings of core-2")


def begun(folder: Path) -> bool:
    """Whether the daemon has taken the cook up."""
    with journal(folder) as kept:
        return bool(kept.events(LOT))


def wait_until_heard(folder: Path) -> None:
    """Wait for two more readings of the core."""
    enough = len(said(folder, "core-1")) + 2
    wait_for(lambda: len(said(folder, "core-1")) >= enough, "the core")


def listed(first: str, first_c: float, second: str, second_c: float) -> str:
    """What a gateway says of two probes, in this order."""
    pairs = ((first, first_c), (second, second_c))
    return json.dumps([{"id": name, "v": celsius} for name, celsius in pairs])


@contextmanager
def journal(folder: Path) -> Iterator[Journal]:
    """The daemon's journal, opened beside it."""
    opened = Journal(folder / "journal.db")
    try:
        yield opened
    finally:
        opened.close()


def doubts_of(folder: Path, channel: str) -> list[str]:
    """What was told of a channel, outside the cook."""
    with journal(folder) as kept:
        events = [one.event for one in kept.events("")]
    return [one.now for one in events if one.name == channel]


def said(folder: Path, channel: str) -> list[int]:
    """Every value that is kept of a channel, in thousandths of a degree."""
    with journal(folder) as kept:
        return [one.value_mc for one in kept.readings([channel], 0, 1 << 62)]
