"""A course of temperatures known without a gap, and the figures it comes to.

A course is straight between its points, which are whole milliseconds and thousandths
of a degree.  Its figures are worked out here from the lines themselves, with
fractions; nothing of ``rules`` is asked.
"""

import math
from bisect import bisect_left
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple


class Point(NamedTuple):
    """The true temperature at one moment."""

    at_ms: Fraction
    value_mc: Fraction


Where = Callable[[Fraction], bool]


def cut(
    course: Sequence[tuple[int, int]], from_ms: int, to_ms: int, *marks_mc: int
) -> list[Point]:
    """The course between two moments, with a point wherever it crosses a mark."""
    points = [Point(Fraction(at), Fraction(value)) for at, value in course]
    found: list[Point] = []
    for one, other in pairwise(points):
        stops = {one.at_ms, other.at_ms}
        stops |= {Fraction(at) for at in (from_ms, to_ms)}
        slope = (other.value_mc - one.value_mc) / (other.at_ms - one.at_ms)
        if slope:
            stops |= {one.at_ms + (mark - one.value_mc) / slope for mark in marks_mc}
        for at_ms in sorted(stops):
            inside = one.at_ms <= at_ms <= other.at_ms and from_ms <= at_ms <= to_ms
            if inside and not (found and found[-1].at_ms == at_ms):
                value_mc = one.value_mc + slope * (at_ms - one.at_ms)
                found.append(Point(at_ms, value_mc))
    return found


def stretches(points: Sequence[Point], where: Where) -> Iterator[tuple[Point, Point]]:
    """The pieces between neighbouring points in which ``where`` holds throughout."""
    for one, other in pairwise(points):
        if where((one.value_mc + other.value_mc) / 2):
            yield one, other


def total_ms(points: Sequence[Point], where: Where) -> Fraction:
    """How long ``where`` holds, all together."""
    return sum(
        (other.at_ms - one.at_ms for one, other in stretches(points, where)),
        Fraction(0),
    )


def longest_ms(points: Sequence[Point], where: Where) -> Fraction:
    """How long ``where`` holds without a break, at the longest."""
    longest = run = Fraction(0)
    before: Point | None = None
    for one, other in stretches(points, where):
        goes_on = before == one and where(one.value_mc)
        run = (run if goes_on else Fraction(0)) + other.at_ms - one.at_ms
        longest, before = max(longest, run), other
    return longest


def runs(points: Sequence[Point], where: Where) -> list[tuple[Fraction, Fraction]]:
    """From when to when ``where`` holds without a break, a single moment included."""
    found: list[tuple[Fraction, Fraction]] = []
    before: Point | None = None
    for one, other in stretches(points, where):
        if before == one and where(one.value_mc):
            found[-1] = (found[-1][0], other.at_ms)
        else:
            found.append((one.at_ms, other.at_ms))
        before = other
    alone = [one.at_ms for one in points if where(one.value_mc)]
    within = [at for at in alone if any(begun <= at <= end for begun, end in found)]
    return sorted([*found, *((at, at) for at in {*alone} - {*within})])


def windows(
    points: Sequence[Point], over_ms: int
) -> Iterator[tuple[Fraction, Fraction]]:
    """The values at both ends of every window that has a point at one of them."""
    first, last = points[0].at_ms, points[-1].at_ms
    ends = {one.at_ms for one in points} | {one.at_ms - over_ms for one in points}
    for at_ms in sorted(ends):
        if first <= at_ms and at_ms + over_ms <= last:
            yield value_at(points, at_ms), value_at(points, at_ms + over_ms)


def value_at(points: Sequence[Point], at_ms: Fraction) -> Fraction:
    """The value at a moment within the course."""
    place = max(bisect_left(points, at_ms, key=lambda point: point.at_ms), 1)
    one, other = points[place - 1], points[place]
    part = (at_ms - one.at_ms) / (other.at_ms - one.at_ms)
    return one.value_mc + part * (other.value_mc - one.value_mc)


def first_ms(points: Sequence[Point], where: Where) -> Fraction | None:
    """When ``where`` holds for the first time; None if it never does."""
    for one, other in pairwise(points):
        if where(one.value_mc) or where((one.value_mc + other.value_mc) / 2):
            return one.at_ms
    return points[-1].at_ms if where(points[-1].value_mc) else None


def decades(points: Sequence[Point], reference_mc: int, z_mc: int, d_ms: int) -> float:
    """The decimal reductions by the integral of the lethal rate, in closed form."""
    total = 0.0
    for one, other in pairwise(points):
        low, high = (
            10 ** (float(each.value_mc - reference_mc) / z_mc) for each in (one, other)
        )
        lasted_ms = float(other.at_ms - one.at_ms)
        change = float(other.value_mc - one.value_mc) / z_mc * math.log(10)
        total += lasted_ms * ((high - low) / change if abs(change) > 1e-9 else low)
    return total / d_ms
