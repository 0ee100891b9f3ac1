"""Reheating for hot holding: how hot, for how long, and within which time.

All parts of the food have to be there, so the figures are for the slowest point of
the slowest piece.  Unsliced roasts are reheated by the cooking table: judge those by
a dwell table.

Units: ``_mc`` thousandths of a degree Celsius; ``_ms`` milliseconds.

Source: FDA Food Code section 3-403.11, as carried in the Code of Maryland
Regulations, 10.15.03.11 C(1) to (4).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from rules.units import fahrenheit_mc

HOUR_MS = 3_600_000


@dataclass(frozen=True, slots=True)
class ReheatingOption:
    """One way to reheat that a published text allows."""

    name: str  # as a schedule writes it
    source: str
    note: str  # to be shown wherever the option decides
    to_mc: int
    run_ms: int  # it stays there for so long
    at_most_ms: int


def _option(name: str, degf: int, run_ms: int, note: str) -> ReheatingOption:
    source = (
        "FDA Food Code section 3-403.11, "
        "as carried in Code of Maryland Regulations 10.15.03.11 C"
    )
    to_mc = fahrenheit_mc(Fraction(degf))
    return ReheatingOption(name, source, note, to_mc, run_ms, 2 * HOUR_MS)


REHEATING_OPTIONS: Mapping[str, ReheatingOption] = {
    one.name: one
    for one in (
        _option("FDA Food Code 3-403.11(A)", 165, 15_000, ""),
        _option(
            "FDA Food Code 3-403.11(C)",
            135,
            0,
            "only for ready-to-eat food from a sealed package of a processing plant",
        ),
    )
}
