"""Readings that a working probe in its place could not give: which, and why not.

One ``Watch`` a channel is folded over its readings in the order in which they come,
before they are kept; so the doubt is stored with the reading, and whoever judges the
journal again sees the same.  Every doubt and its treatment is in ``probes.doubts``;
what only several channels of a smokehouse show together is in ``probes.company``.

Rule 1: what decides is the way the channel came (its *path*: the readings that were
trusted), not a number alone; 85.0 degC and 0.0 degC are honest values too.
Rule 2: a doubt lasts until the channel is near its path again.  A core that jumps is
therefore in doubt until it is back, or until a person has written what was done to
the probe (``NEW``): plausible readings from a wrong place earn nothing.
Rule 3: one reading in doubt says nothing to anybody; the second one in a row does, at
the time of the first.
Rule 4: a reading older than the newest one moves nothing and is doubted by the same
bounds.  Humidity is not screened: it honestly stands still at 100 %RH.

Bounds are ours, no source, except: 85 degC is what the temperature register of a
common 1-wire sensor holds until its first conversion (data sheet, from memory, to be
verified).  The axis of a long cylinder whose surface is at once in other surroundings
goes at most 3.80 alpha / R^2 of the gap a second (the series, no resistance at its
surface: ``tests/standards/test_cylinder_series.py``).  With 80 K and the 1.5e-7 m2/s of
the quickest meat (Marcotte and others, J. Food Eng. 88, 2008, abstract) that is 0.7 K/s
for a stick of 16 mm, and less than 0.3 K/s from 25 mm on.  What is moist boils at
100 degC.

Units: ``_mc`` and ``_ms`` as in ``rules.facts``.
"""

from collections.abc import Mapping
from typing import NamedTuple

from probes.doubt_words import back_words, heard_words, words
from probes.doubts import TABLE, Doubt, Treated, said
from probes.watch import (
    FAHRENHEIT,
    FINE,
    NO_DOUBT,
    SETTLED,
    Digits,
    Doubted,
    Path,
    Watch,
    along,
    seen,
)
from rules.channels import Channel, Role
from rules.facts import Event, Quality, Reading, Subject
from rules.units import say_k

REPORTING = "reporting"


class Bounds(NamedTuple):
    """What a role can do: a step of ``margin_mc`` and so much a second beyond it."""

    lowest_mc: int
    highest_mc: int
    margin_mc: int
    mc_per_s: int
    back_mc: int  # a channel in doubt is back when it is this near its path
    still_ms: int  # how long noise can be missing before it is missed
    sticks: bool  # whether a jump is in doubt for as long as it is not back
    falls_mc_per_s: int = 0  # where it can fall faster than it can rise

    def reach_mc(self, ms: int, *, falls: bool) -> int:
        """How far the truth can have gone in this time."""
        mc_per_s = max(self.mc_per_s, self.falls_mc_per_s if falls else 0)
        return self.margin_mc + mc_per_s * abs(ms) // 1_000


MEAT = Bounds(-40_000, 110_000, 3_000, 300, 5_000, 300_000, sticks=True)
# A door is opened, a probe freed; and the noise of air may be that of a fire.
AIR = Bounds(-60_000, 300_000, 10_000, 1_000, 15_000, 900_000, sticks=False)
BOUNDS = {
    Role.CORE: MEAT,
    Role.MEAT: MEAT,
    Role.CHAMBER: AIR,
    Role.WET_BULB: AIR._replace(highest_mc=101_000),
    # Its probe is dipped into it, and taken out again.
    Role.BATH: AIR._replace(lowest_mc=-10_000, highest_mc=105_000, margin_mc=115_000),
    Role.COOLER: AIR._replace(highest_mc=80_000),
    Role.AMBIENT: AIR._replace(highest_mc=80_000),
}
QUICKEST = 182_400_000_000  # thousandths of a kelvin a second, times um2
POWER_ON_MC = 85_000
NEAR_MC = 5_000  # a path that was so near the odd value may have reached it
TOLD_AFTER = 2
UNIT_MC = 1_500  # how exactly the other unit must be met
UNIT_STEP_MC = 10_000  # and how far away from the path
UNIT_MS = 600_000  # and how soon
UNIT_MC_PER_S = 300
FROZEN_TIMES, FROZEN_RUNS = 15, 4  # readings; as often as the longest run before
LIVELY = 200  # of 1024: about every fifth change turns back
LOW_MILLI, FULL_MILLI = 20_000, 30_000  # thousandths of a percent of its charge
WHOLE_TIMES, HALF_TIMES = 8, 12
OF_COMPANY = (Doubt.SWAPPED, Doubt.PULLED_OUT, Doubt.IN_AIR, Doubt.TOUCHING)
ROUGH_MC = FAHRENHEIT[0] // 9 + 1  # a degree Fahrenheit, rounded up


