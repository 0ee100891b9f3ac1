"""What each kind of source says of a probe that fails, in its own code or words.

Each goes through the decoder or the reader that the daemon and the publisher use for
it, so the table of ``deploy/screening`` shows what somebody would be told.
"""

from dataclasses import replace
from decimal import Decimal

from probes import hwmon, iio, w1
from probes.attributes import Measured
from probes.contract import Conversion, Law, Probe, Refusal
from probes.decode import decode
from probes.doubts import Doubt
from probes.json_text import Unusable
from tests.probes.forms import CORE, JSON, arrival
from tests.sysfs import POWER_ON, WARM

PT100 = replace(CORE, conversion=Conversion(Law.PT100))
THERMISTOR = replace(
    CORE,
    conversion=Conversion(
        Law.STEINHART_HART,
        (Decimal("1.1384e-3"), Decimal("2.3245e-4"), Decimal("9.489e-8")),
    ),
)
COUPLE = replace(JSON, pointer="/mv", conversion=Conversion(Law.TYPE_K, cold="/cold"))
NAMED = replace(JSON, identity="28-1", identity_pointer="/id")
DATED = replace(JSON, time_pointer="/t")
ZEROS = "00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0\n"
WEAK = "ff 07 4b 46 7f ff 0c 10"  # what the power-on memory holds, but for 127.937
WEAK_SUM = f"{w1.checksum(bytes.fromhex(WEAK)):02x}"
WEAK = f"{WEAK} {WEAK_SUM} : crc={WEAK_SUM} YES\n{WEAK} {WEAK_SUM} t=127937\n"
AMPLIFIER = {"in_temp_raw": "92", "in_temp_scale": "250.0"}

MESSAGES: tuple[tuple[Doubt, str, Probe, bytes], ...] = (
    (Doubt.OPEN, "1-wire library, -127", CORE, b"-127"),
    (Doubt.OPEN, "Pt100, 1e6 ohm", PT100, b"1e6"),
    (Doubt.SHORT, "Pt100, 0.4 ohm", PT100, b"0.4"),
    (Doubt.OPEN, "thermistor, 1e9 ohm", THERMISTOR, b"1e9"),
    (Doubt.SHORT, "thermistor, 0 ohm", THERMISTOR, b"0.001"),
    (Doubt.OPEN, "type K, 99 mV", COUPLE, b'{"mv":99,"cold":25}'),
    (Doubt.RANGE, "any probe, 900 degC", CORE, b"900"),
    (Doubt.ANOTHER, "JSON, another id", NAMED, b'{"core1":60,"id":"28-2"}'),
    (Doubt.AHEAD, "any time, 3 min ahead", DATED, b'{"core1":60,"t":1768021380}'),
)
FILES: tuple[tuple[Doubt, str, Measured | Unusable], ...] = (
    (
        Doubt.CHECKSUM,
        "1-wire, checksum",
        w1.read("temperature", {"w1_slave": WARM.replace("YES", "NO")}),
    ),
    (Doubt.SHORT, "1-wire, zeros", w1.read("temperature", {"w1_slave": ZEROS})),
    (
        Doubt.POWER_ON,
        "1-wire, power-on",
        w1.read("temperature", {"w1_slave": POWER_ON}),
    ),
    (Doubt.POWERLESS, "1-wire, 127.937", w1.read("temperature", {"w1_slave": WEAK})),
    (
        Doubt.OPEN,
        "hwmon, temp1_fault",
        hwmon.read("temp1", {"temp1_fault": "1", "temp1_input": "0"}),
    ),
    (
        Doubt.OPEN,
        "IIO, fault_oc",
        iio.read("in_temp", {**AMPLIFIER, "fault_oc": "1", "fault_ovuv": "0"}),
    ),
    (
        Doubt.SHORT,
        "IIO, fault_ovuv",
        iio.read("in_temp", {**AMPLIFIER, "fault_oc": "0", "fault_ovuv": "1"}),
    ),
)


def reasons() -> dict[tuple[Doubt, str], str]:
    """Why each of these is refused, by the doubt that it should be and its source."""
    found: dict[tuple[Doubt, str], str] = {}
    for doubt, source, probe, payload in MESSAGES:
        (one,) = decode([probe], arrival(payload))
        found[doubt, source] = one.why if isinstance(one, Refusal) else str(one)
    for doubt, source, read in FILES:
        if isinstance(read, Unusable):
            record = f'[{{"n":"core","vs":"{read.why}"}}]'.encode()
            senml = replace(CORE, form="senml", record="core")
            (one,) = decode([senml], arrival(record))
            found[doubt, source] = one.why if isinstance(one, Refusal) else str(one)
        else:
            found[doubt, source] = str(read)
    return found
