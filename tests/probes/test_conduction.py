"""The simulated heat in a sausage against an independent numerical solution.

Source:    the equation of heat conduction in a long cylinder with a film (any heat
           transfer textbook), solved in tests/probes/conduction.py by the method of
           lines with SciPy.
Tolerance: 0.1 K in a whole day and while a piece dries, 0.05 K in a plain stay.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from probes.days import long_day
from probes.sausage import FILMS, Sausage
from probes.script import Around, Piece, Probe, Shows
from probes.simulator import simulate
from tests.probes.conduction import Course, Floats, Stay, cores_c, solution

THIN, THICK = Piece("thin", 0.018, 6.0), Piece("thick", 0.075, 5.0, moist=0.2)
STEP_S = 10.0


def level(at_c: float) -> Course:
    """Surroundings that stay as they are."""
    return lambda at_s: at_c


def walked(piece: Piece, stays: list[tuple[Around, Stay]]) -> tuple[Floats, Floats]:
    """Times and temperatures of the core, walked step by step."""
    sausage, at_s = Sausage(piece), 0.0
    times, cores = [0.0], [piece.starts_c]
    for around, stay in stays:
        while at_s < stay.until_s:
            at_s += STEP_S
            dry_c = stay.dry_c(at_s)
            wet_c = stay.wet_c(at_s) if stay.wet_c else dry_c
            sausage.step(around, dry_c, wet_c, STEP_S)
            times.append(at_s)
            cores.append(sausage.cylinder.at_c())
    return np.array(times), np.array(cores)


def placed(around: Around, hours: float, dry_c: Course) -> tuple[Around, Stay]:
    """A stay in air or water that wets nothing and dries nothing."""
    return around, Stay(hours * 3_600, FILMS[around], dry_c)


@pytest.mark.parametrize("piece", [THIN, THICK], ids=["thin", "thick"])
@pytest.mark.parametrize(
    ("around", "at_c"), [(Around.ROOM, 78.0), (Around.ICE_BATH, 0.5)]
)
def test_a_step_of_the_surroundings(piece: Piece, around: Around, at_c: float) -> None:
    piece = replace(piece, starts_c=70.0 if at_c < 10 else 5.0)
    stay = placed(around, 3.0, level(at_c))
    times_s, found_c = walked(piece, [stay])
    assert found_c == pytest.approx(cores_c(piece, [stay[1]], times_s), rel=0, abs=0.05)


@pytest.mark.parametrize("piece", [THIN, THICK], ids=["thin", "thick"])
def test_surroundings_that_swing_and_a_piece_that_dries(piece: Piece) -> None:
    def dry_c(at_s: float) -> float:
        return 60 + 12 * math.sin(at_s / 1_100) + at_s / 900

    def wet_c(at_s: float) -> float:
        return 42 + 5 * math.sin(at_s / 1_700)

    stay = Stay(4 * 3_600, FILMS[Around.CHAMBER], dry_c, wet_c)
    times_s, found_c = walked(piece, [(Around.CHAMBER, stay)])
    assert found_c == pytest.approx(cores_c(piece, [stay], times_s), rel=0, abs=0.1)


def test_heat_goes_on_inwards_after_a_piece_is_moved() -> None:
    stays = [
        placed(Around.ROOM, 1.0, level(80.0)),
        placed(Around.ICE_BATH, 1.25, level(1.0)),
        placed(Around.COOLER, 3.0, level(3.0)),
    ]
    times_s, found_c = walked(THICK, stays)
    independent_c = cores_c(THICK, [stay for _, stay in stays], times_s)
    assert found_c == pytest.approx(independent_c, rel=0, abs=0.05)
    moved = int(3_600 / STEP_S)
    assert max(found_c[moved:]) > found_c[moved] + 2  # carry-over


def test_a_day_of_the_simulated_smokehouse() -> None:
    """Dry, smoke, a dead fire, cook, ice bath and cooler, from what its air did."""
    script = long_day(0)
    piece = script.pieces[1]
    exact = {"lag_s": 0.0, "noise_c": 0.0, "resolution_c": 0.001}
    around = (Shows.CHAMBER, Shows.WET_BULB, Shows.BATH, Shows.COOLER)
    probes = [Probe(shows, shows, **exact) for shows in around]  # type: ignore[arg-type]
    core = Probe("core", Shows.CORE, piece.name, **exact)
    surface = replace(core, channel="surface", depth=1.0)
    script = replace(script, probes=(*probes, core, surface))
    rows: dict[str, list[float]] = {}
    for sample in simulate(script):
        rows.setdefault(sample.channel, []).append(sample.value_mc / 1_000)
    times_s = np.arange(len(rows["core"]), dtype=np.float64) * STEP_S

    def course(name: str, from_s: float = 0.0) -> Course:
        known = times_s >= from_s
        times, values = times_s[known], np.array(rows[name])[known]
        return lambda at_s: float(np.interp(at_s, times, values))

    # Where the bath's probe leaves the room, and where it comes back to it.
    bathed = np.flatnonzero(np.array(rows["bath"]) < 15) * STEP_S
    into_s, out_s = bathed[0] - STEP_S, bathed[-1]
    film = FILMS[Around.CHAMBER]
    stays = [
        Stay(into_s, film, course("chamber"), course("wet-bulb")),
        Stay(out_s, FILMS[Around.ICE_BATH], course("bath", bathed[0])),
        Stay(times_s[-1], FILMS[Around.COOLER], course("cooler")),
    ]
    independent = solution(piece, stays, times_s)
    for found, expected in (
        (rows["core"], independent.core_c),
        (rows["surface"], independent.surface_c),
    ):
        assert np.abs(np.array(found) - expected).max() < 0.1
    assert max(rows["core"]) > 70 and rows["core"][-1] < 4
