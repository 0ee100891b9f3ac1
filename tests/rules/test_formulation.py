"""What a weighed dose is held against, and what is refused before it is weighed."""

from fractions import Fraction

import pytest

from rules.facts import Verdict
from rules.formulation import (
    Cure,
    CureFinding,
    Ingoing,
    check,
    comminuted,
    immersed,
    pumped,
    say_ppm,
    strength_doubt,
)
from rules.standards.nitrite import Bound, ProductClass, Substance

CURE_NO_1 = Fraction("0.0625")


def dose(
    cure_g: str, meat_g: str, off_by: str = "0", nitrite: Fraction = CURE_NO_1
) -> Ingoing:
    weighed = Cure(
        "cure", Fraction(cure_g), nitrite, Fraction(0), off_by=Fraction(off_by)
    )
    return comminuted(Fraction(meat_g), [weighed])


def nitrite(ingoing: Ingoing, bound: Bound = Bound.AT_MOST) -> CureFinding:
    (found,) = (
        finding
        for finding in check(ingoing, ProductClass.COMMINUTED, keep_refrigerated=True)
        if finding.limit.substance is Substance.NITRITE and finding.limit.bound is bound
    )
    return found


@pytest.mark.parametrize(
    ("cure_g", "meat_g", "verdict"),
    [
        pytest.param(
            "25", "10000", Verdict.MET, id="the everyday dose is at the limit"
        ),
        pytest.param("28.35", "11339.80925", Verdict.MET, id="1 oz in grams on 25 lb"),
        pytest.param("113.4", "45359.237", Verdict.MET, id="4 oz in grams on 100 lb"),
        pytest.param("25.0007", "10000", Verdict.MET, id="156.254 ppm is 156.25"),
        pytest.param("25.001", "10000", Verdict.MISSED, id="156.26 ppm is above"),
        pytest.param("16", "2268", Verdict.MISSED, id="a tablespoon on 5 lb"),
        pytest.param("24.9", "10000", Verdict.MET, id="a little less"),
    ],
)
def test_the_ceiling_of_ground_meat(cure_g: str, meat_g: str, verdict: Verdict) -> None:
    assert nitrite(dose(cure_g, meat_g)).verdict is verdict


@pytest.mark.parametrize(
    ("cure_g", "verdict"),
    [
        pytest.param("19.2", Verdict.MET, id="120 ppm is at the floor"),
        pytest.param("19.199", Verdict.MISSED, id="119.99 ppm is below"),
        pytest.param("12.5", Verdict.MISSED, id="half of the kit"),
    ],
)
def test_the_floor_of_product_kept_cold(cure_g: str, verdict: Verdict) -> None:
    assert nitrite(dose(cure_g, "10000"), Bound.AT_LEAST).verdict is verdict


@pytest.mark.parametrize(
    ("cure_g", "off_by", "ceiling", "floor"),
    [
        ("24.6", "0.12", Verdict.UNPROVEN, Verdict.MET),
        ("30", "0.12", Verdict.MISSED, Verdict.MET),
        ("18", "0.12", Verdict.MET, Verdict.UNPROVEN),
        ("20", "0.3", Verdict.UNPROVEN, Verdict.UNPROVEN),
        ("20", "0", Verdict.MET, Verdict.MET),
        ("15", "0.12", Verdict.MET, Verdict.MISSED),
    ],
)
def test_a_limit_between_the_two_bounds_is_unproven(
    cure_g: str, off_by: str, ceiling: Verdict, floor: Verdict
) -> None:
    ingoing = dose(cure_g, "9072", off_by)
    assert nitrite(ingoing).verdict is ceiling
    assert nitrite(ingoing, Bound.AT_LEAST).verdict is floor


def test_no_cure_at_all_misses_the_floor() -> None:
    nothing = comminuted(Fraction(1000), [])
    assert nitrite(nothing, Bound.AT_LEAST).verdict is Verdict.MISSED
    assert nitrite(nothing).verdict is Verdict.MET


def test_nitrate_is_judged_apart_and_never_in_bacon() -> None:
    cure = Cure("cure", Fraction(25), CURE_NO_1, Fraction("0.01"))
    ingoing = comminuted(Fraction(10_000), [cure])
    verdicts = {
        product: {
            finding.limit.substance: finding.verdict
            for finding in check(ingoing, product, keep_refrigerated=False)
        }[Substance.NITRATE]
        for product in (ProductClass.COMMINUTED, ProductClass.BACON_DRY)
    }
    assert verdicts == {
        ProductClass.COMMINUTED: Verdict.MET,
        ProductClass.BACON_DRY: Verdict.MISSED,
    }


