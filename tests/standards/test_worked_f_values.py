"""rules/integral.py against worked examples of the general method.

Source:    A: teaching sheet "Conservacion de alimentos", table 1, 22 readings 5 min
           apart, reference 250 degF, z 18 degF, printed sum of L * 5 = 21.68993687
           min.  B: teaching slides "Metodo general", 36 readings 2 min apart, the
           same reference and z, printed trapezoid 6.2652 min, printed rates 0.000419
           at 189.2 degF and 0.001000 at 196.0 degF.  Small checks: lecture sheets on
           pasteurising values (70 degC, z 10 K), pasteurisation units (60 degC,
           z 7 K), a table of biological destruction rates (base 60 degC), and a step
           of 4 s at 138 degC (reference 121 degC, z 8.5 K): 400 s.
Rows:      typed from the sources; never printed by our own code.
Tolerance: half of the last printed digit.  Examples in degrees Fahrenheit go in as
           thousandths of a degree Fahrenheit, for only a ratio of them counts; once
           more in thousandths of a degree Celsius, where the rounding of both
           temperatures may shift a rate by ln(10) * 0.001 K / 10 K, 0.023 %.
"""

from decimal import Decimal
from fractions import Fraction

import pytest

from rules.integral import (
    E9,
    log_reduction,
    lower,
    rate_e9,
    trapezoid,
    upper,
)
from rules.units import fahrenheit_mc

EXAMPLE_A = [  # min, degF
    (0, "140"),
    (5, "140"),
    (10, "140"),
    (15, "140"),
    (20, "163"),
    (25, "185"),
    (30, "201"),
    (35, "213"),
    (40, "224"),
    (45, "229.4"),
    (50, "234.5"),
    (55, "238"),
    (60, "241"),
    (65, "243.5"),
    (70, "245"),
    (75, "246.3"),
    (80, "247.3"),
    (85, "247"),
    (90, "245.2"),
    (95, "223.5"),
    (100, "175"),
    (105, "153"),
]

EXAMPLE_B = [  # min, degF
    (0, "189.2"),
    (2, "196.0"),
    (4, "200.6"),
    (6, "204.6"),
    (8, "208.1"),
    (10, "211.5"),
    (12, "214.8"),
    (14, "217.9"),
    (16, "220.9"),
    (18, "223.8"),
    (20, "226.6"),
    (22, "229.0"),
    (24, "231.4"),
    (26, "233.6"),
    (28, "235.0"),
    (30, "236.5"),
    (32, "237.8"),
    (34, "239.0"),
    (36, "240.0"),
    (38, "240.8"),
    (40, "239.8"),
    (42, "239.4"),
    (44, "239.1"),
    (46, "238.4"),
    (48, "238.0"),
    (50, "232.6"),
    (52, "197.8"),
    (54, "148.5"),
    (56, "127.9"),
    (58, "112.0"),
    (60, "108.7"),
    (62, "103.5"),
    (64, "103.2"),
    (66, "97.6"),
    (68, "92.3"),
    (70, "83.4"),
]

REFERENCE_MF, Z_MF = 250_000, 18_000
REFERENCE_MC, Z_MC = fahrenheit_mc(Fraction(250)), 10_000
MIN_MS = 60_000


def in_mf(rows: list[tuple[int, str]]) -> list[tuple[int, int]]:
    return [(at * MIN_MS, int(Decimal(degf) * 1000)) for at, degf in rows]


def in_mc(rows: list[tuple[int, str]]) -> list[tuple[int, int]]:
    return [(at * MIN_MS, fahrenheit_mc(Fraction(degf))) for at, degf in rows]


def test_example_a_as_its_author_summed_it() -> None:
    rates = [rate_e9(mf, REFERENCE_MF, Z_MF) for _, mf in in_mf(EXAMPLE_A)]
    printed_e8 = 2_168_993_687  # 21.68993687 min
    assert abs(sum(rates) * 5 - printed_e8 * 10) <= 5  # 0.000000005 min


