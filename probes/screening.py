"""Readings that a working probe in its place could not give: which, and why not.

One ``Watch`` a channel is folded over its readings in the order in which they come,
before they are kept; so the doubt is stored with the reading, and whoever judges the
journal again sees the same.  A reading in doubt is kept and shown, and is no evidence.

Rule 1: what decides is the way the channel came (its *path*: the readings that were
trusted), not a number alone; 85.0 degC and 0.0 degC are honest values too.
Rule 2: a doubt lasts until the channel is near its path again.  A core that jumps is
therefore in doubt until it is back, or until a person has written what was done to
the probe (``NEW``): plausible readings from a wrong place earn nothing.
Rule 3: one reading in doubt says nothing to anybody; the second one in a row does, at
the time of the first.
Rule 4: a reading older than the newest one moves nothing and is doubted by the same
bounds.  Humidity is not screened: it honestly stands still at 100 %RH.

Bounds are engineering choices, no source, except: 85 degC is what the temperature
register of a common 1-wire sensor holds until its first conversion (data sheet, from
memory, to be verified).  A core of 20 mm in moving ice water, by the one-term
solution for a cylinder, falls by less than 0.3 K/s.

Units: ``_mc`` and ``_ms`` as in ``rules.facts``.
"""

from collections.abc import Iterable
from typing import NamedTuple

from probes.doubts import Doubt, said
from rules.channels import Channel, Role
from rules.facts import Event, Quality, Reading, Subject
from rules.units import say_k, say_mc, say_ms

REPORTING = "reporting"


class Bounds(NamedTuple):
    """What a role can do: a step of ``margin_mc`` and so much a second beyond it."""

    margin_mc: int
    mc_per_s: int
    back_mc: int  # a channel in doubt is back when it is this near its path
    sticks: bool  # whether a jump is in doubt for as long as it is not back

    def reach_mc(self, ms: int) -> int:
        """How far the truth can have gone in this time."""
        return self.margin_mc + self.mc_per_s * abs(ms) // 1_000


MEAT = Bounds(3_000, 300, 5_000, sticks=True)
AIR = Bounds(10_000, 1_000, 15_000, sticks=False)  # a door is opened, a probe freed

POWER_ON_MC = 85_000
NEAR_MC = 5_000  # a path that was so near the odd value may have reached it
SETTLED = 3  # trusted readings that make a path; before that, the newer one is it
TOLD_AFTER = 2
UNIT_MC = 1_500  # how exactly the other unit must be met
UNIT_STEP_MC = 10_000  # and how far away from the path
UNIT_MS = 600_000  # and how soon
UNIT_MC_PER_S = 300
FROZEN_MS, FROZEN_TIMES = 900_000, 60
LIVELY = 200  # of 1024: about every fifth change turns back by two steps or more


class Watch(NamedTuple):
    """All that is remembered of one channel between two readings."""

    at_ms: int = -1  # of the newest reading
    value_mc: int = 0
    path_ms: int = 0  # of the newest trusted one
    path_mc: int = 0
    trusted: int = 0  # how many in a row, at most ``SETTLED``
    same_ms: int = 0  # since when the value is the same to the last digit
    same: int = 0  # and in how many readings
    step_mc: int = 0  # the least change seen; 0 where none was
    change_mc: int = 0  # the last change
    lively: int = 0  # how often changes turn back, 0 to 1024
    doubt: str = ""  # a Doubt, or "" where there is none
    since_ms: int = 0
    doubted: int = 0  # readings in a row
    fault: str = ""  # the Doubt that its source tells of, instead of values
    fault_ms: int = 0
    faults: int = 0  # in a row


NEW = Watch()


class Screened(NamedTuple):
    """What one reading came to."""

    watch: Watch
    reading: Reading
    event: Event | None = None


def screened(channel: Channel, watch: Watch, reading: Reading) -> Screened:
    """The reading as it is to be kept, what is remembered, and what is to be told."""
    if channel.role is Role.HUMIDITY or reading.quality is not Quality.GOOD:
        return Screened(watch, reading)
    bounds = _bounds(channel)
    if reading.at_ms <= watch.at_ms:
        late = bool(watch.doubt) and reading.at_ms >= watch.since_ms
        if late or _jumped(bounds, watch, reading) or _odd(watch, reading):
            reading = reading._replace(quality=Quality.SUSPECT)
        return Screened(watch, reading)
    seen = _seen(watch, reading)
    doubt = _doubt(bounds, seen, reading)
    if not doubt:
        return Screened(_trusted(seen, reading), reading, _back(channel, seen, reading))
    after = _doubted(seen, doubt, reading)
    event = None
    if after.doubted == TOLD_AFTER:
        event = _event(channel, after, REPORTING, after.doubt, _why(channel, after))
    elif after.doubted > TOLD_AFTER and after.doubt != seen.doubt:
        why, at_ms = _why(channel, after), reading.at_ms
        event = _event(channel, after, seen.doubt, after.doubt, why, at_ms)
    return Screened(after, reading._replace(quality=Quality.SUSPECT), event)


