"""A small smokehouse that exists only as arithmetic, for demonstrations and tests.

The chamber follows its fire, and each core follows what surrounds it, by Newton's
law of heating and cooling: the difference falls by a constant share in equal times.
Sausages are lumps with one time constant in air and a shorter one in moving ice
water; there is no evaporation and no steam.  The fire can die and be lit again, and
a probe can be silent for a while.  The same script gives the same samples: the
noise is a fixed function of seed, channel and time.

Units: ``_c`` degrees Celsius as floats; ``_s`` seconds; ``_ms`` milliseconds;
``_mc`` thousandths of a degree Celsius.  Times in a script count from its begin.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
LONGEST_MS = 48 * HOUR_MS  # a step that never gets there is a mistake in the script
PLACES_MC = 10  # a sample is rounded to a hundredth of a degree


class Around(Enum):
    """What surrounds the sausages."""

    CHAMBER = "chamber"
    ICE_WATER = "ice water"
    COOLER = "cooler"


class Sample(NamedTuple):
    """What one probe would show at one time."""

    at_ms: int
    channel: str
    value_mc: int


@dataclass(frozen=True, slots=True)
class Core:
    """One sausage with a probe in it."""

    channel: str
    starts_c: float
    air_s: float  # its time constant in air
    water_s: float  # and in moving ice water


@dataclass(frozen=True, slots=True)
class Step:
    """One part of the day: where the sausages are, at what, and until when."""

    around: Around
    target_c: float  # of the fire, the ice water or the cooler
    lasts_ms: int = 0
    until_c: float | None = None  # until every core has passed this


@dataclass(frozen=True, slots=True)
class Span:
    """From one time up to, not including, another."""

    from_ms: int
    to_ms: int

    def holds(self, at_ms: int) -> bool:
        """Whether the time lies in the span."""
        return self.from_ms <= at_ms < self.to_ms


@dataclass(frozen=True, slots=True)
class Silence:
    """A probe that says nothing for a while."""

    channel: str
    span: Span


@dataclass(frozen=True, slots=True)
class Script:
    """Everything that will happen."""

    begins_ms: int  # since 1970-01-01T00:00:00Z
    every_ms: int
    chamber: str  # the channel of its probe
    chamber_starts_c: float
    chamber_s: float  # its time constant with a fire, and without one
    chamber_dead_s: float
    outside_c: float  # what the chamber falls to without a fire
    cores: tuple[Core, ...]
    steps: tuple[Step, ...]
    fire_dead: tuple[Span, ...] = ()
    silences: tuple[Silence, ...] = ()
    noise_c: float = 0.0  # largest
    seed: int = 1


def simulate(script: Script) -> Iterator[Sample]:
    """Every sample of the script, in the order of time, chamber first.

    Raises:
        ValueError: A step never reaches the temperature that would end it.
    """
    at_ms = 0
    chamber_c = script.chamber_starts_c
    cores_c = [core.starts_c for core in script.cores]
    for step in script.steps:
        began_ms = at_ms
        rising = step.until_c is not None and min(cores_c) < step.until_c
        while not _over(step, at_ms - began_ms, cores_c, rising):
            yield from _samples(script, at_ms, [chamber_c, *cores_c])
            before_c = chamber_c
            chamber_c = _chamber(script, step, chamber_c, at_ms)
            cores_c = _cores(script, step, (before_c + chamber_c) / 2, cores_c)
            at_ms += script.every_ms
    yield from _samples(script, at_ms, [chamber_c, *cores_c])


def long_day(begins_ms: int, every_ms: int = 10_000, seed: int = 1) -> Script:
    """An invented cook of about ten hours in which two things go wrong.

    Dry, smoke, cook to a core of 69 degC, ice water to 4 degC, two hours in the
    cooler.  The fire dies two hours in and burns again 40 minutes later; the second
    core's probe is silent for 12 minutes during the smoke.
    """
    return Script(
        begins_ms=begins_ms,
        every_ms=every_ms,
        chamber="chamber",
        chamber_starts_c=18.0,
        chamber_s=4.0 * 60,
        chamber_dead_s=25.0 * 60,
        outside_c=8.0,
        cores=(
            Core("core-1", 11.0, air_s=70.0 * 60, water_s=26.0 * 60),
            Core("core-2", 10.5, air_s=78.0 * 60, water_s=31.0 * 60),
            Core("core-3", 10.0, air_s=88.0 * 60, water_s=36.0 * 60),
        ),
        steps=(
            Step(Around.CHAMBER, 55.0, lasts_ms=45 * MINUTE_MS),
            Step(Around.CHAMBER, 60.0, lasts_ms=180 * MINUTE_MS),
            Step(Around.CHAMBER, 79.0, until_c=70.2),
            Step(Around.ICE_WATER, 0.6, until_c=3.2),
            Step(Around.COOLER, 2.5, lasts_ms=120 * MINUTE_MS),
        ),
        fire_dead=(Span(120 * MINUTE_MS, 160 * MINUTE_MS),),
        silences=(Silence("core-2", Span(190 * MINUTE_MS, 202 * MINUTE_MS)),),
        noise_c=0.06,
        seed=seed,
    )


def _over(step: Step, spent_ms: int, cores_c: list[float], rising: bool) -> bool:
    if spent_ms > LONGEST_MS:
        raise ValueError(f"{step} is not over after {LONGEST_MS // HOUR_MS} h")
    if step.until_c is None:
        return spent_ms >= step.lasts_ms
    if rising:
        return min(cores_c) >= step.until_c
    return max(cores_c) <= step.until_c


def _chamber(script: Script, step: Step, chamber_c: float, at_ms: int) -> float:
    """The chamber after one period; nobody keeps a fire for an empty one."""
    dead = any(span.holds(at_ms) for span in script.fire_dead)
    if dead or step.around is not Around.CHAMBER:
        return _nearer(
            chamber_c, script.outside_c, script.every_ms, script.chamber_dead_s
        )
    return _nearer(chamber_c, step.target_c, script.every_ms, script.chamber_s)


def _cores(
    script: Script, step: Step, chamber_c: float, cores_c: list[float]
) -> list[float]:
    """The cores after one period in which what surrounds them was at this."""
    in_chamber = step.around is Around.CHAMBER
    in_water = step.around is Around.ICE_WATER
    around_c = chamber_c if in_chamber else step.target_c
    return [
        _nearer(
            core_c, around_c, script.every_ms, core.water_s if in_water else core.air_s
        )
        for core, core_c in zip(script.cores, cores_c, strict=True)
    ]


def _nearer(from_c: float, to_c: float, spent_ms: int, constant_s: float) -> float:
    """Newton's law over a time in which the surroundings do not change: exact."""
    return to_c + (from_c - to_c) * math.exp(-spent_ms / 1000 / constant_s)


def _samples(script: Script, at_ms: int, values_c: list[float]) -> Iterator[Sample]:
    channels = [script.chamber, *(core.channel for core in script.cores)]
    for number, (channel, value_c) in enumerate(zip(channels, values_c, strict=True)):
        if not any(
            silence.channel == channel and silence.span.holds(at_ms)
            for silence in script.silences
        ):
            noise_c = script.noise_c * _chance(script.seed, number, at_ms)
            places = round((value_c + noise_c) * 1000 / PLACES_MC)
            yield Sample(script.begins_ms + at_ms, channel, places * PLACES_MC)


def _chance(seed: int, number: int, at_ms: int) -> float:
    """A number from -1 to 1 that looks like chance and never changes.

    Source: the finishing step of SplitMix64 (Steele, Lea and Flood, 2014), from
    memory; nothing depends on its quality.
    """
    mixed = (seed * 0x9E3779B97F4A7C15 + number * 0xD1B54A32D192ED03 + at_ms) % 2**64
    for shift, factor in ((30, 0xBF58476D1CE4E5B9), (27, 0x94D049BB133111EB)):
        mixed = (mixed ^ (mixed >> shift)) * factor % 2**64
    return (mixed ^ (mixed >> 31)) / 2**63 - 1
