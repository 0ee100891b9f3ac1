"""Sensors that the kernel shows under ``/sys/class/hwmon``.

``temp1_input`` is in thousandths of a degree Celsius, ``humidity1_input`` in
thousandths of a percent.  ``temp1_fault`` that is 1 says that the sensor is broken
or not connected, whatever ``temp1_input`` holds.

Source: Linux, Documentation/hwmon/sysfs-interface.rst, from memory, to be verified.
"""

import re
from collections.abc import Collection

from probes.attributes import Measured, Texts, is_set, number_in, times
from probes.doubts import Doubt
from probes.json_text import Unusable
from probes.units import MILLI

INPUT = re.compile(r"((temp|humidity)[0-9]{1,3})_input")
CODES = {"temp": "Cel", "humidity": "%RH"}


def parts(names: Collection[str]) -> list[str]:
    """What the chip measures: ``temp1``, ``temp2``, ``humidity1``."""
    return sorted(found[1] for name in names if (found := INPUT.fullmatch(name)))


def files(part: str, names: Collection[str]) -> list[str]:
    """The files that say it, the sign of a fault first."""
    return [n for n in (f"{part}_fault", f"{part}_input") if n in names]


def read(part: str, texts: Texts) -> Measured | Unusable:
    """The value of one part, or why it cannot be trusted."""
    if is_set(texts, f"{part}_fault"):
        return Unusable(
            f"{Doubt.OPEN}: the chip says that the sensor is broken or not connected"
        )
    thousandths = number_in(texts, f"{part}_input")
    if isinstance(thousandths, Unusable):
        return thousandths
    value = times(thousandths, MILLI)
    if isinstance(value, Unusable):
        return value
    return Measured(value, CODES[part.rstrip("0123456789")])