def refused(
    channel: Channel, watch: Watch, why: str, at_ms: int
) -> tuple[Watch, Event | None]:
    """What the refusal of one message of this channel comes to; told once."""
    doubt = said(why)
    if not doubt:
        return watch, None
    if doubt == watch.fault:
        after = watch._replace(faults=watch.faults + 1)
    else:
        after = watch._replace(fault=doubt, fault_ms=at_ms, faults=1)
    if after.faults != TOLD_AFTER:
        return after, None
    _, _, words = why.partition(": ")
    return after, _event(channel, after, REPORTING, doubt, words, after.fault_ms)


def heard(
    channel: Channel, watch: Watch, reading: Reading
) -> tuple[Watch, Event | None]:
    """That a source which told of a fault gives values again, doubted or not."""
    if reading.at_ms < watch.fault_ms:
        return watch, None
    after = watch._replace(fault="", fault_ms=0, faults=0)
    if watch.faults < TOLD_AFTER:
        return after, None
    spent = say_ms(reading.at_ms - watch.fault_ms)
    why = f"says {say_mc(reading.value_mc)} after {spent} without a value"
    now = watch.doubt if watch.doubted >= TOLD_AFTER else REPORTING
    return after, _event(channel, after, watch.fault, now, why, reading.at_ms)


def recalled(channel: Channel, readings: Iterable[Reading]) -> Watch:
    """The watch that these readings, as they were kept, have led to.

    What was decided then counts, also where the fold begins later than it did then.
    """
    watch = NEW
    for kept in readings:
        if kept.quality not in (Quality.GOOD, Quality.SUSPECT):
            continue
        reading = kept._replace(quality=Quality.GOOD)
        again = screened(channel, watch, reading)
        if again.reading.quality is not kept.quality and kept.at_ms > watch.at_ms:
            seen = _seen(watch, reading)
            watch = (
                _trusted(seen, reading)
                if kept.quality is Quality.GOOD
                else _doubted(seen, Doubt.JUMP, reading)
            )
        else:
            watch = again.watch
    return watch


def _bounds(channel: Channel) -> Bounds:
    return MEAT if channel.role in (Role.CORE, Role.MEAT) else AIR


def _doubt(bounds: Bounds, watch: Watch, reading: Reading) -> str:
    """Why the reading cannot be true; ``""`` where it can."""
    if odd := _odd(watch, reading):
        return odd
    away_mc = abs(reading.value_mc - watch.path_mc)
    stays = watch.doubt in (Doubt.ZERO, Doubt.UNIT)
    stays = stays or (watch.doubt == Doubt.JUMP and bounds.sticks)
    if watch.trusted and stays and away_mc > bounds.back_mc:
        return watch.doubt
    if _other_unit(bounds, watch, reading):
        return Doubt.UNIT
    if not stays and _jumped(bounds, watch, reading):
        return Doubt.JUMP
    still_ms = reading.at_ms - watch.same_ms
    still = watch.same >= FROZEN_TIMES and still_ms >= FROZEN_MS
    return Doubt.FROZEN if still and watch.lively >= LIVELY else ""


def _odd(watch: Watch, reading: Reading) -> str:
    """Whether it is what a sensor says that has not measured, or no sensor at all."""
    value_mc, known = reading.value_mc, bool(watch.trusted)
    near = known and abs(value_mc - watch.path_mc) <= NEAR_MC
    if value_mc == POWER_ON_MC and not near:
        return Doubt.POWER_ON
    if value_mc == 0 and known and watch.path_mc > NEAR_MC:
        return Doubt.ZERO
    return ""


def _jumped(bounds: Bounds, watch: Watch, reading: Reading) -> bool:
    reach_mc = bounds.reach_mc(reading.at_ms - watch.path_ms)
    return bool(watch.trusted) and abs(reading.value_mc - watch.path_mc) > reach_mc


