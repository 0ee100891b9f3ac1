"""rules/standards/reheating.py against the Food Code, each row judged by the engine.

Source:    FDA Food Code section 3-403.11, as carried in the Code of Maryland
           Regulations 10.15.03.11 C: (A) all parts at 165 degF for 15 s; (C) food from
           a commercially processed, sealed package at 135 degF; both within 2 h.
Rows:      typed from the text; never printed by our own code.
Tolerance: none: degrees Fahrenheit, seconds and hours as printed.
"""

from fractions import Fraction

import pytest

from rules.channels import Channel, Role
from rules.facts import Reading, Verdict
from rules.replay import replay
from rules.schedule import Schedule, read_schedule
from rules.standards.reheating import REHEATING_OPTIONS
from rules.verdicts import Judged
from tests.standards.held import BEGUN_MS, mc

ROWS = [  # option, degF, s held, h
    ("FDA Food Code 3-403.11(A)", 165, 15, 2),
    ("FDA Food Code 3-403.11(C)", 135, 0, 2),
]
every_row = pytest.mark.parametrize(("option", "degf", "run_s", "hours"), ROWS)

COOK = """\
schedule: reheated
revision: 1
product: {{meat: pork, form: comminuted, cured: yes}}
stages: [{{stage: reheat, ends: after 4 h}}]
limits: [{{limit: hot, kind: reheating, channel: core, option: "{option}"}}]
"""


def reheated(
    option: str, value_mc: int, at_s: int, run_s: int, within_mc: int = 0
) -> Judged:
    """A core at 100 degF that is at a value from some second on, for so long."""
    before = [*range(0, at_s, 60), *range(max(at_s - 60, 0), at_s)]
    points = {second: mc(100) for second in before}
    points |= {at_s + second: value_mc for second in range(run_s + 1)}
    points |= {at_s + run_s + second: mc(100) for second in (1, 2)}
    every_s = 60
    readings = [
        Reading("core", BEGUN_MS + second * 1000, degrees, within_mc)
        for second, degrees in sorted(points.items())
    ]
    schedule = read_schedule("reheated.yaml", COOK.format(option=option))
    assert isinstance(schedule, Schedule), schedule
    channel = Channel("core", Role.CORE, every_s * 1000, 600_000, within_mc)
    until_ms = BEGUN_MS + 5 * 3_600_000
    (judged,) = replay(schedule, [channel], BEGUN_MS, readings, [], until_ms).judged
    return judged


@every_row
def test_at_the_last_second_is_in_time(
    option: str, degf: int, run_s: int, hours: int
) -> None:
    judged = reheated(option, mc(degf), hours * 3600, run_s)
    assert judged.verdict is Verdict.MET
    assert judged.since_ms == BEGUN_MS + (hours * 3600 + run_s) * 1000


@every_row
def test_two_seconds_later_is_missed(
    option: str, degf: int, run_s: int, hours: int
) -> None:
    """A second later it may have come there in the second before."""
    late_s = hours * 3600 + 1
    assert reheated(option, mc(degf), late_s, run_s).verdict is Verdict.UNPROVEN
    assert reheated(option, mc(degf), late_s + 1, run_s).verdict is Verdict.MISSED


@every_row
def test_a_tenth_of_a_degree_less_is_not_enough(
    option: str, degf: int, run_s: int, hours: int
) -> None:
    value_mc = mc(degf - Fraction(1, 10))
    judged = reheated(option, value_mc, hours * 1800, run_s + 60)
    assert (
        judged.verdict is Verdict.UNPROVEN
    )  # nobody looked on until the 2 h were over


def test_a_second_less_than_fifteen_is_not_enough() -> None:
    option = ROWS[0][0]
    judged = reheated(option, mc(165), 3600, 14)
    assert judged.verdict is Verdict.UNPROVEN  # the seconds on the way are unseen
    assert "for 15 s is not shown" in judged.why


@every_row
def test_a_doubted_reading_needs_its_uncertainty_on_top(
    option: str, degf: int, run_s: int, hours: int
) -> None:
    judged = reheated(option, mc(degf) + 500, 3600, run_s, within_mc=500)
    assert judged.verdict is Verdict.MET
    judged = reheated(option, mc(degf) + 499, 3600, run_s, within_mc=500)
    assert judged.verdict is Verdict.UNPROVEN


@every_row
def test_the_source_stands_beside_the_verdict(
    option: str, degf: int, run_s: int, hours: int
) -> None:
    judged = reheated(option, mc(degf), 3600, run_s)
    assert "3-403.11" in judged.source
    assert ("sealed package" in judged.source) is (degf == 135)


def test_no_row_was_lost() -> None:
    assert {row[0] for row in ROWS} == set(REHEATING_OPTIONS)
    assert len(ROWS) == 2
