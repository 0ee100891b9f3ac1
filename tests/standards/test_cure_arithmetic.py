"""rules/formulation.py against worked examples of cure arithmetic.

Source:    9 CFR 424.21(c), 1/4 oz of nitrite per 100 lb (156.25 ppm); worked examples
           printed on curing pages (1 g and 0.750 g of nitrite on 5000 g; a pickle of
           1266 g with 32 g of 5.88 % cure at 10 % pump; 1 oz of 6.25 % cure per
           25 lb); cases worked out by hand from reported doses, each marked.  The
           formulas are those of FSIS Directive 7620.3 (1995), chapter 3, whose own
           numbered examples were not read.
Rows:      typed from the sources; never printed by our own code.
Tolerance: half of the last printed digit.
"""

from fractions import Fraction

import pytest

from rules.formulation import GRAMS, Cure, comminuted, pumped

CURE_NO_1 = Fraction("0.0625")


def cure(grams: str | Fraction, nitrite: str | Fraction, nitrate: str = "0") -> Cure:
    return Cure("cure", Fraction(grams), Fraction(nitrite), Fraction(nitrate))


OUNCE, POUND = GRAMS["oz"], GRAMS["lb"]

ON_MEAT = [  # g of cure, strength, g of meat, printed ppm, half of its last digit
    # 9 CFR 424.21(c): 1/4 oz of nitrite per 100 lb; 2.5 g/kg of 6.25 % is the same.
    (OUNCE / 4, Fraction(1), 100 * POUND, "156.25", "0"),
    (Fraction("2.5"), CURE_NO_1, Fraction(1000), "156.25", "0"),
    (OUNCE, CURE_NO_1, 25 * POUND, "156.25", "0"),
    # Printed: 200 and 150 ppm.
    (Fraction(1), Fraction(1), Fraction(5000), "200", "0.5"),
    (Fraction("0.750"), Fraction(1), Fraction(5000), "150", "0.5"),
    # Reported doses: a tablespoon on 5 lb; double on 25 lb; half on 10 lb.
    (Fraction(16), CURE_NO_1, Fraction(2268), "441", "0.5"),
    (Fraction("56.7"), CURE_NO_1, Fraction(11340), "312.5", "0.05"),
    (Fraction("5.67"), CURE_NO_1, Fraction(4536), "78", "0.5"),
    # 25 g on 10 kg at 6.25 % and at 0.6 %.
    (Fraction(25), CURE_NO_1, Fraction(10_000), "156", "0.5"),
    (Fraction(25), Fraction("0.006"), Fraction(10_000), "15", "0.5"),
    (Fraction(26), Fraction("0.006"), Fraction(1000), "156", "0.5"),
    # Common practice, no source: 20.4 g on 18 lb of pork is about 156 ppm.
    (Fraction("20.4"), CURE_NO_1, 18 * POUND, "156", "0.5"),
]


@pytest.mark.parametrize(("cure_g", "strength", "meat_g", "ppm", "half"), ON_MEAT)
def test_on_green_weight(
    cure_g: Fraction, strength: Fraction, meat_g: Fraction, ppm: str, half: str
) -> None:
    ingoing = comminuted(meat_g, [cure(cure_g, strength)])
    assert abs(ingoing.nitrite.measured - Fraction(ppm)) <= Fraction(half)


def test_pumped_pickle() -> None:
    """Printed: 148.6256 ppm."""
    ingoing = pumped(Fraction(1266), Fraction("0.10"), [cure("32", "0.0588")])
    printed = Fraction("148.6256")
    assert abs(ingoing.nitrite.measured - printed) <= Fraction("0.00005")


def test_two_cures_at_once() -> None:
    """7 oz of 0.5 % nitrite and 0.5 % nitrate with 1 oz of 6.25 % in 25 lb.

    By hand: (198.4 g * 0.5 % + 28.35 g * 6.25 %) / 11 340 g = 244 ppm of nitrite,
    and 87 ppm of nitrate.
    """
    both = [cure("198.4", "0.005", "0.005"), cure("28.35", CURE_NO_1)]
    ingoing = comminuted(Fraction(11_340), both)
    assert abs(ingoing.nitrite.measured - 244) <= Fraction("0.5")
    assert abs(ingoing.nitrate.measured - 87) <= Fraction("0.5")


def test_a_spoon_measure_with_its_doubt() -> None:
    """24.6 g within 12 % on 9072 g, by hand: 149 to 190 ppm."""
    spoon = Cure(
        "cure", Fraction("24.6"), CURE_NO_1, Fraction(0), off_by=Fraction(3, 25)
    )
    span = comminuted(Fraction(9072), [spoon]).nitrite
    assert abs(span.least - 149) <= Fraction("0.5")
    assert abs(span.most - 190) <= Fraction("0.5")


def test_no_row_was_lost() -> None:
    assert len(ON_MEAT) == 12
