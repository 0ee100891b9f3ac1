"""Days of the simulated smokehouse, each fault of a probe put into their scripts.

The days are those of ``deploy/example/days``.  What a script can say befalls the probe
there; what it cannot (a bridge that turns degC into degF) is done to its readings.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import NamedTuple

from daemon.script_file import read_script
from probes.script import MINUTE_MS, Around, Happening, Script, What
from probes.simulator import simulate
from rules.channels import Channel
from rules.facts import Reading
from rules.rehearsal import role_of
from tests.probes.traces import Spoiled

DAYS = Path(__file__).parents[2] / "deploy" / "example" / "days"
ACCURACY_MC = 500
PROBE, CHAMBER = "core-1", "chamber"
PLACES = (0.15, 0.4, 0.6, 0.8)  # of the day, at which a fault begins
HOT_PLACES = (0.15, 0.3, 0.45)  # and of its time in the chamber
MINUTES = 60  # that a fault lasts
TRACES = Path(__file__).parents[2] / "deploy" / "example" / "traces"


class Day(NamedTuple):
    """What all probes say on one day, and what is false of it."""

    channels: tuple[Channel, ...]
    readings: tuple[Reading, ...]
    probe: str = ""  # the one that lies
    from_ms: int = 0
    to_ms: int = 0
    diameter_um: int = 0  # of the product, as its schedule says it


@cache
def script(name: str, seed: int, every_ms: int) -> Script:
    """The script of one day, with other noise and gusts."""
    path = DAYS / f"{name}.yaml"
    found = read_script(str(path), path.read_text())
    assert isinstance(found, Script), found
    return replace(found, seed=seed, every_ms=every_ms or found.every_ms)


@cache
def clean(one: Script) -> tuple[Reading, ...]:
    """What the probes of a script say."""
    return tuple(Reading(*sample, ACCURACY_MC) for sample in _samples(one))


def _samples(one: Script) -> Iterator[tuple[str, int, int]]:
    for at_ms, channel, value_mc in simulate(one):
        yield channel, at_ms, value_mc


def channels(one: Script) -> tuple[Channel, ...]:
    """The channels of a script, as the settings would name them."""
    found = []
    for probe in one.probes:
        role = role_of(probe.channel)
        assert role
        quiet_ms = 12 * one.every_ms
        found.append(Channel(probe.channel, role, one.every_ms, quiet_ms, ACCURACY_MC))
    return tuple(found)


def honest(one: Script) -> Day:
    """A day on which no probe fails."""
    thinnest_m = min(piece.diameter_m for piece in one.pieces)
    return Day(channels(one), clean(one), diameter_um=round(thinnest_m * 1_000_000))


Fault = Callable[[Script], Iterator[Day]]


def told(
    what: What,
    probe: str = PROBE,
    *,
    minutes: int = MINUTES,
    hot: bool = False,
    from_start: bool = False,
    **more: float | str,
) -> Fault:
    """A fault that a script can say, at several times of the day."""

    def days(one: Script) -> Iterator[Day]:
        for from_ms in [0] if from_start else begins(one, hot=hot):
            to_ms = from_ms + minutes * MINUTE_MS
            happening = Happening(what, from_ms, to_ms, channel=probe, **more)  # type: ignore[arg-type]
            ill = replace(one, happenings=(*one.happenings, happening))
            at_ms = one.begins_ms + from_ms
            lies_to_ms = to_ms + one.begins_ms
            day = honest(ill)
            yield day._replace(probe=probe, from_ms=at_ms, to_ms=lies_to_ms)

    return days


def done(spoil: Callable[..., Spoiled], probe: str = PROBE) -> Fault:
    """A fault that is done to the readings."""

    def days(one: Script) -> Iterator[Day]:
        mine = [r for r in clean(one) if r.channel == probe]
        others = [r for r in clean(one) if r.channel != probe]
        for from_ms in begins(one):
            bad = spoil(mine, from_ms // MINUTE_MS)
            mixed = sorted((*bad.readings, *others), key=lambda r: r.at_ms)
            day = honest(one)._replace(readings=tuple(mixed), probe=probe)
            yield day._replace(from_ms=bad.from_ms, to_ms=bad.to_ms)

    return days


def begins(one: Script, *, hot: bool = False) -> list[int]:
    """When faults begin, since the beginning of the day, in whole minutes."""
    last_ms = clean(one)[-1].at_ms - one.begins_ms
    if hot:
        in_chamber = sum(step.around is Around.CHAMBER for step in one.steps)
        part = in_chamber / len(one.steps)
        return [
            round(last_ms * part * place) // MINUTE_MS * MINUTE_MS
            for place in HOT_PLACES
        ]
    return [round(last_ms * place) // MINUTE_MS * MINUTE_MS for place in PLACES]
