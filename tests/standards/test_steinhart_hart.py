"""probes/thermistor.py against resistance tables of a 10 kilohm thermistor.

Source:    the table of resistance against temperature that makers print for the
           common 10 kilohm part (0, 25, 50, 100 degC), and coefficients of Steinhart
           and Hart as published with a module that carries it.
Rows:      typed from the table; never printed by our own code.
Tolerance: 0.05 K: coefficients and table come from different publishers.

A second part, of another maker's table: three of its rows give the coefficients, by
numpy's solver of linear equations, and the rows between them must follow.  Its rows
are printed in an instrument maker's manual.
"""

import numpy as np
import pytest

from probes.thermistor import celsius_at

A, B, C = 1.129148e-3, 2.34125e-4, 8.76741e-8
TABLE = [  # ohm, degC
    (32650, 0),
    (10000, 25),
    (3603, 50),
    (678.6, 100),
]


@pytest.mark.parametrize(("ohm", "t_c"), TABLE)
def test_the_printed_resistances(ohm: float, t_c: int) -> None:
    assert celsius_at(ohm, A, B, C) == pytest.approx(t_c, rel=0, abs=0.05)


OTHER = [(32128, 0), (19549, 10), (12262, 20), (9814, 25), (7908, 30)]  # ohm, degC


@pytest.mark.parametrize(("ohm", "t_c"), OTHER)
def test_three_points_of_a_part_give_the_others(ohm: float, t_c: int) -> None:
    three = OTHER[0], OTHER[2], OTHER[4]
    logarithms = np.log([row[0] for row in three])
    equations = np.column_stack([np.ones(3), logarithms, logarithms**3])
    inverses = [1.0 / (row[1] + 273.15) for row in three]
    a, b, c = map(float, np.linalg.solve(equations, inverses))
    assert celsius_at(ohm, a, b, c) == pytest.approx(t_c, rel=0, abs=0.05)


@pytest.mark.parametrize("ohm", [0, -5])
def test_a_resistance_that_cannot_be_has_no_temperature(ohm: float) -> None:
    assert celsius_at(ohm, A, B, C) is None


def test_coefficients_that_fit_nothing_give_no_temperature() -> None:
    assert celsius_at(10.0, -1.0, 0.0, 0.0) is None


def test_no_row_was_lost() -> None:
    assert (len(TABLE), len(OTHER)) == (4, 5)
