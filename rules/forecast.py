"""When a core will be at a temperature: a first-order lag behind what surrounds it.

Newton's law of heating and cooling: the difference between core and surroundings
keeps the same *share* from one minute to the next.  The late part of a thick stick's
course is of that form too, with the share exp(-z1 ** 2 * Fo) of one minute (one-term
solution of the long cylinder: Cengel, Heat Transfer, section 4-2).  The share is not
known beforehand: it is fitted, over the last ``WINDOW`` minutes, to what the core did
under the surroundings that were measured.

The fit is a straight line through the core's samples against the *pull* added up so
far, which is the area between the two courses; its slope is the rate a minute.  A sum
of differences, not a difference of readings, so that a noisy probe does little harm.

The interval is as wide as the rate is uncertain: by the scatter about the line, by
how the rates of the window's two halves disagree, and never less than ``LEAST_DOUBT``,
which grows with every sample that is missing.  The interval grows with the horizon,
because a share is taken to the power of the minutes.

What holds as samples are taken away: on an exact course the interval never narrows.
On a noisy one other samples have another rate, so that a single interval may narrow;
on the average of many it widens, and it goes on holding the truth.

Rule 1: whole numbers only.  Logarithms differ in their last digit from machine to
machine; how many minutes a share takes is found by squaring it again and again.
Rule 2: a forecast decides nothing that is proven; it only warns.

Units: ``_mc`` thousandths of a degree; minutes; shares and rates times ``ONE``.
"""

from collections.abc import Sequence
from functools import lru_cache
from math import isqrt
from typing import NamedTuple

from rules.evidence import Sight
from rules.integral import Sum, rate_e9

MINUTE_MS = 60_000
ONE = 1 << 32
WINDOW = 20
KEPT = WINDOW + 12  # for surroundings that act some minutes later
NONE_MC = -(1 << 40)  # no reading was at hand
NEVER = 1 << 30
HORIZON = 24 * 60  # farther off than a day nobody asks
LEAST_SAMPLES = 8
STEP = 5  # minutes between which heat is added up as a straight line
TENTH_MC = 100
LONGEST_GAP = 5  # without a sample for longer, the window begins anew
FASTEST = ONE // 2  # a rate above this is a probe pulled out, not a sausage
STILL_MC = 600  # a core that has no rate and moved less than this stands still
LEAST_DOUBT, MOST_DOUBT = ONE // 20, ONE * 3 // 5

Samples = tuple[int, ...]  # of one channel, one a minute, the newest last


class Fit(NamedTuple):
    """What the core did in the window, as a lag behind its surroundings."""

    core_mc: int  # where the line says that it is now
    around_mc: int  # what surrounds it: the middle of the window's last half
    rate: int  # a minute; 0 where the core stands still
    doubt: int  # as a share of the rate, either way
    scatter_mc: int  # root of the mean square about the line


class Around(NamedTuple):
    """What will surround the core, from a time on until the next."""

    minutes: int  # how long; NEVER for the last
    low_mc: int
    likely_mc: int
    high_mc: int


class Crossing(NamedTuple):
    """In how many minutes the core will be at a temperature; NEVER within a day."""

    earliest: int
    likely: int
    latest: int


NEVER_CROSSING = Crossing(NEVER, NEVER, NEVER)


def sampled(samples: Samples, sight: Sight, mark_ms: int, joined_ms: int) -> Samples:
    """The samples with one more: the channel's last reading, if it is fresh."""
    fresh = sight.seen and mark_ms - sight.at_ms <= joined_ms
    value_mc = (sight.low_mc + sight.high_mc) // 2 if fresh else NONE_MC
    return (*samples[-KEPT:], value_mc)


def any_at(samples: Samples) -> bool:
    """Whether there is a sample in the window."""
    return any(value != NONE_MC for value in samples)


