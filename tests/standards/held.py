"""A core held at one temperature for so long, judged through the engine.

The core stands at 100 degF before, which is below every row, and its probe reports
every second, so that a time in whole seconds ends at a reading.
"""

from fractions import Fraction

from rules.channels import Channel, Role
from rules.facts import Reading
from rules.replay import replay
from rules.schedule import Schedule, read_schedule
from rules.units import fahrenheit_mc
from rules.verdicts import Judged

BEGUN_MS = 1_767_934_800_000  # 2026-01-09T05:00:00Z, any day will do
COLD_S = 5

COOK = """\
schedule: held
revision: 1
product: {{meat: pork, form: comminuted, cured: yes}}
stages: [{{stage: cook, ends: after {s} s}}]
limits: [{{limit: lethality, kind: dwell table, channel: core, table: "{table}"}}]
"""


def mc(degf: Fraction | int) -> int:
    """Degrees Fahrenheit in thousandths of a degree Celsius."""
    return fahrenheit_mc(Fraction(degf))


def held(
    table: str, value_mc: int, dwell_s: int, every_s: int = 1, within_mc: int = 0
) -> Judged:
    """Judge a core that stands at ``value_mc`` for ``dwell_s`` and is cold again."""
    every_s = min(every_s, max(dwell_s, 1))
    hot_s = [*range(0, dwell_s, every_s), dwell_s]
    cold_mc = mc(100)
    points = [(at_s, cold_mc) for at_s in range(0, COLD_S)]
    points += [(COLD_S + at_s, value_mc) for at_s in hot_s]
    points += [(COLD_S + dwell_s + 1, cold_mc), (COLD_S + dwell_s + 2, cold_mc)]
    readings = [
        Reading("core", BEGUN_MS + at_s * 1000, degrees, within_mc)
        for at_s, degrees in points
    ]
    text = COOK.format(s=COLD_S + dwell_s + 2, table=table)
    schedule = read_schedule("held.yaml", text)
    assert isinstance(schedule, Schedule), schedule
    channel = Channel("core", Role.CORE, every_s * 1000, 600_000, within_mc)
    until_ms = readings[-1].at_ms + 10_000
    outcome = replay(schedule, [channel], BEGUN_MS, readings, [], until_ms)
    (judged,) = outcome.judged
    return judged


def full_at_ms(dwell_s: int) -> int:
    """The moment at which a row of that time is full."""
    return BEGUN_MS + (COLD_S + dwell_s) * 1000
