"""Models of the growth of bacteria in meat by its temperature: advice, no limit.

Two forms of rate, nothing outside tmin to tmax:

* square root (Ratkowsky): mu = scale (T - tmin)^2 (1 - exp(b (T - tmax)));
  one set of it also goes by acidity and salt: times (aw - aw_min)(2 - aw - aw_min)
  (pH - ph_min), aw = 1 - NaCl (5.2471 + 0.12206 NaCl)/1000;
* cardinal temperatures (Rosso 1993): mu_opt (T - tmax)(T - tmin)^2 / ((topt - tmin)
  ((topt - tmin)(T - topt) - (topt - tmax)(topt + tmin - 2 T))).

``q0`` is the physiological state with which the warm time begins (Baranyi); where no
lag was found it is None: growth is told as if it began at once, which is the most that
the rate allows, and nitrite is not counted.  It is the more of growth, never a guess of
it, and it says nothing of how far the model itself is off.

Left out: roasted chicken and braised beef (Food Control, abstract): a rate without a
lag, and the models of 2011 have one.

Units: rates in ln units per hour; ``b`` per degC; ``_c`` degC; ``_ms`` milliseconds.

Source: Juneja, Marks, Huang, Thippareddi 2011, Food Microbiology 28:791; Juneja, Huang,
Thippareddi 2006, International Journal of Food Microbiology 110:85; Le Marc et al.
2008, the same 128:41; all as carried in a public repository of models (RakipInitiative,
ModelRepository, gropin, scripts 1157 to 1162, 269 and 1317).  The papers were not read.
The unit of the rates of 2011, log10 and not ln, is inferred: it alone comes near what
was published of such cooling.  That of 2006 is not stated: log10, the larger growth, is
taken.  Whether the NaCl of 2008 is a part of the product or of its water was not found:
it is taken of the product, which is less salt, and so the larger growth.  For
Staphylococcus aureus the form and FSIS-GD-2021-14 (none above 120 degF; readings at
least every 30 min) were found, the figures are from memory.  All of it to be verified.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

LN_10 = Decimal("2.302585092994045684")
LN_2 = Decimal("0.693147180559945309")
HALF_HOUR_MS = 1_800_000
# How salt binds water: aw = 1 - NaCl (BINDS + BINDS_MORE NaCl)/1000, NaCl in percent.
BINDS, BINDS_MORE = Decimal("5.2471"), Decimal("0.12206")
MARK = "from memory, to be verified"

NOTE = (
    "Juneja, Marks, Huang, Thippareddi 2011, Food Microbiology 28:791; parameters read "
    "in a copy, unit log10 CFU/h inferred; the paper was not read, so all of it counts "
    f"as {MARK}; advice, decides nothing"
)
CURED_NOTE = (
    "Juneja, Huang, Thippareddi 2006, International Journal of Food Microbiology "
    "110:85; parameters read in a copy, its lag not found and its unit not stated, "
    "log10 CFU/h taken as the larger growth; the paper was not read, so all of it "
    f"counts as {MARK}; advice, decides nothing"
)
LE_MARC_NOTE = (
    "Le Marc et al. 2008, International Journal of Food Microbiology 128:41; figures "
    "read in a copy, its lag not found; for pH 5.0 to 6.2 and 0.5 to 4 % NaCl, taken "
    f"of the whole product; the paper was not read, so all of it counts as {MARK}; "
    "advice, decides nothing"
)
AUREUS_NOTE = (
    "form: Rosso, Lobry, Flandrois 1993, cardinal temperatures; 7, 37 and 50 degC and "
    f"a doubling in 20 min at the best are {MARK}; none above 120 degF, and a gap of "
    "more than 30 min counts as not seen (FSIS-GD-2021-14); advice, decides nothing"
)


@dataclass(frozen=True, slots=True)
class SquareRoot:
    """The square-root form of a rate."""

    scale: Decimal
    tmin_c: Decimal
    b: Decimal
    tmax_c: Decimal


@dataclass(frozen=True, slots=True)
class Medium:
    """How a rate goes by the product's acidity and salt, and where it holds."""

    aw_min: Decimal
    ph_min: Decimal
    ph_milli: tuple[int, int]
    salt_percent_milli: tuple[int, int]


