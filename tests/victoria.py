"""A real database for the tests of the mirror: victoria-metrics on a free port.

It takes the line protocol of InfluxDB at ``/api/v2/write`` and gives it back at
``/api/v1/export``.  ``-dedup.minScrapeInterval=1ms`` makes a point sent again one
point; ``-retentionPeriod=100y`` takes old stamps.  It asks for no token.
"""

import json
import subprocess
import urllib.parse
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.servers import unused_port, wait_for
from tests.tools import tool

DIRECT = urllib.request.build_opener(urllib.request.ProxyHandler({}))


@dataclass
class Victoria:
    """One database; its data and its log lie in ``folder``."""

    folder: Path
    port: int
    _process: subprocess.Popen[bytes] | None = field(default=None, repr=False)

    @property
    def url(self) -> str:
        """Where it is spoken to."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start it; returns when it says that it is well."""
        self.folder.mkdir(exist_ok=True)
        with (self.folder / "log").open("ab") as log:
            self._process = subprocess.Popen(
                [
                    tool("victoria-metrics"),
                    f"-storageDataPath={self.folder / 'data'}",
                    f"-httpListenAddr=127.0.0.1:{self.port}",
                    "-retentionPeriod=100y",
                    "-dedup.minScrapeInterval=1ms",
                ],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
            )
        wait_for(self._is_well, f"victoria-metrics on port {self.port}")

    def stop(self) -> None:
        """End it as a system does that shuts down: it writes what it has first."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait(30)
            self._process = None

    def points(self, measurement: str) -> dict[str, list[tuple[int, float]]]:
        """Every point it holds, in order, by the tags of its series as JSON."""
        self.get("/internal/force_flush")
        match = urllib.parse.quote(f'{{__name__="{measurement}"}}')
        lines = self.get(f"/api/v1/export?match[]={match}&start=0").splitlines()
        found: dict[str, list[tuple[int, float]]] = {}
        for part in map(json.loads, lines):
            tags: dict[str, Any] = part["metric"]
            del tags["__name__"]
            stamped = zip(part["timestamps"], part["values"], strict=True)
            found.setdefault(json.dumps(tags, sort_keys=True), []).extend(stamped)
        return {tags: sorted(points) for tags, points in found.items()}

    def get(self, path: str) -> str:
        """What it answers at a path."""
        with DIRECT.open(self.url + path, timeout=30) as answer:
            text: str = answer.read().decode()
            return text

    def _is_well(self) -> bool:
        assert self._process is not None
        if self._process.poll() is not None:
            said = (self.folder / "log").read_text(errors="replace")
            raise AssertionError(f"victoria-metrics ended:\n{said}")
        with suppress(OSError):
            return self.get("/health") == "OK"
        return False


@contextmanager
def victoria(tmp_path: Path, start: bool = True) -> Iterator[Victoria]:
    """A running database that ends with the test."""
    server = Victoria(tmp_path / "victoria", unused_port())
    if start:
        server.start()
    try:
        yield server
    finally:
        server.stop()
