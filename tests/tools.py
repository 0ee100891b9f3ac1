"""The system's programs that tests run, and how one that is missing is said.

A test that needs a program fails without it: a skipped test would say nothing
where it matters most.
"""

import os
import shutil

import pytest

PACKAGES = {  # the Debian package that a program comes in
    "chromium": "chromium",
    "mosquitto": "mosquitto",
    "mosquitto_passwd": "mosquitto",
    "mosquitto_pub": "mosquitto-clients",
    "mosquitto_sub": "mosquitto-clients",
    "openssl": "openssl",
    "pdfsig": "poppler-utils",
    "pdftoppm": "poppler-utils",
    "pdftotext": "poppler-utils",
    "qpdf": "qpdf",
    "shellcheck": "shellcheck",
    "systemd-analyze": "systemd",
    "victoria-metrics": "victoria-metrics",
}
# Debian keeps servers where an ordinary user's PATH does not look.
WHERE = os.pathsep.join([os.environ.get("PATH", ""), "/usr/sbin", "/sbin"])


def tool(name: str) -> str:
    """The path of a program; without it the test fails with the way to get it."""
    found = shutil.which(name, path=WHERE)
    if found is None:
        command = f"apt-get install {PACKAGES[name]}"
        pytest.fail(f"{name} is not installed: {command}", pytrace=False)
    return found