@dataclass(frozen=True, slots=True)
class Cardinal:
    """The form with cardinal temperatures."""

    mu_opt: Decimal
    tmin_c: Decimal
    topt_c: Decimal
    tmax_c: Decimal


@dataclass(frozen=True, slots=True)
class GrowthModel:
    """One set of parameters, and what it is for."""

    name: str  # as a schedule writes it
    meats: frozenset[str]  # of a product, as a schedule writes them
    cured: frozenset[str]
    rate: SquareRoot | Cardinal
    q0: Decimal | None  # None: its lag is not known
    beside: str  # published figures to compare with, in words
    note: str  # its source, with the mark of what was not read
    verified: bool = False
    none_above_c: Decimal | None = None  # below tmax, where a source says so
    medium: Medium | None = None  # None: it knows neither acidity nor salt
    joined_ms: int = 0  # readings farther apart say nothing of between; 0: no rule


ANY_MEAT = frozenset({"pork", "beef", "poultry", "mixed"})
PERFRINGENS = "1.00-log10"  # 9 CFR 318.17(a)(2)
AUREUS = "1.00-log10, above which FSIS asks for a recook or a test, and 3.00, for toxin"
AT_ONCE = "as if growth began at once"


def _lagging(name: str, meat: str, *figures: str) -> GrowthModel:
    a, tmin_c, b, tmax_c, q0 = map(Decimal, figures)
    full = f"C. perfringens, cooked uncured {name}, Juneja 2011"
    rate = SquareRoot(a * a * LN_10, tmin_c, b, tmax_c)
    meats, uncured = frozenset({meat}), frozenset({"no"})
    return GrowthModel(full, meats, uncured, rate, q0, PERFRINGENS, NOTE)


def _cured_ham() -> GrowthModel:
    scale, tmin_c, b, tmax_c = map(Decimal, ("0.00243", "13.5", "0.41", "50.6"))
    return GrowthModel(
        f"C. perfringens, cooked cured pork, {AT_ONCE}, Juneja 2006",
        meats=frozenset({"pork"}),
        cured=frozenset({"yes"}),
        rate=SquareRoot(scale * LN_10, tmin_c, b, tmax_c),
        q0=None,
        beside=PERFRINGENS,
        note=CURED_NOTE,
    )


def _by_ph_and_salt() -> GrowthModel:
    scale, tmin_c, b, tmax_c = map(Decimal, ("7.45", "12.20", "0.095", "54.47"))
    held = ((5_000, 6_200), (500, 4_000))
    return GrowthModel(
        f"C. perfringens, bulk meat by pH and salt, {AT_ONCE}, Le Marc 2008",
        meats=ANY_MEAT,
        cured=frozenset({"yes", "no"}),
        rate=SquareRoot(scale, tmin_c, b, tmax_c),
        q0=None,
        beside=PERFRINGENS,
        note=LE_MARC_NOTE,
        medium=Medium(Decimal("0.9755"), Decimal("4.76"), *held),
    )


def _aureus() -> GrowthModel:
    return GrowthModel(
        f"S. aureus, any meat, {AT_ONCE}, Rosso form",
        meats=ANY_MEAT,
        cured=frozenset({"yes", "no"}),
        rate=Cardinal(3 * LN_2, Decimal(7), Decimal(37), Decimal(50)),
        q0=None,
        beside=AUREUS,
        note=AUREUS_NOTE,
        none_above_c=Decimal("48.889"),  # 120 degF
        joined_ms=HALF_HOUR_MS,
    )


GROWTH_MODELS: Mapping[str, GrowthModel] = {
    one.name: one
    for one in (
        _lagging("beef", "beef", "0.050", "10.15", "0.238", "53.0", "0.0699"),
        _lagging("chicken", "poultry", "0.048", "9.74", "0.208", "52.1", "0.0105"),
        _lagging("pork", "pork", "0.047", "10.69", "0.252", "52.8", "0.0137"),
        _cured_ham(),
        _by_ph_and_salt(),
        _aureus(),
    )
}
