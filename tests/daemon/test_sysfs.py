"""daemon/sysfs.py: which probes a tree of kernel files shows, and what they say."""

import re
from decimal import Decimal
from pathlib import Path

import pytest

from daemon.cli import main
from daemon.sysfs import Source, sources
from probes.attributes import Measured
from probes.json_text import Unusable
from tests.sysfs import WARM, Sysfs

ONE = "28-0316a2795e1c"


@pytest.fixture
def tree(tmp_path: Path) -> Sysfs:
    """An empty tree."""
    return Sysfs(tmp_path / "sys")


def only(tree: Sysfs, probe: str) -> Source:
    """The source of this name, of which there must be one."""
    (found,) = (one for one in sources(tree.top) if one.probe == probe)
    return found


def test_every_interface_is_found_by_its_hardware(tree: Sysfs) -> None:
    tree.w1(ONE, {"w1_slave": WARM, "temperature": "23125"})
    tree.hwmon("1-0048", 3, {"name": "tmp102\n", "temp1_input": "71250\n"})
    tree.iio("spi0/spi0.1", 0, {"name": "max31855\n", "in_temp_input": "80500\n"})
    assert [(one.probe, one.bus) for one in sources(tree.top)] == [
        (ONE, "w1_bus_master1"),
        ("max31855:spi0.1:temp", "spi0"),
        ("tmp102:1-0048:temp1", "i2c-1"),
    ]
    assert only(tree, ONE).read() == Measured(Decimal("23.125"), "Cel")
    assert only(tree, "tmp102:1-0048:temp1").read() == Measured(Decimal("71.25"), "Cel")
    assert only(tree, "max31855:spi0.1:temp").read() == Measured(Decimal("80.5"), "Cel")


def test_the_order_of_the_kernel_changes_no_identity(tree: Sysfs) -> None:
    """A chip that is plugged in again gets another number, and stays itself."""
    chip = {"name": "tmp102\n", "temp1_input": "71250\n"}
    folder = tree.hwmon("1-0048", 3, chip)
    before = only(tree, "tmp102:1-0048:temp1")
    tree.unplug(folder)
    assert sources(tree.top) == []
    tree.hwmon("1-0048", 7, chip)
    assert only(tree, "tmp102:1-0048:temp1").record == before.record


def test_a_number_that_passes_to_another_chip_carries_no_value(tree: Sysfs) -> None:
    """What was found before the kernel numbered anew is gone, and no other's value."""
    chips = {"1-0048": "71250\n", "1-0049": "23125\n"}
    folders = [
        tree.hwmon(place, n, {"name": "tmp102\n", "temp1_input": text})
        for n, (place, text) in enumerate(chips.items())
    ]
    core = only(tree, "tmp102:1-0049:temp1")
    assert core.read() == Measured(Decimal("23.125"), "Cel")
    for folder in folders:
        tree.unplug(folder)
    for n, (place, text) in enumerate(reversed(chips.items())):
        tree.hwmon(place, n, {"name": "tmp102\n", "temp1_input": text})
    assert isinstance(core.read(), Unusable)
    again = only(tree, "tmp102:1-0049:temp1")
    assert again.record == core.record
    assert again.read() == Measured(Decimal("23.125"), "Cel")


def test_another_chip_at_the_same_place_is_not_read(tree: Sysfs) -> None:
    files = {"name": "tmp102\n", "temp1_input": "23125\n"}
    folder = tree.hwmon("1-0048", 0, files)
    core = only(tree, "tmp102:1-0048:temp1")
    (folder / "name").write_text("lm75\n")
    assert core.read() == Unusable(
        "another probe: lm75:1-0048 is now where tmp102:1-0048 was"
    )


def test_a_label_names_a_chip_wherever_it_sits(tree: Sysfs) -> None:
    """Linux, sysfs-class-hwmon, sysfs-bus-iio: from memory, to be verified."""
    chip = {"name": "tmp102\n", "label": "hook\n", "temp1_input": "71250\n"}
    tree.unplug(tree.hwmon("1-0048", 3, chip))
    tree.hwmon("2-0049", 0, chip)
    tree.iio("spi0/spi0.1", 0, {"name": "max31855\n", "label": "loin\n",
                                "in_temp_input": "80500\n"})  # fmt: skip
    names = [one.probe for one in sources(tree.top)]
    assert names == ["max31855:loin:temp", "tmp102:hook:temp1"]


@pytest.mark.parametrize(
    ("serial", "place"), [("FE7031\n", "FE7031-0048"), ("", "1-1.2:1.0-0048")]
)
def test_behind_usb_the_number_of_a_bus_means_nothing(
    tree: Sysfs, serial: str, place: str
) -> None:
    names = []
    for bus in (3, 5):
        usb = f"pci0/usb1/1-1.2/1-1.2:1.0/i2c-{bus}/{bus}-0048"
        folder = tree.iio(usb, 0, {"name": "tmp117\n", "in_temp_input": "71250\n"})
        if serial:
            (folder.parents[3] / "serial").write_text(serial)
        names.append([one.probe for one in sources(tree.top)])
        tree.unplug(folder)
    assert names == [[f"tmp117:{place}:temp"]] * 2


