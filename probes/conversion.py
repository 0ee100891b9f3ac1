"""From what a probe measures to a temperature: ohms and millivolts into degrees.

A value that the probe's own law cannot give is refused, with what most likely broke:
an open circuit has endless resistance, a shorted one none.

Units: the answer is in degrees Celsius, rounded to a millionth; cold junctions are in
degrees Celsius.
"""

from decimal import Decimal
from functools import lru_cache

from probes import platinum, thermistor, thermocouple
from probes.contract import Conversion, Law, Probe, Raw
from probes.doubts import Doubt
from probes.json_text import Unusable, say, why_no_number

NOMINAL_OHMS = {Law.PT100: 100.0, Law.PT1000: 1000.0}
PLACES = 6
# What a thermistor is made for, widely: its equation gives a number for any ohms, and
# so for those of an open circuit.  Ours, no source.
COLDEST_C, HOTTEST_C = -80.0, 350.0
SHORTED = {Law.PT100: 20, Law.PT1000: 20, Law.STEINHART_HART: 200}  # ohms, below it


def converted(probe: Probe, value: Decimal, cold: object = None) -> Decimal | Unusable:
    """The temperature that a value stands for, or why it stands for none.

    ``cold`` is what the message says of the cold junction, where one is needed.  A
    probe that gives degrees has its value back as it is.
    """
    conversion = probe.conversion
    if conversion is None:
        return value
    if conversion.law is not Law.TYPE_K:
        cold = Decimal(0)
    if not isinstance(cold, Decimal):
        what = "is not there" if cold is None else why_no_number(cold)
        return Unusable(f"cold junction at {conversion.cold} {what}")
    t_c = _celsius(conversion, float(value), float(cold))
    if t_c is None:
        return Unusable(_why_not(conversion, value))
    return Decimal(f"{t_c:.{PLACES}f}")


@lru_cache(maxsize=1024)
def _celsius(conversion: Conversion, value: float, cold_c: float) -> float | None:
    if conversion.law is Law.TYPE_K:
        return thermocouple.celsius_at(value, cold_c)
    if conversion.law is Law.STEINHART_HART:
        a, b, c = map(float, conversion.coefficients)
        t_c = thermistor.celsius_at(value, a, b, c)
        inside = t_c is not None and COLDEST_C <= t_c <= HOTTEST_C
        return t_c if inside else None
    return platinum.celsius_at(value, NOMINAL_OHMS[conversion.law])


def _why_not(conversion: Conversion, value: Decimal) -> str:
    raw = conversion.raw
    shorted = raw is Raw.OHM and value < SHORTED[conversion.law]
    doubt = Doubt.SHORT if shorted else Doubt.OPEN
    none = f"value = {say(value)} {raw} is none that {conversion.law} can give"
    return f"{doubt}: {none}; or is another law the right one?"
