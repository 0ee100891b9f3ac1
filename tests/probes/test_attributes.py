"""probes/w1.py, hwmon.py and iio.py: the texts of kernel files, and what they mean.

The rules are those of Documentation/w1/slaves/w1_therm.rst, Documentation/hwmon/
sysfs-interface.rst and Documentation/ABI/testing/sysfs-bus-iio of Linux, from memory,
to be verified.  The 1-wire address is the one of RFC 8428 section 5.1.1, whose last
byte is the checksum of the others.
"""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probes import hwmon, iio, w1
from probes.attributes import Measured
from probes.json_text import Unusable
from tests.sysfs import POWER_ON, WARM

EIO = Unusable("w1_slave cannot be read: Input/output error")


def test_the_address_of_rfc_8428_is_that_of_the_kernels_folder() -> None:
    assert w1.record_of("10-0008013a07e2") == "urn:dev:ow:10e2073a01080063"


def test_a_folder_that_is_no_thermometer_has_no_record() -> None:
    with pytest.raises(ValueError, match="1d-0008013a07e2"):
        w1.record_of("1d-0008013a07e2")


@pytest.mark.parametrize(
    ("names", "files"),
    [
        ({"w1_slave", "temperature", "name"}, ["w1_slave"]),
        ({"temperature", "name"}, ["temperature"]),
    ],
)
def test_the_file_that_shows_the_checksum_is_read(
    names: set[str], files: list[str]
) -> None:
    assert w1.parts(names) == ["temperature"]
    assert w1.files("temperature", names) == files
    assert w1.parts({"name", "id"}) == []


@pytest.mark.parametrize(
    ("text", "value"), [("23125\n", "23.125"), ("-10062", "-10.062"), ("0\n", "0")]
)
def test_a_number_alone_is_in_thousandths(text: str, value: str) -> None:
    found = w1.read("temperature", {"temperature": text})
    assert found == Measured(Decimal(value), "Cel")


def test_the_nine_bytes_and_their_number() -> None:
    found = w1.read("temperature", {"w1_slave": WARM})
    assert found == Measured(Decimal("23.125"), "Cel")


ZEROS = "00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0\n"
# 85 degC that was measured: byte 6 is not the mark of the power-on memory.
HOT = "50 05 4b 46 7f ff 10 10 {0:02x} : crc={0:02x} YES\n" + (
    "50 05 4b 46 7f ff 10 10 {0:02x} t=85000\n"
)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (WARM.replace("YES", "NO"), "bad checksum: look at the cable"),
        (WARM.replace("72 01", "73 01"), "bad checksum: look at the cable"),
        (ZEROS, "short circuit: the 1-wire bus answers only zeros"),
        (POWER_ON, "power-on value: 85 degC since its power came on"),
        ("", "not nine bytes"),
        (WARM.splitlines()[0], "not nine bytes"),
    ],
)
def test_what_a_bad_bus_says_is_not_trusted(text: str, why: str) -> None:
    found = w1.read("temperature", {"w1_slave": text})
    assert isinstance(found, Unusable)
    assert why in found.why


def test_a_measured_85_degrees_is_a_temperature() -> None:
    right = w1.checksum(bytes.fromhex("50054b467fff1010"))
    found = w1.read("temperature", {"w1_slave": HOT.format(right)})
    assert found == Measured(Decimal(85), "Cel")


def test_a_file_that_cannot_be_read_says_why() -> None:
    assert w1.read("temperature", {"w1_slave": EIO}) == EIO


def test_a_chip_shows_several_parts() -> None:
    names = {"name", "temp1_input", "temp1_fault", "temp2_input", "humidity1_input"}
    assert hwmon.parts(names) == ["humidity1", "temp1", "temp2"]
    assert hwmon.files("temp1", names) == ["temp1_fault", "temp1_input"]
    assert hwmon.files("temp2", names) == ["temp2_input"]


