"""Heat in a drying cylinder solved in another way: rings of meat and SciPy's solver.

The method of lines: the section is cut into rings of one width, heat goes from ring to
ring by the difference of their temperatures, and ``solve_ivp`` with an implicit method
carries them on.  It shares no formula with the series of ``probes.cylinder``, only
what the model says of the surface: its film, and how it dries.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from probes.script import Piece

RINGS = 60
LATENT_J = 2.40e6
Floats = NDArray[np.float64]
Course = Callable[[float], float]


class Stay(NamedTuple):
    """How long a piece is in what; the wet bulb only where its surface dries."""

    until_s: float
    film: float  # W/(m2 K)
    dry_c: Course
    wet_c: Course | None = None


def cores_c(piece: Piece, stays: list[Stay], times_s: Floats) -> Floats:
    """The temperature on the axis at these times [from 0 s, ascending]."""
    radius_m = piece.diameter_m / 2
    width_m = radius_m / RINGS
    edges_m = np.arange(RINGS + 1) * width_m
    areas = np.diff(edges_m**2) / 2
    a_kg = piece.moist * piece.density * radius_m / 2  # for a square metre
    state = np.full(RINGS + 1, piece.starts_c)
    state[-1] = a_kg * piece.starts_moist
    found = np.full(len(times_s), np.nan)
    from_s = 0.0
    for stay in stays:

        def change(at_s: float, state: Floats, stay: Stay = stay) -> Floats:
            rings_c, water_kg = state[:-1], state[-1]
            dry_c = stay.dry_c(at_s)
            pull_c, loss = dry_c, 0.0
            if stay.wet_c:
                wetness = min(1.0, max(0.0, water_kg) / a_kg / 0.3)
                short_c = wetness * (dry_c - stay.wet_c(at_s))
                pull_c, loss = dry_c - short_c, stay.film * short_c / LATENT_J
            flow = np.zeros(RINGS + 1)
            flow[1:-1] = edges_m[1:-1] * np.diff(rings_c) / width_m
            through = 1 / (1 / stay.film + width_m / 2 / piece.conductivity)
            flow[-1] = radius_m * through * (pull_c - rings_c[-1]) / piece.conductivity
            return np.append(piece.diffusivity * np.diff(flow) / areas, -loss)

        inside = (times_s >= from_s) & (times_s <= stay.until_s)
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
        axis = solved.y[0] - (solved.y[1] - solved.y[0]) / 8
        found[inside] = np.interp(times_s[inside], solved.t, axis)
        state, from_s = solved.y[:, -1], stay.until_s
    return found
