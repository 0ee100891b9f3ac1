"""rules/standards/nitrite.py against the regulation's amounts.

Source:    9 CFR 424.21(c), text of 2015; bacon from memory, to be verified
           (9 CFR 424.22(b)); FSIS Directive 7620.3 (1995), page 12, as quoted, for
           the floor of 120 ppm.
Rows:      typed from the sources; never printed by our own code.  Parts per million
           are worked out from the printed amount (ounces / 1600), by hand.
Tolerance: none.
"""

from fractions import Fraction

import pytest

from rules.standards.nitrite import (
    FINISHED_NITRITE,
    KEEP_REFRIGERATED,
    Bound,
    ProductClass,
    Substance,
    cure_limits,
)

CEILINGS = [  # class, substance, ppm on green weight, read in the source
    (ProductClass.COMMINUTED, Substance.NITRITE, "156.25", True),
    (ProductClass.COMMINUTED, Substance.NITRATE, "1718.75", True),
    (ProductClass.COMMINUTED, Substance.ERYTHORBATE, "546.875", True),
    (ProductClass.COMMINUTED, Substance.ERYTHORBIC_ACID, "468.75", True),
    (ProductClass.PUMPED, Substance.NITRITE, "200", True),
    (ProductClass.PUMPED, Substance.NITRATE, "700", True),
    (ProductClass.PUMPED, Substance.ERYTHORBATE, "546.875", True),
    (ProductClass.PUMPED, Substance.ERYTHORBIC_ACID, "468.75", True),
    (ProductClass.DRY_CURED, Substance.NITRITE, "625", True),
    (ProductClass.DRY_CURED, Substance.NITRATE, "2187.5", True),
    (ProductClass.DRY_CURED, Substance.ERYTHORBATE, "546.875", True),
    (ProductClass.DRY_CURED, Substance.ERYTHORBIC_ACID, "468.75", True),
    (ProductClass.BACON_PUMPED, Substance.NITRITE, "120", False),
    (ProductClass.BACON_PUMPED, Substance.NITRATE, "0", True),
    (ProductClass.BACON_IMMERSION, Substance.NITRITE, "120", False),
    (ProductClass.BACON_IMMERSION, Substance.NITRATE, "0", True),
    (ProductClass.BACON_DRY, Substance.NITRITE, "200", False),
    (ProductClass.BACON_DRY, Substance.NITRATE, "0", True),
    (ProductClass.INFANT, Substance.NITRITE, "0", True),
    (ProductClass.INFANT, Substance.NITRATE, "0", True),
]


@pytest.mark.parametrize(("product", "substance", "ppm", "verified"), CEILINGS)
def test_every_ceiling(
    product: ProductClass, substance: Substance, ppm: str, verified: bool
) -> None:
    (found,) = (
        limit
        for limit in cure_limits(product, keep_refrigerated=False)
        if limit.substance is substance
    )
    assert found.bound is Bound.AT_MOST
    assert found.ppm == Fraction(ppm)
    assert found.verified is verified
    assert ("from memory, to be verified" in found.note.lower()) is not verified


def test_the_floor_holds_for_product_kept_cold() -> None:
    """120 ppm ingoing for product labelled Keep Refrigerated."""
    for product in ProductClass:
        limits = cure_limits(product, keep_refrigerated=True)
        assert limits[-1] is KEEP_REFRIGERATED
        assert limits[:-1] == cure_limits(product, keep_refrigerated=False)
    assert (KEEP_REFRIGERATED.bound, KEEP_REFRIGERATED.ppm) == (
        Bound.AT_LEAST,
        Fraction(120),
    )


def test_the_finished_product_has_a_ceiling_of_its_own() -> None:
    assert (FINISHED_NITRITE.bound, FINISHED_NITRITE.ppm) == (
        Bound.AT_MOST,
        Fraction(200),
    )
    assert "analysis of the finished product" in FINISHED_NITRITE.note


def test_no_row_was_lost() -> None:
    assert len(CEILINGS) == 20
    carried = [
        (product, limit.substance)
        for product in ProductClass
        for limit in cure_limits(product, keep_refrigerated=False)
    ]
    assert carried == [(product, substance) for product, substance, _, _ in CEILINGS]
