"""probes/thermocouple.py against the published values of type K.

Source:    ITS-90 reference tables of type K (NIST Monograph 175), mV to 0.001,
           reference junction at 0 degC; -200 and 500 degC as reprinted by makers of
           instruments, the others from memory, to be verified.
Rows:      typed, never printed by our own code.
Tolerance: half of the table's last digit, 0.0005 mV, which is 0.013 K above 0 degC.
"""

import pytest

from probes.thermocouple import celsius_at, millivolts_at

TABLE = [  # degC, mV
    (-270, -6.458),
    (-250, -6.404),
    (-200, -5.891),
    (-150, -4.913),
    (-100, -3.554),
    (-50, -1.889),
    (-40, -1.527),
    (-30, -1.156),
    (-20, -0.778),
    (-10, -0.392),
    (0, 0.000),
    (5, 0.198),
    (10, 0.397),
    (15, 0.597),
    (20, 0.798),
    (25, 1.000),
    (30, 1.203),
    (35, 1.407),
    (40, 1.612),
    (45, 1.817),
    (50, 2.023),
    (55, 2.230),
    (60, 2.436),
    (65, 2.644),
    (70, 2.851),
    (75, 3.059),
    (80, 3.267),
    (85, 3.474),
    (90, 3.682),
    (95, 3.889),
    (100, 4.096),
    (110, 4.509),
    (120, 4.920),
    (130, 5.328),
    (140, 5.735),
    (150, 6.138),
    (175, 7.140),
    (200, 8.138),
    (225, 9.141),
    (250, 10.153),
    (275, 11.176),
    (300, 12.209),
    (400, 16.397),
    (500, 20.644),
    (600, 24.905),
    (700, 29.129),
    (800, 33.275),
    (900, 37.326),
    (1000, 41.276),
    (1100, 45.119),
    (1200, 48.838),
    (1300, 52.410),
    (1372, 54.886),
]


@pytest.mark.parametrize(("t_c", "mv"), TABLE)
def test_voltage_against_a_junction_at_zero(t_c: int, mv: float) -> None:
    assert millivolts_at(t_c) == pytest.approx(mv, rel=0, abs=0.0005)


# Not the first two: so cold a thermocouple gives hardly a microvolt a kelvin.
@pytest.mark.parametrize(("t_c", "mv"), TABLE[2:])
def test_a_voltage_of_the_table_is_its_temperature(t_c: int, mv: float) -> None:
    slope = 0.015 if t_c == -200 else 0.025  # mV/K, at the least
    assert celsius_at(mv, 0.0) == pytest.approx(t_c, rel=0, abs=0.0005 / slope)


@pytest.mark.parametrize(
    ("cold_c", "mv", "hot_c"),
    [(25, 4.096 - 1.000, 100), (50, 8.138 - 2.023, 200), (100, 2.023 - 4.096, 50)],
)
def test_the_cold_junction_is_added_in_millivolts(
    cold_c: float, mv: float, hot_c: float
) -> None:
    assert celsius_at(mv, cold_c) == pytest.approx(hot_c, rel=0, abs=0.03)


def test_the_function_has_no_step_at_zero() -> None:
    assert celsius_at(0.0, 0.0) == pytest.approx(0.0, abs=1e-6)
    assert celsius_at(0.0, 71.5) == pytest.approx(71.5, abs=1e-6)


@pytest.mark.parametrize(
    ("mv", "cold_c"), [(-7, 0), (55, 0), (50, 200), (0, -300), (float("nan"), 20)]
)
def test_a_voltage_outside_the_span_has_no_temperature(
    mv: float, cold_c: float
) -> None:
    assert celsius_at(mv, cold_c) is None


def test_no_row_was_lost() -> None:
    assert len(TABLE) == 53
