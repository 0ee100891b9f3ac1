"""Thermometers on a 1-wire bus, as the kernel's ``w1_therm`` driver shows them.

The folder ``28-0316a2795e1c`` holds ``w1_slave``: the nine bytes of the sensor's
memory with their checksum, then the same bytes with the temperature in
thousandths of a degree Celsius::

    72 01 4b 46 7f ff 0e 10 57 : crc=57 YES
    72 01 4b 46 7f ff 0e 10 57 t=23125

Newer kernels have ``temperature`` too, the number alone.  ``w1_slave`` is read
where there is one, because it shows what the number cannot: the checksum, a wire
that is shorted (nine bytes of zero, whose checksum is right), and a memory that no
conversion has written since the power came on (85 degC with byte 6 still 0x0c).

The identity is that of the hardware: family and serial number, as in the folder's
name; ``record_of`` gives the same 64 bits as RFC 9039 writes them.

Source: Linux, Documentation/w1/slaves/w1_therm.rst (``w1_slave``, ``temperature``,
and under ``features`` the mark of a failed conversion) and RFC 9039 section 4.2,
both from memory, to be verified.  The polynomial of the checksum, X8 + X5 + X4 + 1,
is that of the 1-wire code, from memory, checked against the address in RFC 8428.
"""

import re
from collections.abc import Collection
from decimal import Decimal

from probes.attributes import Measured, Texts, number_in, times
from probes.doubts import Doubt
from probes.json_text import Unusable, say
from probes.units import MILLI

FOLDER = re.compile(r"(10|22|28|3b|42)-([0-9a-f]{12})")  # families of thermometers
WHOLE = re.compile(
    r"((?:[0-9a-f]{2} ){9}): crc=([0-9a-f]{2}) (YES|NO)\s+"
    r"(?:[0-9a-f]{2} ){9}t=(-?[0-9]{1,7})\s*"
)
POWER_ON = 85_000, 0x0C
TOO_LITTLE_POWER = 127_937, 0x0C


def parts(names: Collection[str]) -> list[str]:
    """What the sensor measures: a temperature, where it shows one."""
    return ["temperature"] if {"w1_slave", "temperature"} & set(names) else []


def files(part: str, names: Collection[str]) -> list[str]:
    """The one file that says it; to read it takes a conversion, up to 750 ms."""
    return ["w1_slave"] if "w1_slave" in names else ["temperature"]


def read(part: str, texts: Texts) -> Measured | Unusable:
    """The temperature, or why it cannot be trusted."""
    whole = texts.get("w1_slave")
    if whole is None:
        thousandths = number_in(texts, "temperature")
    elif isinstance(whole, Unusable):
        return whole
    else:
        thousandths = _of_memory(whole)
    if isinstance(thousandths, Unusable):
        return thousandths
    value = times(thousandths, MILLI)
    return value if isinstance(value, Unusable) else Measured(value, "Cel")


def record_of(folder: str) -> str:
    """The name that RFC 9039 gives to the sensor whose folder this is.

    Raises:
        ValueError: It is no folder of a 1-wire thermometer.
    """
    if not (found := FOLDER.fullmatch(folder)):
        raise ValueError(f"{folder} is no 1-wire thermometer")
    # The kernel writes the serial number as a number; on the wire its bytes come
    # lowest first, and a checksum ends them.
    code = bytes.fromhex(found[1]) + bytes.fromhex(found[2])[::-1]
    return f"urn:dev:ow:{code.hex()}{checksum(code):02x}"


def checksum(octets: bytes) -> int:
    """The checksum that 1-wire parts put after these bytes."""
    rest = 0
    for octet in octets:
        rest ^= octet
        for _ in range(8):
            rest = rest >> 1 ^ 0x8C if rest & 1 else rest >> 1
    return rest


def _of_memory(text: str) -> Decimal | Unusable:
    found = WHOLE.fullmatch(text)
    if not found:
        return Unusable(f"w1_slave holds {say(text.strip()[:60])}, not nine bytes")
    memory = bytes.fromhex(found[1])
    if found[3] == "NO" or checksum(memory[:8]) != memory[8]:
        return Unusable(f"{Doubt.CHECKSUM}: look at the cable and pull-up of its bus")
    if not any(memory):
        return Unusable(f"{Doubt.SHORT}: the 1-wire bus answers only zeros")
    if (int(found[4]), memory[6]) == POWER_ON:
        return Unusable(
            f"{Doubt.POWER_ON}: 85 degC since its power came on, nothing measured yet"
        )
    if (int(found[4]), memory[6]) == TOO_LITTLE_POWER:
        return Unusable(f"{Doubt.POWERLESS}: the 1-wire bus gives too little")
    return Decimal(found[4])
