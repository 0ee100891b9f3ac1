"""A smokehouse that exists only as arithmetic: the day of a script, sample by sample.

Physics walks in steps of ten seconds on a grid of its own, and between two of them a
probe's value goes in a straight line, so the same script at another period tells the
same day.  The same script gives the same samples: chance is a fixed function of the
seed, and the noise of a probe one of seed, channel and time.

The parts: ``probes.smokehouse`` surrounds, ``probes.sausage`` and ``probes.cylinder``
are inside, ``probes.script`` says what happens.

Units: as in ``probes.script``; ``_mc`` thousandths of a degree Celsius.
"""

from collections.abc import Iterator
from typing import NamedTuple

from probes.sausage import Sausage
from probes.script import HOUR_MS, Around, Happening, Probe, Script, Shows, Step, What
from probes.smokehouse import Chamber, IceBath, Load, cooler_c, nearer

GRID_MS = 10_000
GRID_S = GRID_MS / 1000
LONGEST_MS = 48 * HOUR_MS  # a step that never gets there is a mistake in the script
COOLER_C = 3.0  # where no step says it


class Sample(NamedTuple):
    """What one probe would show at one time."""

    at_ms: int
    channel: str
    value_mc: int


def simulate(script: Script) -> Iterator[Sample]:
    """Every sample of the script, in the order of time, then of its probes.

    Raises:
        ValueError: A step never reaches the temperature that would end it.
    """
    day = _Day(script)
    said: dict[str, int] = {}
    next_ms = 0
    for step in script.steps:
        day.begin(step)
        while not day.over():
            before = tuple(day.shown)
            begun_ms = day.at_ms
            day.walk()
            while next_ms < day.at_ms:
                part = (next_ms - begun_ms) / GRID_MS
                yield from _samples(day, next_ms, before, part, said)
                next_ms += script.every_ms
    if next_ms == day.at_ms:
        yield from _samples(day, next_ms, tuple(day.shown), 0.0, said)


def _samples(
    day: "_Day",
    at_ms: int,
    before: tuple[float, ...],
    part: float,
    said: dict[str, int],
) -> Iterator[Sample]:
    """What the probes say at one time, which is so far into the step just walked."""
    script = day.script
    for number, probe in enumerate(script.probes):
        value_c = before[number] + part * (day.shown[number] - before[number])
        ill = [one for one in day.ill if one.channel == probe.channel]
        kinds = {one.what for one in ill if day.holds(one, at_ms)}
        if What.QUIET in kinds:
            continue
        noise_c = probe.noise_c * chance(script.seed, number, at_ms)
        grains = round((value_c + probe.off_c + noise_c) / probe.resolution_c)
        value_mc = round(grains * probe.resolution_c * 1000)
        if What.STUCK in kinds:
            value_mc = round(
                next(o.shows_c for o in ill if o.what is What.STUCK) * 1000
            )
        elif What.FROZEN in kinds:
            value_mc = said.get(probe.channel, value_mc)
        said[probe.channel] = value_mc
        yield Sample(script.begins_ms + at_ms, probe.channel, value_mc)


