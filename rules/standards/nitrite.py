"""What may go into cured meat, and what must: ceilings and floors by product class.

Every figure counts on the green weight of the meat block (meat, byproducts and
poultry before curing), but for ``FINISHED_NITRITE``, which only an analysis of the
finished product can show.  Amounts printed as ounces per 100 lb are kept exact:
1/4 oz per 100 lb is 156.25 parts per million.

A ceiling and a floor pull apart: the first bounds a poison, the second keeps the
protection that the claim rests on.  A recipe is held against both.

Source: 9 CFR 424.21(c) and 424.22(b), text of 2015; FSIS Processing Inspectors'
Calculations Handbook (Directive 7620.3, revision 1995), page 12.
"""

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

OUNCES_IN_100_LB = 1600


class ProductClass(StrEnum):
    """The classes that the regulation tells apart."""

    COMMINUTED = "comminuted"
    PUMPED = "pumped, massaged or immersion cured"
    DRY_CURED = "dry cured"
    BACON_PUMPED = "bacon, pumped or massaged"
    BACON_IMMERSION = "bacon, immersion cured"
    BACON_DRY = "bacon, dry cured"
    INFANT = "baby, junior or toddler food"


class Substance(StrEnum):
    """What is counted."""

    NITRITE = "nitrite"  # of sodium or potassium, by weight as added
    NITRATE = "nitrate"  # of sodium or potassium, by weight as added
    ERYTHORBATE = "sodium erythorbate or ascorbate"
    ERYTHORBIC_ACID = "erythorbic or ascorbic acid"


class Bound(StrEnum):
    """Which side of the figure is right."""

    AT_MOST = "at most"
    AT_LEAST = "at least"


@dataclass(frozen=True, slots=True)
class CureLimit:
    """One published figure for one substance."""

    substance: Substance
    bound: Bound
    ppm: Fraction
    printed: str  # as the source prints it
    source: str
    verified: bool = True
    note: str = ""  # to be shown wherever the limit decides


def cure_limits(
    product: ProductClass, *, keep_refrigerated: bool
) -> tuple[CureLimit, ...]:
    """List every ingoing limit of a class; the floor is for product kept cold."""
    floors = (KEEP_REFRIGERATED,) if keep_refrigerated else ()
    return (*_CEILINGS[product], *floors)


_C = "9 CFR 424.21(c)"
_BACON = "9 CFR 424.22(b)"
_HANDBOOK = "FSIS Directive 7620.3 (1995), page 12"


def _per_100_lb(ounces: str) -> Fraction:
    return Fraction(ounces) / OUNCES_IN_100_LB * 1_000_000


def _at_most(
    substance: Substance, ppm: Fraction, printed: str, note: str = ""
) -> CureLimit:
    return CureLimit(substance, Bound.AT_MOST, ppm, printed, _C, note=note)


def _bacon(ppm: int, printed: str, note: str) -> tuple[CureLimit, CureLimit]:
    return (
        CureLimit(
            Substance.NITRITE,
            Bound.AT_MOST,
            Fraction(ppm),
            printed,
            _BACON,
            verified=False,
            note=note,
        ),
        _at_most(Substance.NITRATE, Fraction(0), "not permitted in bacon"),
    )


_ERYTHORBATE = _at_most(
    Substance.ERYTHORBATE,
    _per_100_lb("7/8"),
    "7/8 oz per 100 lb, or 87.5 oz per 100 gal of pickle at 10 % pump",
)
_ERYTHORBIC_ACID = _at_most(
    Substance.ERYTHORBIC_ACID,
    _per_100_lb("3/4"),
    "3/4 oz per 100 lb, or 75 oz per 100 gal of pickle at 10 % pump",
)
_CONFIRMED = (
    "From memory, to be verified; {ppm} ppm is confirmed by a secondary reading of "
    "the inspectors' handbook. Of potassium nitrite up to {potassium} ppm."
)

_CEILINGS: dict[ProductClass, tuple[CureLimit, ...]] = {
    ProductClass.COMMINUTED: (
        _at_most(Substance.NITRITE, _per_100_lb("1/4"), "1/4 oz per 100 lb"),
        _at_most(Substance.NITRATE, _per_100_lb("11/4"), "2 3/4 oz per 100 lb"),
        _ERYTHORBATE,
        _ERYTHORBIC_ACID,
    ),
    ProductClass.PUMPED: (
        _at_most(
            Substance.NITRITE,
            Fraction(200),
            "2 lb per 100 gal of pickle at 10 % pump",
            "200 ppm is printed as the ceiling in the finished product.",
        ),
        _at_most(
            Substance.NITRATE,
            Fraction(700),
            "7 lb per 100 gal of pickle",
            "The amount was read; 700 ppm is derived from it, at 10 % pump and 10 lb "
            "of pickle a gallon.",
        ),
        _ERYTHORBATE,
        _ERYTHORBIC_ACID,
    ),
    ProductClass.DRY_CURED: (
        _at_most(
            Substance.NITRITE,
            _per_100_lb("1"),
            "1 oz per 100 lb",
            "The ceiling of 200 ppm in the finished product applies as well.",
        ),
        _at_most(Substance.NITRATE, _per_100_lb("7/2"), "3 1/2 oz per 100 lb"),
        _ERYTHORBATE,
        _ERYTHORBIC_ACID,
    ),
    ProductClass.BACON_PUMPED: _bacon(
        120,
        "120 ppm, with 550 ppm of erythorbate or ascorbate",
        "From memory, to be verified. Of potassium nitrite up to 148 ppm; 550 ppm of "
        "erythorbate or ascorbate belong to it.",
    ),
    ProductClass.BACON_IMMERSION: _bacon(
        120, "120 ppm", _CONFIRMED.format(ppm=120, potassium=148)
    ),
    ProductClass.BACON_DRY: _bacon(
        200, "200 ppm", _CONFIRMED.format(ppm=200, potassium=246)
    ),
    ProductClass.INFANT: (
        _at_most(Substance.NITRITE, Fraction(0), "not permitted"),
        _at_most(Substance.NITRATE, Fraction(0), "not permitted"),
    ),
}

KEEP_REFRIGERATED = CureLimit(
    Substance.NITRITE,
    Bound.AT_LEAST,
    Fraction(120),
    "120 ppm ingoing, for cured product labelled Keep Refrigerated",
    _HANDBOOK,
    note="Agency policy, read as a quotation of the handbook.",
)

FINISHED_NITRITE = CureLimit(
    Substance.NITRITE,
    Bound.AT_MOST,
    Fraction(200),
    "200 ppm in the finished product, from nitrite, nitrate or both, as sodium nitrite",
    _C,
    note="Only an analysis of the finished product shows it.",
)
