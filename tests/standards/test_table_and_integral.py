"""The table and the integral are two results, side by side; and poultry takes its own.

Source:    FSIS Appendix A, 6.5-log10 column: 145 degF 4 min, 154 degF 27 s, 158 degF
           at once; D and z by its own shape, computed: two decades from 130 to 150 degF
           and 67 s at 150 degF, so z = 10 degF and D(150 degF) = 67 / 6.5 s.  By that
           curve 145 degF takes 212 s and 158 degF 10.6 s.  FSIS-GD-2021-14: any poultry
           in it, and the poultry tables hold; a missed set point passes by a lower row.
           A step up and one down may have been a second longer each: what is missed is
           held for so much less.
Rows:      typed from the source; never printed by our own code.
"""

import pytest

from rules.channels import Channel, Role
from rules.facts import Reading
from rules.schedule import read_schedule
from tests.rules.stories import BEGUN_MS, HEAD, S, cook, degf, judged, schedule

BOTH = """\
stages: [{stage: cook, ends: after 10 min}]
limits:
  - {limit: table, kind: dwell table, channel: core,
     table: "FSIS Appendix A, meat, 6.5-log10"}
  - {limit: integral, kind: integrated lethality, channel: core, D: 10.308 s,
     z: 5.5556 K, reference: 150 degF, target: 6.5-log10}
"""
ROWS = [  # degF, seconds held, table, integral
    (145, 240, "met", "met"),
    (145, 214, "missed", "met"),
    (145, 208, "missed", "missed"),
    (154, 27, "met", "met"),  # where 158 degF was planned
    (154, 24, "missed", "missed"),
    (158, 1, "met", "missed"),
    (158, 11, "met", "met"),
]


@pytest.mark.parametrize(("at_f", "held_s", "table", "integral"), ROWS)
def test_each_is_said_for_itself(
    at_f: int, held_s: int, table: str, integral: str
) -> None:
    told = schedule(BOTH)
    hot = range(5, 5 + held_s + 1)
    heard = [
        Reading("core", BEGUN_MS + at_s * S, degf(at_f if at_s in hot else 90), 0)
        for at_s in range(601)
    ]
    core = Channel("core", Role.CORE, S, 60 * S, 0)
    outcome = cook(told, [core], heard, until_min=11)
    assert judged(outcome, "table").verdict == table
    assert judged(outcome, "integral").verdict == integral


def test_no_row_was_lost() -> None:
    assert len(ROWS) == 7


@pytest.mark.parametrize("meat", ["poultry", "mixed"])
def test_poultry_anywhere_is_not_judged_by_the_meat_table(meat: str) -> None:
    head = HEAD.replace("meat: pork", f"meat: {meat}")
    faults = read_schedule("story.yaml", head + BOTH)
    assert isinstance(faults, list)
    assert [one.found for one in faults] == [
        f"this table is not for product with poultry in it (meat: {meat})",
        "6.5-log10 is below the target of product with poultry in it, which is "
        f"7-log10 (meat: {meat}; 9 CFR 381.150(a)(1); FSIS-GD-2021-14)",
    ]
