"""What is wrong in a file that a person wrote, said so that its author can mend it.

A fault is a value, not an exception: the reader of a file collects them all and
shows them together, in the order of the file.  What a careful reviewer would ask of
a file without a fault has the same shape: a warning, or a difference from its base.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """Whether a file can be used with what was found in it."""

    FAULT = "fault"  # it cannot
    WARNING = "warning"  # somebody should look at it first
    DIFFERENCE = "difference"  # from the schedule that it extends


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One mistake, where it stands, and what would be right there."""

    path: str
    line: int  # from 1
    column: int  # from 1
    width: int
    found: str
    remedy: str
    severity: Severity = Severity.FAULT


def render(fault: Fault, source: str) -> str:
    """Show the fault with its line and a mark under the words it is about."""
    mild = fault.severity is not Severity.FAULT
    kind = f"{fault.severity}: " if mild else ""
    lines = source.splitlines()
    text = lines[fault.line - 1] if fault.line <= len(lines) else ""
    mark = " " * (fault.column - 1) + "^" * fault.width
    return (
        f"{fault.path}:{fault.line}:{fault.column}: {kind}{fault.found}\n"
        f"{fault.line:>5} | {text}\n"
        f"      | {mark}\n" + (f"  {fault.remedy}\n" if fault.remedy else "")
    )


def render_all(faults: Iterable[Fault], source: str) -> str:
    """Show every fault of one file, in file order, with a blank line between."""
    return "\n".join(render(fault, source) for fault in sorted(faults))


def render_across(faults: Iterable[Fault], texts: Mapping[str, str]) -> str:
    """Show the faults of several files, each with its line; ``texts`` is by path."""
    return "\n".join(
        render(fault, texts.get(fault.path, "")) for fault in sorted(faults)
    )
