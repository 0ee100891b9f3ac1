"""probes/platinum.py against the published table of IEC 60751.

Source:    IEC 60751, nominal resistance of a 100 ohm element, ohms to 0.01; the rows
           of 0 to 200 degC in steps of 50 as printed by distributors of the table, the
           others from memory, to be verified.
Rows:      typed from the table; never printed by our own code.
Tolerance: half of the table's last digit, 0.005 ohm, which is 0.014 K to 0.017 K.
"""

import pytest

from probes.platinum import celsius_at, ohms_at

TABLE = [  # degC, ohm
    (-200, 18.52),
    (-150, 39.72),
    (-100, 60.26),
    (-50, 80.31),
    (-40, 84.27),
    (-30, 88.22),
    (-20, 92.16),
    (-10, 96.09),
    (0, 100.00),
    (10, 103.90),
    (20, 107.79),
    (30, 111.67),
    (40, 115.54),
    (50, 119.40),
    (60, 123.24),
    (70, 127.08),
    (80, 130.90),
    (90, 134.71),
    (100, 138.51),
    (110, 142.29),
    (120, 146.07),
    (130, 149.83),
    (140, 153.58),
    (150, 157.33),
    (200, 175.86),
    (250, 194.10),
    (300, 212.05),
    (400, 247.09),
    (500, 280.98),
    (600, 313.71),
    (700, 345.28),
    (800, 375.70),
    (850, 390.48),
]


@pytest.mark.parametrize(("t_c", "ohm"), TABLE)
def test_nominal_resistance(t_c: int, ohm: float) -> None:
    assert ohms_at(t_c) == pytest.approx(ohm, rel=0, abs=0.005)
    assert ohms_at(t_c, 1000.0) == pytest.approx(ohm * 10, rel=0, abs=0.05)


# Not the first and the last: rounded, their figures already lie outside the span.
@pytest.mark.parametrize(("t_c", "ohm"), TABLE[1:-1])
def test_a_resistance_of_the_table_is_its_temperature(t_c: int, ohm: float) -> None:
    assert celsius_at(ohm) == pytest.approx(t_c, rel=0, abs=0.018)
    assert celsius_at(ohm * 10, 1000.0) == pytest.approx(t_c, rel=0, abs=0.018)


@pytest.mark.parametrize("t_c", [-200, -123.4, -0.001, 0, 0.001, 71.1, 850])
def test_there_and_back_is_the_same(t_c: float) -> None:
    assert celsius_at(ohms_at(t_c)) == pytest.approx(t_c, rel=0, abs=1e-6)


@pytest.mark.parametrize("ohm", [0, 18.4, 391, 1e9, float("inf"), float("nan")])
def test_a_resistance_outside_the_span_has_no_temperature(ohm: float) -> None:
    assert celsius_at(ohm) is None


def test_no_row_was_lost() -> None:
    assert len(TABLE) == 33
