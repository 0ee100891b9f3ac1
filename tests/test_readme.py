"""README is true: its schedule is read, its fault is said in its words."""

from rules.faults import render_all
from rules.lot_sheet import LotSheet, read_lot_sheet
from rules.rehearsal import RehearsalFile, misses, read_rehearsals, run
from rules.schedule import Schedule, read_schedule
from tests.readme import block_with


def test_the_first_schedule_has_no_fault() -> None:
    assert isinstance(
        read_schedule("links.yaml", block_with("yaml", "schedule: My links")), Schedule
    )


def test_the_told_day_comes_to_what_is_shown() -> None:
    schedule = read_schedule("links.yaml", block_with("yaml", "schedule: My links"))
    file = read_rehearsals("day.yaml", block_with("yaml", "rehearsals:"))
    assert isinstance(schedule, Schedule) and isinstance(file, RehearsalFile)
    (day,) = file.rehearsals
    assert not [*misses(schedule, day, run(schedule, day), 0)]


def test_the_mistake_is_answered_as_shown() -> None:
    text = block_with("yaml", "schedule: My links").replace(
        "settle: 15 min", "settle: 1:30"
    )
    faults = read_schedule("links.yaml", text)
    assert isinstance(faults, list)
    assert render_all(faults, text) == block_with("", "links.yaml:")


def test_the_lot_sheet_has_no_fault_and_meets_its_limits() -> None:
    sheet = read_lot_sheet("lot.yaml", block_with("yaml", "lot sheet:"))
    assert isinstance(sheet, LotSheet)
    assert not sheet.breached
