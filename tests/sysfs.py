"""Folders laid out as the kernel lays out its sensors, for tests.

Devices lie under ``devices`` and are linked from their bus or class, so that a
sensor's real path names the bus it sits on.

Source: Linux, Documentation/w1/slaves/w1_therm.rst, Documentation/hwmon/
sysfs-interface.rst and Documentation/ABI/testing/sysfs-bus-iio, from memory, to be
verified; the tree of links is that of a running kernel.
"""

import shutil
from collections.abc import Mapping
from pathlib import Path

# The bytes of w1_slave as they are often shown: 23.125 degC, and a sensor that has
# not converted since its power came on.  Their checksums are right.
WARM = "72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n"
POWER_ON = (
    "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n"
)


class Sysfs:
    """One tree, beginning empty."""

    def __init__(self, top: Path) -> None:
        """Make the folders that a kernel has even where no sensor is."""
        self.top = top
        for folder in ("bus/w1/devices", "class/hwmon", "bus/iio/devices", "devices"):
            (top / folder).mkdir(parents=True)

    def w1(self, name: str, files: Mapping[str, str], master: int = 1) -> Path:
        """Plug in a 1-wire sensor."""
        folder = self.top / f"devices/w1_bus_master{master}/{name}"
        return self._plug(folder, f"bus/w1/devices/{name}", files)

    def hwmon(self, name: str, number: int, files: Mapping[str, str]) -> Path:
        """Plug in a chip at a place on the I2C bus, such as ``1-0048``."""
        device = self.top / f"devices/platform/i2c-{name[0]}/{name}"
        folder = self._plug(
            device / f"hwmon/hwmon{number}", f"class/hwmon/hwmon{number}", files
        )
        (folder / "device").symlink_to(device)
        return folder

    def iio(self, place: str, number: int, files: Mapping[str, str]) -> Path:
        """Plug in a converter at a place on its bus, such as ``spi0/spi0.0``."""
        folder = self.top / f"devices/platform/{place}/iio:device{number}"
        return self._plug(folder, f"bus/iio/devices/iio:device{number}", files)

    def unplug(self, folder: Path) -> None:
        """Take a device away, with the link to it."""
        for link in self.top.glob("*/*/**/*"):
            if link.is_symlink() and link.resolve() == folder.resolve():
                link.unlink()
        shutil.rmtree(folder)

    def _plug(self, folder: Path, link: str, files: Mapping[str, str]) -> Path:
        folder.mkdir(parents=True)
        for name, text in files.items():
            (folder / name).write_text(text, encoding="utf-8")
        (self.top / link).symlink_to(folder)
        return folder
