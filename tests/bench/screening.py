"""``deploy/screening``: what screening finds of each fault, and what it doubts wrongly.

Each fault is put into days of the simulated smokehouse (``deploy/example/days``) at
several times, and the readings of all probes are screened as the daemon does it.
``detected`` counts the faults that were told, ``named`` those that were told by their
own name, ``after`` the middle and the longest time from the first false reading until
that; ``doubted`` is the share of the false readings that were in doubt.  ``wrongly``
counts what was told though no probe had failed, ``kept back`` the honest readings after
a fault that wait until somebody has looked.  On the shipped traces and the days of
``tests.bench.harsh`` no probe fails: whatever is doubted in them is wrong.

The same is done to temperatures that real probes said (``tests.bench.recorded``), and,
where traces are named, to those alone, with the faults in their first core.

    .venv/bin/python -m tests.bench.screening [--seeds 2] [--every 10] [TRACE.csv ...]
"""

import argparse
import sys
from collections.abc import Iterable, Mapping
from pathlib import Path
from statistics import median
from typing import NamedTuple

from daemon.cli import CommandError
from probes.company import company_of, fold
from probes.doubts import TABLE, Doubt
from probes.screening import refused
from probes.script import What
from probes.trace import Trace, read
from probes.watch import NEW
from rules.channels import Channel, Role
from rules.facts import Event, Quality, Reading
from rules.rehearsal import role_of
from rules.units import say_ms
from tests.bench import days, harsh, recorded
from tests.bench.days import CHAMBER, PROBE, Day, Fault, done, told
from tests.bench.sources import reasons
from tests.probes import traces

FAULTS: dict[Doubt, Fault] = {
    Doubt.RANGE: told(What.STUCK, shows_c=140.0),
    Doubt.POWER_ON: told(What.STUCK, minutes=3, shows_c=85.0),
    Doubt.ZERO: told(What.STUCK, shows_c=0.0),
    Doubt.JUMP: done(traces.jump),
    Doubt.UNIT: done(traces.unit),
    Doubt.FROZEN: told(What.FROZEN, minutes=90),
    Doubt.COARSE: done(traces.coarse),
    Doubt.ROUGH: done(traces.rough),
    Doubt.SWAPPED: told(What.SWAPPED, hot=True, other=CHAMBER),
    Doubt.PULLED_OUT: told(What.PULLED_OUT, hot=True),
    Doubt.IN_AIR: told(What.PULLED_OUT, minutes=120, from_start=True),
    Doubt.TOUCHING: told(What.TOUCHING, CHAMBER, hot=True),
}
NAMES = ("chamber", "core-1", "core-2", "wet-bulb", "ambient", "bath", "cooler")
HEAD = (
    *("fault", "treated", "tried", "detected", "named", "after", "at most"),
    *("doubted", "wrongly", "kept back"),
)
WIDTHS = (17, 8, 6, 9, 6, 8, 8, 8, 8, 10)


class Row(NamedTuple):
    """What came of one fault, tried so often."""

    doubt: Doubt
    tried: int
    detected: int
    named: int
    after_ms: tuple[int, ...]  # of those detected
    false: int  # readings
    doubted: int  # of those
    wrongly: int
    kept_back: int


def row(doubt: Doubt, ill: Iterable[Day]) -> Row:
    """What screening makes of days with this fault."""
    tried = detected = named = false = doubted = wrongly = back = 0
    after_ms = []
    for day in ill:
        kept, events, dues = screened(day)
        mine = {day.probe} | ({CHAMBER} if doubt is Doubt.SWAPPED else set())
        own = [
            (due_ms, event.now)
            for event, due_ms in zip(events, dues, strict=True)
            if event.name in mine and day.from_ms <= due_ms and event.now in TABLE
        ]
        tried, detected = tried + 1, detected + bool(own)
        named += any(now == doubt for _, now in own)
        after_ms += [own[0][0] - day.from_ms] if own else []
        wrong = [
            event
            for event, due_ms in zip(events, dues, strict=True)
            if event.name not in mine or due_ms < day.from_ms
        ]
        wrongly += len(wrong)
        for one in kept:
            if one.channel == day.probe:
                inside = day.from_ms <= one.at_ms < day.to_ms
                bad = one.quality is Quality.SUSPECT or one.uncertainty_mc > 500
                false, doubted = false + inside, doubted + (inside and bad)
                back += bad and one.at_ms >= day.to_ms
    counts = (tried, detected, named, tuple(after_ms), false, doubted, wrongly, back)
    return Row(doubt, *counts)


def screened(day: Day) -> tuple[list[Reading], list[Event], list[int]]:
    """What is kept of a day, what is told, and the time at which each was told."""
    company = company_of(day.channels, day.diameter_um)
    kept, events, dues = [], [], []
    known = 0
    for one, told_so_far in fold(company, day.readings):
        kept.append(one)
        events += told_so_far
        dues += [one.at_ms] * (len(events) - known)
        known = len(events)
    return kept, events, dues


