"""Heat in a long cylinder: the series of Bessel functions, carried on step by step.

Beyond its surroundings at ``Ts`` a cylinder is ``T - Ts = sum of a[n] J0(z[n] r / R)``
with ``z J1(z) = Bi J0(z)``, ``Bi = h R / k``.  Each amplitude is a lag of the first
order, so one step over which ``Ts`` changes at an even rate is exact: an amplitude
falls by ``exp(-z^2 Fo)`` and takes its share of the change.  That is the series under
the superposition of Duhamel, and the heat that goes on inwards after a piece was moved
comes of itself.  Where the film changes, the profile is projected on the new series.

Units: lengths in m, temperatures in degC, times in s.

Source: series, its roots and first coefficients: Carslaw and Jaeger, Conduction of Heat
in Solids, 2nd edition, section 7.7 (from memory, to be verified); Cengel, Heat and Mass
Transfer, table 4-2.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from operator import mul

SETTLED = 6.0  # a mode that falls by exp(-6) in one step is gone
FEWEST, MOST = 8, 64
ROOT_ERROR = 1e-13


@dataclass(frozen=True, slots=True)
class Modes:
    """The terms of the series for one Biot number."""

    roots: tuple[float, ...]
    shares: tuple[float, ...]  # coefficients of a uniform profile of 1
    surface: tuple[float, ...]  # J0(z), what a term is at the surface
    slopes: tuple[float, ...]  # J1(z)


def bessel(x: float) -> tuple[float, float]:
    """``J0`` and ``J1`` of a number [0 to 250], to about 1e-14.

    By the midpoint rule on Bessel's integral, which is periodic, so that the rule
    converges faster than any power.
    """
    points = int(x / 2) + 30
    zero = one = 0.0
    for number in range(points):
        sine = math.sin(math.pi * (number + 0.5) / points)
        zero += math.cos(x * sine)
        one += sine * math.sin(x * sine)
    return zero / points, one / points


@lru_cache(maxsize=64)
def modes(biot: float, count: int) -> Modes:
    """The first terms of the series for a Biot number above zero."""
    roots = tuple(_root(biot, number) for number in range(count))
    pairs = [bessel(root) for root in roots]
    shares = tuple(
        2 / root * one / (zero * zero + one * one)
        for root, (zero, one) in zip(roots, pairs, strict=True)
    )
    surface, slopes = zip(*pairs, strict=True)
    return Modes(roots, shares, surface, slopes)


def terms_for(fourier_step: float) -> int:
    """How many terms are worth having where one step is this Fourier number."""
    needed = math.ceil(math.sqrt(SETTLED / fourier_step) / math.pi) + 1
    return min(max(needed, FEWEST), MOST)


@lru_cache(maxsize=64)
def projection(old: Modes, new: Modes) -> tuple[tuple[float, ...], ...]:
    """What each old term is in the new ones, one row for each new term."""
    return tuple(
        tuple(
            _overlap(a, j0a, j1a, b, j0b, j1b) * 2 / (j0b * j0b + j1b * j1b)
            for a, j0a, j1a in zip(old.roots, old.surface, old.slopes, strict=True)
        )
        for b, j0b, j1b in zip(new.roots, new.surface, new.slopes, strict=True)
    )


def _overlap(
    a: float, j0a: float, j1a: float, b: float, j0b: float, j1b: float
) -> float:
    """The integral of ``x J0(a x) J0(b x)`` from 0 to 1."""
    if abs(a - b) < 1e-9:
        return (j0a * j0a + j1a * j1a) / 2
    return (a * j1a * j0b - b * j0a * j1b) / (a * a - b * b)


def _root(biot: float, number: int) -> float:
    """The root between ``number`` pi and the next multiple, by Newton, kept inside."""
    low, high = number * math.pi, (number + 1) * math.pi
    sign = -1.0 if number % 2 else 1.0
    root = (low + high) / 2
    for _ in range(100):
        zero, one = bessel(root)
        off = sign * (root * one - biot * zero)
        if off < 0:
            low = root
        else:
            high = root
        after = root - off / (sign * (root * zero + biot * one))
        if not low < after < high:
            after = (low + high) / 2
        if abs(after - root) < ROOT_ERROR * max(1.0, root):
            return after
        root = after
    return root


class Cylinder:
    """One long cylinder and the heat in it; it changes with each step."""

    def __init__(
        self, radius_m: float, conductivity: float, diffusivity: float, starts_c: float
    ) -> None:
        """A cylinder of one temperature [k in W/(m K), alpha in m2/s]."""
        self.radius_m = radius_m
        self.conductivity = conductivity
        self.diffusivity = diffusivity
        self.around_c = starts_c
        self._film = 0.0
        self._step_s = 0.0
        self._modes: Modes | None = None
        self._amplitudes: list[float] = []
        self._fall: list[float] = []
        self._drag: list[float] = []
        self._means: list[float] = []

    def placed(self, film: float, around_c: float, step_s: float) -> None:
        """Put it at once into surroundings with another film [W/(m2 K)]."""
        jump_c = self.around_c - around_c
        self.around_c = around_c
        if (film, step_s) != (self._film, self._step_s):
            self._take(film, step_s)
        assert self._modes is not None
        for number, share in enumerate(self._modes.shares):
            self._amplitudes[number] += share * jump_c

    def step(self, around_c: float) -> None:
        """Let one step pass in which the surroundings change evenly to this."""
        change_c = around_c - self.around_c
        self.around_c = around_c
        self._amplitudes = [
            amplitude * fall - change_c * drag
            for amplitude, fall, drag in zip(
                self._amplitudes, self._fall, self._drag, strict=True
            )
        ]

    def surface_c(self) -> float:
        """The temperature of its surface."""
        if self._modes is None:
            return self.around_c
        return self._sum_c(self._modes.surface)

    def at_c(self, weights: Sequence[float] | None = None) -> float:
        """The temperature on its axis, or where the terms have these weights."""
        if weights is None:
            return self.around_c + sum(self._amplitudes)
        return self._sum_c(weights)

    def weights(self, part: float) -> tuple[float, ...]:
        """What each term weighs at this part of the radius [0 to 1]."""
        assert self._modes is not None
        return tuple(bessel(root * part)[0] for root in self._modes.roots)

    def mean_c(self) -> float:
        """The mean over its section, which says how much heat is in it."""
        return self._sum_c(self._means)

    def _sum_c(self, weights: Sequence[float]) -> float:
        """The sum of the series where its terms have these weights."""
        above_c: float = sum(map(mul, self._amplitudes, weights))
        return self.around_c + above_c

    def _take(self, film: float, step_s: float) -> None:
        """Take the series of another film, and keep the profile."""
        fourier = self.diffusivity * step_s / self.radius_m**2
        biot = film * self.radius_m / self.conductivity
        new = modes(biot, terms_for(fourier))
        if self._modes is None:
            self._amplitudes = [0.0] * len(new.roots)
        else:
            rows = projection(self._modes, new)
            self._amplitudes = [sum(map(mul, row, self._amplitudes)) for row in rows]
        rates = [root * root * fourier for root in new.roots]
        self._fall = [math.exp(-rate) for rate in rates]
        self._drag = [
            share * -math.expm1(-rate) / rate
            for share, rate in zip(new.shares, rates, strict=True)
        ]
        pairs = zip(new.roots, new.slopes, strict=True)
        self._means = [2 * slope / root for root, slope in pairs]
        self._film, self._step_s, self._modes = film, step_s, new
