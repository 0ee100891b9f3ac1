"""rules/standards/humidity.py against the cooking guideline, each row judged.

Source:    FSIS-GD-2021-14 (December 2021), relative humidity: option 1, live steam for
           the longer of half of the cooking time or an hour; option 2, the oven sealed
           for as long; option 3, 90 % relative humidity or more for the longer of a
           quarter or an hour; option 4, 90 % the whole cooking time.  Not needed in
           casings that hold moisture (natural, cellulose, collagen, fibrous, plastic)
           or in a sealed bag.
Rows:      typed from the text; never printed by our own code.
Tolerance: none: percent, halves, quarters and hours as printed.
Not here:  the roast oven temperatures of the Food Code's 3-401.11(B) (350, 325 and 250
           degF): no limit carries them, and the table of whole roasts says so.
"""

from fractions import Fraction

import pytest

from rules.evidence import Span
from rules.facts import Verdict
from rules.humidity import HumidityLimit
from rules.limit import Opening
from rules.standards.cooling import ProductFacts
from rules.standards.humidity import EXEMPT, HUMIDITY_OPTIONS, Casing

HOUR_MS = 3_600_000
MS = 1
ROWS = [  # option, shown by, %RH, share of the cooking time, h at the least
    ("1 (steam)", "steam", 0, "1/2", 1),
    ("2 (sealed oven)", "sealed", 0, "1/2", 1),
    ("3 (90 %)", "readings", 90, "1/4", 1),
    ("4 (90 %, whole cooking time)", "readings", 90, "1", 0),
]
HOLD_MOISTURE = {"natural", "cellulose", "collagen", "fibrous", "plastic", "sealed bag"}
every_row = pytest.mark.parametrize(
    ("option", "by", "percent", "share", "least_h"), ROWS
)


def verdict_of(option: str, moist_ms: int, cooked_ms: int, humidity: int) -> Verdict:
    """Cooked for so long, and as humid as that at first for so long; then dry."""
    chamber = "humidity" if "90 %" in option else "chamber"
    limit = HumidityLimit.model_validate(
        {"limit": "moist", "kind": "humidity", "channel": chamber}
        | {"option": f"FSIS 2021, humidity option {option}", "until": "lethality"}
    )
    state = limit.opened(Opening(0, 0, ProductFacts()))
    state, _ = limit.step(state, Span(0, moist_ms, humidity, humidity))
    if moist_ms < cooked_ms:
        state, _ = limit.step(state, Span(moist_ms, cooked_ms, 0, 0))
    state, _ = limit.over(state, cooked_ms)
    (shown,) = limit.findings(state)
    return shown.verdict


@every_row
def test_each_is_as_printed(
    option: str, by: str, percent: int, share: str, least_h: int
) -> None:
    carried = HUMIDITY_OPTIONS[f"FSIS 2021, humidity option {option}"]
    assert carried.shown_by == by
    assert carried.least_mpct == percent * 1000
    assert Fraction(carried.share_milli, 1000) == Fraction(share)
    assert carried.least_ms == least_h * HOUR_MS


@every_row
@pytest.mark.parametrize("cooked_h", [1, 2, 8])
def test_the_longer_of_the_two_to_the_millisecond(
    option: str, by: str, percent: int, share: str, least_h: int, cooked_h: int
) -> None:
    asked_ms = int(max(Fraction(share) * cooked_h, Fraction(least_h)) * HOUR_MS)
    kept = percent * 1000 or 1  # what people wrote is no figure
    cooked_ms = cooked_h * HOUR_MS
    assert verdict_of(option, asked_ms, cooked_ms, kept) is Verdict.MET
    assert verdict_of(option, asked_ms - MS, cooked_ms, kept) is Verdict.MISSED


def test_a_thousandth_below_90_percent_is_not_enough() -> None:
    assert verdict_of("3 (90 %)", HOUR_MS, HOUR_MS, 89_999) is Verdict.MISSED


def test_the_casings_that_hold_moisture_are_those_of_the_text() -> None:
    assert {str(one) for one in EXEMPT} == HOLD_MOISTURE
    assert set(Casing) - EXEMPT == {Casing.NONE}


def test_no_row_was_lost() -> None:
    assert len(ROWS) == 4
    names = [f"FSIS 2021, humidity option {row[0]}" for row in ROWS]
    assert list(HUMIDITY_OPTIONS) == names
