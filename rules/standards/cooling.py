"""Cooling options: how fast a cooked product must fall, and what it must be.

A band has one of two clocks.  ``DWELL`` counts the time for which the product is
between the two temperatures, warming back into the band included.  ``SINCE
CROSSING`` counts from the moment it first fell below the upper temperature until
it has come to the lower one.  On a curve that only falls the two are equal;
otherwise the second is the longer, and is taken where a text does not decide.

Times of the bands hold for the slowest point of the slowest piece.  What an option
asks of the product is a list of alternatives: any one set of them is enough.

Units: ``_mc`` thousandths of a degree Celsius; ``_ms`` milliseconds; ``_ppm`` parts
per million of green weight; ``_percent_milli`` thousandths of a percent;
``_activity_milli`` thousandths.

Source: FSIS Appendix B, January and June 1999; FSIS-GD-2021-13; FDA Food Code
section 3-501.14; California Code of Regulations title 3 section 910.15.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction

from rules.units import fahrenheit_mc

HOUR_MS = 3_600_000


class Clock(StrEnum):
    """What a band counts."""

    DWELL = "dwell"
    SINCE_CROSSING = "since crossing"


@dataclass(frozen=True, slots=True)
class CoolingBand:
    """Two temperatures and the longest time from the upper to the lower."""

    from_mc: int
    to_mc: int
    at_most_ms: int
    clock: Clock


@dataclass(frozen=True, slots=True)
class Condition:
    """One set of things the product must be, all of them; ``None`` asks nothing."""

    nitrite_ppm_at_least: int | None = None  # ingoing
    erythorbate_ppm_at_least: int | None = None  # or ascorbate, ingoing
    brine_percent_milli_at_least: int | None = None
    water_activity_milli_at_most: int | None = None
    fully_cooked: bool = False


@dataclass(frozen=True, slots=True)
class CoolingOption:
    """One way to cool that a published text allows."""

    name: str  # as a schedule writes it
    edition: str
    source: str
    verified: bool  # the figures were read, not remembered
    note: str  # to be shown wherever the option decides
    bands: tuple[CoolingBand, ...]
    final_mc: int  # chilling goes on until the product is at this
    start_within_ms: int = (
        0  # of the end of the cook; 0 where the text has no such rule
    )
    # The text asks that the product falls without a stop; its bands do not show it.
    continuous: bool = False
    conditions: tuple[Condition, ...] = ()  # none: any cooked product

    def said_in(self, degree: type[int]) -> "CoolingOption":
        """The same option, whose temperatures are said in degC or in degF."""
        bands = (
            replace(one, from_mc=degree(one.from_mc), to_mc=degree(one.to_mc))
            for one in self.bands
        )
        return replace(self, bands=tuple(bands), final_mc=degree(self.final_mc))


@dataclass(frozen=True, slots=True)
class ProductFacts:
    """What is known of the product that cools; ``None`` where nobody has said."""

    nitrite_ppm: int | None = None  # ingoing, rounded down
    erythorbate_ppm: int | None = None  # or ascorbate, ingoing, rounded down
    brine_percent_milli: int | None = None  # 100 * salt / (salt + water)
    water_activity_milli: int | None = None
    fully_cooked: bool | None = None
    ph_milli: int | None = None
    salt_percent_milli: int | None = None  # of the whole product, rounded down


def cooling_option(name: str) -> CoolingOption | None:
    """Find the option that a schedule names; none has another spelling."""
    return COOLING_OPTIONS.get(name)


def qualifies(option: CoolingOption, product: ProductFacts) -> tuple[bool | None, str]:
    """Tell whether a product may be cooled by an option, and why.

    ``None`` means that a fact it asks for is unknown, and with it the answer.
    """
    if not option.conditions:
        return True, "it asks nothing of the product"
    answers = [_answer(each, product) for each in option.conditions]
    for outcome in (True, None, False):
        whys = [why for answer, why in answers if answer is outcome]
        if whys:
            return outcome, "; or: ".join(whys)
    raise AssertionError("an answer is one of the three")


Answer = tuple[bool | None, str]


def _answer(asked: Condition, product: ProductFacts) -> Answer:
    answers = [each for each in _each(asked, product) if each is not None]
    for outcome in (False, None):
        whys = [why for answer, why in answers if answer is outcome]
        if whys:
            return outcome, ", ".join(whys)
    return True, ", ".join(why for _, why in answers)


def _each(asked: Condition, product: ProductFacts) -> tuple[Answer | None, ...]:
    return (
        _at_least(
            "ingoing nitrite", product.nitrite_ppm, asked.nitrite_ppm_at_least, _ppm
        ),
        _at_least(
            "ingoing erythorbate or ascorbate",
            product.erythorbate_ppm,
            asked.erythorbate_ppm_at_least,
            _ppm,
        ),
        _at_least(
            "brine",
            product.brine_percent_milli,
            asked.brine_percent_milli_at_least,
            _percent,
        ),
        _dry(product.water_activity_milli, asked.water_activity_milli_at_most),
        _cooked(product.fully_cooked) if asked.fully_cooked else None,
    )


def _at_least(
    what: str, known: int | None, bound: int | None, say: Callable[[int], str]
) -> Answer | None:
    if bound is None:
        return None
    asks = f"at least {say(bound)} is asked"
    if known is None:
        return None, f"{what} is not known, {asks}"
    return known >= bound, f"{what} is {say(known)}, {asks}"


def _dry(known: int | None, bound: int | None) -> Answer | None:
    if bound is None:
        return None
    asks = f"at most {_thousandths(bound)} is asked"
    if known is None:
        return None, f"water activity is not known, {asks}"
    return known <= bound, f"water activity is {_thousandths(known)}, {asks}"


def _cooked(known: bool | None) -> Answer:
    if known is None:
        return None, "the product is not known to be fully cooked"
    return known, f"the product is {'' if known else 'not '}fully cooked"


def _ppm(ppm: int) -> str:
    return f"{ppm} ppm"


def _thousandths(milli: int) -> str:
    return f"{milli // 1000}.{milli % 1000:03}".rstrip("0").rstrip(".")


def _percent(milli: int) -> str:
    return f"{_thousandths(milli)} %"


def _degf(degrees: int) -> int:
    return fahrenheit_mc(Fraction(degrees))


def _band(from_f: int, to_f: int, at_most_h: str, clock: Clock) -> CoolingBand:
    at_most_ms = int(Fraction(at_most_h) * HOUR_MS)
    return CoolingBand(_degf(from_f), _degf(to_f), at_most_ms, clock)


_DWELL, _CROSSING = Clock
_WITHDRAWN = (
    "The 1999 edition may not be cited as support after 14 December 2022 "
    "(86 FR 71007). "
)
_FROM_MEMORY = (
    "FSIS-GD-2021-13 was not read: figures and conditions are from memory, to be "
    "verified. "
)
_FSIS_1999 = "FSIS Appendix B, January and June 1999"
_FSIS_2021 = "FSIS-GD-2021-13, December 2021"
_CALIFORNIA = "California Code of Regulations title 3 section 910.15"

_OPTION_1_1999 = CoolingOption(
    name="FSIS Appendix B 1999, option 1",
    edition="1999",
    source=f"{_FSIS_1999}, option 1",
    verified=True,
    note=_WITHDRAWN + "Figures read in Ohio State University meat science, node 117. "
    "That the clock counts the time for which the product remains in each band is "
    "from memory, to be verified.",
    bands=(_band(130, 80, "3/2", _DWELL), _band(80, 40, "5", _DWELL)),
    final_mc=_degf(40),
    continuous=True,
)

_OPTION_3_1999 = CoolingOption(
    name="FSIS Appendix B 1999, option 3",
    edition="1999",
    source=f"{_FSIS_1999}, option 3 (June)",
    verified=True,
    note=_WITHDRAWN + "For cured product of any kind. The text is quoted by Texas A&M "
    "University, meat HACCP questions; Ohio State University meat science, node 117, "
    "prints 40 degF where the quoted text says 45 degF. Which clock the text means "
    "was not read: the stricter one is taken.",
    bands=(_band(130, 80, "5", _CROSSING), _band(80, 45, "10", _CROSSING)),
    final_mc=_degf(45),
    continuous=True,
    conditions=(Condition(nitrite_ppm_at_least=100),),
)

_OPTIONS = (
    _OPTION_1_1999,
    replace(
        _OPTION_1_1999,
        name="FSIS Appendix B, option 1",
        note=_OPTION_1_1999.note + " The name gives no edition: these are the figures "
        "of 1999. Those of 2021 equal them from memory, to be verified.",
    ),
    CoolingOption(
        name="FSIS Appendix B 1999, option 2",
        edition="1999",
        source=f"{_FSIS_1999}, option 2",
        verified=True,
        note=_WITHDRAWN + "The text asks 120 to 55 degF in 6 h and says that more than "
        "1 h between 120 and 80 degF makes compliance less certain; the bands are "
        "those of Ohio State University meat science, node 117. Chilling goes on to "
        "40 degF and nothing is packed for shipment above it. Which clock the text "
        "means was not read: the stricter one is taken.",
        bands=(_band(120, 80, "1", _CROSSING), _band(80, 55, "5", _CROSSING)),
        final_mc=_degf(40),
        start_within_ms=HOUR_MS * 3 // 2,
    ),
    _OPTION_3_1999,
    replace(
        _OPTION_3_1999,
        name="FSIS Appendix B 1999, option 3, to 40 degF",
        note=_OPTION_3_1999.note + " This is the stricter of the two readings.",
        bands=(_band(130, 80, "5", _CROSSING), _band(80, 40, "10", _CROSSING)),
        final_mc=_degf(40),
    ),
    CoolingOption(
        name="FSIS Appendix B 2021, option 1",
        edition="2021",
        source=f"{_FSIS_2021}, option 1",
        verified=False,
        note=_FROM_MEMORY + "The only option for partially cooked product.",
        bands=(_band(130, 80, "3/2", _DWELL), _band(80, 40, "5", _DWELL)),
        final_mc=_degf(40),
    ),
    CoolingOption(
        name="FSIS Appendix B 2021, option 2",
        edition="2021",
        source=f"{_FSIS_2021}, option 2",
        verified=False,
        note=_FROM_MEMORY + "A trade summary of the 2017 edition gives 80 to 40 degF "
        "in 5 h and says that 120 to 55 degF in 6 h without bands was dropped. "
        "Chilling goes on to 40 degF and nothing is shipped above it.",
        bands=(_band(120, 80, "1", _CROSSING), _band(80, 55, "5", _CROSSING)),
        final_mc=_degf(40),
        start_within_ms=HOUR_MS * 3 // 2,
        conditions=(Condition(fully_cooked=True),),
    ),
    CoolingOption(
        name="FSIS Appendix B 2021, option 3",
        edition="2021",
        source=f"{_FSIS_2021}, option 3",
        verified=False,
        note=_FROM_MEMORY + "Dry- or immersion-cured product without erythorbate or "
        "ascorbate is named as a scientific gap in FSIS-GD-2021-14.",
        bands=(_band(130, 80, "5", _CROSSING), _band(80, 45, "10", _CROSSING)),
        final_mc=_degf(45),
        conditions=(
            Condition(
                nitrite_ppm_at_least=100,
                erythorbate_ppm_at_least=250,
                fully_cooked=True,
            ),
        ),
    ),
    CoolingOption(
        name="FSIS Appendix B 2021, option 4",
        edition="2021",
        source=f"{_FSIS_2021}, option 4",
        verified=False,
        note=_FROM_MEMORY + "The product falls continuously or by a controlled step.",
        bands=(_band(120, 40, "20", _DWELL),),
        final_mc=_degf(40),
        continuous=True,
        conditions=(
            Condition(
                nitrite_ppm_at_least=40,
                brine_percent_milli_at_least=6_000,
                fully_cooked=True,
            ),
            Condition(water_activity_milli_at_most=920, fully_cooked=True),
        ),
    ),
    CoolingOption(
        name="FDA Food Code 3-501.14(A)",
        edition="2013 to 2022",
        source="FDA Food Code section 3-501.14(A)",
        verified=True,
        note="Both times count from 135 degF.",
        bands=(_band(135, 70, "2", _CROSSING), _band(135, 41, "6", _CROSSING)),
        final_mc=_degf(41),
    ),
    CoolingOption(
        name="California 910.15, slow cooling",
        edition="2007",
        source=f"{_CALIFORNIA}(b)(3)",
        verified=True,
        note="For cured sausage, smoked ham and bacon, and by water activity for any "
        "salt-cured product. The text also allows a product that does not fall "
        "continuously if its surface is not between 120 and 80 degF for more than "
        "2 h; that alternative is not carried.",
        bands=(_band(120, 40, "20", _DWELL),),
        final_mc=_degf(40),
        continuous=True,
        conditions=(
            Condition(nitrite_ppm_at_least=120, brine_percent_milli_at_least=3_500),
            Condition(nitrite_ppm_at_least=40, brine_percent_milli_at_least=6_000),
            Condition(water_activity_milli_at_most=920),
        ),
    ),
    CoolingOption(
        name="California 910.15, not slow-cooled",
        edition="2007",
        source=f"{_CALIFORNIA}(a)(1)",
        verified=True,
        note="For every potentially hazardous product that is not slow-cooled.",
        bands=(_band(135, 70, "2", _DWELL), _band(70, 41, "4", _DWELL)),
        final_mc=_degf(41),
    ),
)

COOLING_OPTIONS: Mapping[str, CoolingOption] = {each.name: each for each in _OPTIONS}
