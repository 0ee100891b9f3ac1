"""Every published table that ``rules`` carries has its rows typed again here.

A table, or a line of one, that is added without them fails.  Whether the figures are
those of the rows, the file that is named beside each table says.
"""

import importlib
import pkgutil
from collections.abc import Mapping

from rules import standards
from tests.standards.rows_appendix_b import OPTIONS
from tests.standards.rows_food_code import COMMINUTED
from tests.standards.test_appendix_b import ALIAS
from tests.standards.test_cfr_417_5 import ROWS as RETENTION
from tests.standards.test_food_code_3_403_11 import ROWS as REHEATING
from tests.standards.test_growth import AUREUS, HAM, LE_MARC, PARAMETERS
from tests.standards.test_humidity_options import ROWS as HUMIDITY

MEAT = {f"FSIS Appendix A, meat, {target}-log10" for target in ("6.5", "7")}
FOOD_CODE = {f"FDA Food Code 3-401.11, comminuted, {edition}" for edition in COMMINUTED}
ROAST = {"FDA Food Code 3-401.11(B), whole roast"}
UNCURED = "C. perfringens, cooked uncured {}, Juneja 2011"

TYPED = {
    "tables.DWELL_TABLES": MEAT | FOOD_CODE | ROAST,
    "cooling.COOLING_OPTIONS": {row.name for row in OPTIONS} | {ALIAS},
    "growth.GROWTH_MODELS": {*map(UNCURED.format, PARAMETERS), HAM, LE_MARC, AUREUS},
    "humidity.HUMIDITY_OPTIONS": {
        f"FSIS 2021, humidity option {o[0]}" for o in HUMIDITY
    },
    "reheating.REHEATING_OPTIONS": {row[0] for row in REHEATING},
    "retention.RETENTION_DAYS": {row[0] for row in RETENTION},
}
# Of these no mapping is public: what may go into a class, ``test_nitrite_limits`` has.
OTHERS = {"nitrite"}


def carried() -> dict[str, set[str]]:
    """Every public mapping of every module of ``rules.standards``, and its names."""
    found = {}
    for module in pkgutil.iter_modules(standards.__path__):
        holds = vars(importlib.import_module(f"rules.standards.{module.name}"))
        for name, table in holds.items():
            if isinstance(table, Mapping) and name.isupper() and name[0] != "_":
                found[f"{module.name}.{name}"] = {str(key) for key in table}
    return found


def test_every_table_and_every_line_is_typed_again() -> None:
    assert carried() == TYPED


def test_no_module_is_without_a_table() -> None:
    modules = {module.name for module in pkgutil.iter_modules(standards.__path__)}
    assert {name.split(".")[0] for name in TYPED} | OTHERS == modules