def test_erythorbate_is_judged_at_its_exact_amount() -> None:
    """7/8 oz per 100 lb is 546.875 ppm."""
    salt = Cure("salt", Fraction("5.46875"), Fraction(0), Fraction(0), Fraction(1))
    ingoing = comminuted(Fraction(10_000), [salt])
    assert ingoing.erythorbate.measured == Fraction("546.875")
    (found,) = (
        finding
        for finding in check(ingoing, ProductClass.COMMINUTED, keep_refrigerated=False)
        if finding.limit.substance is Substance.ERYTHORBATE
    )
    assert found.verdict is Verdict.MET


def test_the_class_decides_which_ceiling_holds() -> None:
    ingoing = pumped(
        Fraction(1000),
        Fraction("0.1"),
        [Cure("cure", Fraction(30), CURE_NO_1, Fraction(0))],
    )
    assert ingoing.nitrite.measured == Fraction("187.5")
    verdicts = {
        product: check(ingoing, product, keep_refrigerated=False)[0].verdict
        for product in (ProductClass.PUMPED, ProductClass.BACON_PUMPED)
    }
    assert verdicts == {
        ProductClass.PUMPED: Verdict.MET,
        ProductClass.BACON_PUMPED: Verdict.MISSED,
    }


def test_meat_and_pickle_as_one_system() -> None:
    cure = Cure("cure", Fraction(30), CURE_NO_1, Fraction(0))
    ingoing = immersed(Fraction(6500), Fraction(1000), [cure])
    assert ingoing.nitrite.measured == 250


def test_the_reason_is_a_sentence_with_both_figures() -> None:
    assert nitrite(dose("16", "2268")).why == (
        "nitrite is 440.92 ppm; comminuted asks at most 156.25 ppm (1/4 oz per 100 lb)"
    )
    assert nitrite(dose("24.6", "9072", "0.12")).why == (
        "nitrite is 169.48 ppm, 149.14 ppm to 189.81 ppm; "
        "comminuted asks at most 156.25 ppm (1/4 oz per 100 lb)"
    )


@pytest.mark.parametrize(
    ("cure_g", "strength", "doubted"),
    [
        ("25", "0.0625", False),
        ("25", "0.006", True),  # 15 ppm: a cure of 0.6 % in a recipe for 6.25 %
        ("8", "0.0625", False),  # 50 ppm
        ("63.99", "0.0625", False),  # just below 400 ppm
        ("64", "0.0625", True),  # 400 ppm
        ("64.1", "0.0625", True),
        ("170", "1", True),  # pure nitrite taken for curing salt
    ],
)
def test_an_odd_dose_doubts_its_strength(
    cure_g: str, strength: str, doubted: bool
) -> None:
    words = strength_doubt(dose(cure_g, "10000", nitrite=Fraction(strength)))
    assert bool(words) is doubted
    assert not doubted or "read the strength on the label again" in words


@pytest.mark.parametrize(
    ("ppm", "words"),
    [
        ("156.25", "156.25 ppm"),
        ("200", "200 ppm"),
        ("312.5", "312.5 ppm"),
        ("0", "0 ppm"),
        ("148.6256", "148.63 ppm"),
        ("17000", "17000 ppm"),
    ],
)
def test_a_figure_in_words(ppm: str, words: str) -> None:
    assert say_ppm(Fraction(ppm)) == words


@pytest.mark.parametrize(
    "strengths",
    [("6.25", "0"), ("-0.01", "0"), ("0.6", "0.5")],
)
def test_a_strength_is_a_part_of_the_weight(strengths: tuple[str, str]) -> None:
    nitrite_part, nitrate_part = map(Fraction, strengths)
    with pytest.raises(ValueError, match=r"6\.25 % is 0\.0625"):
        Cure("cure", Fraction(25), nitrite_part, nitrate_part)


def test_what_cannot_be_weighed_is_refused() -> None:
    with pytest.raises(ValueError, match="meat: a weight is above 0 g, found 0"):
        comminuted(Fraction(0), [])
    with pytest.raises(ValueError, match="cure: a weight is above 0 g, found -1"):
        Cure("cure", Fraction(-1), CURE_NO_1, Fraction(0))
    with pytest.raises(ValueError, match=r"10 % is 0\.1"):
        pumped(Fraction(1000), Fraction(10), [])
    with pytest.raises(ValueError, match="pickle: a weight is above 0 g"):
        immersed(Fraction(1000), Fraction(0), [])
