"""What is wrong in a file that a person wrote, said so that its author can mend it.

A fault is a value, not an exception: the reader of a file collects them all and
shows them together, in the order of the file.
"""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One mistake, where it stands, and what would be right there."""

    path: str
    line: int  # from 1
    column: int  # from 1
    width: int
    found: str
    remedy: str


def render(fault: Fault, source: str) -> str:
    """Show the fault with its line and a mark under the words it is about."""
    lines = source.splitlines()
    text = lines[fault.line - 1] if fault.line <= len(lines) else ""
    mark = " " * (fault.column - 1) + "^" * fault.width
    return (
        f"{fault.path}:{fault.line}:{fault.column}: {fault.found}\n"
        f"{fault.line:>5} | {text}\n"
        f"      | {mark}\n"
        f"  {fault.remedy}\n"
    )


def render_all(faults: Iterable[Fault], source: str) -> str:
    """Show every fault of one file, in file order, with a blank line between."""
    return "\n".join(render(fault, source) for fault in sorted(faults))
