"""What surrounds a core, and what will: air or water, measured, and as the stages say.

A wet surface is drawn to the wet bulb of its air and not to the dry one, which holds a
core back for hours; as it dries it stands between the two.  Nobody sees how wet it is,
so that each course of a chamber is looked at thrice: as it is, half way down to the wet
bulb, and at the wet bulb (where that is measured; else at what is usual).

Ahead, the surroundings are taken to stay as they are, and where the stage ends by time
to become what the schedule has written for the stages after it.  A chamber that is not
in the band of its own stage is not believed to come into the next one; how soon it may
be back in its own, nobody knows: the far ends of the forecast say so.  One that is on
its way up is believed to go on to the middle of its band, as fast as it does now.

Units: ``_ms`` milliseconds, ``_mc`` thousandths of a degree.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from rules.channels import Channel, Role
from rules.cooling import CHILLING
from rules.forecast import MINUTE_MS, NEVER, NONE_MC, Around, Samples
from rules.stages import At, Stage, Way
from rules.time_between import Band

HEATED_BY = (Role.CHAMBER, Role.BATH)
CHILLED_BY = (Role.BATH, Role.COOLER, Role.CHAMBER)
# How far below its chamber a wet surface stands where no wet bulb is measured: common
# practice, no source.
DEPRESSIONS_MC = (0, 8_000, 16_000)
ICE_MC = 0  # whoever adds enough ice has water of melting ice
# How long a chamber may take into its band, beyond what is written: no source.
RAMP = 15
LONGEST_RAMP, RAMP_STEPS = 150, 3
RISES_MC = 50  # a minute: a level that rises by less stands still, or is noise
NEAR_MC = 1_000  # a chamber this near to its band is in it, for a forecast
RECENT, APART = 5, 10  # a course's level is the middle of so many; its slope, over
SHARP_MC = 4_000  # what falls by more in RECENT minutes is an opened door
AHEAD = 60  # a level that slowly changes is believed to go on for so many minutes


class Moment(NamedTuple):
    """What a forecast is made from."""

    mark_ms: int
    at: At
    stages: Sequence[Stage]
    ways: Sequence[Way | None]
    channels: Sequence[Channel]
    samples: Sequence[Samples]  # of each channel

    @property
    def stage(self) -> Stage:
        """The stage that runs."""
        return self.stages[self.at.number]

    @property
    def cold(self) -> bool:
        """Whether the stage that runs is there to make the cores colder."""
        return chills(self.stage, self.ways[self.at.number])


def chills(stage: Stage, way: Way | None) -> bool:
    """Whether the stage is there to make the cores colder."""
    return way is Way.FALLS or stage.name in CHILLING


def candidates(now: Moment, core_mc: int) -> list[int]:
    """The numbers of the channels that may surround a core of this temperature."""
    roles = CHILLED_BY if now.cold else HEATED_BY
    numbers = [
        number
        for role in roles
        for number, one in enumerate(now.channels)
        if one.role is role
    ]
    if now.cold:
        return numbers
    # A bath heats only what is colder.
    return [
        number
        for number in numbers
        if now.channels[number].role is Role.CHAMBER
        or now.samples[number][-1] > core_mc
    ]


def drops(now: Moment, number: int) -> list[Samples]:
    """By how much what draws a surface may lie below a channel, minute by minute."""
    levels = now.samples[number]
    none = (0,) * len(levels)
    if now.cold or now.channels[number].role is not Role.CHAMBER:
        return [none]
    for wet, channel in zip(now.samples, now.channels, strict=True):
        if channel.role is Role.WET_BULB and wet[-1] != NONE_MC:
            both = [
                max(0, dry_mc - wet_mc) if NONE_MC not in (dry_mc, wet_mc) else 0
                for dry_mc, wet_mc in zip(levels, wet, strict=True)
            ]
            return [none, tuple(one // 2 for one in both), tuple(both)]
    return [(one,) * len(levels) for one in DEPRESSIONS_MC]


def lowered(levels: Samples, drop: Samples) -> Samples:
    """The samples less the drop of each minute."""
    return tuple(
        mc if mc == NONE_MC else mc - less
        for mc, less in zip(levels, drop, strict=True)
    )


def level(levels: Samples) -> int:
    """Where a course stands now: the middle of its last samples; else NONE_MC."""
    recent = sorted(one for one in levels[-RECENT:] if one != NONE_MC)
    return recent[len(recent) // 2] if recent else NONE_MC


def slope(levels: Samples) -> int:
    """By how much a course rises a minute, where it has stood long enough."""
    before_mc, now_mc = level(levels[:-APART]), level(levels)
    return 0 if NONE_MC in (before_mc, now_mc) else (now_mc - before_mc) // APART


def path(now: Moment, levels: Samples, role: Role, drop_mc: int) -> tuple[Around, ...]:
    """What will draw the core, as far as the schedule says.

    It is by ``drop_mc`` less than what surrounds it, unless its surface dries.
    """
    ahead = _chilling(levels, role) if now.cold else _heating(now, levels, role)
    return tuple(
        Around(lasts, low_mc - drop_mc, likely_mc - drop_mc, high_mc)
        for lasts, low_mc, likely_mc, high_mc in ahead
    )


def _chilling(levels: Samples, role: Role) -> Iterator[Around]:
    low_mc, level_mc, high_mc = _spread(levels)
    high_mc = max(high_mc, level_mc + AHEAD * slope(levels))
    if role is Role.BATH:
        low_mc = min(low_mc, ICE_MC)
    yield Around(NEVER, low_mc, level_mc, high_mc)


def _heating(now: Moment, levels: Samples, role: Role) -> Iterator[Around]:
    """The stage that runs, and those that surely follow it."""
    low_mc, level_mc, high_mc = here = _spread(levels)
    band = now.stage.chamber if role is Role.CHAMBER else None
    spent = 0
    ramp = _ramp(levels, band) if band else []
    inside = band and _in_band(level_mc, band)
    if band and (ramp or not inside):
        middle_mc = sum(band) // 2
        left = 0 if inside else _settles(now, levels, band)
        if left:
            yield Around(left, low_mc, (level_mc + middle_mc) // 2, middle_mc)
            spent, here = left, (band.low_mc, middle_mc, band.high_mc)
        elif ramp:
            yield from ramp
            spent = sum(one.minutes for one in ramp)
            here = (low_mc, middle_mc, band.high_mc)
        else:
            low_mc = min(low_mc, level_mc + AHEAD * slope(levels))
            yield Around(NEVER, low_mc, level_mc, max(high_mc, middle_mc))
            return
    yield from _following(now, here, spent, role)


def _following(
    now: Moment, here: tuple[int, int, int], spent: int, role: Role
) -> Iterator[Around]:
    """The rest of the stage that runs, and the stages that surely follow it."""
    number, stage = now.at.number, now.stage
    ends_ms = now.at.since_ms + stage.ends.ms
    lasts = max(0, (ends_ms - now.mark_ms) // MINUTE_MS - spent)
    while stage.ends.way is Way.AFTER and number + 1 < len(now.stages):
        number += 1
        following = now.stages[number]
        if chills(following, now.ways[number]):
            break
        yield Around(lasts, *here)
        stage, lasts = following, following.ends.ms // MINUTE_MS
        if stage.chamber and role is Role.CHAMBER:
            low_mc, high_mc = stage.chamber
            middle_mc = (low_mc + high_mc) // 2
            yield Around(RAMP, here[0], (here[1] + middle_mc) // 2, middle_mc)
            lasts = max(0, lasts - RAMP)
            here = (low_mc, middle_mc, high_mc)
    yield Around(NEVER, *here)


def _settles(now: Moment, levels: Samples, band: Band) -> int:
    """For how many minutes the chamber may still be out of its band and be well.

    The stage is new, or the door was opened a moment ago.
    """
    since_ms = now.at.since_ms
    until_ms = since_ms + now.stage.settle_ms + RAMP * MINUTE_MS
    was = now.stages[now.at.number - 1].chamber if now.at.number else None
    if now.mark_ms < until_ms and (was is None or level(levels) >= was[0] - NEAR_MC):
        return (until_ms - now.mark_ms) // MINUTE_MS
    opened = opened_ago(levels)
    before_mc = level(levels[: -opened - 1]) if opened else NONE_MC
    if opened and before_mc >= band.low_mc - NEAR_MC:
        return max(0, RAMP - opened)
    return 0


def opened_ago(levels: Samples) -> int:
    """How many minutes ago the level fell sharply, within ``RAMP``; 0 if it did not."""
    for ago in range(1, min(RAMP, len(levels) - 1)):
        before_mc, after_mc = levels[-ago - 1], levels[-ago]
        if NONE_MC not in (before_mc, after_mc) and before_mc - after_mc > SHARP_MC:
            return ago
    return 0


def _ramp(levels: Samples, band: Band) -> list[Around]:
    """The way of a chamber that grows hotter to the middle of its band, or nothing.

    A door was closed, a fire lit again, or the fire is weak and the day is cold.
    """
    level_mc, rise_mc = level(levels), slope(levels)
    middle_mc = sum(band) // 2
    left_mc = middle_mc - level_mc
    if rise_mc < RISES_MC or left_mc <= NEAR_MC or left_mc // rise_mc > LONGEST_RAMP:
        return []
    lasts = -(-left_mc // rise_mc // RAMP_STEPS)
    steps = [
        level_mc + left_mc * (2 * i + 1) // (2 * RAMP_STEPS) for i in range(RAMP_STEPS)
    ]
    return [Around(lasts, level_mc, likely_mc, middle_mc) for likely_mc in steps]


def _spread(levels: Samples) -> tuple[int, int, int]:
    """Where a course stands, between the quarters of its last samples."""
    middle = sorted(one for one in levels[-RAMP:] if one != NONE_MC)
    quarter = len(middle) // 4
    low_mc, level_mc, high_mc = middle[quarter], level(levels), middle[-quarter - 1]
    return min(low_mc, level_mc), level_mc, max(high_mc, level_mc)


def _in_band(level_mc: int, band: Band) -> bool:
    return band.low_mc - NEAR_MC <= level_mc <= band.high_mc + NEAR_MC
