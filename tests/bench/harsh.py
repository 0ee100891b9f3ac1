"""Honest days that are hard on a screen of readings: no probe fails in them.

Invented.  Thin sticks and thick pieces, read every ten seconds and every minute: by
quick probes while a door is opened again and again, by probes of half a kelvin and of
whole degrees Fahrenheit, in a gusty chamber with a strong fan, and in a bath of hot
water, out of which they go into the cooler while the empty chamber cools beside them.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace

from probes.script import (
    MINUTE_MS,
    Around,
    Bath,
    Happening,
    House,
    Piece,
    Probe,
    Script,
    Shows,
    Step,
    What,
)
from tests.bench.days import Day, honest

DIAMETERS_MM = (16, 32, 60)
EVERY_S = (10, 60)
DOORS = tuple(
    Happening(What.DOOR_OPEN, minute * MINUTE_MS, (minute + 3) * MINUTE_MS)
    for minute in range(20, 200, 25)
)
PLAIN = Script(
    begins_ms=1_768_021_200_000,
    every_ms=MINUTE_MS,
    pieces=(Piece("a", 0.032, 8.0, 4.0), Piece("b", 0.035, 8.0, 4.0)),
    probes=(
        Probe("chamber", Shows.CHAMBER, lag_s=30.0, noise_c=0.1),
        Probe("core-1", Shows.CORE, "a"),
        Probe("core-2", Shows.CORE, "b"),
        Probe("wet-bulb", Shows.WET_BULB, lag_s=45.0),
        Probe("bath", Shows.BATH, lag_s=15.0),
        Probe("cooler", Shows.COOLER, lag_s=60.0),
    ),
    steps=(
        Step("dry", Around.CHAMBER, 55.0, lasts_ms=45 * MINUTE_MS, damper=1.0),
        Step("smoke", Around.CHAMBER, 60.0, lasts_ms=90 * MINUTE_MS),
        Step("cook", Around.CHAMBER, 79.0, until_c=70.0, damper=0.2),
        Step("chill", Around.ICE_BATH, until_c=4.0),
        Step("cooler", Around.COOLER, 2.5, lasts_ms=60 * MINUTE_MS),
    ),
)


def _each(one: Script, **change: float) -> Script:
    """The day with every probe changed in the same way."""
    probes = tuple(replace(probe, **change) for probe in one.probes)  # type: ignore[arg-type]
    return replace(one, probes=probes)


def _scalded(one: Script) -> Script:
    """Cooked in hot water, where the ice would have been, and cooled in air."""
    dry, smoke, _, chill, cooler = one.steps
    steps = (
        dry,
        smoke,
        replace(chill, name="cook", until_c=71.0),
        replace(cooler, lasts_ms=180 * MINUTE_MS),
    )
    return replace(one, steps=steps, bath=Bath(200.0, 0.0, 80.0, 5.0))


HARSH: dict[str, Callable[[Script], Script]] = {
    "plain": lambda one: one,
    "doors, quick probes": lambda one: _each(replace(one, happenings=DOORS), lag_s=2.0),
    "steps of 0.5 K": lambda one: _each(one, resolution_c=0.5),
    "whole degF": lambda one: _each(one, resolution_c=5 / 9),
    "gusts and a fan": lambda one: replace(
        one, house=House(gusts=0.6, inside_w_k=140.0)
    ),
    "hot water": _scalded,
}


def day(name: str, diameter_mm: int, every_s: int) -> Day:
    """One of these days, with pieces so thick, read so often."""
    thick_m = diameter_mm / 1_000
    pieces = tuple(
        replace(piece, diameter_m=thick_m * part)
        for piece, part in zip(PLAIN.pieces, (1.0, 1.1), strict=True)
    )
    plain = replace(PLAIN, pieces=pieces, every_ms=every_s * 1_000)
    return honest(HARSH[name](plain))


def all_days() -> Iterator[tuple[str, Day]]:
    """All of them, each under a name."""
    for name in HARSH:
        for diameter_mm in DIAMETERS_MM:
            for every_s in EVERY_S:
                label = f"{name}, {diameter_mm} mm, {every_s} s"
                yield label, day(name, diameter_mm, every_s)
