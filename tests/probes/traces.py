"""Days of the simulated smokehouse with one thing wrong with one probe.

Each ``spoiled`` takes a clean day and answers what the probe would have said, and the
times at which that was not so.
"""

from collections.abc import Callable, Sequence
from functools import cache
from typing import NamedTuple

from probes.days import long_day
from probes.screening import Screened, screened
from probes.script import MINUTE_MS
from probes.simulator import Sample, simulate
from probes.watch import NEW
from rules.channels import Channel, Role
from rules.facts import Event, Quality, Reading

BEGINS_MS = 1_768_021_200_000
EVERY_MS = 10_000
PROBE = "core-1"
NAMES = ("chamber", "core-1", "core-2", "core-3")


def channel(name: str, every_ms: int = EVERY_MS) -> Channel:
    """A channel of the day."""
    role = Role.CHAMBER if name == "chamber" else Role.CORE
    return Channel(name, role, every_ms, 300_000, 500)


@cache
def clean(seed: int, name: str) -> tuple[Reading, ...]:
    """What one probe says on a day on which no probe fails."""
    return tuple(
        Reading(one.channel, one.at_ms, one.value_mc, 500)
        for one in _day(seed)
        if one.channel == name
    )


@cache
def _day(seed: int) -> tuple[Sample, ...]:
    return tuple(simulate(long_day(BEGINS_MS, EVERY_MS, seed)))


class Spoiled(NamedTuple):
    """What a failing probe says, and from when to when it is false."""

    readings: tuple[Reading, ...]
    from_ms: int
    to_ms: int


Change = Callable[[int, Reading], int]  # the value at a place of the false stretch


def spoiled(
    readings: Sequence[Reading], minute: int, minutes: int, change: Change
) -> Spoiled:
    """Let a probe say something else for a while."""
    from_ms = readings[0].at_ms + minute * MINUTE_MS
    to_ms = from_ms + minutes * MINUTE_MS
    changed, place = [], 0
    for one in readings:
        if from_ms <= one.at_ms < to_ms:
            changed.append(one._replace(value_mc=change(place, one)))
            place += 1
        else:
            changed.append(one)
    return Spoiled(tuple(changed), from_ms, to_ms)


def power_on(readings: Sequence[Reading], minute: int) -> Spoiled:
    """It loses its power, and says its power-on value once before it measures."""
    return spoiled(readings, minute, 1, lambda place, one: 85_000)


def zero(readings: Sequence[Reading], minute: int) -> Spoiled:
    """Its wire breaks, and its board says 0 for it."""
    return spoiled(readings, minute, 40, lambda place, one: 0)


def jump(readings: Sequence[Reading], minute: int) -> Spoiled:
    """It slips out of its piece into another that is 27.8 K away."""

    def elsewhere(place: int, one: Reading) -> int:
        return one.value_mc + (27_800 if one.value_mc < 30_000 else -27_800)

    return spoiled(readings, minute, 40, elsewhere)


def unit(readings: Sequence[Reading], minute: int) -> Spoiled:
    """Its bridge starts again and turns degrees Celsius into Fahrenheit."""
    return spoiled(
        readings, minute, 40, lambda place, one: one.value_mc * 9 // 5 + 32_000
    )


def coarse(readings: Sequence[Reading], minute: int) -> Spoiled:
    """Its plug is damp: it says two degrees Fahrenheit at a time, and too much."""

    def even(place: int, one: Reading) -> int:
        half = round((one.value_mc * 9 / 5 + 32_000) / 2_000) + 2
        return round((half * 2_000 - 32_000) * 5 / 9)

    return spoiled(readings, minute, 120, even)


def rough(readings: Sequence[Reading], minute: int) -> Spoiled:
    """It lost its power, and measures with nine bits instead of twelve."""
    return spoiled(
        readings, minute, 120, lambda place, one: round(one.value_mc / 500) * 500
    )


def run(one: Channel, readings: Sequence[Reading]) -> list[Screened]:
    """Screen readings of one channel in their order."""
    watch, found = NEW, []
    for reading in readings:
        found.append(screened(one, watch, reading))
        watch = found[-1].watch
    return found


def doubted(found: Sequence[Screened]) -> list[int]:
    """The times of the readings in doubt."""
    return [
        one.reading.at_ms
        for one in found
        if one.reading.quality is Quality.SUSPECT or one.watch.doubted.doubt
    ]


def told(found: Sequence[Screened]) -> list[Event]:
    """What was told."""
    return [one.event for one in found if one.event]
