"""What there is of the surface's humidity: lethality is never said by the core alone.

A casing that holds moisture takes the question away only where the product is not dried
before it is cooked, which no reading shows: it is said as what the schedule says.

Source: FSIS-GD-2021-14, the three critical operating parameters, and table 5, gap 5.
"""

from collections.abc import Sequence

from rules.crosscheck import LETHAL
from rules.schedule import Schedule
from rules.standards.humidity import EXEMPT, EXEMPT_SOURCE
from rules.verdicts import Judged

HUMID = "humidity"
NONE = "no humidity evidence"


def lethal(schedule: Schedule) -> frozenset[str]:
    """The names of the limits that say something of lethality."""
    return frozenset(_named(schedule, *LETHAL))


def humidity(schedule: Schedule, judged: Sequence[Judged]) -> str:
    """The verdict of every humidity limit; or that there is none, and who says why."""
    names = _named(schedule, HUMID)
    found = [f"{one.limit} {one.verdict}" for one in judged if one.limit in names]
    if found:
        return "; ".join(found)
    casing = schedule.product.casing
    if casing in EXEMPT:
        return f"{NONE}; the schedule says casing: {casing} ({EXEMPT_SOURCE})"
    return NONE


def _named(schedule: Schedule, *kinds: str) -> list[str]:
    return [one.name for one in schedule.limits if one.kind in kinds]