class _Day:
    """The day as far as it has come."""

    def __init__(self, script: Script) -> None:
        self.script = script
        self.at_ms = 0
        self.began: dict[str, int] = {}
        self.step: Step = script.steps[0]
        self.rising = True
        self.chamber = Chamber(script.house, script.outside_c, self._gust)
        self.bath: IceBath | None = None
        self.sausages = {one.name: Sausage(one) for one in script.pieces}
        self.ill = [one for one in script.happenings if one.channel]
        self.house = [one for one in script.happenings if not one.channel]
        self.weights: dict[str, tuple[float, ...]] = {}
        self.shown = [self._true_c(probe) for probe in script.probes]
        self.last = list(self.shown)

    def begin(self, step: Step) -> None:
        """Go on to the next step."""
        self.step = step
        self.began[step.name] = self.at_ms
        if step.around is Around.ICE_BATH and self.bath is None:
            self.bath = IceBath(self.script.bath)
        until_c = step.until_c
        self.rising = until_c is not None and min(self._cores_c()) < until_c

    def over(self) -> bool:
        """Whether the step has come to its end."""
        step = self.step
        spent_ms = self.at_ms - self.began[step.name]
        if spent_ms > LONGEST_MS:
            hours = LONGEST_MS // HOUR_MS
            raise ValueError(f"the step {step.name!r} is not over after {hours} h")
        if step.until_c is None:
            return spent_ms >= step.lasts_ms
        cores_c = self._cores_c()
        if self.rising:
            return min(cores_c) >= step.until_c
        return max(cores_c) <= step.until_c

    def holds(self, one: Happening, at_ms: int) -> bool:
        """Whether something happens at this time."""
        begun_ms = self.began.get(one.step) if one.step else 0
        return begun_ms is not None and (one.from_ms <= at_ms - begun_ms < one.to_ms)

    def walk(self) -> None:
        """Let ten seconds pass."""
        now = [one for one in self.house if self.holds(one, self.at_ms)]
        around = self.step.around
        load = self._load(around)
        self._chamber(load, {one.what for one in now})
        if self.bath:
            # Added over the time that it takes, in even parts.
            for one in now:
                if one.what is What.ICE_ADDED:
                    parts = max(1, -(-(one.to_ms - one.from_ms) // GRID_MS))
                    self.bath.ice_kg += one.ice_kg / parts
            bathed = load if around is Around.ICE_BATH else Load()
            self.bath.step(GRID_S, self.script.room_c, bathed)
        self.at_ms += GRID_MS
        dry_c = self.around_c(around)
        for sausage in self.sausages.values():
            if sausage.around is not around:
                self.weights.clear()
            sausage.step(around, dry_c, self.chamber.wet_c, GRID_S)
        self._probes()

    def around_c(self, around: Around) -> float:
        """How warm it is in there."""
        if around is Around.CHAMBER:
            return self.chamber.air_c
        if around is Around.ICE_BATH and self.bath:
            return self.bath.water_c
        if around is Around.COOLER:
            at_cooler = self.step.around is Around.COOLER
            target_c = self.step.target_c if at_cooler else COOLER_C
            return cooler_c(target_c, self.at_ms)
        return self.script.room_c

    def outside_c(self) -> float:
        """How warm it is in the yard, which changes evenly for twelve hours."""
        script = self.script
        part = min(1.0, self.at_ms / (12 * HOUR_MS))
        return script.outside_c + part * (script.outside_later_c - script.outside_c)

    def _load(self, around: Around) -> Load:
        load = Load()
        for sausage in self.sausages.values():
            if around is Around.ICE_BATH:  # a film too good to be held still
                load.surface_w += sausage.given_w
                continue
            conductance = sausage.conductance_w_k(around)
            load.conductance_w_k += conductance
            load.surface_w += conductance * sausage.cylinder.surface_c()
            load.water_kg_s += sausage.water_kg_s
        return load

    def _chamber(self, load: Load, now: set[What]) -> None:
        """Nobody keeps a fire for an empty chamber."""
        full = self.step.around is Around.CHAMBER
        self.chamber.step(
            GRID_S,
            self.step.target_c if full else None,
            self.outside_c(),
            load if full else Load(),
            damper=self.step.damper,
            door=What.DOOR_OPEN in now,
            fed=What.UNFED not in now,
            burning=What.FIRE_OUT not in now,
        )

    def _probes(self) -> None:
        """Let every probe follow what it is in, which went there evenly."""
        for number, probe in enumerate(self.script.probes):
            true_c = self._true_c(self._exchanged(probe))
            now = self._befalls(probe)
            if What.PULLED_OUT in now:
                true_c = self.around_c(self.step.around)
            if What.TOUCHING in now:
                touched = self.sausages[self.script.pieces[0].name]
                true_c = touched.cylinder.surface_c()
            slope_c = (true_c - self.last[number]) / GRID_S
            lag_c = probe.lag_s * slope_c
            if probe.lag_s:
                behind_c = self.shown[number] - self.last[number] + lag_c
                left = nearer(behind_c, 0.0, GRID_S / probe.lag_s)
                self.shown[number] = true_c - lag_c + left
            else:
                self.shown[number] = true_c
            self.last[number] = true_c

    def _befalls(self, probe: Probe) -> set[What]:
        """What befalls a probe now."""
        mine = [one for one in self.ill if one.channel == probe.channel]
        return {one.what for one in mine if self.holds(one, self.at_ms)}

    def _exchanged(self, probe: Probe) -> Probe:
        """The probe in whose place this one is."""
        for one in self.ill:
            pair = (one.channel, one.other)
            swapped = one.what is What.SWAPPED and probe.channel in pair
            if swapped and self.holds(one, self.at_ms):
                name = pair[1 - pair.index(probe.channel)]
                return next(p for p in self.script.probes if p.channel == name)
        return probe

    def _true_c(self, probe: Probe) -> float:
        """How warm it is where a probe is."""
        if probe.shows is Shows.CHAMBER:
            return self.chamber.air_c
        if probe.shows is Shows.WET_BULB:
            return self.chamber.wet_c
        if probe.shows is Shows.BATH:
            in_use = self.bath and self.step.around is Around.ICE_BATH
            return self.around_c(Around.ICE_BATH if in_use else Around.ROOM)
        if probe.shows is Shows.COOLER:
            return self.around_c(Around.COOLER)
        if probe.shows is Shows.AMBIENT:
            return self.outside_c()
        cylinder = self.sausages[probe.piece].cylinder
        if not probe.depth or self.at_ms == 0:
            return cylinder.at_c()
        if probe.channel not in self.weights:
            self.weights[probe.channel] = cylinder.weights(probe.depth)
        return cylinder.at_c(self.weights[probe.channel])

    def _cores_c(self) -> list[float]:
        return [sausage.cylinder.at_c() for sausage in self.sausages.values()]

    def _gust(self) -> float:
        return chance(self.script.seed, -1, self.at_ms)


def chance(seed: int, number: int, at_ms: int) -> float:
    """A number from -1 to 1 that looks like chance and never changes.

    Source: the finishing step of SplitMix64 (Steele, Lea and Flood, 2014), from
    memory; nothing depends on its quality.
    """
    mixed = (seed * 0x9E3779B97F4A7C15 + number * 0xD1B54A32D192ED03 + at_ms) % 2**64
    for shift, factor in ((30, 0xBF58476D1CE4E5B9), (27, 0x94D049BB133111EB)):
        mixed = (mixed ^ (mixed >> shift)) * factor % 2**64
    return (mixed ^ (mixed >> 31)) / 2**63 - 1
