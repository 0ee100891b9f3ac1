"""What holds for every file of the tree: its size, its words, what it never says.

The figures come from house rules of our own, not from a published source.
"""

import ast
import os
import re
import statistics
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.test_layers import ROOT, files, parsed

LONGEST_FILE = 600
USUAL_FILE = 200
LONG_FUNCTION = 40
DOCUMENTED = 0.95

LAYERS = ("daemon", "probes", "rules")
LOCKS = ("requirements.lock", "requirements-test.lock")

# Put together here so that this file does not hold what it forbids.
REGISTRIES = [
    ".".join(parts)
    for parts in [
        ("pypi", "org"),
        ("pythonhosted", "org"),
        ("npmjs", "org"),
        ("npmjs", "com"),
        ("yarnpkg", "com"),
        ("debian", "org"),
        ("crates", "io"),
        ("golang", "org"),
        ("piwheels", "org"),
    ]
]
MARKS = ["TO" + "DO", "FIX" + "ME", "X" + "XX", "HA" + "CK"]

NOT_OURS = re.compile(r"\.(?!ci$)|__pycache__$|build$|dist$|.*\.egg-info$")
LEFT_BEHIND = {".db", ".db-shm", ".db-wal", ".pem"}  # by a run in the checkout

Documentable = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef


def texts() -> Iterator[tuple[str, str]]:
    """Every text file that is written by hand or locked, with its path from the top."""
    for folder, below, names in os.walk(ROOT):
        below[:] = [name for name in below if not NOT_OURS.match(name)]
        for name in names:
            path = Path(folder, name)
            if path.suffix not in LEFT_BEHIND and b"\0" not in path.read_bytes():
                yield str(path.relative_to(ROOT)), path.read_text(encoding="utf-8")


def public(tree: ast.Module) -> Iterator[Documentable]:
    """Every public function and class at the top of a module, or in such a class."""

    def named(body: list[ast.stmt]) -> Iterator[Documentable]:
        for node in body:
            if isinstance(node, Documentable) and not node.name.startswith("_"):
                yield node

    for node in named(tree.body):
        yield node
        if isinstance(node, ast.ClassDef):
            yield from named(node.body)


def functions(tree: ast.AST) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    """Every function, wherever it stands."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def lines(node: Documentable) -> int:
    """How many lines a definition takes, its decorators left out."""
    return (node.end_lineno or node.lineno) - node.lineno + 1


def test_every_module_says_what_it_is() -> None:
    silent = [
        str(path.relative_to(ROOT))
        for path in files(*LAYERS, "tests")
        if not ast.get_docstring(parsed(path))
    ]
    assert not silent


def test_public_names_are_documented() -> None:
    silent = [
        f"{path.relative_to(ROOT)}:{node.lineno} {node.name}"
        for path in files(*LAYERS)
        for node in public(parsed(path))
        if not ast.get_docstring(node)
    ]
    count = sum(1 for path in files(*LAYERS) for _ in public(parsed(path)))
    assert count
    assert len(silent) <= count * (1 - DOCUMENTED), silent


def test_a_file_is_read_in_one_sitting() -> None:
    lengths = {
        str(path.relative_to(ROOT)): len(path.read_text(encoding="utf-8").splitlines())
        for path in files(*LAYERS, "tests")
    }
    assert not {name: n for name, n in lengths.items() if n > LONGEST_FILE}
    assert statistics.median(lengths.values()) <= USUAL_FILE


def test_nine_functions_of_ten_are_short() -> None:
    lengths = [
        lines(node) for path in files(*LAYERS) for node in functions(parsed(path))
    ]
    short = [length for length in lengths if length <= LONG_FUNCTION]
    assert len(short) >= 0.9 * len(lengths)


@pytest.mark.parametrize("name", REGISTRIES)
def test_no_file_names_a_package_registry(name: str) -> None:
    pattern = re.compile(re.escape(name), re.IGNORECASE)
    assert not [path for path, text in texts() if pattern.search(text)]


def test_nothing_is_left_for_later() -> None:
    pattern = re.compile(rf"\b({'|'.join(MARKS)})\b")
    assert not [path for path, text in texts() if pattern.search(text)]


@pytest.mark.parametrize("name", LOCKS)
def test_every_locked_package_has_one_version_and_its_digests(name: str) -> None:
    text = (ROOT / name).read_text(encoding="utf-8")
    packages = re.split(r"\n(?=\S)", text.strip())
    assert len(packages) > 20
    for package in packages:
        first, *rest = package.replace(" \\\n", "\n").splitlines()
        assert re.fullmatch(r"[a-z0-9-]+==[^ ]+( ; .+)?", first), first
        assert rest, f"{first} has no digest"
        for digest in rest:
            assert re.fullmatch(r" +--hash=sha256:[0-9a-f]{64}", digest), first


@pytest.mark.parametrize("name", LOCKS)
def test_a_lock_holds_no_address(name: str) -> None:
    text = (ROOT / name).read_text(encoding="utf-8")
    assert "://" not in text
    assert "--index" not in text
    assert "@ " not in text


def test_test_tools_come_on_top_of_the_very_versions_that_run() -> None:
    run, test = (
        set(re.findall(r"^\S+==\S+", (ROOT / name).read_text("utf-8"), re.MULTILINE))
        for name in LOCKS
    )
    assert run < test


def test_readme_says_the_job_first_then_the_two_commands() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    title, job, *_ = text.split("\n\n")
    assert title.startswith("# ")
    assert len(job.split()) > 40
    assert not job.startswith(("#", "```", "-", "!"))
    demo, test = text.index("deploy/demo"), text.index("deploy/test")
    assert text.index(job) < demo < test


def test_ci_runs_exactly_the_test_command() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    assert [line for line in script if line and not line.startswith("#")] == [
        "exec deploy/test"
    ]
