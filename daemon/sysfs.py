"""The sensors that the kernel shows on this board: what is there, and its files.

A sensor is known by its hardware, never by the order in which the kernel found it:
a 1-wire sensor by its own number, another by the name of its chip and

* its ``label``, where the board's makers gave it one;
* on USB the serial number of what it is plugged in with, or else the port: the
  numbers of buses behind USB are given in the order of plugging;
* else its place on the bus (``tmp102:1-0048``),

followed by what it measures where that is one of several things a chip can measure
(``tmp102:1-0048:temp1``).

Rule: a source reads the folder that lies within its device, and asks after each read
whether that is still itself.  So what the kernel has numbered anew since the last look
is gone until the next one, and never another sensor's value under its name.

Source: Linux, Documentation/w1/w1-generic.rst (``/sys/bus/w1/devices``),
Documentation/hwmon/sysfs-interface.rst (``/sys/class/hwmon``),
Documentation/ABI/testing/sysfs-class-hwmon and sysfs-bus-iio (``label``),
Documentation/ABI/testing/sysfs-bus-iio (``/sys/bus/iio/devices``) and
sysfs-bus-usb (``serial``), from memory, to be verified.
"""

import re
from collections.abc import Callable, Collection, Iterator
from pathlib import Path
from types import ModuleType
from typing import NamedTuple

from probes import hwmon, iio, w1
from probes.attributes import Measured
from probes.doubts import Doubt
from probes.json_text import Unusable

LARGEST = 4096  # bytes: the kernel gives an attribute one page
NOT_A_NAME = re.compile(r"[^A-Za-z0-9\-:./_]")  # of a SenML record
ON_USB = re.compile(r"[0-9]+-[0-9.]+:[0-9]+\.[0-9]+")  # an interface, by its port
ON_I2C = re.compile(r"[0-9]+-([0-9a-f]{4})")
NO_BUS = ("platform", "virtual", "devices")  # where the kernel puts what has none
SHOWN_TWICE = "w1_slave_temp"  # the hwmon face of a 1-wire thermometer


class Source(NamedTuple):
    """One thing that one sensor measures, and where it says so."""

    probe: str  # the identity of the hardware, as the settings name it
    record: str  # its SenML name
    bus: str  # whatever shares one bus must be read one after the other
    folder: Path
    part: str
    interface: ModuleType
    device: str  # the identity of what the folder belongs to
    identified: Callable[[Path], str]  # whose folder it is now

    @property
    def label(self) -> str:
        """What the kernel calls this part beside its number; "" if nothing."""
        names = (f"{self.part}_label", f"in_{self.part}_label")
        return next(filter(None, (_word(self.folder / name) for name in names)), "")

    def read(self) -> Measured | Unusable:
        """Its value now, or why there is none; this can take as long as it likes."""
        try:
            names = {path.name for path in self.folder.iterdir()}
        except OSError as error:
            return Unusable(f"the probe is gone: {error.strerror}")
        wanted = self.interface.files(self.part, names)
        texts = {name: _text(self.folder / name) for name in wanted}
        found: Measured | Unusable = self.interface.read(self.part, texts)
        if (now := self.identified(self.folder)) != self.device:
            return Unusable(f"{Doubt.ANOTHER}: {now} is now where {self.device} was")
        return found


def sources(sysfs: Path) -> list[Source]:
    """Everything on this board that measures, in the order of its names."""
    found = [*_w1(sysfs), *_hwmon(sysfs), *_iio(sysfs)]
    return sorted(found, key=lambda source: source.probe)


def _w1(sysfs: Path) -> Iterator[Source]:
    for folder in _folders(sysfs / "bus/w1/devices"):
        if w1.FOLDER.fullmatch(folder.name):
            bus = folder.resolve().parent.name
            for part in w1.parts(_names(folder)):
                record = w1.record_of(folder.name)
                head = (folder.name, record, bus, folder.resolve(), part, w1)
                yield Source(*head, folder.name, _of_w1)


def _hwmon(sysfs: Path) -> Iterator[Source]:
    for folder in _folders(sysfs / "class/hwmon"):
        if _named(folder) != SHOWN_TWICE:
            yield from _parts(folder.resolve(), hwmon, _of_hwmon)


def _iio(sysfs: Path) -> Iterator[Source]:
    for folder in _folders(sysfs / "bus/iio/devices"):
        yield from _parts(folder.resolve(), iio, _of_iio)


def _parts(
    folder: Path, interface: ModuleType, identified: Callable[[Path], str]
) -> Iterator[Source]:
    identity = identified(folder)
    bus = _bus(_device(folder) if interface is hwmon else folder.parent)
    for part in interface.parts(_names(folder)):
        probe = NOT_A_NAME.sub("_", f"{identity}:{part}")
        head = (probe, probe, bus, folder, part, interface)
        yield Source(*head, identity, identified)


def _bus(device: Path) -> str:
    """What a device shares with others; one that sits on no bus shares nothing."""
    return device.name if device.parent.name in NO_BUS else device.parent.name


def _of_w1(folder: Path) -> str:
    return folder.name


def _of_hwmon(folder: Path) -> str:
    return _identity(folder, _device(folder))


def _of_iio(folder: Path) -> str:
    return _identity(folder, folder.parent)


def _identity(folder: Path, device: Path) -> str:
    return f"{_named(folder)}:{_word(folder / 'label') or _place(device)}"


def _device(folder: Path) -> Path:
    """What a folder of hwmon belongs to; one that is nobody's is its own parent's."""
    device = (folder / "device").resolve()
    return device if device.is_dir() else folder.parent


def _place(device: Path) -> str:
    """Where a device sits, by what plugging in another order does not change."""
    for above in (device, *device.parents):
        if ON_USB.fullmatch(above.name):
            who = _word(above.parent / "serial") or above.name
            on_i2c = ON_I2C.fullmatch(device.name)
            return f"{who}-{on_i2c[1]}" if on_i2c else who
    return device.name


def _folders(of_kind: Path) -> list[Path]:
    try:
        return sorted(of_kind.iterdir())
    except OSError:  # the kernel knows no such bus
        return []


def _names(folder: Path) -> Collection[str]:
    try:
        return {path.name for path in folder.iterdir()}
    except OSError:  # it was unplugged meanwhile
        return set()


def _named(folder: Path) -> str:
    return _word(folder / "name") or folder.name


def _word(path: Path) -> str:
    text = _text(path)
    return text.strip() if isinstance(text, str) else ""


def _text(path: Path) -> str | Unusable:
    try:
        with path.open("rb") as file:
            return file.read(LARGEST).decode("utf-8", "replace")
    except OSError as error:
        return Unusable(f"{path.name} cannot be read: {error.strerror}")
