"""Early signs: a stall, a dying fire, an opened door, a bath that warms up, told apart.

They are read from the samples of the last half hour, once a minute:

========  ================  ===========================================================
channel   sign              what is seen
========  ================  ===========================================================
chamber   opened door       it falls faster than any fire dies, and comes back
chamber   dying fire        it sinks out of its band, for minutes; or stays out after a
                            sharp fall, for longer than a door stands open
core      stall             it is flat, in a steady chamber that is much hotter
bath      warming bath      it rises towards the cores that it is to chill (or a cooler)
========  ================  ===========================================================

Rule 1: a sign is advice.  It decides nothing that is proven and no standing.
Rule 2: a channel shows one sign at a time; ``NEXT`` has every way from one to another.
Rule 3: it carries the whole minute at which it was plain, not the one where it began.

No source for any of the marks here: they are our choice, held by what the shipped
traces show (``deploy/forecasts`` prints it), and by none of them on the steady one.

Units: ``_mc`` thousandths of a degree or, of a difference, of a kelvin; minutes.
"""

from collections.abc import Callable
from enum import StrEnum
from typing import NamedTuple

from rules.channels import Role
from rules.facts import Event, Subject
from rules.forecast import MINUTE_MS, NONE_MC, Samples
from rules.surroundings import (
    APART,
    NEAR_MC,
    RAMP,
    Moment,
    level,
    opened_ago,
    slope,
)
from rules.units import say_k, say_mc, say_ms

DOOR_MC, DOOR_MINUTES = 8_000, 2
SINKS_MC = 3_000  # in APART minutes
SLOW_MS = 5 * MINUTE_MS  # a core has no haste: it is looked at every five minutes
LEFT_OPEN = 20  # minutes: who fetches a load has closed the door by then
FLAT, FLAT_MC, MOVES_MC = 20, 800, 1_100
STEADY = 30  # minutes: a fire lit again has warmed the core by then
STEADY_MC, HOTTER_MC = 4_000, 6_000
TAKEN = 3  # minutes that show a level, without the noise of one
WARMS_MC, COLD_MC = 1_500, 4_444  # 40 degF: where the bands of cooling end


class Sign(StrEnum):
    """What a channel shows."""

    NONE = ""
    STALL = "stall"
    DOOR = "opened door"
    FIRE = "dying fire"
    BATH = "warming bath"


NONE, STALL, DOOR, FIRE, BATH = Sign
WAKES = frozenset({FIRE, BATH})  # something can be done, and has to be soon


class Seen(NamedTuple):
    """What a channel shows, and since when."""

    sign: Sign = NONE
    since_ms: int = 0


class Look(NamedTuple):
    """One channel, as it is looked at."""

    now: Moment
    number: int
    since_ms: int  # of the sign that it shows

    @property
    def levels(self) -> Samples:
        """Its samples, the newest last."""
        return self.now.samples[self.number]

    @property
    def like_mc(self) -> int:
        """A temperature of the stage, in whose unit all of it is said."""
        band = self.now.stage.chamber
        return band.low_mc if band else self.now.stage.ends.mc

    @property
    def here(self) -> Samples:
        """Its samples since the stage began."""
        minutes = (self.now.mark_ms - self.now.at.since_ms) // MINUTE_MS
        return self.levels[-minutes - 1 :]


def look(now: Moment, number: int, seen: Seen) -> tuple[Seen, str]:
    """What the channel shows at this minute, and what is seen, in words."""
    if now.channels[number].role is Role.CORE and now.mark_ms % SLOW_MS:
        return seen, ""
    for sign, sees in NEXT.get((now.channels[number].role, seen.sign), ()):
        why = sees(Look(now, number, seen.since_ms))
        if why:
            return Seen(sign, now.mark_ms), why
    return seen, ""


def told(name: str, seen: Seen, after: Seen, why: str) -> Event:
    """The event that a channel shows something else, or nothing any more."""
    now = after.sign or over(seen.sign)
    head = (after.since_ms, Subject.SIGN, name, name)
    return Event(*head, str(seen.sign), str(now), f"{name} {why}")


def over(sign: str) -> str:
    """The word for a sign that is over."""
    return f"{sign} over"


def _opened(one: Look) -> str:
    recent = one.levels[-DOOR_MINUTES - 1 :]
    if one.now.stage.chamber is None or NONE_MC in recent or len(one.here) <= RAMP:
        return ""
    fell_mc = recent[0] - recent[-1]
    if fell_mc < DOOR_MC:
        return ""
    return (
        f"fell by {say_k(fell_mc, one.like_mc)} in {DOOR_MINUTES} min, "
        f"to {say_mc(recent[-1], one.like_mc)}, "
        "as when its door is opened"
    )


def _dies(one: Look) -> str:
    band, level_mc, slope_mc = one.now.stage.chamber, level(one.levels), 0
    if len(one.here) > APART + RAMP and not opened_ago(one.levels):
        slope_mc = slope(one.levels)
    if band is None or slope_mc * APART > -SINKS_MC or level_mc >= band.low_mc:
        return ""
    return (
        f"sank by {say_k(-slope_mc * APART, one.like_mc)} in {APART} min and is at "
        f"{say_mc(level_mc, one.like_mc)}, below its band from {say_mc(band.low_mc)}, "
        "as when the fire dies"
    )


