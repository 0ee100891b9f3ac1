"""``deploy/screening``: what screening finds of each fault, and what it doubts wrongly.

On days of the simulated smokehouse, each fault at several minutes of each day.
``detected`` counts the faults of which at least one false reading was doubted,
``doubted`` the share of their false readings, ``after`` the longest time from the
first false reading to the first in doubt, ``wrongly`` the honest readings doubted
before the fault, ``told wrongly`` the messages to people that came of them.  Honest
readings after a fault that are in doubt until somebody has looked are ``kept back``.

    .venv/bin/python -m tests.bench.screening [--seeds 5]
"""

import argparse
from collections.abc import Callable, Sequence
from typing import NamedTuple

from rules.facts import Reading
from rules.units import say_ms
from tests.probes import traces
from tests.probes.traces import NAMES, Spoiled, channel, clean, doubted, run, told

MINUTES = (20, 100, 215, 300, 400, 480)  # dry, smoke, cook, ice water, cooler
FAULTS: dict[str, Callable[[Sequence[Reading], int], Spoiled]] = {
    "power-on value": traces.power_on,
    "dead zero": traces.zero,
    "impossible jump": traces.jump,
    "wrong unit": traces.unit,
    "frozen": traces.frozen,
    "out of range": traces.too_hot,
    "coarse steps": traces.coarse,
    "resolution lost": traces.rough,
}
HEAD = ("fault", "tried", "detected", "doubted", "after", "wrongly", "told wrongly")
WIDTHS = (16, 6, 9, 9, 12, 8, 13, 10)


class Row(NamedTuple):
    """What came of one fault, tried so often."""

    fault: str
    tried: int
    detected: int
    share: float  # of the false readings
    after_ms: int
    wrongly: int
    told_wrongly: int
    kept_back: int


def row(fault: str, seeds: int) -> Row:
    """Try one fault on every core of every day."""
    tried = detected = false = caught = after_ms = wrongly = untrue = back = 0
    for seed in range(1, seeds + 1):
        for name in NAMES[1:]:
            for minute in MINUTES:
                one = FAULTS[fault](clean(seed, name), minute)
                found = run(channel(name), one.readings)
                at = doubted(found)
                inside = [ms for ms in at if one.from_ms <= ms < one.to_ms]
                tried, detected = tried + 1, detected + bool(inside)
                caught += len(inside)
                false += sum(one.from_ms <= r.at_ms < one.to_ms for r in one.readings)
                after_ms = max(after_ms, min(inside, default=0) - one.from_ms)
                wrongly += sum(ms < one.from_ms for ms in at)
                untrue += sum(event.at_ms < one.from_ms for event in told(found))
                back += sum(ms >= one.to_ms for ms in at)
    share = caught / false
    return Row(fault, tried, detected, share, after_ms, wrongly, untrue, back)


def clean_days(seeds: int) -> Row:
    """Every probe of the days on which none fails."""
    found = [
        run(channel(name), clean(seed, name))
        for seed in range(1, seeds + 1)
        for name in NAMES
    ]
    wrongly, untrue = (
        sum(len(doubted(f)) for f in found),
        sum(map(len, map(told, found))),
    )
    return Row("none", len(found), 0, 0.0, 0, wrongly, untrue, 0)


def table(seeds: int) -> list[Row]:
    """The clean days, then one row a fault."""
    return [clean_days(seeds), *(row(fault, seeds) for fault in FAULTS)]


def main() -> int:
    """Print the table; answer 1 where an honest day was doubted."""
    parser = argparse.ArgumentParser(prog="deploy/screening", description=__doc__)
    parser.add_argument(
        "--seeds", type=int, default=5, help="days, each with new noise"
    )
    rows = table(parser.parse_args().seeds)
    print(
        *(word.rjust(n) for word, n in zip((*HEAD, "kept back"), WIDTHS, strict=True))
    )
    for one in rows:
        share, after = f"{one.share:.1%}", say_ms(max(one.after_ms, 0))
        cells = map(str, one._replace(share=share, after_ms=after))  # type: ignore[arg-type]
        print(*(cell.rjust(n) for cell, n in zip(cells, WIDTHS, strict=True)))
    return int(any(one.wrongly or one.told_wrongly for one in rows))


if __name__ == "__main__":
    raise SystemExit(main())
