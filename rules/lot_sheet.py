"""A lot sheet: what was weighed into one lot, and what that allows to be claimed.

Three denominators are kept apart: nitrite, nitrate and accelerators count on the
green weight of the meat block; brine counts on the water of the mix; added water
counts on the mix.  A strength stands on the label of the lot in hand and is written
here, never taken from a name.

``facts`` is what the cooling options may ask, at its least favourable: rounded down,
every weight off by as much as it may be.  The brine is that of the mix as it was
weighed: drying in the smokehouse only raises it.

Source: FSIS Processing Inspectors' Calculations Handbook (Directive 7620.3, revision
1995), chapter 3; brine as 100 * salt / (salt + water) is from memory, to be verified.
"""

from collections.abc import Iterator
from fractions import Fraction
from typing import Literal, NamedTuple

from pydantic import Field, model_validator

from rules.facts import Verdict
from rules.faults import Fault
from rules.formulation import (
    MILLION,
    Cure,
    CureFinding,
    Ingoing,
    check,
    comminuted,
    finished,
    pumped,
)
from rules.limit import Written
from rules.reader import Marked, is_one_of, marked_tree, validated
from rules.standards.cooling import COOLING_OPTIONS, ProductFacts, qualifies
from rules.standards.nitrite import ProductClass
from rules.units import ActivityMilli, PhMilli, Ppm, refused
from rules.weights import Share, Weight, say_g, say_share

# No source: above the strength of every premix we know of; from here on it is nitrite
# for plants that dilute it themselves.
PURE_FROM = Fraction("0.2")

WITH_PICKLE = {
    ProductClass.PUMPED,
    ProductClass.BACON_PUMPED,
    ProductClass.BACON_IMMERSION,
}


class CureWeighed(Written):
    """One cure, as its label and the scale say."""

    name: str = Field(alias="cure", min_length=1)
    weight_g: Weight = Field(alias="weight")
    nitrite: Share
    nitrate: Share = Fraction(0)
    salt: Share = Fraction(0)
    off_by_g: Weight | None = Field(default=None, alias="off by")
    checked_by: str = Field(default="", alias="checked by")

    @model_validator(mode="after")
    def _parts_of_it(self) -> "CureWeighed":
        if self.nitrite + self.nitrate + self.salt > 1:
            parts = "nitrite, nitrate and salt are together more than the cure"
            raise refused(parts, "write what the label says")
        if self.off_by_g is not None and self.off_by_g > self.weight_g:
            raise refused("it may be off by more than it weighs", "weigh it again")
        return self


class Accelerator(Written):
    """A sodium salt or an acid, as weighed: each has a limit of its own.

    Only the salts count for what a cooling option asks of erythorbate or ascorbate.
    """

    name: Literal[
        "sodium erythorbate", "sodium ascorbate", "erythorbic acid", "ascorbic acid"
    ] = Field(alias="accelerator")
    weight_g: Weight = Field(alias="weight")


class Pickle(Written):
    """The whole pickle, cures and salt in it, and how much the meat took up."""

    weight_g: Weight = Field(alias="weight")
    taken_up: Share = Field(alias="taken up", gt=0)


class Analysis(Written):
    """What was measured of the nitrite in the finished product, and by whom."""

    measured_ppm: Ppm = Field(alias="measured")
    off_by_ppm: Ppm = Field(default=0, alias="off by")
    report: str = Field(min_length=1)


