"""Calibration: what a probe said, as the check in force corrects it, and how surely.

A check with one point is an offset, one with two a straight line through both.  It
holds from its date until that of the next; what was said before the first check is
not corrected.  A correction never makes a reading surer than its accuracy alone.

Uncertainty: accuracy, resolution, drift and the reference's own uncertainty are
combined as independent quantities and expanded with k = 2.  Accuracy and drift are
half-widths of a rectangular distribution (u = a / sqrt 3), a step is the whole width
of one (u = s / sqrt 12), and a reference says its expanded uncertainty (u = U / 2).
Between and beyond two points the references' uncertainties are added by their
weights, as if one instrument had served at both.  What the probe lags behind is no
chance but a bias, and is added as it is.  Where accuracy alone is told, its own
limits are the bound.

Units: ``_mc`` as in ``rules.facts``; uncertainties are rounded up, never down.

Source: JCGM 100:2008 (GUM), 4.3.7 (rectangular), F.2.2.1 (resolution), 4.3.3
(certificate), 5.1.2 (combination), 5.2.2 note 1 (full correlation), 6.2.1
(expansion); from memory, to be verified.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from math import isqrt

from rules.channels import Channel, Check, Point
from rules.facts import Fact, Reading

# No source: beyond this a food thermometer is broken rather than out of adjustment.
LARGEST_MC = 3_000
# Common practice, no source: a check says little about temperatures far from it.
NEAR_MC = 10_000


def calibrated(channels: Sequence[Channel], facts: Iterable[Fact]) -> Iterable[Fact]:
    """The same facts with every reading of these channels as it is judged."""
    told = {one.name: one for one in channels if _is_told(one)}
    return _calibrated(told, facts) if told else facts


def as_judged(channel: Channel, reading: Reading) -> Reading:
    """One reading of the channel, corrected, with its whole uncertainty."""
    if not _is_told(channel):
        return reading
    check = in_force(channel.checks, reading.at_ms)
    correction_mc, within_mc = 0, 0
    if check:
        correction_mc, within_mc = corrected(
            check.points, channel.step_mc, reading.value_mc
        )
    terms = (reading.uncertainty_mc, channel.step_mc, channel.drift_mc, within_mc)
    return reading._replace(
        value_mc=reading.value_mc + correction_mc,
        uncertainty_mc=expanded_mc(*terms) + channel.lag_mc,
    )


def exact(channel: Channel) -> Channel:
    """The channel as if its probe and every reference had no uncertainty at all."""
    checks = tuple(
        replace(one, points=tuple(replace(point, within_mc=0) for point in one.points))
        for one in channel.checks
    )
    bare = replace(channel, checks=checks, accuracy_mc=0, step_mc=0)
    return replace(bare, drift_mc=0, lag_mc=0)


def in_force(checks: Sequence[Check], at_ms: int) -> Check | None:
    """The newest check that is not later than this, if there is one."""
    return next((one for one in reversed(checks) if one.at_ms <= at_ms), None)


@lru_cache(maxsize=4096)
def corrected(points: tuple[Point, ...], step_mc: int, said_mc: int) -> tuple[int, int]:
    """What to add to a value, and the expanded uncertainty of that (k = 2)."""
    first, last = points[0], points[-1]
    first_mc, last_mc = (
        expanded_mc(0, step_mc, 0, one.within_mc) for one in (first, last)
    )
    width_mc = last.said_mc - first.said_mc
    if not width_mc:
        return first.correction_mc, first_mc
    past_mc, left_mc = said_mc - first.said_mc, last.said_mc - said_mc
    tilt_mc = last.correction_mc - first.correction_mc
    correction_mc = first.correction_mc + (2 * tilt_mc * past_mc + width_mc) // (
        2 * width_mc
    )
    weighted = abs(left_mc) * first_mc + abs(past_mc) * last_mc
    return correction_mc, -(-weighted // width_mc)


@lru_cache(maxsize=4096)
def expanded_mc(accuracy_mc: int, step_mc: int, drift_mc: int, within_mc: int) -> int:
    """The expanded uncertainty (k = 2) of all four, the least integer not below it.

    Accuracy alone is its own bound: nothing lies beyond the ends of a rectangle.
    """
    if not (step_mc or drift_mc or within_mc):
        return accuracy_mc
    # 3 U^2 = 12 u^2 for k = 2, and 12 u^2 is a whole number.
    thrice = 4 * accuracy_mc**2 + step_mc**2 + 4 * drift_mc**2 + 3 * within_mc**2
    return isqrt(-(-thrice // 3) - 1) + 1


def beyond(points: Sequence[Point], from_mc: int, to_mc: int) -> tuple[int, int] | None:
    """Where a check corrects by more than it may, and by how much, if it does."""
    places = [*(one.said_mc for one in points), from_mc, to_mc]
    found = ((said, corrected(tuple(points), 0, said)[0]) for said in places)
    return next((one for one in found if abs(one[1]) > LARGEST_MC), None)


def near(check: Check, judged_mc: int) -> bool:
    """Whether the probe was checked near enough to a temperature that is judged."""
    return any(abs(one.reference_mc - judged_mc) <= NEAR_MC for one in check.points)


def _calibrated(told: dict[str, Channel], facts: Iterable[Fact]) -> Iterator[Fact]:
    for fact in facts:
        if isinstance(fact, Reading) and (channel := told.get(fact.channel)):
            yield as_judged(channel, fact)
        else:
            yield fact


def _is_told(channel: Channel) -> bool:
    return bool(channel.checks or channel.step_mc or channel.drift_mc or channel.lag_mc)