def bounds_for(diameter_um: int, *, scalded: bool = False) -> Mapping[Role, Bounds]:
    """The bounds where the product is so thick; 0 where nobody says.

    Nothing but hot water warms a thin piece as fast as ice cools it.
    """
    quick = QUICKEST // diameter_um**2 if diameter_um else 0
    if quick <= MEAT.mc_per_s:
        return BOUNDS
    meat = MEAT._replace(falls_mc_per_s=quick)
    if scalded:
        meat = meat._replace(mc_per_s=quick)
    return BOUNDS | {Role.CORE: meat, Role.MEAT: meat}


class Screened(NamedTuple):
    """What one reading came to."""

    watch: Watch
    reading: Reading
    event: Event | None = None


def screened(
    channel: Channel,
    watch: Watch,
    reading: Reading,
    together: Doubt | None = None,
    all_bounds: Mapping[Role, Bounds] = BOUNDS,
) -> Screened:
    """The reading as it is to be kept, what is remembered, and what is to be told.

    ``together`` is what the other channels make doubtful of it (``probes.company``).
    """
    role = channel.role
    if role is Role.HUMIDITY or reading.quality is not Quality.GOOD:
        return Screened(watch, reading)
    path, digits, doubted, *_ = watch
    at_ms, value_mc = reading.at_ms, reading.value_mc
    bounds = all_bounds[role]
    if at_ms <= digits.at_ms:
        late = bool(doubted.doubt) and at_ms >= doubted.since_ms
        if late or _odd(role, path, reading) or jumped(bounds, path, at_ms, value_mc):
            reading = reading._replace(quality=Quality.SUSPECT)
        return Screened(watch, reading)
    digits = seen(digits, at_ms, value_mc)
    before = doubted.doubt
    doubt = _doubt(role, bounds, path, before, reading, together)
    doubt = doubt or _of_digits(bounds, digits, before)
    if not doubt:
        path = along(path, at_ms, value_mc)
        after = watch._replace(path=path, digits=digits, doubted=NO_DOUBT)
        if not doubted.doubt:
            return Screened(after, reading)
        return Screened(after, reading, _back(channel, watch, reading))
    return _in_doubt(channel, bounds, watch._replace(digits=digits), doubt, reading)


def refused(
    channel: Channel, watch: Watch, why: str, at_ms: int
) -> tuple[Watch, Event | None]:
    """What the refusal of one message of this channel comes to; told once."""
    doubt = said(why)
    if not doubt:
        return watch, None
    before = watch.fault if doubt == watch.fault.doubt else NO_DOUBT
    after = watch._replace(fault=before.again(doubt, at_ms))
    if after.fault.times != TOLD_AFTER:
        return after, None
    _, _, told = why.partition(": ")
    return after, event_of(channel.name, after.fault.since_ms, REPORTING, doubt, told)


