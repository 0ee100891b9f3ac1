"""The figures, taken by a real monitoring system: victoria-metrics reads the text.

Outside the project: the Prometheus text exposition format 0.0.4, as that server's
``/api/v1/import/prometheus`` understands it.
"""

import json
import urllib.request
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from daemon.metrics import KIND, as_text
from daemon.view import ChannelView, Figures, Heard, View, as_json
from rules.channels import Role
from tests.browser.yard import yard
from tests.daemon.test_web import ask, served
from tests.victoria import DIRECT, Victoria, victoria

NOW_MS = 1_768_021_200_000
FIGURES = Figures(691_200, 7, 1_431_552, 3_000_000_000, 16_000_000_000)
ODD = 'core "1"\\ of\nnorth'  # an operator may call a channel what he likes


def view() -> View:
    channel = ChannelView(
        ODD, Role.CORE, "north", "degC", Heard.HEARD, 1, NOW_MS - 2_500
    )
    silent = ChannelView("core-2", Role.CORE, "north", "degC", Heard.WAITING)
    return replace(
        yard(NOW_MS),
        channels=(channel, silent),
        horizon_ms=NOW_MS - 10_250,
        figures=FIGURES,
    )


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Victoria]:
    with victoria(tmp_path) as started:
        yield started


def taken(server: Victoria, text: bytes) -> dict[str, tuple[dict[str, str], float]]:
    """What the server has understood: labels and figure of each name."""
    url = f"{server.url}/api/v1/import/prometheus?timestamp={NOW_MS}"
    asked = urllib.request.Request(url, text, {"Content-Type": KIND})
    with DIRECT.open(asked, timeout=30) as answer:
        assert answer.status == 204
    server.get("/internal/force_flush")
    match = "%7B__name__%3D~%22fumarium_.*%22%7D"  # {__name__=~"fumarium_.*"}
    found = {}
    for line in server.get(f"/api/v1/export?match[]={match}").splitlines():
        part = json.loads(line)
        name = part["metric"].pop("__name__").removeprefix("fumarium_")
        assert name not in found
        found[name] = (part["metric"], part["values"][-1])
    return found


def test_a_monitoring_system_reads_every_figure(server: Victoria) -> None:
    shown = view()
    assert taken(server, as_text(shown, 0.25)) == {
        "readings_total": ({}, 691_200),
        "refusals_total": ({}, 7),
        "channel_last_reading_age_seconds": ({"channel": ODD}, 2.5),
        "horizon_lag_seconds": ({}, 10.25),
        "road_still_seconds": ({}, 0.25),
        "broker_connected": ({}, shown.broker.connected),
        "recording": ({}, shown.recording.recording),
        "lots_not_judged": ({}, 0),
        "open_alerts": ({}, len(shown.alerts)),
        "journal_bytes": ({}, 1_431_552),
        "disk_free_bytes": ({}, 3_000_000_000),
        "disk_bytes": ({}, 16_000_000_000),
    }


def test_every_name_is_explained_once_and_before_its_samples() -> None:
    lines = as_text(view(), None).decode().splitlines()
    names = [line.split()[2] for line in lines if line.startswith("# HELP ")]
    assert len(names) == len(set(names)) == 12
    for name in names:
        places = [at for at, line in enumerate(lines) if name in line]
        assert lines[places[0]].startswith(f"# HELP {name} ")
        assert lines[places[1]] in (f"# TYPE {name} gauge", f"# TYPE {name} counter")
        assert places == list(range(places[0], places[0] + len(places)))


def test_it_is_asked_beside_health_and_is_no_part_of_the_page() -> None:
    with served(lambda *_: 0) as page:
        page.publish(view())
        answer = ask(page, "GET", "/metrics")
        assert answer.status == 200
        assert answer.headers["Content-Type"] == KIND
        assert b"\nfumarium_journal_bytes 1431552\n" in answer.body
    assert b"figures" not in as_json(view())
    other = replace(view(), figures=Figures())
    assert view().same_but_time(other)


def test_before_anything_was_shown_there_are_no_figures() -> None:
    with served(lambda *_: 0) as page:
        assert ask(page, "GET", "/metrics").status == 503
