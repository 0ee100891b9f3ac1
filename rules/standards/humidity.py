"""Humidity options: how much moisture around the product, for how long.

The third of the critical operating parameters of the FSIS cooking guideline, beside
come-up time and the end point.  The time asked for is the longer of a share of the
cooking time and an hour; it may be split into several periods.  Cooking time runs from
loading into the heated oven, drying included, until lethality is reached.  Only product
that is cooked for an hour or more can claim one of these; the last option asks for the
whole cooking time, however long that is.

An option that is shown by what people did (steam let in, dampers and doors closed) asks
for no figure of humidity.

Units: ``_mpct`` thousandths of a percent of relative humidity; ``_milli`` thousandths;
``_ms`` milliseconds.

Source: FSIS Cooking Guideline for Meat and Poultry Products, FSIS-GD-2021-14 (December
2021), relative humidity options 1 to 4, key definitions and table 5.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

HOUR_MS = 3_600_000
ENDPOINT_MC = 62_778  # 145 degF: the options that people show ask for it, or more
SOURCE = "FSIS-GD-2021-14, relative humidity option"


class Shown(StrEnum):
    """What shows that an option was kept."""

    READINGS = "readings"
    STEAM = "steam"  # live steam was let in
    SEALED = "sealed"  # dampers and doors were closed


@dataclass(frozen=True, slots=True)
class HumidityOption:
    """One way to keep the surface moist that a published text allows."""

    name: str  # as a schedule writes it
    source: str
    shown_by: Shown
    least_mpct: int  # 0 where no figure is asked for
    share_milli: int  # of the cooking time
    least_ms: int  # and never less than this


HUMIDITY_OPTIONS: Mapping[str, HumidityOption] = {
    one.name: one
    for one in (
        HumidityOption(
            "FSIS 2021, humidity option 1 (steam)",
            f"{SOURCE} 1; for an end point of 145 degF or more",
            Shown.STEAM,
            0,
            500,
            HOUR_MS,
        ),
        HumidityOption(
            "FSIS 2021, humidity option 2 (sealed oven)",
            f"{SOURCE} 2; for an end point of 145 degF or more; not where the product "
            "is dried before it is cooked",
            Shown.SEALED,
            0,
            500,
            HOUR_MS,
        ),
        HumidityOption(
            "FSIS 2021, humidity option 3 (90 %)",
            f"{SOURCE} 3",
            Shown.READINGS,
            90_000,
            250,
            HOUR_MS,
        ),
        HumidityOption(
            "FSIS 2021, humidity option 4 (90 %, whole cooking time)",
            f"{SOURCE} 4",
            Shown.READINGS,
            90_000,
            1000,
            0,
        ),
    )
}


class Casing(StrEnum):
    """What is around the product, of what the guideline names."""

    NATURAL = "natural"
    CELLULOSE = "cellulose"
    COLLAGEN = "collagen"
    FIBROUS = "fibrous"
    PLASTIC = "plastic"
    BAG = "sealed bag"  # impermeable to moisture
    NONE = "none"


# They hold moisture; dried before it is cooked, a product is exempt no more.
EXEMPT = frozenset(Casing) - {Casing.NONE}
EXEMPT_SOURCE = (
    "FSIS-GD-2021-14, humidity not needed; not where it is dried before it is cooked"
)
