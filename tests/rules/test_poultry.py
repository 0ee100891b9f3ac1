"""rules/poultry.py: poultry anywhere in a product takes the poultry target.

Source: 9 CFR 381.150(a)(1), 7-log10 of Salmonella; FSIS-GD-2021-14: a product with any
poultry takes the poultry tables.
"""

import pytest

from rules.lot_claims import bound
from rules.lot_sheet import LotSheet, read_lot_sheet
from rules.schedule import read_schedule
from tests.rules.stories import BEGUN_MS, HEAD, MIN, cook, core, flat, judged, schedule

SUM = """\
stages: [{stage: heat, ends: after 1 h}]
limits:
  - {limit: sum, kind: integrated lethality, channel: core, D: 1 min, z: 10 K,
     reference: 60 degC, target: TARGET}
"""
OWN = """\
tables:
  - {table: Ours, source: a study, approved by: AB, approved on: 2026-03-01,
     for: poultry, rows: [60 degC for 12 min, 70 degC reached]}
stages: [{stage: heat, ends: after 1 h}]
limits:
  - {limit: dwell, kind: dwell table, channel: core, table: Ours}
"""
SHEET = """\
lot sheet: Links
product class: comminuted
keep refrigerated: no
meat: 10 kg
poultry: yes
cures:
  - {cure: pink, weight: 25 g, nitrite: 6.25 %, salt: 93.75 %}
"""


def meat(name: str) -> str:
    return HEAD.replace("meat: pork", f"meat: {name}")


@pytest.mark.parametrize("name", ["poultry", "mixed"])
@pytest.mark.parametrize(
    ("target", "refused"),
    [("6.5-log10", True), ("6.999-log10", True), ("7-log10", False)],
)
def test_a_sum_aims_at_the_poultry_target(
    name: str, target: str, refused: bool
) -> None:
    found = read_schedule("p.yaml", meat(name) + SUM.replace("TARGET", target))
    faults = found if isinstance(found, list) else []
    assert [one.found.split(" is below")[0] for one in faults] == (
        [target] if refused else []
    )


def test_meat_keeps_its_target() -> None:
    assert schedule(SUM.replace("TARGET", "6.5-log10")).limits


@pytest.mark.parametrize(
    ("minutes", "verdict"), [(5, "missed"), (6, "unproven"), (7, "met")]
)
def test_a_lot_with_poultry_is_judged_by_seven(minutes: int, verdict: str) -> None:
    told = schedule(SUM.replace("TARGET", "7-log10"), meat("mixed"))
    heard = [*flat("core", 0, minutes, 60), *flat("core", minutes + 1, 60, 10)]
    one = judged(cook(told, [core()], heard, until_min=60.1), "sum")
    assert one.verdict == verdict, one.why
    assert "; poultry in the product: the poultry target is 7-log10 (9 CFR" in one.why
    assert one.why.endswith("; surface: no humidity evidence")


def test_a_table_of_the_users_own_is_named_so() -> None:
    told = schedule(OWN, meat("poultry"))
    heard = flat("core", 0, 61, 60)
    one = judged(cook(told, [core()], heard, until_min=61), "dwell")
    assert one.verdict == "met"
    assert "; poultry in the product: judged by a table for poultry" in one.why
    assert one.since_ms == BEGUN_MS + 12 * MIN


@pytest.mark.parametrize(
    ("name", "poultry", "refused"),
    [
        ("pork", "yes", True),
        ("beef", "yes", True),
        ("mixed", "yes", False),
        ("poultry", "yes", False),
        ("pork", "no", False),
    ],
)
def test_a_lot_with_poultry_begins_no_schedule_for_meat(
    name: str, poultry: str, refused: bool
) -> None:
    text = meat(name) + SUM.replace("TARGET", "7-log10")
    kept = SHEET.replace("poultry: yes", f"poultry: {poultry}")
    sheet = read_lot_sheet("lot.yaml", kept)
    assert isinstance(sheet, LotSheet), sheet
    found = bound("p.yaml", text, sheet, kept)
    assert isinstance(found, list) is refused
    if refused:
        assert (
            f"the schedule is for {name}, and there is poultry in the lot" in found[0]
        )
