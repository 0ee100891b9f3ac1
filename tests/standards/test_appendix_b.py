"""rules/standards/cooling.py against FSIS Appendix B and the California code.

Source:    FSIS Appendix B, January and June 1999; FSIS-GD-2021-13 from memory, to be
           verified; California Code of Regulations title 3 section 910.15
           (rows_appendix_b.py).
Rows:      typed from the sources; never printed by our own code.
Tolerance: none: hours and degrees Fahrenheit as printed.
"""

from fractions import Fraction
from itertools import pairwise

import pytest

from rules.standards.cooling import (
    COOLING_OPTIONS,
    Clock,
    CoolingOption,
    ProductFacts,
    cooling_option,
    qualifies,
)
from rules.units import fahrenheit_mc
from tests.standards.rows_appendix_b import OPTIONS, Row

ALIAS = "FSIS Appendix B, option 1"
UNKNOWN = ProductFacts()


def option(name: str) -> CoolingOption:
    found = cooling_option(name)
    assert found is not None
    return found


@pytest.mark.parametrize("row", OPTIONS, ids=lambda row: row.name)
def test_every_option_is_as_printed(row: Row) -> None:
    carried = option(row.name)
    assert [(band.from_mc, band.to_mc, band.at_most_ms) for band in carried.bands] == [
        (fahrenheit_mc(Fraction(top)), fahrenheit_mc(Fraction(low)), h * 3_600_000)
        for top, low, h in row.bands
    ]
    assert carried.final_mc == fahrenheit_mc(Fraction(row.end_f))
    assert carried.start_within_ms == row.start_within_min * 60_000
    assert carried.verified is row.verified


@pytest.mark.parametrize("row", OPTIONS, ids=lambda row: row.name)
def test_the_printed_total_follows_from_the_bands(row: Row) -> None:
    bands = option(row.name).bands
    if all(below.from_mc == above.to_mc for above, below in pairwise(bands)):
        total_ms = sum(band.at_most_ms for band in bands)
    else:
        assert len({band.from_mc for band in bands}) == 1
        total_ms = max(band.at_most_ms for band in bands)
    assert total_ms == row.total_h * 3_600_000


def test_each_clock_is_the_one_its_text_uses() -> None:
    """Dwell where the text limits the time between, the stricter one elsewhere."""
    dwell = {
        each.name
        for each in COOLING_OPTIONS.values()
        if all(band.clock is Clock.DWELL for band in each.bands)
    }
    crossing = {
        each.name
        for each in COOLING_OPTIONS.values()
        if all(band.clock is Clock.SINCE_CROSSING for band in each.bands)
    }
    assert dwell | crossing == set(COOLING_OPTIONS)
    assert dwell == {
        ALIAS,
        "FSIS Appendix B 1999, option 1",
        "FSIS Appendix B 2021, option 1",
        "FSIS Appendix B 2021, option 4",
        "California 910.15, slow cooling",
        "California 910.15, not slow-cooled",
    }


def test_the_name_without_an_edition_is_the_1999_text_and_says_so() -> None:
    bare, dated = option(ALIAS), option("FSIS Appendix B 1999, option 1")
    assert bare.bands == dated.bands == option("FSIS Appendix B 2021, option 1").bands
    assert bare.edition == "1999"
    assert "14 December 2022 (86 FR 71007)" in bare.note
    assert "those of 2021 equal them from memory" in bare.note.lower()


def test_what_was_not_read_says_so() -> None:
    unread = [each for each in COOLING_OPTIONS.values() if not each.verified]
    assert [each.edition for each in unread] == ["2021"] * 4
    assert all("from memory, to be verified" in each.note for each in unread)


def test_every_1999_option_says_that_it_is_withdrawn() -> None:
    old = [each for each in COOLING_OPTIONS.values() if each.edition == "1999"]
    assert len(old) == 5
    assert all("14 December 2022" in each.note for each in old)


def test_the_texts_that_ask_for_a_continuous_fall_are_marked() -> None:
    assert {each.name for each in COOLING_OPTIONS.values() if each.continuous} == {
        ALIAS,
        "FSIS Appendix B 1999, option 1",
        "FSIS Appendix B 1999, option 3",
        "FSIS Appendix B 1999, option 3, to 40 degF",
        "FSIS Appendix B 2021, option 4",
        "California 910.15, slow cooling",
    }


