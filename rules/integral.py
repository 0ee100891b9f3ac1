"""The general method: a course of temperatures as time at one reference temperature.

The rate at a temperature is 10 ** ((value - reference) / z); the integral of the
rate over time, F, is how long the reference temperature would have taken to do the
same.  Divided by D, the time for one decimal reduction at the reference, it is a
log reduction.  Who uses it names D, z and the reference; none is built in.

A rate is worked out once per distinct integer temperature in ``decimal`` and kept
as a whole number of thousand-millionths, so the same samples give the same answer on
every machine and sums do not depend on their order.  Only the ratio of temperatures
counts, so the three may be thousandths of any one kind of degree.

Samples given to one call are joined: nothing is missing between them.  What lies
across a hole is another call; nothing is credited for the hole.  Samples out of order
raise ``ValueError``: to put them in order is the caller's work.

Units: ``_mc`` thousandths of a degree; ``_ms`` milliseconds; ``_e9``
thousand-millionths; ``_mlog10`` thousandths of a decimal reduction.

Source: the general method of Bigelow, Bohart, Richardson and Ball (1920), that name
and year from memory, to be verified; the formula is that of the worked examples in
``tests/standards/test_worked_f_values.py``.
"""

from collections.abc import Iterator, Sequence
from decimal import ROUND_HALF_EVEN, Context, Decimal
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

E9 = 1_000_000_000

# Far more digits than are kept, so that what is kept does not depend on the last one.
_EXACT = Context(prec=40, rounding=ROUND_HALF_EVEN)
_LN_10 = _EXACT.ln(Decimal(10))

Sample = tuple[int, int]  # at_ms, value_mc


class Sum(NamedTuple):
    """What a course still has to add up to, in milliseconds at the reference."""

    needed_e9: int
    reference_mc: int
    z_mc: int


@lru_cache(maxsize=1 << 16)
def rate_e9(value_mc: int, reference_mc: int, z_mc: int) -> int:
    """The rate at a temperature: 1e9 at the reference, ten times as much z above.

    Raises:
        ValueError: z is not above zero.
    """
    if z_mc <= 0:
        raise ValueError(f"z = {z_mc} is not above 0")
    decades = _EXACT.divide(Decimal(value_mc - reference_mc), Decimal(z_mc))
    rate = _EXACT.exp(_EXACT.multiply(decades, _LN_10))
    return int(_EXACT.to_integral_value(_EXACT.multiply(rate, E9)))


def trapezoid(samples: Sequence[Sample], reference_mc: int, z_mc: int) -> int:
    """The equivalent milliseconds by the trapezoid rule, to the nearest."""
    doubled_e9 = sum(
        lasted_ms * (one_e9 + other_e9)
        for lasted_ms, one_e9, other_e9 in _stretches(samples, reference_mc, z_mc)
    )
    return (doubled_e9 + E9) // (2 * E9)


def lower(samples: Sequence[Sample], reference_mc: int, z_mc: int) -> int:
    """The equivalent milliseconds to credit: each stretch at its colder end."""
    least_e9 = sum(
        lasted_ms * min(one_e9, other_e9)
        for lasted_ms, one_e9, other_e9 in _stretches(samples, reference_mc, z_mc)
    )
    return least_e9 // E9


def upper(samples: Sequence[Sample], reference_mc: int, z_mc: int) -> int:
    """The equivalent milliseconds to charge: each stretch at its hotter end."""
    most_e9 = sum(
        lasted_ms * max(one_e9, other_e9)
        for lasted_ms, one_e9, other_e9 in _stretches(samples, reference_mc, z_mc)
    )
    return -(-most_e9 // E9)


def log_reduction(equivalent_ms: int, d_ms: int) -> int:
    """The decimal reduction, in thousandths, rounded down.

    Raises:
        ValueError: D is not above zero.
    """
    if d_ms <= 0:
        raise ValueError(f"D = {d_ms} ms is not above 0")
    return 1000 * equivalent_ms // d_ms


def _stretches(
    samples: Sequence[Sample], reference_mc: int, z_mc: int
) -> Iterator[tuple[int, int, int]]:
    """How long each stretch between samples lasted, and the rates at its ends."""
    for before, after in pairwise(samples):
        if after[0] < before[0]:
            raise ValueError(f"{after} is older than {before}")
        yield (
            after[0] - before[0],
            rate_e9(before[1], reference_mc, z_mc),
            rate_e9(after[1], reference_mc, z_mc),
        )
