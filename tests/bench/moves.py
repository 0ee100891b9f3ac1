"""``deploy/moves``: every entry of every table of moves changed, one at a time.

Prints the table, the entry, what it says and what it was made to say, and the test
that caught it.  Exit: 1 where nothing caught a change that can matter.

    .venv/bin/python -m tests.bench.moves
"""

import sys
from typing import Any

from tests.rules.moves import TABLES, mutants


def main() -> int:
    """Print every mutant; the exit code."""
    missed, caught = 0, 0
    for table in TABLES:
        for one in mutants(table):
            why = table.cannot_happen.get(one.entry)
            if one.caught_by:
                end, caught = f"caught by {one.caught_by}", caught + 1
            elif why:
                end = f"cannot happen: {why}"
            else:
                end, missed = "NOT CAUGHT", missed + 1
            change = f"{_said(one.right)} -> {_said(one.wrong)}"
            print(f"{table.name} | {_said(one.entry)} | {change} | {end}", flush=True)
    print(f"{caught} changes caught, {missed} not caught")
    return 1 if missed else 0


def _said(value: Any) -> str:
    """A part of a table in words: its standings, signals, signs and what sees them."""
    if isinstance(value, tuple):
        return f"({', '.join(_said(one) for one in value)})"
    return getattr(value, "__name__", None) or str(getattr(value, "name", value))


if __name__ == "__main__":
    sys.exit(main())