def _left_open(one: Look) -> str:
    lasted_ms = one.now.mark_ms - one.since_ms
    if lasted_ms < LEFT_OPEN * MINUTE_MS:
        return ""
    return (
        f"fell sharply and is not back after {say_ms(lasted_ms)}: "
        "the fire may be dying, or the door be open"
    )


def _burns(one: Look) -> str:
    band, level_mc = one.now.stage.chamber, one.levels[-1]
    if band is None:
        return "is in no band any more"
    if level_mc == NONE_MC or level_mc < band.low_mc - NEAR_MC:
        return ""
    return f"is back at {say_mc(level_mc, one.like_mc)}"


def _stalls(one: Look) -> str:
    core_mc, before_mc = level(one.levels), level(one.levels[:-FLAT])
    if NONE_MC in (core_mc, before_mc) or core_mc - before_mc > FLAT_MC:
        return ""
    recent = [mc for mc in one.levels[-FLAT:] if mc != NONE_MC]
    if max(recent) - min(recent) > MOVES_MC:  # it sank, and rises again
        return ""
    chamber = "" if one.now.cold else _steady(one.now, core_mc)
    if len(one.here) <= FLAT or not chamber:
        return ""
    return (
        f"rose by {say_k(max(0, core_mc - before_mc), one.like_mc)} in {FLAT} min, to "
        f"{say_mc(core_mc, one.like_mc)}, in a steady chamber ({chamber}), "
        "as when its moist surface dries"
    )


def _steady(now: Moment, core_mc: int) -> str:
    """A chamber that has long been in its band and is much hotter than the core."""
    band = now.stage.chamber
    for channel, levels in zip(now.channels, now.samples, strict=True):
        recent = [one for one in levels[-STEADY:] if one != NONE_MC]
        if channel.role is not Role.CHAMBER or band is None or len(recent) < FLAT:
            continue
        low_mc, high_mc = min(recent), max(recent)
        inside = low_mc >= band.low_mc - NEAR_MC and high_mc - low_mc <= STEADY_MC
        if inside and low_mc >= core_mc + HOTTER_MC:
            return f"{channel.name} at {say_mc(recent[-1], band.low_mc)}"
    return ""


def _moves(one: Look) -> str:
    core_mc, before_mc = level(one.levels), level(one.levels[:-FLAT])
    if one.now.cold:
        return "is being chilled"
    if NONE_MC in (core_mc, before_mc) or abs(core_mc - before_mc) < MOVES_MC:
        return ""
    return f"moved by {say_k(abs(core_mc - before_mc), one.like_mc)} in {FLAT} min"


def _warms(one: Look) -> str:
    if not one.now.cold or len(one.here) <= TAKEN:
        return ""
    before = [mc for mc in one.here[:-TAKEN] if mc != NONE_MC]
    level_mc, low_mc = min(one.here[-TAKEN:]), min(before, default=NONE_MC)
    if low_mc == NONE_MC or level_mc - low_mc < WARMS_MC or level_mc < COLD_MC:
        return ""
    hotter = [
        (mc, channel.name)
        for mc, channel in (
            (level(levels), channel)
            for levels, channel in zip(one.now.samples, one.now.channels, strict=True)
        )
        if channel.role is Role.CORE and mc > level_mc + NEAR_MC
    ]
    if not hotter:
        return ""
    core_mc, name = max(hotter)
    return (
        f"warmed from {say_mc(low_mc, one.like_mc)} to "
        f"{say_mc(level_mc, one.like_mc)}, and {name} is still "
        f"at {say_mc(core_mc, one.like_mc)}: it needs ice, or to be changed"
    )


def _cools(one: Look) -> str:
    if not one.now.cold:
        return "chills nothing any more"
    minutes = (one.now.mark_ms - one.since_ms) // MINUTE_MS
    peak_mc, top_mc = max(one.levels[-minutes - 1 :]), max(one.levels[-TAKEN:])
    if top_mc == NONE_MC or (top_mc > COLD_MC and peak_mc - top_mc < WARMS_MC):
        return ""
    return f"is down to {say_mc(one.levels[-1], one.like_mc)} again"


Sees = Callable[[Look], str]
# Of one row the first that is seen counts.
NEXT: dict[tuple[Role, Sign], tuple[tuple[Sign, Sees], ...]] = {
    (Role.CHAMBER, NONE): ((DOOR, _opened), (FIRE, _dies)),
    (Role.CHAMBER, DOOR): ((NONE, _burns), (FIRE, _left_open)),
    (Role.CHAMBER, FIRE): ((NONE, _burns),),
    (Role.CORE, NONE): ((STALL, _stalls),),
    (Role.CORE, STALL): ((NONE, _moves),),
    (Role.BATH, NONE): ((BATH, _warms),),
    (Role.BATH, BATH): ((NONE, _cools),),
    (Role.COOLER, NONE): ((BATH, _warms),),
    (Role.COOLER, BATH): ((NONE, _cools),),
}
