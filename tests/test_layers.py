"""The arrows of DEVELOPERS.md: daemon -> probes -> rules, and never back.

Also what keeps them honest: the rules and probes ask no clock, disk, network or
chance; one file of the daemon asks what time it is; what is heavy to import is
imported only when it is used.
"""

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]

# No clock, network, disk or chance in here.  Adding a name is a decision.
PURE = {
    *("__future__", "bisect", "collections", "dataclasses", "datetime", "decimal"),
    *("difflib", "enum", "fractions", "functools", "heapq", "itertools", "json"),
    *("math", "operator", "re", "typing"),
}
MAY_IMPORT = {
    "rules": PURE | {"rules", "pydantic", "pydantic_core", "yaml"},
    # Floats and bytes are at home in the probes.
    "probes": PURE
    | {"probes", "rules", "struct", "base64", "csv", "io", "cbor2"}
    # The payload forms are found by their place, once.
    | {"importlib", "pkgutil"},
    "daemon": sys.stdlib_module_names
    | {"daemon", "probes", "rules"}
    | {
        "amqtt",
        "apprise",
        "asn1crypto",
        "cryptography",
        "fpdf",
        "PIL",
        "influxdb_client",
    }
    | {"paho", "pydantic", "pydantic_core", "pyhanko", "pyhanko_certvalidator"}
    | {"rfc8785", "starlette", "urllib3", "uvicorn", "yaml"},
}
ASKS_THE_MACHINE = {"now", "utcnow", "today", "open", "print", "input"}
ASKS_THE_TIME = {
    *("datetime.now", "datetime.utcnow", "date.today", "datetime.today"),
    *("time.time", "time.time_ns", "time.localtime", "time.gmtime"),
}
# Half a second to some seconds each on the smallest board: only on first use.
HEAVY = {
    *(
        "apprise",
        "fpdf",
        "PIL",
        "influxdb_client",
        "lxml",
        "matplotlib",
        "numpy",
        "PIL",
    ),
    *("pyhanko", "starlette", "uvicorn", "cryptography", "amqtt", "aiohttp"),
}


def files(*layers: str) -> list[Path]:
    """Every Python file of the layers, in order."""
    return [path for layer in layers for path in sorted((ROOT / layer).rglob("*.py"))]


def parsed(path: Path) -> ast.Module:
    """The file as a tree."""
    return ast.parse(path.read_text(encoding="utf-8"))


def imported(tree: ast.AST) -> set[str]:
    """The top-level name of every module imported."""
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            # A relative import has no name here: it is never in a list.
            names.add((node.module or "").split(".")[0] if not node.level else ".")
    return names


def called(tree: ast.AST) -> set[str]:
    """The last name of every function called: ``now`` for ``datetime.now()``."""
    calls = [node.func for node in ast.walk(tree) if isinstance(node, ast.Call)]
    return {f.attr for f in calls if isinstance(f, ast.Attribute)} | {
        f.id for f in calls if isinstance(f, ast.Name)
    }


def times_asked(tree: ast.AST) -> Iterator[str]:
    """Every way of asking the machine for the time of day that the file names."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            name = f"{node.value.id}.{node.attr}"
            if name in ASKS_THE_TIME:
                yield name
        elif isinstance(node, ast.ImportFrom) and node.module == "time":
            names = {f"time.{alias.name}" for alias in node.names}
            yield from names & ASKS_THE_TIME


@pytest.mark.parametrize("layer", MAY_IMPORT)
def test_arrows_point_one_way(layer: str) -> None:
    paths = files(layer)
    assert paths
    for path in paths:
        assert imported(parsed(path)) <= MAY_IMPORT[layer], path.relative_to(ROOT)


@pytest.mark.parametrize("layer", ["rules", "probes"])
def test_the_inner_layers_ask_the_machine_nothing(layer: str) -> None:
    for path in files(layer):
        asked = called(parsed(path)) & ASKS_THE_MACHINE
        assert not asked, path.relative_to(ROOT)


def test_one_file_asks_what_time_it_is() -> None:
    asking = {
        str(path.relative_to(ROOT)): names
        for path in files("daemon", "probes", "rules")
        if (names := sorted(set(times_asked(parsed(path)))))
    }
    assert list(asking) == ["daemon/clock.py"], asking


def test_nothing_heavy_is_imported_before_it_is_used() -> None:
    """Import every module that a daemon's start reaches, and look at what came."""
    script = "import sys, daemon.cli; print(*sorted(sys.modules))"
    ran = subprocess.run(
        [sys.executable, "-c", script],
        cwd=ROOT,
        check=True,
        capture_output=True,
        text=True,
    )
    loaded = {name.split(".")[0] for name in ran.stdout.split()}
    assert "daemon" in loaded
    assert not loaded & HEAVY


@pytest.mark.parametrize(
    ("code", "names"),
    [
        ("import daemon.run", {"daemon"}),
        ("from daemon.run import road", {"daemon"}),
        ("def f():\n    import socket.x as y", {"socket"}),
        ("from . import engine", {"."}),
        ("from ..daemon import run", {"."}),
    ],
)
def test_an_import_is_seen_wherever_it_stands(code: str, names: set[str]) -> None:
    assert imported(ast.parse(code)) == names


@pytest.mark.parametrize(
    ("code", "name"),
    [
        ("datetime.now(UTC)", "datetime.now"),
        ("ask = time.time", "time.time"),
        ("from time import time_ns", "time.time_ns"),
    ],
)
def test_asking_the_time_is_seen(code: str, name: str) -> None:
    assert list(times_asked(ast.parse(code))) == [name]