def _other_unit(bounds: Bounds, watch: Watch, reading: Reading) -> bool:
    """Whether it is the path in degrees of the other scale."""
    path_mc, value_mc = watch.path_mc, reading.value_mc
    spent_ms = reading.at_ms - watch.path_ms
    reach_mc = bounds.margin_mc + UNIT_MC_PER_S * spent_ms // 1_000
    away_mc = abs(value_mc - path_mc)
    if watch.trusted < SETTLED or spent_ms > UNIT_MS:
        return False
    if away_mc <= max(UNIT_STEP_MC, reach_mc):
        return False
    twice = path_mc * 9 // 5 + 32_000, (path_mc - 32_000) * 5 // 9
    return any(abs(value_mc - other_mc) <= UNIT_MC for other_mc in twice)


def _seen(watch: Watch, reading: Reading) -> Watch:
    """Remember how the value moves: its steps, its noise, and how long it is still."""
    at_ms, value_mc = reading.at_ms, reading.value_mc
    if watch.at_ms < 0:
        return watch._replace(at_ms=at_ms, value_mc=value_mc, same_ms=at_ms, same=1)
    change_mc = value_mc - watch.value_mc
    if not change_mc:
        return watch._replace(at_ms=at_ms, same=watch.same + 1)
    size_mc, before_mc = abs(change_mc), abs(watch.change_mc)
    step_mc = min(size_mc, watch.step_mc or size_mc)
    turned = change_mc * watch.change_mc < 0
    # A slope never turns back, and rounding turns back by one step.
    noisy = turned and min(size_mc, before_mc) >= 2 * step_mc
    return watch._replace(
        at_ms=at_ms,
        value_mc=value_mc,
        same_ms=at_ms,
        same=1,
        step_mc=step_mc,
        change_mc=change_mc,
        lively=watch.lively * 15 // 16 + (64 if noisy else 0),
    )


def _trusted(watch: Watch, reading: Reading) -> Watch:
    return watch._replace(
        path_ms=reading.at_ms,
        path_mc=reading.value_mc,
        trusted=min(watch.trusted + 1, SETTLED),
        doubt="",
        since_ms=0,
        doubted=0,
    )


def _doubted(watch: Watch, doubt: str, reading: Reading) -> Watch:
    if watch.trusted < SETTLED and doubt == Doubt.JUMP:
        # Which of the two was wrong nobody can tell: the path begins again.
        watch = _trusted(watch._replace(trusted=0), reading)
    if watch.doubt:
        return watch._replace(doubt=doubt, doubted=watch.doubted + 1)
    return watch._replace(doubt=doubt, since_ms=reading.at_ms, doubted=1)


def _back(channel: Channel, watch: Watch, reading: Reading) -> Event | None:
    if watch.doubted < TOLD_AFTER:
        return None
    ms = reading.at_ms - watch.since_ms
    why = f"back at {say_mc(reading.value_mc)} after {say_ms(ms)} in doubt"
    return _event(channel, watch, watch.doubt, REPORTING, why, reading.at_ms)


def _event(
    channel: Channel, watch: Watch, was: str, now: str, why: str, at_ms: int = -1
) -> Event:
    at_ms = watch.since_ms if at_ms < 0 else at_ms
    return Event(at_ms, Subject.CHANNEL, channel.name, channel.name, was, now, why)


def _why(channel: Channel, watch: Watch) -> str:
    """Say what is doubted and what to do, for a person at the smokehouse."""
    value, path = say_mc(watch.value_mc), say_mc(watch.path_mc)
    spent = say_ms(watch.since_ms - watch.path_ms)
    seen = f"{path} became {value} in {spent}"
    again = (
        f"not used until it is near {path} again, or a note about {channel.name} "
        "says what was done to the probe"
    )
    if watch.doubt == Doubt.POWER_ON:
        return (
            "exactly 85.0 degC is what a sensor says that has lost its power and not "
            "measured since; not used until it says something else; look at its cable"
        )
    if watch.doubt == Doubt.ZERO:
        why = f"exactly 0.0 degC after {path} is how a broken wire reads"
        return f"{why}; {again}"
    if watch.doubt == Doubt.UNIT:
        return f"{seen}: the same in the other of degC and degF; {again}"
    if watch.doubt == Doubt.FROZEN:
        ms = watch.since_ms - watch.same_ms
        return (
            f"{value} to the last digit for {say_ms(ms)}, from a probe that was never "
            "still before; not used until it moves; what it said meanwhile was counted"
        )
    bounds = _bounds(channel)
    reach = say_k(bounds.reach_mc(watch.since_ms - watch.path_ms))
    if bounds.sticks:
        return f"{seen}, and no meat goes farther than {reach}; {again}"
    return f"{seen}, farther than {reach}; not used until it can have got there"