class LotSheet(Written):
    """What was weighed into one lot."""

    title: str = Field(alias="lot sheet", min_length=1)
    product: ProductClass = Field(alias="product class")
    keep_refrigerated: Literal["yes", "no"] = Field(alias="keep refrigerated")
    cooked: Literal["fully", "partially"] | None = None
    meat_g: Weight = Field(alias="meat")  # green: meat, byproducts, poultry
    poultry: Literal["yes", "no"] | None = None  # any at all in the meat block
    moisture: Share | None = Field(default=None, alias="meat moisture")
    water_g: Weight | None = Field(default=None, alias="water")
    salt_g: Weight | None = Field(default=None, alias="salt")
    cures: tuple[CureWeighed, ...] = Field(min_length=1)
    accelerators: tuple[Accelerator, ...] = ()
    pickle: Pickle | None = None
    water_activity_milli: ActivityMilli | None = Field(
        default=None, alias="water activity"
    )
    ph_milli: PhMilli | None = Field(default=None, alias="pH")  # measured
    finished: Analysis | None = Field(default=None, alias="finished nitrite")
    notes: str = ""

    @property
    def ingoing(self) -> Ingoing:
        """What went in, in ppm of green weight."""
        cures = [
            Cure(
                cure.name,
                cure.weight_g,
                cure.nitrite,
                cure.nitrate,
                off_by=(cure.off_by_g or Fraction(0)) / cure.weight_g,
            )
            for cure in self.cures
        ]
        cures += [
            Cure(one.name, one.weight_g, Fraction(0), Fraction(0), salt, acid=1 - salt)
            for one in self.accelerators
            for salt in [Fraction(one.name.startswith("sodium "))]
        ]
        if self.pickle:
            return pumped(self.pickle.weight_g, self.pickle.taken_up, cures)
        return comminuted(self.meat_g, cures)

    @property
    def findings(self) -> tuple[CureFinding, ...]:
        """What the weights show of every limit of the class, and an analysis."""
        keep = self.keep_refrigerated == "yes"
        found = check(self.ingoing, self.product, keep_refrigerated=keep)
        if one := self.finished:
            end = finished(self.product, one.measured_ppm, one.off_by_ppm)
            found = (*found, end._replace(why=f"{end.why}, by {one.report}"))
        return found

    @property
    def brine(self) -> Fraction | None:
        """Salt as a part of salt and water; None where the water is not known."""
        if self.moisture is None:
            return None
        salt_g = self._salt_g * self._entered
        water_g = self.meat_g * self.moisture + (self.water_g or 0) * self._entered
        return salt_g / (salt_g + water_g) if salt_g + water_g else None

    @property
    def added_water(self) -> Fraction:
        """Water as a part of all that was weighed into the mix."""
        return (self.water_g or Fraction(0)) * self._entered / self._mix_g

    @property
    def salt(self) -> Fraction | None:
        """Salt as a part of the mix; None where none is written."""
        return (
            None if self.salt_g is None else self._salt_g * self._entered / self._mix_g
        )

    @property
    def _mix_g(self) -> Fraction:
        if self.pickle:
            return self.meat_g * (1 + self.pickle.taken_up)
        others_g = sum((one.weight_g for one in self.accelerators), Fraction(0))
        others_g += sum((cure.weight_g for cure in self.cures), Fraction(0))
        return self.meat_g + (self.water_g or 0) + (self.salt_g or 0) + others_g

    @property
    def facts(self) -> ProductFacts:
        """What a cooling option or a model may ask, at the least favourable."""
        ingoing, brine, salt = self.ingoing, self.brine, self.salt
        return ProductFacts(
            nitrite_ppm=int(round(ingoing.nitrite.least, 2)),
            erythorbate_ppm=int(round(ingoing.erythorbate.least, 2)),
            brine_percent_milli=None if brine is None else int(brine * 100_000),
            water_activity_milli=self.water_activity_milli,
            fully_cooked=None if self.cooked is None else self.cooked == "fully",
            ph_milli=self.ph_milli,
            salt_percent_milli=None if salt is None else int(salt * 100_000),
        )

    @property
    def stops(self) -> tuple[str, ...]:
        """Why nobody should go on with this lot before asking, in words."""
        return tuple(
            f"STOP: {cure.name} is {say_share(cure.nitrite)} nitrite, which is no "
            "curing premix. A few grams of it can kill. Do not mix or taste; put it "
            "apart, read the label with a second person, and write their initials as "
            "'checked by'"
            for cure in self.cures
            if cure.nitrite >= PURE_FROM and not cure.checked_by
        )

    @property
    def breached(self) -> bool:
        """Whether a limit is missed or unproven, or somebody must be asked first."""
        doubtful = any(one.verdict is not Verdict.MET for one in self.findings)
        return doubtful or bool(self.stops)

    @property
    def workings(self) -> tuple[str, ...]:
        """How the nitrite was worked out, cure by cure."""
        if self.pickle:
            up = say_share(self.pickle.taken_up)
            per = f"x {up} / {say_g(self.pickle.weight_g)} of pickle"
        else:
            per = f"/ {say_g(self.meat_g)} green weight"
        return tuple(
            f"{cure.name}: {say_g(cure.weight_g)} x {say_share(cure.nitrite)} {per} "
            f"x {MILLION:,}".replace(",", " ")
            for cure in self.cures
        )

    @property
    def _salt_g(self) -> Fraction:
        carried = sum((cure.weight_g * cure.salt for cure in self.cures), Fraction(0))
        return (self.salt_g or Fraction(0)) + carried

    @property
    def _entered(self) -> Fraction:
        """Which part of what was weighed went into the meat."""
        if self.pickle is None:
            return Fraction(1)
        return self.pickle.taken_up * self.meat_g / self.pickle.weight_g


class Claim(NamedTuple):
    """Whether the lot may be cooled by an option; None where a fact is missing."""

    option: str
    may: bool | None
    why: str
    verified: bool  # the option's figures were read, not remembered


def claims(facts: ProductFacts) -> Iterator[Claim]:
    """Every cooling option, and whether a product of these facts may use it."""
    for name, option in COOLING_OPTIONS.items():
        yield Claim(name, *qualifies(option, facts), option.verified)


def read_lot_sheet(path: str, text: str) -> LotSheet | list[Fault]:
    """Read a lot sheet, or say everything that is wrong with it."""
    marked = marked_tree(path, text)
    if isinstance(marked, list):
        return marked
    sheet = validated(marked, LotSheet)
    wrong = sheet if isinstance(sheet, list) else []
    return sorted({*wrong, *_crossed(marked)}) or sheet


def _crossed(marked: Marked) -> Iterator[Fault]:
    """Whether the class and the pickle belong together."""
    tree = marked.tree if isinstance(marked.tree, dict) else {}
    product = tree.get("product class")
    if is_one_of(product, ProductClass):
        wants = product in WITH_PICKLE
        if wants and "pickle" not in tree:
            right = "add a line: pickle: {weight: ..., taken up: ... %}"
            found = f"{product!r} takes its cure from a pickle, and none is written"
            yield marked.fault(("product class",), found, right)
        elif not wants and "pickle" in tree:
            found = f"{product!r} takes up no pickle"
            right = "take it out, or write another product class"
            yield marked.fault(("pickle",), found, right, on_key=True)
