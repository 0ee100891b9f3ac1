"""How long the records of a product are kept at the least.

The words say a year and two; counted in days here, each at its longest, so that a
leap year never makes it too short.

Source: 9 CFR 417.5(e)(1).
"""

from enum import StrEnum


class Storage(StrEnum):
    """How the product is kept after it leaves the smokehouse."""

    REFRIGERATED = "refrigerated"
    FROZEN = "frozen"
    PRESERVED = "preserved"
    SHELF_STABLE = "shelf-stable"


YEAR_DAYS = 366
RETENTION_DAYS = {
    Storage.REFRIGERATED: YEAR_DAYS,
    Storage.FROZEN: 2 * YEAR_DAYS,
    Storage.PRESERVED: 2 * YEAR_DAYS,
    Storage.SHELF_STABLE: 2 * YEAR_DAYS,
}
LONGEST_DAYS = max(RETENTION_DAYS.values())