def trace_of(path: Path) -> Day:
    """A shipped trace as a day on which no probe fails."""
    found = read(
        str(path), path.read_text(), dict.fromkeys(NAMES, days.ACCURACY_MC), None
    )
    assert isinstance(found, Trace), found
    channels = []
    for column in found.channels:
        role = role_of(column.name)
        assert role
        channels.append(Channel(column.name, role, 60_000, 720_000, 500))
    return Day(tuple(channels), found.readings)


def told_of_source(why: str) -> list[Event]:
    """What is told of a source that refuses ten times in a row for this reason."""
    core = Channel(PROBE, Role.CORE, 60_000, 720_000, 500)
    watch, told_of = NEW, []
    for minute in range(10):
        watch, event = refused(core, watch, why, minute * 60_000)
        told_of += [event] if event else []
    return told_of


def false_alarms(day: Day) -> tuple[int, int]:
    """How many honest readings were doubted, and how often somebody was told."""
    kept, events, _ = screened(day)
    return sum(one.quality is Quality.SUSPECT for one in kept), len(events)


def rows(names: Iterable[str], seeds: int, every_ms: int) -> Iterable[Row]:
    """One row a fault, over all days and seeds."""
    scripts = [
        days.script(name, seed, every_ms)
        for name in names
        for seed in range(1, seeds + 1)
    ]
    for doubt, fault in FAULTS.items():
        yield row(doubt, (day for one in scripts for day in fault(one)))


def main() -> int:
    """Print the tables; answer 1 where an honest probe was doubted."""
    parser = argparse.ArgumentParser(prog="deploy/screening", description=__doc__)
    parser.add_argument("--seeds", type=int, default=2, help="noise and gusts anew")
    parser.add_argument("--every", type=int, default=0, help="seconds; 0: the day's")
    parser.add_argument("traces", type=Path, nargs="*", help="your own, as CSV")
    asked = parser.parse_args()
    if asked.traces:
        try:
            return _recorded({str(path): recorded.own(path) for path in asked.traces})
        except CommandError as error:
            print(error, file=sys.stderr)
            return error.code
    every_ms = asked.every * 1_000
    names = sorted(path.stem for path in days.DAYS.glob("*.yaml"))
    wrongly = _table(rows(names, asked.seeds, every_ms))
    print(
        "\nwhat a source says      of its probe           told from the second one on"
    )
    for (doubt, source), why in reasons().items():
        words = [event.why for event in told_of_source(why)] or ["nothing"]
        print(f"{source:<23} {doubt:<22} {words[0]}")
    scripts = [(n, seed) for n in names for seed in range(1, asked.seeds + 1)]
    honest = {
        f"{name}, seed {seed}": days.honest(days.script(name, seed, every_ms))
        for name, seed in scripts
    }
    shipped = sorted(days.TRACES.glob("*.csv"))
    honest |= {path.name: trace_of(path) for path in shipped}
    wrongly += _no_fault(honest | dict(harsh.all_days()))
    print("\nrecorded by others (tests/bench/recorded.py)")
    return int(bool(wrongly + _recorded(recorded.series())))


def _recorded(found: Mapping[str, Day]) -> int:
    """Print what is doubted in recorded days, and each fault put into them."""
    wrongly = _no_fault(found)
    for name, day in found.items():
        tried = [row(doubt, recorded.ill(day, doubt)) for doubt in recorded.faults(day)]
        if any(one.tried for one in tried):
            print(f"\n{name}")
            wrongly += _table(tried)
    return int(bool(wrongly))


def _table(found: Iterable[Row]) -> int:
    """Print one line a fault; answer what was told wrongly."""
    wrongly = 0
    print(*(word.rjust(n) for word, n in zip(HEAD, WIDTHS, strict=True)))
    for one in found:
        wrongly += one.wrongly
        print(*(c.rjust(n) for c, n in zip(_cells(one), WIDTHS, strict=True)))
    return wrongly


def _no_fault(honest: Mapping[str, Day]) -> int:
    """Print what is doubted and told where no probe fails; answer how much."""
    wrongly = 0
    print("\nno probe fails                  readings  doubted  told")
    for name, day in honest.items():
        doubted, told_of = false_alarms(day)
        wrongly += doubted + told_of
        print(f"{name:<31} {len(day.readings):8} {doubted:8} {told_of:5}")
    return wrongly


def _cells(one: Row) -> list[str]:
    times = [median(one.after_ms), max(one.after_ms)] if one.after_ms else []
    after = [say_ms(round(ms)) for ms in times] or ["never", "never"]
    share = f"{one.doubted / max(one.false, 1):.0%}"
    counts = [str(n) for n in (one.tried, one.detected, one.named)]
    ends = [share, str(one.wrongly), str(one.kept_back)]
    return [str(one.doubt), str(TABLE[one.doubt].treated), *counts, *after, *ends]


if __name__ == "__main__":
    raise SystemExit(main())
