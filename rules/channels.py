"""A channel as the engine sees it: a series with a role and a reading period.

Two readings are *joined* when no reading is missing between them, which means no
more than one and a half periods apart.  What lies between readings farther apart
is a hole.

Units: ``_ms`` milliseconds; ``_mc`` as in ``rules.facts``.
"""

from dataclasses import dataclass
from enum import StrEnum


class Role(StrEnum):
    """What a probe sits in."""

    CHAMBER = "chamber"
    CORE = "core"
    WET_BULB = "wet-bulb"
    HUMIDITY = "humidity"
    AMBIENT = "ambient"
    BATH = "bath"
    COOLER = "cooler"
    MEAT = "meat"


@dataclass(frozen=True, slots=True)
class Channel:
    """One series of readings, as the settings name it."""

    name: str
    role: Role
    every_ms: int  # the period at which its probe reports
    quiet_ms: int  # without a reading for longer than this it is quiet
    accuracy_mc: int  # the true value lies within this much, either way
    probe: str = ""  # hardware identity, where it has one

    @property
    def joined_ms(self) -> int:
        """The longest time between two readings that still belong together."""
        return self.every_ms * 3 // 2
