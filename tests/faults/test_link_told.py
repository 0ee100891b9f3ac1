"""What people hear when the broker no longer lets the daemon in, or has forgotten it.

The whole site is real: broker, daemon, and the telephone at the end.
"""

from pathlib import Path

from tests.end_to_end.site import PASSWORD
from tests.faults import day
from tests.receivers import Arrived
from tests.servers import SHIPPED, wait_for

AT_ONCE = ("--away-ms", "5000")  # instead of 30 s: who is lost for longer is told


def told(site: day.FaultSite, word: str) -> list[Arrived]:
    """What has arrived about one part of the site."""
    return [one for one in site.receiver.arrived if one.title.startswith(word)]


def words(site: day.FaultSite) -> list[tuple[str, str, str]]:
    """The events of the site."""
    said = [noticed.event for noticed in site.events("")]
    return [(one.name, one.now, one.why) for one in said]


def test_a_password_that_is_taken_back_is_told_once(tmp_path: Path) -> None:
    refused = "broker: refused: wrong user name or password, or no right to connect"
    away = ("broker", "away", refused)
    back = ("broker", "reporting", "broker: it is back")
    with day.site(tmp_path, *AT_ONCE, times=1) as site:
        wait_for(lambda: "SUBACK to fumarium-test" in site.running.log(), "the link")
        site.running.set_password("fumarium", "taken-back")
        wait_for(lambda: words(site), "the loss", site.log)
        tries = site.running.log().count("not authorised")
        wait_for(
            lambda: site.running.log().count("not authorised") >= tries + 2,
            "two more tries",
        )
        assert words(site) == [away]
        site.running.set_password("fumarium", PASSWORD)
        wait_for(lambda: words(site) == [away, back], "the return", site.log)
        wait_for(lambda: told(site, "broker away"), "it to be told", site.log)
        (one,) = told(site, "broker away")
        assert refused in one.body
        assert "taken-back" not in site.log() + one.body


def test_a_broker_that_lost_its_store_is_told_even_if_we_were_away(
    tmp_path: Path,
) -> None:
    with day.site(tmp_path, *AT_ONCE, shipped=SHIPPED, times=1) as site:
        pack = f'[{{"bt":{site.clock.now_ms() / 1000:.3f},"n":"core-1","v":5.5}}]'
        publisher = ("-u", "fumarium", "-P", PASSWORD)
        wait_for(lambda: "SUBACK to fumarium-test" in site.running.log(), "the link")
        site.running.publish("yard/cores", [pack], options=publisher)
        site.wait_until_kept(1)
        site.stop()
        site.running.restart()
        site.start()
        wait_for(lambda: site.running.log().count("SUBACK") == 2, "the link")
        site.stop()
        assert words(site) == []  # it kept its store, and that is nothing to tell
        site.running.stop()
        site.running.forget()
        site.running.start()
        site.start()
        wait_for(lambda: len(words(site)) >= 2, "the loss", site.log)
        (_, lost, why), (_, again, _) = words(site)
        assert (lost, again) == ("lost", "reporting")
        assert "knew nothing of the client 'fumarium-test'" in why
        wait_for(lambda: told(site, "broker queue lost"), "it to be told", site.log)
