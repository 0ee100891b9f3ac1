"""The short form of the spoilt inputs, and that they are about something."""

import random

import pytest

from probes.contract import Arrival, Unit
from probes.decode import decode
from probes.forms import FORMS
from rules.facts import Reading
from tests.faults import fuzz
from tests.faults.soak import slope


def test_spoilt_inputs_break_nothing() -> None:
    report = fuzz.fuzz(20_000, seed=7)
    assert report.inputs == 20_000
    assert report.failures == ()


def test_the_inputs_that_are_spoilt_are_right_to_begin_with() -> None:
    targets = list(fuzz.targets())
    assert {target.name.split()[0] for target in targets} >= set(FORMS)
    for target in targets:
        assert target.seeds
        for seed in target.seeds:
            assert fuzz.tried(target, seed) == ""


def test_what_reaches_the_decoders_is_half_right() -> None:
    """Spoilt so much that all is refused would try nothing but the first check."""
    chance = random.Random(3)
    target = fuzz.decoder("senml", Unit.CELSIUS)
    probes = fuzz.probes_of("senml", Unit.CELSIUS)
    found = [
        isinstance(one, Reading)
        for _ in range(2_000)
        for one in decode(
            probes, Arrival("yard", fuzz.spoil(chance, target.seeds), fuzz.NOW_MS)
        )
    ]
    assert 0.02 < sum(found) / len(found) < 0.9


def test_a_reader_that_raises_or_never_ends_is_found_out() -> None:
    def hangs(_: bytes) -> None:
        while True:
            pass

    raises = fuzz.Target("raises", (b"x",), lambda octets: print(octets[5]))
    assert "IndexError" in fuzz.tried(raises, b"x")
    assert "TooLongError" in fuzz.tried(fuzz.Target("hangs", (b"x",), hangs), b"x")


def test_the_slope_is_that_of_the_line_of_least_squares() -> None:
    assert slope([(0, 1), (1, 3), (2, 5)]) == pytest.approx(2)
    # Anscombe's first set: the slope is 0.500 (Anscombe, 1973, from memory).
    xs = (10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5)
    ys = (8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68)
    assert slope(list(zip(xs, ys, strict=True))) == pytest.approx(0.5, abs=0.001)
