"""rules/spots.py: temperatures of several pieces, taken by hand, are one set.

Source: FSIS Appendix A (9 CFR 318.17), meat, 6.5-log10: at 158 degF (70.0 degC) the
reduction is achieved instantly.
"""

import pytest

from rules.spots import (
    Spots,
    Thermometer,
    against,
    counted,
    read,
    standing_of,
    text_of,
)
from tests.rules.stories import schedule

TOLD = schedule(
    """\
stages:
  - {stage: cook, ends: when every core rises to 158 degF}
  - {stage: chill, ends: when every core falls to 4 degC}
limits:
  - {limit: lethality, kind: dwell table, channel: core,
     table: "FSIS Appendix A, meat, 6.5-log10"}
"""
)
ENDS, ROW = "stage cook is ", "limit lethality is "
THERE, NOT = "borne out: every piece", "NOT borne out: not every piece"


def test_a_set_is_read_and_said_piece_by_piece() -> None:
    spots = read("72.1, 71.8 73.0 degC", "0.5 K")
    assert spots == Spots((72_100, 71_800, 73_000), 500)
    assert (spots.least_mc, spots.most_mc) == (71_300, 73_500)
    assert text_of(spots, "TH-2", "calibrated 2026-01-02") == (
        "3 pieces by hand: 72.1 degC, 71.8 degC, 73.0 degC; the lowest 71.8 degC; "
        "with TH-2, within 0.5 K, calibrated 2026-01-02"
    )
    assert counted(text_of(spots, "TH-2", "calibrated 2026-01-02")) == spots
    assert counted(text_of(spots, "TH-2", "advice alone: it is not")) is None


@pytest.mark.parametrize(
    ("at_ms", "words"),
    [
        (99, "advice alone: it is calibrated from 1970-01-01 on"),
        (100, "calibrated 1970-01-01, due 1970-01-02"),
        (86_400_000, "advice alone: its calibration was due on 1970-01-02"),
    ],
)
def test_a_thermometer_counts_from_its_calibration_until_it_is_due(
    at_ms: int, words: str
) -> None:
    assert standing_of(Thermometer("TH-2", 500, 100, 86_400_000), at_ms) == words
    assert standing_of(None, at_ms).startswith("advice alone: no thermometer")


def test_a_set_in_fahrenheit_is_read() -> None:
    assert read("158 degF", "0 K").values_mc == (70_000,)


@pytest.mark.parametrize(
    ("pieces", "within", "borne_out"),
    [
        ("158 degF", "0 K", True),
        ("157.9 degF", "0 K", False),
        ("70.5, 90 degC", "0.5 K", True),
        ("70.4, 90 degC", "0.5 K", False),  # the lowest governs, less its doubt
        ("90, 90, 90, 69.9 degC", "0 K", False),
    ],
)
def test_the_lowest_governs(pieces: str, within: str, borne_out: bool) -> None:
    ends, row = against(TOLD, "cook", read(pieces, within))
    word = THERE if borne_out else NOT
    assert ends.startswith(ENDS + word)
    assert ends.endswith("158.0 degF")
    assert row.startswith(ROW + word)


def test_where_a_core_has_to_fall_the_highest_governs() -> None:
    for pieces, word in (("3.4, 3.5 degC", THERE), ("0, 3.6 degC", NOT)):
        ends, _ = against(TOLD, "chill", read(pieces, "0.5 K"))
        assert ends.startswith(f"stage chill is {word}")


@pytest.mark.parametrize(
    ("pieces", "within", "why"),
    [
        ("72.1", "0.5 K", "are not the temperatures of pieces"),
        ("degC", "0.5 K", "are not the temperatures of pieces"),
        ("72.1, hot degC", "0.5 K", "is not a temperature"),
        ("72.1 K", "0.5 K", "is not a temperature"),
        # A decimal comma, as much of the world writes it: never two pieces.
        ("72,1 degC", "0.5 K", "it may mean 72.1 or 721"),
        ("72,1, 71,8 degC", "0.5 K", "it may mean 72.1 or 721"),
        ("72.1, 71,8 degC", "0.5 K", "it may mean 71.8 or 718"),
        ("72.1 degC", "0.5 degC", "is not a difference of temperature"),
        ("9999 degC", "0.5 K", "is outside"),
        ("72 " * 51 + "degC", "0.5 K", "are not the temperatures of pieces"),
    ],
)
def test_what_is_no_set_is_refused(pieces: str, within: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        read(pieces, within)