@lru_cache(maxsize=256)
def fitted(core: Samples, around: Samples) -> Fit | None:
    """Fit the lag; None where the samples are too few or show none.

    Both have a sample for each of the same minutes, or ``NONE_MC``.
    """
    points = _points(core, around)
    if len(points) < LEAST_SAMPLES:
        return None
    levels = sorted(value for value in around[-WINDOW // 2 :] if value != NONE_MC)
    around_mc = levels[len(levels) // 2] if levels else NONE_MC
    line, apart = _newest(points)
    moved_mc = max(p.core_mc for p in points) - min(p.core_mc for p in points)
    if line.rate <= 2 * line.error and moved_mc <= STILL_MC:
        return Fit(line.end_mc, around_mc, 0, ONE, line.scatter_mc)
    if not 0 < line.rate < FASTEST or around_mc == NONE_MC:
        return None
    noise = 2 * line.error * ONE // line.rate
    doubt = LEAST_DOUBT * (WINDOW + 1) // len(points) + apart + noise
    if doubt > MOST_DOUBT:  # too early, or too noisy, to say anything
        return None
    return Fit(line.end_mc, around_mc, line.rate, doubt, line.scatter_mc)


def best(core: Samples, around: Sequence[Samples]) -> tuple[int, Fit] | None:
    """The surroundings that explain the core best: their number, and the fit."""
    fits = [(i, fit) for i, one in enumerate(around) if (fit := fitted(core, one))]
    # A core that stands still is explained by none better than by another.
    return min(fits, key=lambda one: (not one[1].rate, _misfit(one[1])), default=None)


def _misfit(fit: Fit) -> int:
    return fit.scatter_mc if fit.rate else 0


def crossing(fit: Fit, course: Sequence[Around], mark_mc: int) -> Crossing:
    """When a core that is fitted so will be at the mark, in these surroundings."""
    rises = mark_mc >= fit.core_mc
    found = [
        _minutes(fit.core_mc, rate, ahead, mark_mc)
        for rate, ahead in _three(fit, course, rises=rises)
    ]
    return Crossing(*(one if one <= HORIZON else NEVER for one in found))


def filled(fit: Fit, course: Sequence[Around], left: Sum, sure_mc: int) -> Crossing:
    """When a core that is fitted so will have had that much more heat.

    It counts at ``sure_mc`` less than it will be.
    """
    found = [
        _filled(fit.core_mc - sure_mc, rate, ahead, left, sure_mc)
        for rate, ahead in _three(fit, course, rises=True)
    ]
    return Crossing(*found)


def _three(
    fit: Fit, course: Sequence[Around], *, rises: bool
) -> tuple[tuple[int, list[tuple[int, int]]], ...]:
    """The rate and the surroundings with which it is earliest, likely and latest."""
    spread = fit.rate * fit.doubt // ONE
    helps = [(one.minutes, one.high_mc if rises else one.low_mc) for one in course]
    hinders = [(one.minutes, one.low_mc if rises else one.high_mc) for one in course]
    likely = [(one.minutes, one.likely_mc) for one in course]
    quick, slow = fit.rate + spread, fit.rate - spread
    return (quick, helps), (fit.rate, likely), (slow, hinders)


class _Point(NamedTuple):
    minute: int
    core_mc: int
    pull_mc: int  # twice the area between the courses so far, in mc minutes


class _Line(NamedTuple):
    rate: int
    error: int  # of the rate, one standard error
    scatter_mc: int
    end_mc: int


def _points(core: Samples, around: Samples) -> list[_Point]:
    """The samples of the last stretch without too long a gap."""
    points: list[_Point] = []
    gap_mc = pull_mc = 0
    for minute, (core_mc, around_mc) in enumerate(zip(core, around, strict=True)):
        if core_mc == NONE_MC or around_mc == NONE_MC:
            continue
        before_mc, gap_mc = gap_mc, around_mc - core_mc
        lasted = minute - points[-1].minute if points else 0
        if lasted > LONGEST_GAP:
            points, pull_mc, lasted = [], 0, 0
        pull_mc += (before_mc + gap_mc) * lasted
        points.append(_Point(minute, core_mc, pull_mc))
    return points


def _line(points: Sequence[_Point]) -> _Line:
    """The line of least squares through the core against the pull."""
    n = len(points)
    sum_x = sum_y = sum_xx = sum_yy = sum_xy = 0
    for _, y, x in points:
        sum_x, sum_y = sum_x + x, sum_y + y
        sum_xx, sum_yy, sum_xy = sum_xx + x * x, sum_yy + y * y, sum_xy + x * y
    # Each times n squared, about the means.
    sxx = n * (n * sum_xx - sum_x * sum_x)
    syy = n * (n * sum_yy - sum_y * sum_y)
    sxy = n * (n * sum_xy - sum_x * sum_y)
    if not sxx:
        return _Line(0, 0, 0, points[-1].core_mc)
    rest = max(syy - sxy * sxy // sxx, 0) // max(n - 2, 1)
    error = isqrt(rest * ONE * ONE // sxx)
    end_mc = (sum_y + sxy * (n * points[-1].pull_mc - sum_x) // sxx) // n
    # The pull is twice the area, so that it stays whole.
    return _Line(2 * sxy * ONE // sxx, 2 * error, isqrt(rest) // n, end_mc)


def _newest(points: list[_Point]) -> tuple[_Line, int]:
    """The line of the window, and by what share the rates of its halves disagree.

    Where the rate changes, as it does while heat is still on its way to the core,
    the newer half knows better.
    """
    line = _line(points)
    half = len(points) // 2
    if half < LEAST_SAMPLES // 2 or line.rate <= 0:
        return line, 0
    one, other = _line(points[: half + 1]), _line(points[half:])
    change = abs(one.rate - other.rate)
    if change > 2 * (one.error + other.error) and half >= LEAST_SAMPLES - 1:
        # It goes on changing for a while, by less and less.
        line = other._replace(rate=other.rate + (other.rate - one.rate) // 2)
    return line, change * ONE // (2 * max(line.rate, 1))


def _minutes(
    core_mc: int, rate: int, course: Sequence[tuple[int, int]], mark_mc: int
) -> int:
    """After how many minutes the core is at the mark; NEVER where it is not."""
    spent = 0
    rises = mark_mc >= core_mc
    for lasts, around_mc in course:
        gap, rest = around_mc - core_mc, around_mc - mark_mc
        if not rises:
            gap, rest = -gap, -rest
        if gap <= rest:
            return spent
        if rest > 0 and rate > 0:
            needed = _needed(rate, rest * ONE // gap)
            if needed <= lasts:
                return spent + needed
        if lasts >= HORIZON:
            break
        kept = _power(rate, lasts)
        core_mc = around_mc - (around_mc - core_mc) * kept // ONE
        spent += lasts
    return NEVER


def _filled(
    core_mc: int, rate: int, course: Sequence[tuple[int, int]], left: Sum, sure_mc: int
) -> int:
    """After how many minutes the heat is full, by the trapezoid rule; or NEVER."""
    spent, needed_e9 = 0, 2 * left.needed_e9 // MINUTE_MS
    here_e9 = _heat_e9(core_mc, left)
    for minutes, around_mc in course:
        until, around_mc = min(spent + minutes, HORIZON), around_mc - sure_mc
        most_e9 = 2 * max(here_e9, _heat_e9(around_mc, left))
        if minutes >= HORIZON and most_e9 * (HORIZON - spent) < needed_e9:
            break
        while spent < until:
            lasts = min(STEP, until - spent)
            kept = _power(rate, lasts)
            core_mc = around_mc - (around_mc - core_mc) * kept // ONE
            there_e9 = _heat_e9(core_mc, left)
            added_e9 = (here_e9 + there_e9) * lasts
            if added_e9 >= needed_e9:
                return spent - -needed_e9 * lasts // added_e9
            here_e9, needed_e9, spent = there_e9, needed_e9 - added_e9, spent + lasts
    return NEVER


def _heat_e9(value_mc: int, left: Sum) -> int:
    """The lethal rate to a tenth of a degree, so that few are ever worked out."""
    tenth_mc = (value_mc + TENTH_MC // 2) // TENTH_MC * TENTH_MC
    return rate_e9(tenth_mc, left.reference_mc, left.z_mc)


@lru_cache(maxsize=1024)
def _powers(rate: int) -> tuple[int, ...]:
    """The share kept in 1, 2, 4, 8 ... minutes."""
    # As the pull between two samples is that of their mean, so is the share.
    kept = (2 * ONE - rate) * ONE // (2 * ONE + rate)
    powers = [kept]
    while 1 << len(powers) <= HORIZON:
        powers.append(powers[-1] * powers[-1] // ONE)
    return tuple(powers)


@lru_cache(maxsize=4096)
def _power(rate: int, minutes: int) -> int:
    """The share kept in so many minutes."""
    kept = ONE
    for place, power in enumerate(_powers(rate)):
        if minutes >> place & 1:
            kept = kept * power // ONE
    return kept


def _needed(rate: int, share: int) -> int:
    """The fewest minutes after which no more than this share is kept."""
    kept, minutes = ONE, 0
    powers = _powers(rate)
    for place in reversed(range(len(powers))):
        less = kept * powers[place] // ONE
        if less > share:
            kept, minutes = less, minutes + (1 << place)
    return minutes + 1 if kept > share else minutes
