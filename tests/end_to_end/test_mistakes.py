"""What goes wrong in a smokehouse, and the exact words it is answered with.

Each mistake is made for real: a broker that is away, a wrong password, a receiver
that refuses, a topic nobody publishes.  Nothing is lost by any of them.
"""

import json
import urllib.request
from pathlib import Path
from typing import Any

import pytest

from tests.end_to_end.conftest import MakeSite
from tests.end_to_end.site import Site
from tests.receivers import Arrived
from tests.servers import wait_for

LOT = "M-001"
SCHEDULE = Path(__file__).parent / "links.yaml"
PUBLISHER = ("-u", "fumarium", "-P", "invented-for-the-test")


def view(site: Site) -> Any:
    """What the page shows now."""
    url = f"http://127.0.0.1:{site.settings.page.port}/view"
    try:
        with urllib.request.urlopen(url, timeout=10) as answer:
            return json.load(answer)
    except OSError as error:  # it is still starting
        return {"broker": {"why": str(error)}, "alerts": []}


def kept(site: Site) -> list[tuple[str, int]]:
    """Every durable reading of the core probes, as channel and value."""
    with site.journal() as journal:
        found = journal.readings(["core-1", "core-2"], 0, 1 << 62)
        return [(one.channel, one.value_mc) for one in found]


def publish_cores(site: Site) -> None:
    """What two probes say at this moment."""
    at_s = site.clock.now_ms() / 1000
    pack = f'[{{"bt":{at_s:.3f},"n":"core-1","v":5.5}},{{"n":"core-2","v":6.5}}]'
    site.broker.publish("yard/cores", [pack], options=PUBLISHER)


def test_a_broker_that_is_away_is_named_and_its_return_heals(
    make_site: MakeSite,
) -> None:
    site = make_site(times=1)
    site.broker.stop()
    site.start()
    words = f"nobody answers at 127.0.0.1:{site.broker.port}"
    wait_for(lambda: view(site)["broker"]["why"] == words, words, lambda: view(site))
    site.broker.start()
    wait_for(lambda: view(site)["broker"].get("connected"), "the return of the broker")
    publish_cores(site)
    both = [("core-1", 5500), ("core-2", 6500)]
    wait_for(lambda: kept(site) == both, "both readings", lambda: kept(site))


def test_a_wrong_password_is_named_and_never_shown(make_site: MakeSite) -> None:
    site = make_site(times=1)
    site.password = "not-the-password"
    site.start()
    words = "refused: wrong user name or password, or no right to connect"
    wait_for(lambda: view(site)["broker"]["why"] == words, words, lambda: view(site))
    site.stop()
    assert "not-the-password" not in site.log()


def test_an_alert_that_cannot_be_delivered_is_told_later(make_site: MakeSite) -> None:
    site = make_site(times=600)
    site.receiver.stop()
    site.start()
    site.command("begin", str(SCHEDULE), "--lot", LOT, "--who", "AB")

    def attempts() -> set[tuple[str, str]]:
        alerts = view(site)["alerts"]
        return {(t["outcome"], t["why"]) for alert in alerts for t in alert["told"]}

    words = "it could not be delivered: nobody answers, or it is refused"
    wait_for(lambda: ("failed", words) in attempts(), words, attempts)
    site.receiver.start()

    def quiet() -> list[Arrived]:
        # Others may be due by now, and go first: nobody was told of them either.
        return [one for one in site.receiver.arrived if " quiet: lot " in one.title]

    wait_for(quiet, "the alert", lambda: site.receiver.arrived)
    # All four are silent from the beginning: that is one alert, not four.
    names = "chamber, core-1, core-2, core-3"
    assert {one.title.partition(" quiet")[0] for one in quiet()} == {
        f"channels {names}"
    }
    assert "nothing heard for 5 min since the cook began" in quiet()[0].body


def test_a_topic_nobody_publishes_is_a_quiet_channel(make_site: MakeSite) -> None:
    site = make_site(times=600)
    site.start()
    site.command("begin", str(SCHEDULE), "--lot", LOT, "--who", "AB")

    def quiet() -> set[str]:
        events = [noticed.event for noticed in site.events(LOT)]
        return {event.why for event in events if event.name == "core-2"}

    words = {"nothing heard for 5 min since the cook began"}
    wait_for(lambda: quiet() == words, "the quiet channel", quiet)


def test_what_is_refused_is_shown(make_site: MakeSite) -> None:
    site = make_site(times=1)
    site.start()
    wait_for(lambda: view(site)["broker"].get("connected"), "the link")
    site.broker.publish("yard/cooler", ["3,5"], options=PUBLISHER)
    words = "refused, from yard/cooler cooler: "

    def notices() -> list[str]:
        return [one["words"] for one in view(site).get("notices", [])]

    wait_for(lambda: any(n.startswith(words) for n in notices()), words, notices)
    assert any("3.5" in one for one in notices())  # what to write instead


HUMID = """\
schedule: Links with humidity
revision: 1
product: {meat: pork, form: comminuted, cured: yes}
stages: [{stage: smoke, ends: after 1 h}]
limits:
  - {limit: moist, kind: hold, channel: humidity, at or above: 50 degC}
"""


@pytest.mark.parametrize(
    ("words", "code", "answer"),
    [
        pytest.param(
            ("begin", "humid.yaml", "--lot", LOT),
            3,
            "north: limit 'moist' needs a channel of role humidity\n",
            id="a channel that is not there",
        ),
        pytest.param(
            ("begin", "nowhere.yaml", "--lot", LOT),
            3,
            "nowhere.yaml: cannot be read: No such file or directory\n",
            id="a file that is not there",
        ),
        pytest.param(
            ("begin", str(SCHEDULE), "--lot", LOT, "--smokehouse", "south"),
            2,
            "give --smokehouse with one of: north\n",
            id="a smokehouse that is not there",
        ),
        pytest.param(
            ("begin", str(SCHEDULE), "--lot", "../lot"),
            2,
            "'../lot' is no name for a lot: letters, digits, dots, dashes and "
            "underlines, at most 64\n",
            id="a lot that would be a path",
        ),
        pytest.param(
            ("note", "M-009", "seen"),
            2,
            "there is no lot 'M-009'; there are: none yet\n",
            id="a lot that is not there",
        ),
        pytest.param(
            ("acknowledge", "soon"),
            2,
            "give the number of an alert, or all\n",
            id="no alert",
        ),
    ],
)
def test_a_mistaken_command_is_answered(
    make_site: MakeSite, words: tuple[str, ...], code: int, answer: str
) -> None:
    site = make_site(times=1)
    (site.folder / "humid.yaml").write_text(HUMID)
    assert site.command(*words, "--who", "AB", code=code) == answer