def test_a_bus_with_many_sensors_shows_them_all(tree: Sysfs) -> None:
    for number in range(30):
        tree.w1(f"28-{number:012x}", {"w1_slave": WARM})
    assert len({one.record for one in sources(tree.top)}) == 30
    assert {one.bus for one in sources(tree.top)} == {"w1_bus_master1"}


def test_what_is_no_probe_is_left_alone(tree: Sysfs) -> None:
    tree.w1("00-400000000000", {"name": "00-400000000000"})
    tree.w1("w1_bus_master1", {"w1_master_slaves": ONE})
    tree.hwmon("1-0050", 1, {"name": "w1_slave_temp\n", "temp1_input": "23125\n"})
    tree.hwmon("1-0051", 2, {"name": "fan\n", "fan1_input": "900\n"})
    assert sources(tree.top) == []


def test_a_probe_that_is_pulled_says_so(tree: Sysfs) -> None:
    folder = tree.w1(ONE, {"w1_slave": WARM})
    source = only(tree, ONE)
    tree.unplug(folder)
    found = source.read()
    assert isinstance(found, Unusable)
    assert re.fullmatch("the probe is gone: No such file or directory", found.why)


def test_a_file_that_the_bus_does_not_give_says_so(tree: Sysfs) -> None:
    folder = tree.w1(ONE, {"temperature": ""})
    (folder / "w1_slave").mkdir()  # reading it fails, as on a bus that fails
    found = only(tree, ONE).read()
    assert found == Unusable("w1_slave cannot be read: Is a directory")


def test_a_board_without_any_bus_has_no_probe(tmp_path: Path) -> None:
    assert sources(tmp_path / "nowhere") == []


def test_the_command_lists_identity_record_and_bus(
    tree: Sysfs, capsys: pytest.CaptureFixture[str]
) -> None:
    tree.w1("10-0008013a07e2", {"w1_slave": WARM})
    chip = {"name": "x\n", "temp1_input": "21000\n", "temp2_input": "22000\n"}
    tree.hwmon("1-0048", 0, {**chip, "temp2_label": "outside the box\n"})
    assert main(["probes", "found", "--sysfs", str(tree.top)]) == 0
    assert capsys.readouterr().out == (
        "10-0008013a07e2\turn:dev:ow:10e2073a01080063\tw1_bus_master1\n"
        "x:1-0048:temp1\tx:1-0048:temp1\ti2c-1\n"
        "x:1-0048:temp2\tx:1-0048:temp2\ti2c-1\toutside the box\n"
    )


def test_a_bus_that_errs_says_so(tree: Sysfs) -> None:
    """Reading the memory of a process at 0 is the kernel's own EIO."""
    folder = tree.w1(ONE, {"temperature": "23125\n"})
    (folder / "w1_slave").symlink_to("/proc/self/mem")
    found = only(tree, ONE).read()
    assert found == Unusable("w1_slave cannot be read: Input/output error")


def test_devices_on_no_bus_share_none(tree: Sysfs) -> None:
    """So that one which hangs holds up no other."""
    for number, place in enumerate(("humidity@17", "humidity@18", "i2c-1/1-0076")):
        tree.iio(place, number, {"name": "x\n", "in_temp_input": "21000\n"})
    buses = [source.bus for source in sources(tree.top)]
    assert sorted(buses) == ["humidity@17", "humidity@18", "i2c-1"]


@pytest.mark.parametrize(
    ("files", "said"),
    [
        (  # air: temperature in thousandths, pressure in kPa, humidity in thousandths
            {
                "in_temp_input": "21540\n",
                "in_pressure_input": "101.325\n",
                "in_humidityrelative_input": "48500\n",
            },
            {
                "humidityrelative": "48.5 %RH",
                "pressure": "101325 Pa",
                "temp": "21.54 Cel",
            },
        ),
        (  # an amplifier of a resistance thermometer: 1/32 K a step
            {"in_temp_raw": "2275\n", "in_temp_scale": "31.25\n", "fault_ovuv": "0\n"},
            {"temp": "71.09375 Cel"},
        ),
        (  # one of a thermocouple, with its cold junction
            {
                "in_temp_raw": "1138\n",
                "in_temp_ambient_raw": "350\n",
                "in_temp_scale": "62.5\n",
                "in_temp_ambient_scale": "62.5\n",
            },
            {"temp": "71.125 Cel", "temp_ambient": "21.875 Cel"},
        ),
        (  # a converter whose offset counts before the scale
            {
                "in_temp_raw": "1000\n",
                "in_temp_offset": "-200\n",
                "in_temp_scale": "90",
            },
            {"temp": "72 Cel"},
        ),
    ],
)
def test_what_converters_show(
    tree: Sysfs, files: dict[str, str], said: dict[str, str]
) -> None:
    tree.iio("i2c-1/1-0076", 0, {"name": "x\n", **files})
    found = {}
    for source in sources(tree.top):
        measured = source.read()
        assert isinstance(measured, Measured), measured
        found[source.part] = f"{measured.value.normalize():f} {measured.code}"
    assert found == said
