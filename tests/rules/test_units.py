"""Quantities as people write them.

Degrees Fahrenheit are checked against fixed points that any physics text gives
(water freezes at 32 degF = 0 degC and boils at 212 degF = 100 degC, the scales meet
at -40) and against the exact fraction 5/9 worked out by hand.
"""

from fractions import Fraction

import pytest
from pydantic_core import PydanticCustomError

from daemon.canonical import encode
from rules.units import (
    difference,
    doubt,
    duration,
    fahrenheit_mc,
    say_k,
    say_mc,
    say_ms,
    temperature,
)


@pytest.mark.parametrize(
    ("text", "mc"),
    [
        ("4 degC", 4_000),
        ("4degC", 4_000),
        ("-18 degC", -18_000),
        ("0.0625 degC", 62),  # a tie goes to the even
        ("0.0635 degC", 64),
        ("32 degF", 0),
        ("212 degF", 100_000),
        ("-40 degF", -40_000),
        ("130 degF", 54_444),  # 98 * 5 / 9 = 54.444...
        ("39.2 degF", 4_000),
        ("40 degF", 4_444),
        ("-273.15 degC", -273_150),
        ("1000 degC", 1_000_000),
    ],
)
def test_a_temperature_is_read_exactly(text: str, mc: int) -> None:
    assert temperature(text) == mc


def test_a_reading_of_130_degf_stands_on_a_limit_of_130_degf() -> None:
    assert fahrenheit_mc(Fraction(130)) == temperature("130 degF")


@pytest.mark.parametrize(
    ("text", "ms"),
    [
        ("0 s", 0),
        ("10 s", 10_000),
        ("0.5 s", 500),
        ("15 min", 900_000),
        ("1.5 h", 5_400_000),
        (" 3 h ", 10_800_000),
    ],
)
def test_a_length_of_time_is_read_exactly(text: str, ms: int) -> None:
    assert duration(text) == ms


def test_a_difference_is_in_kelvins() -> None:
    assert difference("0.5 K") == 500


@pytest.mark.parametrize(
    ("text", "mc"),
    [("0.5 K", 500), ("0.0625 K", 63), ("0.0005 K", 1), ("0.0001 K", 1), ("0 K", 0)],
)
def test_what_a_probe_may_be_off_is_never_read_as_less(text: str, mc: int) -> None:
    """A twelfth bit of a common 1-wire sensor is a sixteenth of a kelvin."""
    assert doubt(text) == mc


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("60", "'60' has no unit: a temperature is wanted"),
        ("60 C", "'60 C' is not a temperature"),
        ("60 degc", "'60 degc' is not a temperature"),
        ("sixty degC", "'sixty degC' is not a temperature"),
        ("1e2 degC", "'1e2 degC' is not a temperature"),
        ("", "'' is not a temperature"),
        ("60 {found} {remedy}", "'60 {found} {remedy}' is not a temperature"),
        ("1:30", "'1:30' is not a temperature: it may mean 1 h 30 min or 1 min 30 s"),
        ("60,5 degC", "'60,5 degC' is not a temperature: it may mean 60.5 or 605"),
        ("-273.16 degC", "'-273.16 degC' is outside -273.15 degC to 1000 degC"),
        ("1000.001 degC", "'1000.001 degC' is outside -273.15 degC to 1000 degC"),
    ],
)
def test_what_is_no_temperature_is_said_as_written(text: str, found: str) -> None:
    with pytest.raises(PydanticCustomError) as refusal:
        temperature(text)
    assert (refusal.value.context or {})["found"] == found


@pytest.mark.parametrize("text", ["1:30", "1:30 h", "1:30 min", "1:30min"])
def test_a_time_like_a_clocks_is_refused_with_both_readings(text: str) -> None:
    both = "it may mean 1 h 30 min or 1 min 30 s"
    with pytest.raises(PydanticCustomError, match=both):
        duration(text)


@pytest.mark.parametrize(
    "text", ["90", "1:30", "15 m", "3 hours", "-1 s", "0.0001 s", "1,5 h", "1 h 30 min"]
)
def test_what_is_no_length_of_time_is_refused(text: str) -> None:
    with pytest.raises(PydanticCustomError):
        duration(text)


@pytest.mark.parametrize("text", ["1", "1 degC", "-1 K", "1 k"])
def test_what_is_no_difference_is_refused(text: str) -> None:
    with pytest.raises(PydanticCustomError):
        difference(text)


@pytest.mark.parametrize(
    ("mc", "words"),
    [
        (0, "0.0 degC"),
        (62_000, "62.0 degC"),
        (54_444, "54.4 degC"),
        (-18_060, "-18.1 degC"),
        (-40, "0.0 degC"),  # no minus before nothing
        (-60, "-0.1 degC"),
        (69_950, "70.0 degC"),  # a tie goes to the even tenth
        (69_850, "69.8 degC"),
    ],
)
def test_a_temperature_is_said_to_a_tenth(mc: int, words: str) -> None:
    assert say_mc(mc) == words


def test_a_difference_is_said_in_kelvins() -> None:
    assert say_k(500) == "0.5 K"


def test_what_is_written_in_degf_is_said_in_degf_and_what_is_measured_like_it() -> None:
    """By hand: 62 degC is 143.6 degF, and 10 K are 18 degrees Fahrenheit."""
    limit_mc = temperature("130 degF")
    assert say_mc(limit_mc) == "130.0 degF"
    assert say_mc(temperature("-40 degF")) == "-40.0 degF"
    assert say_mc(62_000, limit_mc) == "143.6 degF"
    assert say_mc(limit_mc, temperature("62 degC")) == "54.4 degC"
    assert say_k(10_000, limit_mc) == "18.0 degF"


def test_the_unit_is_no_part_of_the_figure() -> None:
    limit_mc = temperature("130 degF")
    assert limit_mc == 54_444 and hash(limit_mc) == hash(54_444)
    assert encode([limit_mc]) == b"[54444]"
    assert type(limit_mc + 0) is int


def test_every_whole_degf_is_said_as_it_is_written() -> None:
    for degf in range(-40, 400):
        assert say_mc(temperature(f"{degf} degF")) == f"{degf}.0 degF"


@pytest.mark.parametrize(
    ("ms", "words"),
    [
        (0, "0 s"),
        (999, "0.999 s"),
        (10_000, "10 s"),
        (60_000, "1 min"),
        (560_000, "9 min 20 s"),
        (3_600_000, "1 h"),
        (5_400_000, "1 h 30 min"),
        (-60_000, "-1 min"),
    ],
)
def test_a_length_of_time_is_said_by_its_largest_parts(ms: int, words: str) -> None:
    assert say_ms(ms) == words
