"""Heat in a drying cylinder solved in another way: rings of meat and SciPy's solver.

The method of lines: the section is cut into rings, narrower towards the surface, heat
goes from ring to ring by the difference of their temperatures, and ``solve_ivp`` with
an implicit method carries them on.  It shares no formula with the series of
``probes.cylinder``, only what the model says of the surface: its film, and how it
dries.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from probes.script import Piece

RINGS = 60
NARROWING = 1.5
LATENT_J = 2.40e6
Floats = NDArray[np.float64]
Course = Callable[[float], float]


class Stay(NamedTuple):
    """How long a piece is in what; the wet bulb only where its surface dries."""

    until_s: float
    film: float  # W/(m2 K)
    dry_c: Course
    wet_c: Course | None = None


class Profile(NamedTuple):
    """The temperatures of one piece, time by time."""

    core_c: Floats
    surface_c: Floats


def cores_c(piece: Piece, stays: list[Stay], times_s: Floats) -> Floats:
    """The temperature on the axis at these times [from 0 s, ascending]."""
    return solution(piece, stays, times_s).core_c


def solution(piece: Piece, stays: list[Stay], times_s: Floats) -> Profile:
    """The temperatures on the axis and of the surface at these times."""
    radius_m = piece.diameter_m / 2
    edges_m = radius_m * (1 - (1 - np.linspace(0, 1, RINGS + 1)) ** NARROWING)
    middles_m = (edges_m[1:] + edges_m[:-1]) / 2
    apart_m = np.diff(middles_m)
    areas = np.diff(edges_m**2) / 2
    a_kg = piece.moist * piece.density * radius_m / 2  # for a square metre
    state = np.full(RINGS + 1, piece.starts_c)
    state[-1] = a_kg * piece.starts_moist
    half = (radius_m - middles_m[-1]) / piece.conductivity  # to the surface
    core_c = np.full(len(times_s), np.nan)
    surface_c = np.full(len(times_s), np.nan)
    from_s = -1e-9
    for stay in stays:

        def short_c(at_s: float, water_kg: float, stay: Stay = stay) -> float:
            """How much colder than its air a wet surface is driven."""
            if not stay.wet_c:
                return 0.0
            wetness = min(1.0, max(0.0, water_kg) / a_kg / 0.3)
            return wetness * (stay.dry_c(at_s) - stay.wet_c(at_s))

        def inwards(at_s: float, state: Floats, stay: Stay = stay) -> float:
            """The heat through a square metre of surface [W]."""
            pull_c = stay.dry_c(at_s) - short_c(at_s, state[-1], stay)
            return float((pull_c - state[-2]) / (1 / stay.film + half))

        def change(at_s: float, state: Floats, stay: Stay = stay) -> Floats:
            flow = np.zeros(RINGS + 1)
            flow[1:-1] = edges_m[1:-1] * np.diff(state[:-1]) / apart_m
            flow[-1] = radius_m * inwards(at_s, state, stay) / piece.conductivity
            loss = stay.film * short_c(at_s, state[-1], stay) / LATENT_J
            return np.append(piece.diffusivity * np.diff(flow) / areas, -loss)

        # At the moment of a move the surface is still what it was before.
        inside = (times_s > from_s) & (times_s <= stay.until_s)
        solved = solve_ivp(
            change,
            (from_s, stay.until_s),
            state,
            method="LSODA",
            t_eval=np.union1d(times_s[inside], [stay.until_s]),
            rtol=1e-6,
            atol=1e-5,
            max_step=60.0,
            lband=1,
            uband=1,
        )
        assert solved.success, solved.message
        # A parabola through the two innermost rings, level on the axis.
        part = middles_m[0] ** 2 / (middles_m[1] ** 2 - middles_m[0] ** 2)
        axis = solved.y[0] - (solved.y[1] - solved.y[0]) * part
        core_c[inside] = np.interp(times_s[inside], solved.t, axis)
        rows = zip(solved.t, solved.y.T, strict=True)
        outside = np.array([y[-2] + inwards(at_s, y) * half for at_s, y in rows])
        surface_c[inside] = np.interp(times_s[inside], solved.t, outside)
        state, from_s = solved.y[:, -1], stay.until_s
    return Profile(core_c, surface_c)
