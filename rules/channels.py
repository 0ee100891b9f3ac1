"""A channel as the engine sees it: a series with a role and a reading period.

Two readings are *joined* when no reading is missing between them, which means no
more than one and a half periods apart.  What lies between readings farther apart
is a hole.

The journal and the record keep what a probe said.  What is judged is corrected by the
check of the probe that was in force then (``rules.calibration``), so a channel carries
the dated history of its checks; a later check never changes what an earlier one says.

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
class Point:
    """One comparison of a probe with a reference."""

    said_mc: int
    reference_mc: int
    within_mc: int  # expanded uncertainty of the reference, k = 2

    @property
    def correction_mc(self) -> int:
        """What has to be added to what the probe said there."""
        return self.reference_mc - self.said_mc


@dataclass(frozen=True, slots=True)
class Check:
    """A probe compared with a reference; it holds until the next one."""

    at_ms: int
    who: str
    points: tuple[Point, ...]  # one (an offset) or two (a line), the colder first


@dataclass(frozen=True, slots=True)
class Channel:
    """One series of readings, as the settings name it."""

    name: str
    role: Role
    every_ms: int  # the period at which its probe reports
    quiet_ms: int  # without a reading for longer than this it is quiet
    accuracy_mc: int  # the true value lies within this much, either way
    probe: str = ""  # hardware identity, where it has one
    step_mc: int = 0  # resolution: the smallest step it shows; 0: not told
    drift_mc: int = 0  # how far it may wander between two checks; 0: not told
    lag_mc: int = 0  # how far it may be behind on the steepest slope it sees
    checks: tuple[Check, ...] = ()  # by date

    @property
    def joined_ms(self) -> int:
        """The longest time between two readings that still belong together."""
        return self.every_ms * 3 // 2
