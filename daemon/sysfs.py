"""The sensors that the kernel shows on this board: what is there, and its files.

A sensor is known by its hardware, never by the order in which the kernel found it:
a 1-wire sensor by its own number, another by the name of its chip and its place on
the bus (``tmp102:1-0048``), followed by what it measures where that is one of several
things a chip can measure (``tmp102:1-0048:temp1``).

Source: Linux, Documentation/w1/w1-generic.rst (``/sys/bus/w1/devices``),
Documentation/hwmon/sysfs-interface.rst (``/sys/class/hwmon``) and
Documentation/ABI/testing/sysfs-bus-iio (``/sys/bus/iio/devices``), from memory, to be
verified.
"""

import re
from collections.abc import Collection, Iterator
from pathlib import Path
from types import ModuleType
from typing import NamedTuple

from probes import hwmon, iio, w1
from probes.attributes import Measured
from probes.json_text import Unusable

LARGEST = 4096  # bytes: the kernel gives an attribute one page
NOT_A_NAME = re.compile(r"[^A-Za-z0-9\-:./_]")  # of a SenML record
SHOWN_TWICE = "w1_slave_temp"  # the hwmon face of a 1-wire thermometer


class Source(NamedTuple):
    """One thing that one sensor measures, and where it says so."""

    probe: str  # the identity of the hardware, as the settings name it
    record: str  # its SenML name
    bus: str  # whatever shares one bus must be read one after the other
    folder: Path
    part: str
    interface: ModuleType

    def read(self) -> Measured | Unusable:
        """Its value now, or why there is none; this can take as long as it likes."""
        try:
            names = {path.name for path in self.folder.iterdir()}
        except OSError as error:
            return Unusable(f"the probe is gone: {error.strerror}")
        wanted = self.interface.files(self.part, names)
        texts = {name: _text(self.folder / name) for name in wanted}
        found: Measured | Unusable = self.interface.read(self.part, texts)
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
                yield Source(folder.name, record, bus, folder, part, w1)


def _hwmon(sysfs: Path) -> Iterator[Source]:
    for folder in _folders(sysfs / "class/hwmon"):
        chip = _named(folder)
        if chip != SHOWN_TWICE:
            device = (folder / "device").resolve()
            if not device.is_dir():
                device = folder.resolve().parent
            yield from _parts(f"{chip}:{device.name}", device, folder, hwmon)


def _iio(sysfs: Path) -> Iterator[Source]:
    for folder in _folders(sysfs / "bus/iio/devices"):
        device = folder.resolve().parent
        yield from _parts(f"{_named(folder)}:{device.name}", device, folder, iio)


def _parts(
    identity: str, device: Path, folder: Path, interface: ModuleType
) -> Iterator[Source]:
    for part in interface.parts(_names(folder)):
        probe = NOT_A_NAME.sub("_", f"{identity}:{part}")
        yield Source(probe, probe, device.parent.name, folder, part, interface)


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
    text = _text(folder / "name")
    return text.strip() if isinstance(text, str) else folder.name


def _text(path: Path) -> str | Unusable:
    try:
        with path.open("rb") as file:
            return file.read(LARGEST).decode("utf-8", "replace")
    except OSError as error:
        return Unusable(f"{path.name} cannot be read: {error.strerror}")
