"""What only several channels of one smokehouse show together, and the fold over them.

A core gets its heat from the air around it, so it is behind the chamber when that
warms, and no meat comes after it within minutes.  A core that does is out of its
piece, or exchanged with the chamber; a chamber that moves as a core does touches one.

Rule 1: the air is every chamber of the cook, as each was last heard of: a core may hang
beside any of them, and only what is more than the warmest can do is more than air can.
A chamber that is late or in doubt says nothing of any core.
Rule 2: what company began, a person ends by what they write: always of probes that are
exchanged, else where the channel does not come back to where it was by itself.

What the bounds rest on: a sausage of 16 mm comes after moving air with a time constant
of more than ten minutes, after water or full steam with one of about 85 s (conduction
in a cylinder, first root, with 25 and more than 1000 W/(m2 K); worked out, no source).
The margins around that are ours, no source.

It cannot tell a core that has sat in the air of a steady chamber from the beginning,
one that touches bone, or metal that is as warm as the meat, a chamber probe that
touched a piece before it was ever warmer, and one that touches a surface still much
warmer than its core, or comes to it while a door stands open.

Units: ``_mc`` and ``_ms`` as in ``rules.facts``.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from probes import screening
from probes.doubts import Doubt
from probes.screening import BOUNDS, MEAT, Bounds, Screened, as_kept, bounds_for, jumped
from probes.watch import NEW, SETTLED, Beside, Fell, Path, Watch
from rules.channels import Channel, Role
from rules.facts import Event, Quality, Reading

MINUTE_MS = 60_000
FRESH_MS, FRESH_PERIODS = 3 * MINUTE_MS, 3
ALONG_MC = 3_000  # as near as this is where the chamber is
ALONG_MS, WITHIN_MS = 10 * MINUTE_MS, 20 * MINUTE_MS  # so long; and moved so far in
ALONG_MOVED_MC = 8_000
AWAY_MS, BACK_MS = 5 * MINUTE_MS, 2 * MINUTE_MS
OUT_MC = 5_000  # the least step that is a probe pulled out
OUT_MARGIN_MC, OUT_MS = 3_000, 300_000  # meat goes less than its gap in this time
OUT_NEAR_MC, OUT_PART = 2_000, 6  # of the gap: what a probe in air is still behind
ABOVE_MC = 5_000  # air that is so much colder cannot warm a core
EXCHANGED_MC, EXCHANGED_GAP_MC, EXCHANGED_PART = 5_000, 8_000, 3
EXCHANGED_MS = 5 * MINUTE_MS
FELL_MC = 8_000  # of air, in two minutes
# Of the gap to the core that there was, what is left to a surface, and when it is left.
TOUCHING_PART, LEFT_PART = 3, 2
BELOW_MC, LEFT_BELOW_MC = 2_000, 4_000
TOUCHING_MS, ROSE_MC = 15 * MINUTE_MS, 3_000
TELLING = ("", Doubt.ROUGH)  # a channel that says something of others
# A doubt that the company of the others may explain.
NAMES_LITTLE = ("", Doubt.ROUGH, Doubt.JUMP, Doubt.PULLED_OUT)


class Company(NamedTuple):
    """The channels of one cook, and which of them is what to the others."""

    channels: Mapping[str, Channel]
    chambers: tuple[str, ...]
    cores: tuple[str, ...]
    baths: tuple[str, ...]
    colds: tuple[str, ...]  # baths and coolers: where pieces go from the chamber
    bounds: Mapping[Role, Bounds] = BOUNDS
    scalded: Mapping[Role, Bounds] = BOUNDS  # where hot water is


def company_of(channels: Iterable[Channel], diameter_um: int = 0) -> Company:
    """The company that these channels are to each other, in pieces so thick."""
    named = {one.name: one for one in channels}
    by_role = {
        role: tuple(name for name, one in named.items() if one.role is role)
        for role in (Role.CHAMBER, Role.CORE, Role.BATH, Role.COOLER)
    }
    chambers = by_role[Role.CHAMBER]
    cores, baths = by_role[Role.CORE], by_role[Role.BATH]
    colds = (*baths, *by_role[Role.COOLER])
    bounds = bounds_for(diameter_um), bounds_for(diameter_um, scalded=True)
    return Company(named, chambers, cores, baths, colds, *bounds)


def screened(
    company: Company, watches: Mapping[str, Watch], reading: Reading
) -> Screened:
    """Screen a reading of one of the channels, by itself and by the others."""
    name = reading.channel
    channel, watch = company.channels[name], watches[name]
    if reading.quality is not Quality.GOOD or reading.at_ms <= watch.digits.at_ms:
        return screening.screened(channel, watch, reading, None, company.bounds)
    together: Doubt | None = None
    if channel.role is Role.CORE:
        if company.chambers:
            watch, together = _core(company, watches, watch, reading)
    elif name in company.chambers:
        watch, together = _chamber(company, watches, watch, reading)
    bounds = company.bounds
    thin = company.scalded is not bounds
    if thin and _scalds(company, watches, reading.value_mc):
        bounds = company.scalded
    return screening.screened(channel, watch, reading, together, bounds)


def fold(
    company: Company, readings: Iterable[Reading]
) -> Iterator[tuple[Reading, list[Event]]]:
    """Each reading as it is kept where they come in this order, and what it tells."""
    watches = dict.fromkeys(company.channels, NEW)
    for reading in readings:
        watches[reading.channel], kept, event = screened(company, watches, reading)
        yield kept, [event] if event else []


def recalled(company: Company, readings: Iterable[Reading]) -> dict[str, Watch]:
    """The watches that these readings, as they were kept, have led to.

    What was decided then counts, also where the fold begins later than it did then.
    """
    watches = dict.fromkeys(company.channels, NEW)
    for kept in readings:
        if kept.quality not in (Quality.GOOD, Quality.SUSPECT):
            continue
        before = watches[kept.channel]
        again = screened(company, watches, kept._replace(quality=Quality.GOOD))
        watch, late = again.watch, kept.at_ms <= before.digits.at_ms
        if again.reading.quality is not kept.quality and not late:
            watch = as_kept(before, kept)
        watches[kept.channel] = watch
    return watches


def _fresh(company: Company, name: str, watch: Watch, at_ms: int) -> bool:
    """Whether a channel was heard lately enough to say something, and is believed."""
    age_ms = at_ms - watch.digits.at_ms
    if watch.digits.at_ms < 0 or watch.doubted.doubt not in TELLING:
        return False
    return age_ms <= max(FRESH_MS, FRESH_PERIODS * company.channels[name].every_ms)


class Air(NamedTuple):
    """What one chamber is to a core just now."""

    chamber: str
    air_mc: int
    beside: Beside
    touches: bool  # it seems to touch a piece itself


def _core(
    company: Company, watches: Mapping[str, Watch], watch: Watch, reading: Reading
) -> tuple[Watch, Doubt | None]:
    """What the chambers make doubtful of a core."""
    at_ms, value_mc = reading.at_ms, reading.value_mc
    path, before = watch.path, watch.doubted.doubt
    if before == Doubt.SWAPPED:
        return watch, Doubt.SWAPPED
    watch, airs = _airs(company, watches, watch, reading)
    if not airs:
        stays = before in (Doubt.PULLED_OUT, Doubt.IN_AIR)
        return watch, Doubt(before) if stays else None
    if _hangs(company, watches, airs, reading, before):
        return watch, Doubt.IN_AIR
    if path.settled < SETTLED or before not in NAMES_LITTLE:
        return watch, None
    away_mc = abs(value_mc - path.value_mc)
    if away_mc > OUT_MC and at_ms - path.at_ms <= EXCHANGED_MS:
        for air in airs:
            if _exchanged(path, air, value_mc):
                return watch._replace(exchanged=air.chamber), Doubt.SWAPPED
    if before == Doubt.PULLED_OUT:
        # Air that passes where the core was is no core that is back.
        away = all(0 <= one.beside.away_ms <= at_ms - BACK_MS for one in airs)
        return watch, None if away and away_mc <= MEAT.back_mc else Doubt.PULLED_OUT
    if _scalds(company, watches, value_mc):
        cold = tuple(one._replace(above_ms=-1) for one in watch.beside)
        return watch._replace(beside=cold), None
    # A chamber that is late or in doubt may still be the one that warms it.
    digits = [watches[name].digits for name in company.chambers]
    heard = [one for one in digits if one.at_ms >= 0]
    known = not before and len(heard) == len(airs)
    if known and all(_above(one.beside, at_ms, value_mc) for one in airs):
        return watch._replace(exchanged=""), Doubt.SWAPPED
    if away_mc > OUT_MC:
        warmest_mc = max(one.value_mc for one in heard)
        if _pulled_out(company, path, at_ms, value_mc, airs, warmest_mc):
            return watch, Doubt.PULLED_OUT
    return watch, None


def _airs(
    company: Company, watches: Mapping[str, Watch], watch: Watch, reading: Reading
) -> tuple[Watch, list[Air]]:
    """How a core goes beside each chamber that says something just now."""
    at_ms, besides, airs = reading.at_ms, [], []
    known = watch.beside or (Beside(),) * len(company.chambers)
    for name, beside in zip(company.chambers, known, strict=True):
        chamber = watches[name]
        if _fresh(company, name, chamber, at_ms):
            air_mc, next_ms = chamber.digits.value_mc, watch.path.next_ms
            beside = _beside(beside, at_ms, reading.value_mc, air_mc, next_ms)
            airs.append(Air(name, air_mc, beside, bool(chamber.fell.core)))
        besides.append(beside)
    return watch._replace(beside=tuple(besides)), airs


def _hangs(
    company: Company,
    watches: Mapping[str, Watch],
    airs: Iterable[Air],
    reading: Reading,
    before: str,
) -> bool:
    """Whether a core does what one of the chambers does."""
    at_ms, value_mc, stays = reading.at_ms, reading.value_mc, before == Doubt.IN_AIR
    for air in airs:
        # A chamber that seems to touch a piece makes no core one that hangs in its air.
        may = stays or (before != Doubt.PULLED_OUT and not air.touches)
        along = may and _along(air.beside, at_ms, before)
        if along and (stays or not _chilled(company, watches, air.beside, value_mc)):
            return True
    return False


def _above(beside: Beside, at_ms: int, value_mc: int) -> bool:
    """Whether a core warms beside a chamber that is too cold to warm it."""
    long = 0 <= beside.above_ms <= at_ms - ALONG_MS
    return long and value_mc - beside.above_mc >= ALONG_MOVED_MC


def _beside(
    beside: Beside, at_ms: int, value_mc: int, air_mc: int, next_ms: int
) -> Beside:
    """How the core goes beside the chamber, with one more reading."""
    along_ms, low_mc, high_mc, away_ms, above_ms, above_mc, *airs = beside
    base_air_mc, next_air_mc, last_air_mc, last_next_ms = airs
    if abs(value_mc - air_mc) <= ALONG_MC:
        away_ms = -1
        if along_ms < 0 or at_ms - along_ms > WITHIN_MS:
            along_ms, low_mc, high_mc = at_ms, value_mc, value_mc
        low_mc, high_mc = min(low_mc, value_mc), max(high_mc, value_mc)
    else:
        along_ms, away_ms = -1, at_ms if away_ms < 0 else away_ms
    if value_mc - air_mc < ABOVE_MC:
        above_ms = -1
    elif above_ms < 0 or at_ms - above_ms > WITHIN_MS:
        above_ms, above_mc = at_ms, value_mc
    if next_ms != last_next_ms:  # the path has a new base
        base_air_mc, next_air_mc = next_air_mc, last_air_mc
    return Beside(
        *(along_ms, low_mc, high_mc, away_ms, above_ms, above_mc),
        *(base_air_mc, next_air_mc, air_mc, next_ms),
    )


def _scalds(company: Company, watches: Mapping[str, Watch], value_mc: int) -> bool:
    """Whether hot water may have warmed a core to this, faster than air."""
    for bath in company.baths:
        if watches[bath].digits.value_mc > value_mc - ALONG_MC:
            return True
    return False


def _chilled(
    company: Company, watches: Mapping[str, Watch], beside: Beside, value_mc: int
) -> bool:
    """Whether a core that falls with the chamber may have been taken out of it.

    An empty chamber cools too, and sometimes as a core does in ice or in a cooler.
    """
    if value_mc - beside.low_mc >= ALONG_MOVED_MC:
        return False
    colds = [watches[name].digits for name in company.colds]
    return any(c.at_ms >= 0 and c.value_mc < value_mc - ALONG_MC for c in colds)


def _along(beside: Beside, at_ms: int, before: str) -> bool:
    """Whether the core does what the chamber does."""
    if before == Doubt.IN_AIR:
        return beside.away_ms < 0 or at_ms - beside.away_ms < AWAY_MS
    if beside.along_ms < 0 or at_ms - beside.along_ms < ALONG_MS:
        return False
    return beside.high_mc - beside.low_mc >= ALONG_MOVED_MC


def _pulled_out(
    company: Company,
    path: Path,
    at_ms: int,
    value_mc: int,
    airs: Sequence[Air],
    warmest_mc: int,
) -> bool:
    """Whether a core went towards a warmer chamber faster than meat can."""
    if value_mc > warmest_mc + ALONG_MC:
        return False
    if jumped(company.bounds[Role.CORE], path, at_ms, value_mc):
        return path.value_mc + OUT_MC < value_mc
    for from_ms, from_mc in (
        (path.at_ms, path.value_mc),
        (path.base_ms, path.base_mc),
    ):
        gap_mc = warmest_mc - from_mc  # meat may be drawn by any of them
        most_mc = OUT_MARGIN_MC + gap_mc * (at_ms - from_ms) // OUT_MS
        near = any(_beside_air(one.air_mc, from_mc, value_mc) for one in airs)
        if near and value_mc - from_mc > max(most_mc, OUT_MC):
            return True
    return False


def _beside_air(air_mc: int, from_mc: int, value_mc: int) -> bool:
    """Whether a core has come from there to where a chamber is."""
    near_mc = max(OUT_NEAR_MC, (air_mc - from_mc) // OUT_PART)
    return value_mc <= air_mc + ALONG_MC and air_mc - value_mc <= near_mc


def _exchanged(path: Path, air: Air, value_mc: int) -> bool:
    """Whether the core is where the chamber was, and the chamber where the core was."""
    core_mc, was_mc = path.base_mc, air.beside.base_air_mc
    gap_mc = was_mc - core_mc
    near_mc = min(EXCHANGED_MC, gap_mc // EXCHANGED_PART)
    there = abs(value_mc - was_mc) <= near_mc and abs(air.air_mc - core_mc) <= near_mc
    return there and gap_mc >= EXCHANGED_GAP_MC


def _chamber(
    company: Company, watches: Mapping[str, Watch], watch: Watch, reading: Reading
) -> tuple[Watch, Doubt | None]:
    """What the cores make doubtful of the chamber."""
    at_ms, value_mc, path = reading.at_ms, reading.value_mc, watch.path
    for name in company.cores:
        # Where it is not known with which, each of them may be the one.
        this = watches[name].exchanged in ("", reading.channel)
        if this and watches[name].doubted.doubt == Doubt.SWAPPED:
            return watch, Doubt.SWAPPED
    fell = watch.fell
    if not fell.core:
        came = _fell(company, watches, path, at_ms, value_mc)
        return watch._replace(fell=came) if came else watch, None
    core, touching = watches[fell.core], watch.doubted.doubt == Doubt.TOUCHING
    warmer_mc = value_mc - core.digits.value_mc
    most_mc = fell.gap_mc // (LEFT_PART if touching else TOUCHING_PART)
    least_mc = -(LEFT_BELOW_MC if touching else BELOW_MC)
    near = least_mc <= warmer_mc <= most_mc
    if not near or not _fresh(company, fell.core, core, at_ms):
        return watch._replace(fell=Fell()), None
    long = at_ms - fell.at_ms >= TOUCHING_MS
    rose = core.digits.value_mc - fell.core_mc >= ROSE_MC
    return watch, Doubt.TOUCHING if touching or (long and rose) else None


def _fell(
    company: Company,
    watches: Mapping[str, Watch],
    path: Path,
    at_ms: int,
    value_mc: int,
) -> Fell | None:
    """That the chamber has just come down to a core, and to which."""
    if not path.settled or path.base_mc - value_mc < FELL_MC:
        return None
    for name in company.cores:
        core_mc = watches[name].digits.value_mc
        gap_mc = path.base_mc - core_mc
        near = -BELOW_MC <= value_mc - core_mc <= gap_mc // TOUCHING_PART
        if near and _fresh(company, name, watches[name], at_ms):
            return Fell(name, at_ms, core_mc, gap_mc)
    return None