def heard(
    channel: Channel, watch: Watch, reading: Reading
) -> tuple[Watch, Event | None]:
    """That a source which told of a fault gives values again, doubted or not."""
    fault, doubted = watch.fault, watch.doubted
    # A group's refusals are heard first: of one moment, the value may be the earlier.
    if reading.at_ms <= fault.since_ms:
        return watch, None
    after = watch._replace(fault=NO_DOUBT)
    if fault.times < TOLD_AFTER:
        return after, None
    now = doubted.doubt if doubted.times >= TOLD_AFTER else REPORTING
    why = heard_words(watch, reading)
    return after, event_of(channel.name, reading.at_ms, fault.doubt, now, why)


def charged(name: str, low: Doubted, charge: Reading) -> tuple[Doubted, Event | None]:
    """What the charge of a battery comes to; told when it is low, and full again."""
    at_ms, says = charge.at_ms, f"its battery says {charge.value_mc // 1_000} %"
    if charge.value_mc <= LOW_MILLI and not low.doubt:
        why = f"{says}: put in a full one before it goes quiet"
        event = event_of(name, at_ms, REPORTING, Doubt.BATTERY, why)
        return Doubted(Doubt.BATTERY, at_ms, TOLD_AFTER), event
    if charge.value_mc >= FULL_MILLI and low.doubt:
        return NO_DOUBT, event_of(name, at_ms, Doubt.BATTERY, REPORTING, says)
    return low, None


def event_of(name: str, at_ms: int, was: str, now: str, why: str) -> Event:
    """That a channel passed from one standing to another."""
    return Event(at_ms, Subject.CHANNEL, name, name, was, now, why)


def as_kept(watch: Watch, kept: Reading) -> Watch:
    """The watch after a reading that was kept with another quality than it has now."""
    digits = seen(watch.digits, kept.at_ms, kept.value_mc)
    if kept.quality is Quality.GOOD:
        path = along(watch.path, kept.at_ms, kept.value_mc)
        return watch._replace(path=path, digits=digits, doubted=NO_DOUBT)
    doubted = watch.doubted.again(Doubt.JUMP, kept.at_ms)
    return watch._replace(digits=digits, doubted=doubted)


def _in_doubt(
    channel: Channel, bounds: Bounds, watch: Watch, doubt: Doubt, reading: Reading
) -> Screened:
    """Keep it as its doubt is treated; tell at the second, and at another doubt."""
    path, before = watch.path, watch.doubted
    at_ms, value_mc = reading.at_ms, reading.value_mc
    if TABLE[doubt].treated is Treated.GOOD:
        path = along(path, at_ms, value_mc)
        kept = reading._replace(uncertainty_mc=reading.uncertainty_mc + ROUGH_MC)
    else:
        kept = reading._replace(quality=Quality.SUSPECT)
        if path.settled < SETTLED and doubt is Doubt.JUMP:
            # Which of the two was wrong nobody can tell: the path begins again.
            path = along(path._replace(settled=0), at_ms, value_mc)
    after = watch._replace(path=path, doubted=before.again(doubt, at_ms))
    told = after.doubted.times == TOLD_AFTER
    if not told and not (after.doubted.times > TOLD_AFTER and doubt != before.doubt):
        return Screened(after, kept)
    was = REPORTING if told else before.doubt
    since_ms = after.doubted.since_ms
    was_at = watch.path  # a path that begins again here is no place it came from
    falls = value_mc < was_at.value_mc
    reach = say_k(bounds.reach_mc(at_ms - was_at.at_ms, falls=falls))
    why = words(channel, after._replace(path=was_at), doubt, reach)
    event = event_of(channel.name, since_ms if told else at_ms, was, doubt, why)
    return Screened(after, kept, event)


