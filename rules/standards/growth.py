"""Models of the growth of Clostridium perfringens in cooked meat that cools.

mu = a^2 (T - tmin)^2 (1 - exp(b (T - tmax))) between tmin and tmax, nothing outside, in
log10 CFU/h; q0 is the physiological state with which the cooling begins.

Only models with a lag are here.  None was found for cured product, and none for
Staphylococcus aureus: nothing is predicted of those.

Units: ``a`` in (log10 CFU/h)^1/2 per degC; ``b`` per degC; ``_c`` degC.

Source: Juneja, Marks, Huang, Thippareddi 2011, Food Microbiology 28:791, as carried in
a public repository of models (RakipInitiative/ModelRepository, gropin, scripts 1157 to
1162).  The paper was not read.  The unit of the rate, log10 and not ln, is inferred: it
alone comes near what was published of such cooling.  All of it to be verified.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

NOTE = (
    "Juneja, Marks, Huang, Thippareddi 2011, Food Microbiology 28:791; parameters read "
    "in a copy, unit log10 CFU/h inferred; the paper was not read, so all of it counts "
    "as from memory, to be verified; advice, decides nothing"
)


@dataclass(frozen=True, slots=True)
class GrowthModel:
    """One published set of parameters."""

    name: str  # as a schedule writes it
    meats: frozenset[str]  # of a product, as a schedule writes them
    a: Decimal
    tmin_c: Decimal
    b: Decimal
    tmax_c: Decimal
    q0: Decimal
    note: str = NOTE


def _model(name: str, meat: str, *figures: str) -> GrowthModel:
    a, tmin_c, b, tmax_c, q0 = map(Decimal, figures)
    full = f"C. perfringens, cooked uncured {name}, Juneja 2011"
    return GrowthModel(full, frozenset({meat}), a, tmin_c, b, tmax_c, q0)


GROWTH_MODELS: Mapping[str, GrowthModel] = {
    one.name: one
    for one in (
        _model("beef", "beef", "0.050", "10.15", "0.238", "53.0", "0.0699"),
        _model("chicken", "poultry", "0.048", "9.74", "0.208", "52.1", "0.0105"),
        _model("pork", "pork", "0.047", "10.69", "0.252", "52.8", "0.0137"),
    )
}
