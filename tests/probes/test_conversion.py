"""Raw values through every payload form, and the exact words about impossible ones.

The laws themselves are held to their published tables in ``tests/standards``.
"""

from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import cbor2
import pytest

from daemon.secrets import explain
from daemon.settings import Settings, read_settings
from probes.contract import Conversion, Law, Probe, Unit
from probes.decode import decode
from probes.encode import encode
from rules.facts import Reading
from tests.probes.forms import CORE, JSON, NOW_MS, SENML, arrival, only_reading, said

PT100 = replace(CORE, conversion=Conversion(Law.PT100))
THERMISTOR = Conversion(
    Law.STEINHART_HART,
    (Decimal("1.129148e-3"), Decimal("2.34125e-4"), Decimal("8.76741e-8")),
)
COUPLE = replace(JSON, pointer="/mv", conversion=Conversion(Law.TYPE_K, cold="/cold"))
RECORD = replace(SENML, record="k", conversion=Conversion(Law.TYPE_K, cold="junction"))


@pytest.mark.parametrize(
    ("probe", "payload", "value_mc"),
    [
        # IEC 60751: 50 degC is 119.40 ohm, 100 degC is 138.51 ohm
        (PT100, b"119.40", 50_000),
        (replace(PT100, conversion=Conversion(Law.PT1000)), b"1385.1", 100_000),
        (replace(CORE, conversion=THERMISTOR), b"10000", 25_000),
        # ITS-90: 100 degC against 25 degC is 4.096 - 1.000 mV
        (COUPLE, b'{"mv":3.096,"cold":25}', 100_000),
        # Below zero and at the ends of what a reading may be: -100 degC is 60.26 ohm,
        # 850 degC 390.48 ohm; -100 degC is -3.554 mV, 800 degC 33.275 mV
        (PT100, b"60.26", -100_000),
        (PT100, b"390.47", 849_965),
        (COUPLE, b'{"mv":-3.554,"cold":0}', -100_000),
        (COUPLE, b'{"mv":33.275,"cold":0}', 800_000),
    ],
)
def test_a_raw_value_becomes_a_temperature(
    probe: Probe, payload: bytes, value_mc: int
) -> None:
    """Within what the last digit of the printed tables leaves open."""
    reading = only_reading(decode([probe], arrival(payload)))
    assert reading.value_mc == pytest.approx(value_mc, rel=0, abs=25)


@pytest.mark.parametrize(
    ("probe", "payload", "why"),
    [
        (
            PT100,
            b"1e6",
            "open circuit: value = 1E+6 ohm is none that Pt100 can give; or is "
            "another law the right one?",
        ),
        (
            PT100,
            b"0.4",
            "short circuit: value = 0.4 ohm is none that Pt100 can give; or is "
            "another law the right one?",
        ),
        (
            PT100,
            b"390.6",
            "open circuit: value = 390.6 ohm is none that Pt100 can give; or is "
            "another law the right one?",
        ),
        (COUPLE, b'{"mv":3.096}', "cold junction at /cold is not there"),
        (
            COUPLE,
            b'{"mv":3.096,"cold":nan}',
            "cold junction at /cold = nan is not a number",
        ),
        (
            COUPLE,
            b'{"mv":99,"cold":25}',
            "open circuit: value = 99 mV is none that type K can give; or is "
            "another law the right one?",
        ),
    ],
)
def test_a_value_that_cannot_be_is_refused(
    probe: Probe, payload: bytes, why: str
) -> None:
    assert said(decode([probe], arrival(payload))) == [f"core-1: {why}"]


def test_what_a_law_gives_may_still_be_no_reading() -> None:
    """ITS-90: 41.276 mV is 1000 degC, and a reading ends at 850."""
    (words,) = said(decode([COUPLE], arrival(b'{"mv":41.276,"cold":0}')))
    assert words.startswith("core-1: out of range: value = 1000.0")
    assert words.endswith("degC is outside -200 to 850 degC")


def test_the_cold_junction_of_a_record_is_the_one_of_its_time() -> None:
    pack = (
        b'[{"bt":1768021190,"n":"junction","u":"Cel","v":25},'
        b'{"n":"k","u":"mV","v":3.096},'
        b'{"t":10,"n":"junction","u":"Cel","v":50},{"t":10,"n":"k","u":"mV","v":6.115},'
        b'{"t":20,"n":"k","u":"mV","v":6.115}]'
    )
    first, second, none = decode([RECORD], arrival(pack))
    assert isinstance(first, Reading)
    assert isinstance(second, Reading)
    assert first.value_mc == pytest.approx(100_000, rel=0, abs=25)  # 4.096 mV
    assert second.value_mc == pytest.approx(200_000, rel=0, abs=25)  # 8.138 mV
    assert said([none]) == ["core-1: cold junction at junction is not there"]


def test_a_cold_junction_in_another_unit_is_not_converted() -> None:
    pack = b'[{"n":"junction","u":"K","v":298},{"n":"k","u":"mV","v":3.096}]'
    why = "core-1: cold junction at junction is in 'K', not Cel"
    assert said(decode([RECORD], arrival(pack))) == [why]


@pytest.mark.parametrize(("code", "fits"), [("Ohm", True), ("Cel", False)])
def test_a_record_must_be_in_the_raw_unit(code: str, fits: bool) -> None:
    probe = replace(
        SENML, record="r", form="senml-cbor", conversion=Conversion(Law.PT100)
    )
    pack = cbor2.dumps([{0: "r", 1: code, 2: 119.3971}])
    (found,) = said(decode([probe], arrival(pack)))
    why = "core-1: its unit is 'Cel' (degC); the settings say ohm"
    assert found == ("core-1: 50000" if fits else why)


def test_a_raw_probe_cannot_be_simulated_by_mistake() -> None:
    with pytest.raises(ValueError, match="raw value"):
        encode(PT100, NOW_MS, 50_000)


SETTINGS = """\
site: Juniper Yard
journal: journal.db
records: records
key: device-key.pem
broker: {}
channels:
  - {channel: core-1, smokehouse: north, role: core, topic: a, payload: json,
     value at: /mv, unit: mV, conversion: type K, cold junction: /cold,
     every: 10 s, quiet after: 2 min, accuracy: 1.5 K}
  - {channel: core-2, smokehouse: north, role: core, topic: b, payload: number,
     unit: ohm, conversion: Steinhart-Hart,
     coefficients: 1.129148e-3 2.34125e-4 8.76741e-8,
     every: 10 s, quiet after: 2 min, accuracy: 0.5 K}
"""


def test_the_settings_say_how_a_raw_value_is_read() -> None:
    found = read_settings(Path("s.yaml"), SETTINGS, {})
    assert isinstance(found, Settings), explain(found, SETTINGS)
    couple, thermistor = found.probes
    assert couple.conversion == Conversion(Law.TYPE_K, cold="/cold")
    assert thermistor.conversion == THERMISTOR
    assert {couple.unit, thermistor.unit} == {Unit.CELSIUS}
