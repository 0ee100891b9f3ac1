"""probes/platinum.py against the published table of IEC 60751.

Source:    IEC 60751, nominal resistance of a 100 ohm element, ohms to 0.01; the rows
           as printed by distributors of the table, those below 0 degC from memory, to
           be verified.
Rows:      typed from the table; never printed by our own code.
Tolerance: half of the table's last digit, 0.005 ohm, which is 0.014 K.
"""

import pytest

from probes.platinum import celsius_at, ohms_at

TABLE = [  # degC, ohm
    (-200, 18.52),
    (-100, 60.26),
    (0, 100.00),
    (50, 119.40),
    (100, 138.51),
    (150, 157.33),
    (200, 175.86),
    (300, 212.05),
    (400, 247.09),
]


@pytest.mark.parametrize(("t_c", "ohm"), TABLE)
def test_nominal_resistance(t_c: int, ohm: float) -> None:
    assert ohms_at(t_c) == pytest.approx(ohm, rel=0, abs=0.005)
    assert ohms_at(t_c, 1000.0) == pytest.approx(ohm * 10, rel=0, abs=0.05)


# Not the first: its rounded figure already lies below the span.
@pytest.mark.parametrize(("t_c", "ohm"), TABLE[1:])
def test_a_resistance_of_the_table_is_its_temperature(t_c: int, ohm: float) -> None:
    assert celsius_at(ohm) == pytest.approx(t_c, rel=0, abs=0.016)
    assert celsius_at(ohm * 10, 1000.0) == pytest.approx(t_c, rel=0, abs=0.016)


@pytest.mark.parametrize("t_c", [-200, -123.4, -0.001, 0, 0.001, 71.1, 850])
def test_there_and_back_is_the_same(t_c: float) -> None:
    assert celsius_at(ohms_at(t_c)) == pytest.approx(t_c, rel=0, abs=1e-6)


@pytest.mark.parametrize("ohm", [0, 18.4, 391, 1e9, float("inf"), float("nan")])
def test_a_resistance_outside_the_span_has_no_temperature(ohm: float) -> None:
    assert celsius_at(ohm) is None


def test_no_row_was_lost() -> None:
    assert len(TABLE) == 9