def test_example_a_by_the_trapezoid_rule() -> None:
    """The trapezoid rule has half of the first and of the last rate less."""
    samples = in_mf(EXAMPLE_A)
    ends_e9 = sum(
        rate_e9(mf, REFERENCE_MF, Z_MF) for _, mf in (samples[0], samples[-1])
    )
    expected_ms = (21.68993687 - 2.5 * ends_e9 / E9) * MIN_MS
    assert trapezoid(samples, REFERENCE_MF, Z_MF) == pytest.approx(
        expected_ms, rel=0, abs=0.5
    )


def test_example_b() -> None:
    minutes = Decimal(trapezoid(in_mf(EXAMPLE_B), REFERENCE_MF, Z_MF)) / MIN_MS
    assert abs(minutes - Decimal("6.2652")) <= Decimal("0.00005")


@pytest.mark.parametrize(
    ("degf", "printed"), [("189.2", "0.000419"), ("196.0", "0.001000")]
)
def test_example_b_rates(degf: str, printed: str) -> None:
    rate = Decimal(rate_e9(int(Decimal(degf) * 1000), REFERENCE_MF, Z_MF)) / E9
    assert abs(rate - Decimal(printed)) <= Decimal("0.0000005")


@pytest.mark.parametrize(
    ("rows", "printed"), [(EXAMPLE_A, "21.68993687"), (EXAMPLE_B, "6.2652")]
)
def test_examples_in_degrees_celsius(rows: list[tuple[int, str]], printed: str) -> None:
    minutes = Decimal(trapezoid(in_mc(rows), REFERENCE_MC, Z_MC)) / MIN_MS
    assert abs(minutes / Decimal(printed) - 1) <= Decimal("0.00023")


@pytest.mark.parametrize("rows", [EXAMPLE_A, EXAMPLE_B])
def test_the_printed_figure_lies_between_the_two_bounds(
    rows: list[tuple[int, str]],
) -> None:
    samples = in_mf(rows)
    low = lower(samples, REFERENCE_MF, Z_MF)
    middle = trapezoid(samples, REFERENCE_MF, Z_MF)
    high = upper(samples, REFERENCE_MF, Z_MF)
    assert low < middle < high


@pytest.mark.parametrize(("celsius", "minutes"), [(70, 100), (80, 10), (90, 1)])
def test_pasteurising_value(celsius: int, minutes: int) -> None:
    """100 min at 70 degC, 10 min at 80 degC and 1 min at 90 degC are equal."""
    hold = [(0, celsius * 1000), (minutes * MIN_MS, celsius * 1000)]
    assert trapezoid(hold, 70_000, 10_000) == 100 * MIN_MS


@pytest.mark.parametrize(("celsius", "ms"), [(60, 5 * MIN_MS), (67, MIN_MS // 2)])
def test_pasteurisation_units(celsius: int, ms: int) -> None:
    """5 min at 60 degC and 0.5 min at 67 degC are equal."""
    hold = [(0, celsius * 1000), (ms, celsius * 1000)]
    assert trapezoid(hold, 60_000, 7_000) == 5 * MIN_MS


RATES = [  # degC, printed rate (base 60 degC, z 7 K), half of its last digit
    (50, "0.037", "0.0005"),
    (55, "0.19", "0.005"),
    (63, "2.7", "0.05"),
    (67, "10", "0.5"),
    (74, "100", "0.5"),
]


@pytest.mark.parametrize(("celsius", "printed", "half"), RATES)
def test_destruction_rate_table(celsius: int, printed: str, half: str) -> None:
    rate = Decimal(rate_e9(celsius * 1000, 60_000, 7_000)) / E9
    assert abs(rate - Decimal(printed)) <= Decimal(half)


def test_step_hold() -> None:
    hold = [(0, 138_000), (4_000, 138_000)]
    for integral in (trapezoid, lower, upper):
        assert integral(hold, 121_000, 8_500) == 400_000


def test_a_seven_log_process_is_seven_times_d() -> None:
    """F = n * D (general method): 7 min at the reference with D 1 min is 7 log10."""
    assert log_reduction(7 * MIN_MS, MIN_MS) == 7_000


def test_no_row_was_lost() -> None:
    assert len(EXAMPLE_A) == 22
    assert len(EXAMPLE_B) == 36
    assert len(RATES) == 5
