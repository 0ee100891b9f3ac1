"""``deploy/faults``: does every fault to a real site and prints what was lost.

Exit: 0 nothing was lost and nothing grew, 1 something was.
"""

import argparse
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from tests.faults import around, clocks, disorder, power, wire
from tests.faults.fuzz import fuzz
from tests.faults.row import Row, head, line
from tests.faults.soak import Soaked, soak

SPOILT = 1_000_000


class Fault(NamedTuple):
    """One fault, and how often it is tried in the short and in the long form."""

    name: str
    run: Callable[[Path, int], Row]
    short: int
    long: int


FAULTS = (
    Fault("kill", power.kills, 10, 200),
    Fault("power cut, journal", power.journal_cuts, 20, 200),
    Fault("power cut, daemon", power.cuts, 10, 200),
    Fault("broker restart", wire.broker_restarts, 5, 50),
    Fault("network cut", wire.network_cuts, 5, 50),
    Fault("disk full", around.full_disk, 3, 20),
    Fault("clock steps", clocks.steps, 4, 12),
    Fault("clock from 1970", clocks.from_1970, 1, 3),
    Fault("disorder", disorder.disorder, 1, 5),
    Fault("mirror down", around.mirror_away, 1, 5),
    Fault("alert address down", around.deaf_telephone, 3, 20),
)


def main() -> int:
    """Carry out what was asked for."""
    parser = argparse.ArgumentParser(prog="deploy/faults", description=__doc__)
    parser.add_argument("--long", action="store_true", help="as often as it takes")
    parser.add_argument("--only", default="", help="faults whose name holds this")
    parser.add_argument("--fuzz", type=int, metavar="N", help="read N spoilt inputs")
    parser.add_argument("--seed", type=int, default=1, help="of the spoilt inputs")
    parser.add_argument("--soak", type=int, metavar="DAYS", help="run so many days")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        if asked.fuzz is not None:
            return _fuzz(asked.fuzz, asked.seed)
        if asked.soak is not None:
            return _soak(Path(folder), asked.soak)
        return _faults(Path(folder), asked.only, long=asked.long)


def _faults(folder: Path, only: str, *, long: bool) -> int:
    chosen = [fault for fault in FAULTS if only in fault.name]
    if not chosen:
        names = ", ".join(fault.name for fault in FAULTS)
        print(f"no fault is named so; there are: {names}", file=sys.stderr)
        return 2
    print(head(), flush=True)
    good = True
    for fault in chosen:
        began_s = time.monotonic()
        row = fault.run(folder / fault.name, fault.long if long else fault.short)
        print(line(row, time.monotonic() - began_s), flush=True)
        good = good and row.good
    print("nothing was lost" if good else "SOMETHING WAS LOST")
    return 0 if good else 1


def _fuzz(inputs: int, seed: int) -> int:
    report = fuzz(inputs, seed, lambda words: print(words, flush=True))
    rate = report.inputs / report.seconds
    print(f"spoilt inputs          {report.inputs:12,}   {rate:,.0f}/s")
    print(f"resident, at most      {report.peak_mb:12.1f} MB")
    print(f"  of that when warm    {report.warm_mb:12.1f} MB")
    print(f"raised, slow, or grew  {len(report.failures):12,}")
    for failure in report.failures[:20]:
        print(f"    {failure}")
    return 1 if report.failures else 0


def _soak(folder: Path, days: int) -> int:
    soaked: Soaked = soak(folder, days, lambda words: print(words, flush=True))
    print(f"simulated days         {soaked.days:12,}")
    print(f"readings published     {soaked.published:12,}")
    print(f"journalled             {soaked.journalled:12,}")
    print(f"duplicated, lost       {soaked.duplicated:12,}{soaked.lost:12,}")
    print(f"events                 {soaked.events:>12}")
    first, last = soaked.resident_mb
    print(f"resident               {first:12.1f} to {last:.1f} MB after the first day")
    print(f"  slope                {soaked.mb_a_day:12.3f} MB a day")
    print(f"open files             {soaked.files[0]:12} to {soaked.files[1]}")
    print(f"  slope                {soaked.files_a_day:12.3f} a day")
    return 0 if soaked.good else 1


if __name__ == "__main__":
    sys.exit(main())
