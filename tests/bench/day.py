"""A day of sixteen channels at 1 Hz: the rules against whole-array NumPy.

Both come to the same verdicts from the same readings: come-up, a dwell table,
integrated lethality and cooling for twelve cores, a band for four chambers.  NumPy has
all of the day in arrays and no holes, no entries and no order to mind; the rules take
reading after reading, as on the road.  The figures are compared, so that neither side
answers another question.
"""

import random
import time
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy
from numpy.typing import NDArray

from rules.channels import Channel, Role
from rules.facts import Finding, Reading
from rules.replay import replay
from rules.schedule import Schedule, read_schedule
from rules.standards.tables import dwell_table

SCHEDULE = """\
schedule: A long day (invented)
revision: 1
product: {meat: pork, form: comminuted, cured: yes, cooked: fully, nitrite: 156 ppm}
stages:
  - {stage: dry, ends: after 45 min}
  - {stage: smoke, ends: after 195 min}
  - {stage: cook, ends: after 10 h}
  - {stage: chill, ends: after 10 h}
limits:
  - {limit: come-up, kind: time between, channel: core, during: "dry, smoke, cook",
     between: 50 degF and 130 degF, at most: 6 h, source: "common practice, no source"}
  - {limit: dwell, kind: dwell table, channel: core, during: "dry, smoke, cook",
     table: "FSIS Appendix A, meat, 6.5-log10"}
  - {limit: sum, kind: integrated lethality, channel: core,
     during: "dry, smoke, cook", D: 10.4 s, z: 6 K, reference: 70 degC,
     target: 6.5-log10}
  - {limit: air, kind: hold, channel: chamber, during: cook, at or above: 60 degC}
"""
SECONDS = 86_400
COOK_ENDS_S = 14 * 3_600
WITHIN_MC = 500
CORES, CHAMBERS = 12, 4

Array = NDArray[numpy.int64]


class Figures(NamedTuple):
    """What NumPy finds of one core, in the units of a finding."""

    come_up: tuple[int, int]  # the least favourable milliseconds, and the most
    dwell_ms: int  # when the first row was held for long enough; 0: never
    most_mlog10: int


def measured() -> Iterator[str]:
    """One line a figure."""
    schedule = read_schedule("day.yaml", SCHEDULE)
    assert isinstance(schedule, Schedule), schedule
    channels, values_mc = _day()
    readings = [
        Reading(channel.name, second * 1_000, value_mc, WITHIN_MC)
        for second, row in enumerate(zip(*values_mc, strict=True))
        for channel, value_mc in zip(channels, row, strict=True)
    ]
    began_s = time.process_time()
    outcome = replay(schedule, channels, 0, readings, [], SECONDS * 1_000)
    ours_s = time.process_time() - began_s
    began_s = time.process_time()
    figures = _whole(numpy.array(values_mc, dtype=numpy.int64))
    numpy_s = time.process_time() - began_s
    _compare(outcome.findings, figures)
    yield f"a day of 16 at 1 Hz       {len(readings) / ours_s:10,.0f} readings/s"
    yield f"NumPy, all in arrays      {len(readings) / numpy_s:10,.0f} readings/s"
    yield f"the rules against NumPy   {numpy_s / ours_s:10.2f}"


def _day() -> tuple[list[Channel], list[list[int]]]:
    """Channels, and of each a value a second."""
    names = [f"core-{n}" for n in range(CORES)]
    names += [f"chamber-{n}" for n in range(CHAMBERS)]
    channels = [
        Channel(name, Role(name.partition("-")[0]), 1_000, 60_000, WITHIN_MC)
        for name in names
    ]
    chance = random.Random(1)
    noise_mc = [round(chance.gauss(0, 30)) for _ in range(4096)]
    values_mc: list[list[int]] = [[] for _ in names]
    cores = [8.0] * CORES
    for second in range(SECONDS):
        air = _air(second / 3_600)
        for i in range(len(names)):
            if i < CORES:
                cores[i] += (air - cores[i]) / (5_400 + 300 * i)
            right = cores[i] if i < CORES else air
            noisy_mc = right * 1_000 + noise_mc[(second * len(names) + i) * 7 % 4096]
            values_mc[i].append(round(noisy_mc / 62.5) * 625 // 10)  # of 12 bits
    return channels, values_mc


def _air(hour: float) -> float:
    steps = ((0.75, 55.0), (4.0, 61.0), (14.0, 78.0))
    return next((degrees for until, degrees in steps if hour < until), 2.0)


def _whole(values_mc: Array) -> list[Figures]:
    """Every core at once, from the beginning to the end of the cook."""
    cores = values_mc[:CORES, : COOK_ENDS_S + 1]
    low = numpy.minimum(cores[:, :-1], cores[:, 1:]) - WITHIN_MC
    high = numpy.maximum(cores[:, :-1], cores[:, 1:]) + WITHIN_MC
    from_mc, to_mc = 10_000, 54_444  # 50 and 130 degF
    may = ((high > from_mc) & (low <= to_mc)).sum(axis=1) * 1_000
    must = ((low > from_mc) & (high < to_mc)).sum(axis=1) * 1_000
    most = (10.0 ** ((high - 70_000) / 6_000)).sum(axis=1) / 10.4 * 1_000
    table = dwell_table("FSIS Appendix A, meat, 6.5-log10")
    assert table is not None
    full = numpy.full(CORES, SECONDS)
    for row in table.rows:
        if needed_s := row.dwell_ms // 1_000:
            full = numpy.minimum(full, _held(low >= row.temp_mc, needed_s))
    return [
        Figures((int(may[i]), int(must[i])), int(full[i]) * 1_000, int(most[i]))
        for i in range(CORES)
    ]


def _held(above: NDArray[numpy.bool_], needed_s: int) -> Array:
    """When each core was above for so long without a break; never is a day."""
    count = above.cumsum(axis=1)
    broken = numpy.maximum.accumulate(numpy.where(above, 0, count), axis=1)
    enough = count - broken >= needed_s
    return numpy.where(enough.any(axis=1), enough.argmax(axis=1) + 1, SECONDS)


def _compare(findings: Sequence[Finding], figures: Sequence[Figures]) -> None:
    """Both have to say the same of every core, and every limit has to be judged."""
    found = {(one.limit, one.channel): one for one in findings}
    for i, figure in enumerate(figures):
        core = f"core-{i}"
        come_up, dwell = found["come-up", core], found["dwell", core]
        assert (come_up.least, come_up.most) == figure.come_up, (come_up, figure)
        assert (come_up.least <= come_up.required) == (come_up.verdict == "met")
        assert dwell.since_ms == figure.dwell_ms, (dwell, figure)
        apart = abs(found["sum", core].most - figure.most_mlog10)
        assert apart <= 1, (found["sum", core], figure)  # a thousandth of one in 10^4
    assert {one.verdict for one in findings} <= {"met", "missed"}
    assert len(findings) == 3 * CORES + CHAMBERS
