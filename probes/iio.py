"""Sensors that the kernel shows under ``/sys/bus/iio/devices``.

A part is shown worked out (``in_temp_input``) or raw: (``in_temp_raw`` +
``in_temp_offset``) times ``in_temp_scale``, where offset and scale may belong to
the part or to all parts of its kind, a missing offset is 0 and a missing scale 1.
Both give thousandths of a degree Celsius, thousandths of a percent of humidity, or
kilopascals.  Amplifiers of thermocouples and resistance thermometers also show
``fault_oc`` (open circuit) and ``fault_ovuv`` (over- or undervoltage).

Source: Linux, Documentation/ABI/testing/sysfs-bus-iio and, for the faults,
sysfs-bus-iio-temperature-max31856, from memory, to be verified.
"""

import re
from collections.abc import Collection
from decimal import Decimal

from probes.attributes import Measured, Texts, is_set, number_in, times
from probes.doubts import Doubt
from probes.json_text import Unusable
from probes.units import EXACT, MILLI

SHOWN = re.compile(
    r"in_((?:temp|humidityrelative|pressure)[0-9]{0,3}(?:_ambient|_object)?)"
    r"_(?:raw|input)"
)
KIND = re.compile(r"[a-z]+")
# Of each kind: the SenML code, and what one of the kernel's units is in it.
CODES = {
    "temp": ("Cel", MILLI),
    "humidityrelative": ("%RH", MILLI),
    "pressure": ("Pa", Decimal(1000)),
}
FAULTS = {
    "fault_oc": f"{Doubt.OPEN}: is the probe plugged in, and whole?",
    "fault_ovuv": f"{Doubt.SHORT}: over- or undervoltage at the probe",
}


def parts(names: Collection[str]) -> list[str]:
    """What the device measures: ``temp``, ``temp_ambient``, ``pressure``."""
    return sorted({found[1] for name in names if (found := SHOWN.fullmatch(name))})


def files(part: str, names: Collection[str]) -> list[str]:
    """The files that say it, the signs of a fault last, as they are of this reading."""
    wanted = [f"in_{part}_input"]
    if wanted[0] not in names:
        wanted = [f"in_{part}_raw"]
        for what in ("offset", "scale"):
            own, of_kind = f"in_{part}_{what}", f"in_{_kind(part)}_{what}"
            wanted.append(own if own in names else of_kind)
    return [name for name in (*wanted, *FAULTS) if name in names]


def read(part: str, texts: Texts) -> Measured | Unusable:
    """The value of one part, or why it cannot be trusted."""
    if not part.endswith("_ambient"):  # the cold junction needs no probe
        for name, why in FAULTS.items():
            if is_set(texts, name):
                return Unusable(why)
    code, unit = CODES[_kind(part)]
    shown = number_in(texts, f"in_{part}_input")
    if f"in_{part}_input" not in texts:
        shown = _worked_out(part, texts)
    if isinstance(shown, Unusable):
        return shown
    value = times(shown, unit)
    return value if isinstance(value, Unusable) else Measured(value, code)


def _worked_out(part: str, texts: Texts) -> Decimal | Unusable:
    raw = number_in(texts, f"in_{part}_raw")
    offset = _factor(part, "offset", Decimal(0), texts)
    scale = _factor(part, "scale", Decimal(1), texts)
    for found in (raw, offset, scale):
        if isinstance(found, Unusable):
            return found
    assert isinstance(raw, Decimal)
    assert isinstance(offset, Decimal)
    assert isinstance(scale, Decimal)
    return times(EXACT.add(raw, offset), scale)


def _factor(part: str, what: str, missing: Decimal, texts: Texts) -> Decimal | Unusable:
    for name in (f"in_{part}_{what}", f"in_{_kind(part)}_{what}"):
        if name in texts:
            return number_in(texts, name)
    return missing


def _kind(part: str) -> str:
    return KIND.match(part)[0]  # type: ignore[index]
