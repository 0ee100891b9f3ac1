"""``fumarium status``, asked of a page that a thread of this test serves."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from daemon import cli
from daemon.lots import Lots
from daemon.view import BrokerView, RecordingView, View
from daemon.web import Page
from rules.facts import Standing, Verdict
from tests.browser.yard import LOT, yard
from tests.daemon.test_settings import LEAST
from tests.servers import unused_port

NOW_MS = 1_768_021_200_000


@pytest.fixture
def page() -> Iterator[Page]:
    """A page that has shown nothing yet."""
    lots = Lots(Path("no-journal.db"), Path("no-records"))
    served = Page(
        *("127.0.0.1", unused_port(), lambda *_: 0), now_ms=lambda: NOW_MS, lots=lots
    )
    served.start()
    yield served
    served.stop()


def asked(folder: Path, port: int, listen: str = "127.0.0.1") -> int:
    """Type the command; answer its exit code."""
    path = folder / "settings.yaml"
    path.write_text(f"{LEAST}page: {{listen: '{listen}', port: {port}}}\n")
    return cli.main(["status", "--settings", str(path)])


def calm() -> View:
    """The invented yard, on a day on which nothing asks for a person."""
    view = yard(NOW_MS)
    cook = view.cooks[0]
    limit = replace(cook.limits[0], standing=Standing.MET, verdict=Verdict.MET)
    return replace(
        view,
        cooks=(replace(cook, limits=(limit,), signs=(), spots=()),),
        channels=view.channels[:2],
        alerts=(),
    )


def test_where_nothing_asks_for_a_person_it_exits_zero(
    page: Page, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page.publish(calm())
    assert asked(tmp_path, page.port, "0.0.0.0") == cli.GOOD
    said = capsys.readouterr().out
    assert "!" not in said
    assert said.startswith("Juniper Yard (invented)\n  daemon       it moves\n")
    assert f"  {LOT:<12} north: cook\n" in said
    assert "  chamber      heard " in said


def test_a_lot_that_is_not_judged_is_an_exit_status_of_one(
    page: Page, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page.publish(replace(calm(), unjudged=("R-1",)))
    assert asked(tmp_path, page.port) == cli.CHECK_FAILED
    marked = [one for one in capsys.readouterr().out.splitlines() if one[0] == "!"]
    assert marked == [
        "! R-1          NOT JUDGED: this version does not understand its schedule;"
        " it is on hold"
    ]


def test_each_trouble_has_its_line(
    page: Page, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    broker = BrokerView(False, NOW_MS, "nobody answers")
    recording = RecordingView(False, "the disk is full")
    page.publish(replace(yard(NOW_MS), broker=broker, recording=recording))
    assert asked(tmp_path, page.port) == cli.CHECK_FAILED
    said = capsys.readouterr().out
    for words in (
        "! broker       AWAY: nobody answers\n",
        "! recording    NO: the disk is full\n",
        "!              come-up: at risk, ",
        "! core-2       quiet 12 min ago\n",
    ):
        assert words in said
    assert "waits for somebody" in said


def test_it_says_where_a_cook_is_going(
    page: Page, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page.publish(yard(NOW_MS))
    assert asked(tmp_path, page.port) == cli.CHECK_FAILED
    said = capsys.readouterr().out
    for words in (
        " cook ends: core-2 has to be past 69.0 degC; at this rate never"
        " (05:55 at the earliest)\n",
        "!              come-up: core-2 must be past 130.0 degF by 05:42;"
        " at this rate 06:27 (05:18 to 07:20)\n",
        " lethality: not met yet; surface: smoke humidity unproven\n",
        "!              chamber: dying fire since 04:46\n",
        "!              cook by hand: the lowest of 3 pieces 51.25 degC at 04:40 by AB,"
        " with TH-2 within 0.5 K; calibrated 2026-01-02, due 2027-01-02; stage cook is"
        " NOT borne out: not every piece is surely at 69.0 degC; what the probes have"
        " shown is unproven by a set by hand\n",
    ):
        assert words in said


def test_before_its_first_turn_the_daemon_has_nothing_to_show(
    page: Page, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert asked(tmp_path, page.port) == cli.MACHINE
    assert "the daemon has not shown anything yet" in capsys.readouterr().err


def test_where_no_daemon_answers_it_exits_four(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert asked(tmp_path, unused_port()) == cli.MACHINE
    assert "no daemon answers here" in capsys.readouterr().err
