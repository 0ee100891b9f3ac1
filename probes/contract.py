"""What the settings say of a probe, and what a decoder answers.

A decoder is bytes in and values out: it opens no socket and reads no clock.
"""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple

from rules.channels import Check, Role
from rules.facts import Reading


class Unit(StrEnum):
    """What a probe counts in."""

    CELSIUS = "degC"
    FAHRENHEIT = "degF"
    KELVIN = "K"
    PERCENT = "%RH"


class Raw(StrEnum):
    """What a probe measures that gives no temperature itself."""

    OHM = "ohm"
    MILLIVOLT = "mV"


class Law(StrEnum):
    """What turns a raw value into a temperature."""

    PT100 = "Pt100"
    PT1000 = "Pt1000"
    STEINHART_HART = "Steinhart-Hart"
    TYPE_K = "type K"


@dataclass(frozen=True, slots=True)
class Conversion:
    """How the raw values of one probe become degrees Celsius."""

    law: Law
    coefficients: tuple[Decimal, ...] = ()  # of Steinhart and Hart: a, b, c
    cold: str = ""  # of a thermocouple: the record or pointer of its cold junction

    @property
    def raw(self) -> Raw:
        """What the law begins with."""
        return Raw.MILLIVOLT if self.law is Law.TYPE_K else Raw.OHM


@dataclass(frozen=True, slots=True)
class Probe:
    """What the settings say of one channel before it has said anything."""

    channel: str
    smokehouse: str
    role: Role
    topic: str
    form: str  # the name of one of ``probes.forms``
    unit: Unit
    every_ms: int
    quiet_ms: int
    accuracy_mc: int
    record: str = ""  # SenML: the full name of the record; "" takes the only one
    pointer: str = ""  # JSON: where the value is (RFC 6901)
    time_pointer: str = ""  # JSON: where its time is; "" if it carries none
    identity: str = ""  # of the hardware, where it has one
    identity_pointer: str = ""  # JSON: where the message says it
    conversion: Conversion | None = None  # ``unit`` is what it converts into
    step_mc: int = 0  # these four as in ``rules.channels.Channel``
    drift_mc: int = 0
    lag_mc: int = 0
    checks: tuple[Check, ...] = ()
    due_ms: int = 0  # when it is to be checked again; 0 where that is not told
    battery: str = ""  # JSON: where the charge is, in percent; SenML: its record
    extras: tuple[tuple[str, str], ...] = ()  # keys that only its form knows

    @property
    def bound_to(self) -> str:
        """The hardware that the settings bind it to; "" where they name none.

        Both are in it where they differ: one chip may send several records.
        """
        named = dict.fromkeys(filter(None, (self.identity, self.record)))
        return " as ".join(named)

    def own(self, word: str) -> str:
        """What the settings say under a key that only its form knows; "" if nothing."""
        return dict(self.extras).get(word, "")


BATTERY = ": battery"


def battery_of(channel: str) -> str:
    """The name under which the charge of a channel's battery is kept.

    It is a series of its own, in thousandths of a percent, that no limit judges.
    """
    return channel + BATTERY


def powered_by(name: str) -> str:
    """The channel whose battery's charge is kept under this name; "" if none is."""
    return name.removesuffix(BATTERY) if name.endswith(BATTERY) else ""


NUMBERS = ": samples"
NUMBER_STEP = 1_000  # a number is kept in thousandths, like every value


def numbers_of(channel: str) -> str:
    """The name under which the numbers of a channel's samples are kept."""
    return channel + NUMBERS


def is_numbers(name: str) -> bool:
    """Whether a series holds the numbers of samples."""
    return name.endswith(NUMBERS)


class Arrival(NamedTuple):
    """One message as the broker handed it over."""

    topic: str
    payload: bytes
    received_ms: int
    retained: bool = False
    waited: bool = False  # in the broker's queue before this connection caught up


class Refusal(NamedTuple):
    """What could not be trusted, and why, in words for a person."""

    topic: str
    channel: str  # "" where no channel could be named
    received_ms: int
    why: str
    payload: bytes


Decoded = Reading | Refusal