def test_chip_temperature_and_humidity_are_in_thousandths() -> None:
    texts = {"temp1_input": "71250\n", "temp1_fault": "0\n", "humidity1_input": "48500"}
    assert hwmon.read("temp1", texts) == Measured(Decimal("71.25"), "Cel")
    assert hwmon.read("humidity1", texts) == Measured(Decimal("48.5"), "%RH")


def test_a_fault_of_the_chip_outweighs_its_number() -> None:
    found = hwmon.read("temp1", {"temp1_input": "71250\n", "temp1_fault": "1\n"})
    assert isinstance(found, Unusable)


THERMOCOUPLE = {
    "in_temp_raw": "4560\n",
    "in_temp_scale": "15.625000\n",
    "in_temp_ambient_raw": "1600\n",
    "in_temp_ambient_scale": "15.625\n",
    "fault_oc": "0\n",
    "fault_ovuv": "0\n",
}


def test_an_amplifier_of_a_thermocouple_shows_probe_and_cold_junction() -> None:
    assert iio.parts(THERMOCOUPLE) == ["temp", "temp_ambient"]
    assert iio.read("temp", THERMOCOUPLE) == Measured(Decimal("71.25"), "Cel")
    assert iio.read("temp_ambient", THERMOCOUPLE) == Measured(Decimal(25), "Cel")
    assert iio.files("temp", THERMOCOUPLE) == [
        *("in_temp_raw", "in_temp_scale", "fault_oc", "fault_ovuv")
    ]


@pytest.mark.parametrize(
    ("fault", "why"),
    [
        ("fault_oc", "open circuit"),
        ("fault_ovuv", "short circuit: over"),
    ],
)
def test_a_fault_at_the_probe_leaves_the_cold_junction(fault: str, why: str) -> None:
    texts = {**THERMOCOUPLE, fault: "1\n"}
    found = iio.read("temp", texts)
    assert isinstance(found, Unusable)
    assert why in found.why
    assert iio.read("temp_ambient", texts) == Measured(Decimal(25), "Cel")


def test_offset_is_added_before_the_scale_is_applied() -> None:
    texts = {
        "in_temp_raw": "1000\n",
        "in_temp_offset": "-600\n",
        "in_temp_scale": "62.5\n",
        "in_humidityrelative_input": "48250\n",
        "in_pressure_input": "101.325000\n",
    }
    assert iio.read("temp", texts) == Measured(Decimal(25), "Cel")
    humid, press = (iio.read(p, texts) for p in ("humidityrelative", "pressure"))
    assert humid == Measured(Decimal("48.25"), "%RH")
    assert press == Measured(Decimal(101325), "Pa")


def test_a_scale_may_belong_to_all_parts_of_its_kind() -> None:
    texts = {"in_temp0_raw": "160", "in_temp1_raw": "320", "in_temp_scale": "62.5"}
    assert iio.parts(texts) == ["temp0", "temp1"]
    assert iio.files("temp1", texts) == ["in_temp1_raw", "in_temp_scale"]
    assert iio.read("temp1", texts) == Measured(Decimal(20), "Cel")


def test_a_scale_that_cannot_be_read_gives_no_value() -> None:
    texts: dict[str, str | Unusable] = {"in_temp_raw": "160", "in_temp_scale": EIO}
    assert iio.read("temp", texts) == EIO


@given(st.text(max_size=80), st.sampled_from(["w1_slave", "temperature"]))
def test_whatever_a_file_holds_there_is_an_answer(text: str, name: str) -> None:
    for interface, part, names in [
        (w1, "temperature", [name]),
        (hwmon, "temp1", ["temp1_input", "temp1_fault"]),
        (iio, "temp", ["in_temp_raw", "in_temp_scale"]),
    ]:
        texts: dict[str, str | Unusable] = dict.fromkeys(names, text)
        found: object = interface.read(part, texts)
        assert isinstance(found, Measured | Unusable)
