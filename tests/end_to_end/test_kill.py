"""A daemon killed at any moment loses nothing and counts nothing twice."""

import random
import time
from pathlib import Path

from probes.days import long_day
from probes.simulator import simulate
from tests.end_to_end.conftest import MakeSite
from tests.end_to_end.site import BEGINS_MS, Probes, plain, undisturbed

LOT = "K-001"
SCHEDULE = Path(__file__).parent / "links.yaml"
KILLS = 20


def test_twenty_kills_under_load_lose_and_double_nothing(make_site: MakeSite) -> None:
    """SIGKILL at random moments while some 300 readings a second come in."""
    chance = random.Random(20_260_110)
    site = make_site(times=750, every="10 s", lateness="40 min")
    site.start()
    site.command("begin", str(SCHEDULE), "--lot", LOT, "--who", "AB")
    probes = Probes(site, list(simulate(long_day(BEGINS_MS, every_ms=10_000))))
    probes.start()
    for _ in range(KILLS):
        time.sleep(chance.uniform(0.05, 1.2))  # the moment is the thing under test
        site.kill()
        site.start()
    probes.done()
    site.wait_until_judged(LOT, deadline_s=90)
    site.wait_until_kept(len(probes.published))

    with site.journal() as journal:
        names = ["chamber", "core-1", "core-2", "core-3"]
        kept = list(journal.readings(names, 0, 1 << 62))
        assert [refusal.why for _, refusal in journal.refusals()] == []
    stamped = [one._replace(received_ms=0) for one in kept]
    assert sorted(stamped) == sorted(probes.published)  # each exactly once
    events = [noticed.event for noticed in site.events(LOT)]
    assert plain(events) == plain(undisturbed(site, LOT, probes.published).events)
    assert ("core-2", "quiet") in {(event.name, event.now) for event in events}
