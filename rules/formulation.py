"""Cure arithmetic: how much nitrite goes into the meat, and what the class allows.

Everything counts on green weight and is exact: weights are fractions of a gram,
strengths are parts of the cure's weight (6.25 % is 0.0625).  A strength comes from
the label of the lot in hand and is never taken from a name: cures sold under one
name differ.

A figure is held against a limit after both are rounded to a hundredth of a part per
million, the last digit in which the tightest limit is written (156.25).  So the
everyday dose, 1/4 oz of nitrite on 100 lb, stands at its limit and meets it, weighed
in grams (28.35 g of 6.25 % cure on 25 lb) as in ounces.

Where a weight may be off, the figure has two bounds and a limit between them is
unproven.  Cooking never mends a wrong dose: the limits are on what goes in.

Source: FSIS Processing Inspectors' Calculations Handbook (Directive 7620.3, revision
1995), chapter 3; the weights of ounce and pound are exact by definition (NIST
Handbook 44, appendix C).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from rules.facts import Verdict
from rules.standards.nitrite import (
    FINISHED_NITRITE,
    Bound,
    CureLimit,
    ProductClass,
    Substance,
    cure_limits,
)

MILLION = 1_000_000

GRAMS: Mapping[str, Fraction] = {
    "g": Fraction(1),
    "kg": Fraction(1000),
    "oz": Fraction("28.349523125"),
    "lb": Fraction("453.59237"),
}

# Common practice, no source: outside these a strength has most often been misread.
STRENGTH_DOUBTED_BELOW_PPM = 50
STRENGTH_DOUBTED_FROM_PPM = 400


@dataclass(frozen=True, slots=True)
class Cure:
    """One weighed cure and the strengths on the label of its lot."""

    name: str
    weight_g: Fraction
    nitrite: Fraction  # part of its weight [0 to 1]
    nitrate: Fraction  # part of its weight [0 to 1]
    erythorbate: Fraction = Fraction(0)  # or ascorbate, as the sodium salt [0 to 1]
    off_by: Fraction = Fraction(0)  # part of its weight that may be wrong [0 to 1]
    acid: Fraction = Fraction(0)  # erythorbic or ascorbic [0 to 1]

    def __post_init__(self) -> None:
        """Refuse what cannot be a weight, or a part of one."""
        _must_be_weight(self.name, self.weight_g)
        parts = (self.nitrite, self.nitrate, self.erythorbate, self.acid)
        if min(parts) < 0 or sum(parts) > 1 or not 0 <= self.off_by <= 1:
            raise ValueError(
                f"{self.name}: a strength is a part of the weight from 0 to 1 "
                f"(6.25 % is 0.0625), found {', '.join(map(str, parts))}; "
                f"off by {self.off_by}"
            )


class Span(NamedTuple):
    """A figure in ppm as weighed, between the least and the most it may be."""

    least: Fraction
    measured: Fraction
    most: Fraction


class Ingoing(NamedTuple):
    """What went in, over all cures, in ppm of green weight."""

    nitrite: Span
    nitrate: Span
    erythorbate: Span
    acid: Span  # erythorbic or ascorbic: it has a limit of its own


class CureFinding(NamedTuple):
    """What the weights show of one limit."""

    limit: CureLimit
    verdict: Verdict
    figure: Span
    why: str


def comminuted(meat_g: Fraction, cures: Sequence[Cure]) -> Ingoing:
    """What went into a ground meat block of this green weight.

    Raises:
        ValueError: The weight is not above zero.
    """
    _must_be_weight("meat", meat_g)
    return _ingoing(cures, 1 / Fraction(meat_g))


def pumped(pickle_g: Fraction, taken_up: Fraction, cures: Sequence[Cure]) -> Ingoing:
    """What went in with pickle: pumped, or picked up in immersion (method 1).

    ``taken_up`` is the part of the green weight pumped or picked up (10 % is 0.1);
    the pickle's weight has the cures in it.

    Raises:
        ValueError: The weight is not above zero, or the part not within 0 to 1.
    """
    _must_be_weight("pickle", pickle_g)
    if not 0 < taken_up <= 1:
        raise ValueError(
            f"pickle taken up = {taken_up} is not a part of the meat from 0 to 1 "
            "(10 % is 0.1)"
        )
    return _ingoing(cures, Fraction(taken_up) / Fraction(pickle_g))


def immersed(meat_g: Fraction, pickle_g: Fraction, cures: Sequence[Cure]) -> Ingoing:
    """What went in where meat and pickle are one system (immersion, method 2).

    The exact form is from memory, to be verified.

    Raises:
        ValueError: A weight is not above zero.
    """
    _must_be_weight("meat", meat_g)
    _must_be_weight("pickle", pickle_g)
    return _ingoing(cures, 1 / (Fraction(meat_g) + Fraction(pickle_g)))


def check(
    ingoing: Ingoing, product: ProductClass, *, keep_refrigerated: bool
) -> tuple[CureFinding, ...]:
    """Hold what went in against every ingoing limit of the class, floors included.

    Erythorbic or ascorbic acid is judged where any went in.  The ceiling in the
    finished product is not judged here: no weight can show it, see ``finished``.
    """
    figures = {
        Substance.NITRITE: ingoing.nitrite,
        Substance.NITRATE: ingoing.nitrate,
        Substance.ERYTHORBATE: ingoing.erythorbate,
    }
    if ingoing.acid.most:
        figures[Substance.ERYTHORBIC_ACID] = ingoing.acid
    return tuple(
        _finding(limit, figures[limit.substance], product)
        for limit in cure_limits(product, keep_refrigerated=keep_refrigerated)
        if limit.substance in figures
    )


def finished(product: ProductClass, measured_ppm: int, off_by_ppm: int) -> CureFinding:
    """Hold an analysis of the finished product against its ceiling."""
    least = max(measured_ppm - off_by_ppm, 0)
    bounds = (least, measured_ppm, measured_ppm + off_by_ppm)
    return _finding(FINISHED_NITRITE, Span(*map(Fraction, bounds)), product)


def strength_doubt(ingoing: Ingoing) -> str:
    """Words for a dose so odd that its strength was likely misread, or nothing."""
    ppm = ingoing.nitrite.measured
    if STRENGTH_DOUBTED_BELOW_PPM <= ppm < STRENGTH_DOUBTED_FROM_PPM:
        return ""
    return (
        f"wrong strength? {say_ppm(ppm)} of nitrite is far from any usual dose: read "
        "the strength on the label again, 0.6 % and 6.25 % are both sold"
    )


def say_ppm(ppm: Fraction) -> str:
    """Say a figure to a hundredth, without empty digits: ``156.25 ppm``."""
    hundredths = round(ppm * 100)
    digits = f"{hundredths // 100}.{hundredths % 100:02}"
    return f"{digits.rstrip('0').rstrip('.')} ppm"


def _finding(limit: CureLimit, figure: Span, product: ProductClass) -> CureFinding:
    least, most = round(figure.least, 2), round(figure.most, 2)
    bound = round(limit.ppm, 2)
    if limit.bound is Bound.AT_MOST:
        worst_is_right, best_is_right = most <= bound, least <= bound
    else:
        worst_is_right, best_is_right = least >= bound, most >= bound
    if worst_is_right:
        verdict = Verdict.MET
    elif best_is_right:
        verdict = Verdict.UNPROVEN
    else:
        verdict = Verdict.MISSED
    exactly = ", exactly at the limit" if figure.measured == limit.ppm else ""
    if not exactly and bound in (least, most):
        exactly = ", at the limit once both are rounded to 0.01 ppm"
    span = f", {say_ppm(least)} to {say_ppm(most)}" if least != most else ""
    return CureFinding(
        limit,
        verdict,
        figure,
        f"{limit.substance} is {say_ppm(figure.measured)}{span}; "
        f"{product} asks {limit.bound} {say_ppm(limit.ppm)} ({limit.printed}){exactly}",
    )


def _ingoing(cures: Sequence[Cure], per_g: Fraction) -> Ingoing:
    def span(parts: Sequence[Fraction]) -> Span:
        pairs = [
            (cure.weight_g * part * per_g * MILLION, cure.off_by)
            for cure, part in zip(cures, parts, strict=True)
        ]
        return Span(
            sum((ppm * (1 - off) for ppm, off in pairs), Fraction(0)),
            sum((ppm for ppm, _ in pairs), Fraction(0)),
            sum((ppm * (1 + off) for ppm, off in pairs), Fraction(0)),
        )

    return Ingoing(
        span([cure.nitrite for cure in cures]),
        span([cure.nitrate for cure in cures]),
        span([cure.erythorbate for cure in cures]),
        span([cure.acid for cure in cures]),
    )


def _must_be_weight(name: str, weight_g: Fraction) -> None:
    if weight_g <= 0:
        raise ValueError(f"{name}: a weight is above 0 g, found {weight_g}")