def _doubt(
    role: Role,
    bounds: Bounds,
    path: Path,
    before: str,
    reading: Reading,
    together: Doubt | None,
) -> Doubt | None:
    """Why the reading cannot be true of its place, going by the path and the others."""
    odd, at_ms, value_mc = _odd(role, path, reading), reading.at_ms, reading.value_mc
    if not path.settled:
        return odd or together
    away_mc = abs(value_mc - path.value_mc)
    stays = before and (
        before in (Doubt.ZERO, Doubt.UNIT) or (before == Doubt.JUMP and bounds.sticks)
    )
    if stays and away_mc > bounds.back_mc:
        return together or Doubt(before)
    if away_mc > UNIT_STEP_MC and _other_unit(bounds, path, at_ms, value_mc):
        return Doubt.UNIT
    if odd:
        return odd
    if together or before in OF_COMPANY:
        return together
    if not stays and jumped(bounds, path, at_ms, value_mc):
        return Doubt.JUMP
    return None


def _odd(role: Role, path: Path, reading: Reading) -> Doubt | None:
    """Whether it is what a sensor says that has not measured, or no sensor at all."""
    value_mc, known, bounds = reading.value_mc, path.settled, BOUNDS[role]
    within_mc = reading.uncertainty_mc
    if not bounds.lowest_mc - within_mc <= value_mc <= bounds.highest_mc + within_mc:
        return Doubt.RANGE
    if value_mc == POWER_ON_MC:
        near = known and abs(value_mc - path.value_mc) <= NEAR_MC
        return None if near else Doubt.POWER_ON
    # A bath that is filled with ice is at once at 0 degC.
    if value_mc == 0 and known and path.value_mc > NEAR_MC and role is not Role.BATH:
        return Doubt.ZERO
    return None


def _of_digits(bounds: Bounds, digits: Digits, before: str) -> Doubt | None:
    """What the last digits say of the probe."""
    if before in (Doubt.COARSE, Doubt.ROUGH) and digits.off < SETTLED:
        return Doubt(before)  # and with such steps it may stand still
    if digits.same >= FROZEN_TIMES and digits.lively >= LIVELY:
        still = digits.at_ms - digits.same_ms >= bounds.still_ms
        if still and digits.same >= FROZEN_RUNS * digits.longest:
            return Doubt.FROZEN
    if digits.half < WHOLE_TIMES or digits.fine < FINE:
        return None
    if digits.whole >= WHOLE_TIMES:
        return Doubt.COARSE
    return Doubt.ROUGH if digits.half >= HALF_TIMES else None


def jumped(bounds: Bounds, path: Path, at_ms: int, value_mc: int) -> bool:
    """Whether it is out of reach, from the last reading or from the one before it."""
    if not path.settled:
        return False
    moved_mc = value_mc - path.value_mc
    if abs(moved_mc) > bounds.margin_mc and abs(moved_mc) > bounds.reach_mc(
        at_ms - path.at_ms, falls=moved_mc < 0
    ):
        return True
    moved_mc = value_mc - path.base_mc
    return abs(moved_mc) > bounds.margin_mc and abs(moved_mc) > bounds.reach_mc(
        at_ms - path.base_ms, falls=moved_mc < 0
    )


def _other_unit(bounds: Bounds, path: Path, at_ms: int, value_mc: int) -> bool:
    """Whether it is the path in degrees of the other scale, not come to slowly."""
    path_mc, spent_ms = path.value_mc, at_ms - path.at_ms
    reach_mc = bounds.margin_mc + UNIT_MC_PER_S * spent_ms // 1_000
    if path.settled < SETTLED or spent_ms > UNIT_MS:
        return False
    if abs(value_mc - path_mc) <= reach_mc:
        return False
    twice = path_mc * 9 // 5 + 32_000, (path_mc - 32_000) * 5 // 9
    return any(abs(value_mc - other_mc) <= UNIT_MC for other_mc in twice)


def _back(channel: Channel, watch: Watch, reading: Reading) -> Event | None:
    if watch.doubted.times < TOLD_AFTER:
        return None
    why = back_words(watch, reading)
    return event_of(channel.name, reading.at_ms, watch.doubted.doubt, REPORTING, why)