@pytest.mark.parametrize(
    ("name", "product", "answer"),
    [
        # 1999, option 3: 100 ppm of nitrite.
        ("FSIS Appendix B 1999, option 3", ProductFacts(nitrite_ppm=99), False),
        ("FSIS Appendix B 1999, option 3", ProductFacts(nitrite_ppm=100), True),
        ("FSIS Appendix B 1999, option 3", ProductFacts(nitrite_ppm=101), True),
        ("FSIS Appendix B 1999, option 3", UNKNOWN, None),
        # 2021, option 2: fully cooked.
        ("FSIS Appendix B 2021, option 2", ProductFacts(fully_cooked=True), True),
        ("FSIS Appendix B 2021, option 2", ProductFacts(fully_cooked=False), False),
        ("FSIS Appendix B 2021, option 2", UNKNOWN, None),
        # 2021, option 3: 100 ppm of nitrite and 250 ppm of erythorbate.
        (
            "FSIS Appendix B 2021, option 3",
            ProductFacts(100, 250, None, None, True),
            True,
        ),
        (
            "FSIS Appendix B 2021, option 3",
            ProductFacts(99, 250, None, None, True),
            False,
        ),
        (
            "FSIS Appendix B 2021, option 3",
            ProductFacts(100, 249, None, None, True),
            False,
        ),
        (
            "FSIS Appendix B 2021, option 3",
            ProductFacts(100, 250, None, None, None),
            None,
        ),
        (
            "FSIS Appendix B 2021, option 3",
            ProductFacts(100, None, None, None, True),
            None,
        ),
        (
            "FSIS Appendix B 2021, option 3",
            ProductFacts(99, None, None, None, True),
            False,
        ),
        # 2021, option 4: 40 ppm and 6 % brine, or water activity 0.92.
        (
            "FSIS Appendix B 2021, option 4",
            ProductFacts(40, None, 6_000, None, True),
            True,
        ),
        (
            "FSIS Appendix B 2021, option 4",
            ProductFacts(39, None, 6_000, 921, True),
            False,
        ),
        (
            "FSIS Appendix B 2021, option 4",
            ProductFacts(40, None, 5_999, 921, True),
            False,
        ),
        ("FSIS Appendix B 2021, option 4", ProductFacts(0, None, 0, 920, True), True),
        (
            "FSIS Appendix B 2021, option 4",
            ProductFacts(40, None, 5_999, None, True),
            None,
        ),
        # California: 120 ppm and 3.5 %, or 40 ppm and 6 %, or water activity 0.92.
        ("California 910.15, slow cooling", ProductFacts(120, None, 3_500, 930), True),
        ("California 910.15, slow cooling", ProductFacts(119, None, 3_500, 930), False),
        ("California 910.15, slow cooling", ProductFacts(120, None, 3_499, 930), False),
        ("California 910.15, slow cooling", ProductFacts(40, None, 6_000, 930), True),
        ("California 910.15, slow cooling", ProductFacts(39, None, 6_000, 930), False),
        ("California 910.15, slow cooling", ProductFacts(40, None, 5_999, 930), False),
        ("California 910.15, slow cooling", ProductFacts(0, None, 0, 920), True),
        ("California 910.15, slow cooling", ProductFacts(0, None, 0, 921), False),
        ("California 910.15, slow cooling", ProductFacts(156, None, None, 930), None),
        ("California 910.15, slow cooling", UNKNOWN, None),
        # Nothing is asked of the product.
        (ALIAS, UNKNOWN, True),
        ("FSIS Appendix B 1999, option 2", UNKNOWN, True),
        ("FDA Food Code 3-501.14(A)", UNKNOWN, True),
    ],
)
def test_a_product_qualifies_from_exactly_the_printed_figure(
    name: str, product: ProductFacts, answer: bool | None
) -> None:
    qualified, why = qualifies(option(name), product)
    assert qualified is answer
    assert why


@pytest.mark.parametrize(
    ("product", "why"),
    [
        (
            ProductFacts(156, 547, None, None, True),
            "ingoing nitrite is 156 ppm, at least 100 ppm is asked, "
            "ingoing erythorbate or ascorbate is 547 ppm, at least 250 ppm is asked, "
            "the product is fully cooked",
        ),
        (
            ProductFacts(156, None, None, None, None),
            "ingoing erythorbate or ascorbate is not known, "
            "at least 250 ppm is asked, the product is not known to be fully cooked",
        ),
        (
            ProductFacts(78, None, None, None, False),
            "ingoing nitrite is 78 ppm, at least 100 ppm is asked, "
            "the product is not fully cooked",
        ),
    ],
)
def test_the_reason_names_what_decides(product: ProductFacts, why: str) -> None:
    assert qualifies(option("FSIS Appendix B 2021, option 3"), product)[1] == why


def test_alternatives_are_named_one_by_one() -> None:
    product = ProductFacts(156, None, 3_100, 960, True)
    assert qualifies(option("California 910.15, slow cooling"), product) == (
        False,
        "brine is 3.1 %, at least 3.5 % is asked; or: "
        "brine is 3.1 %, at least 6 % is asked; or: "
        "water activity is 0.96, at most 0.92 is asked",
    )


def test_an_option_without_its_edition_is_not_guessed() -> None:
    assert cooling_option("FSIS Appendix B, option 2") is None
    assert cooling_option("FSIS Appendix B, option 3") is None


def test_no_row_was_lost() -> None:
    assert len(OPTIONS) == 11
    assert {row.name for row in OPTIONS} | {ALIAS} == set(COOLING_OPTIONS)
