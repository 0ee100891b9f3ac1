"""The shipped schedules: each is sound, says its sources, and is rehearsed."""

from pathlib import Path

import pytest

from rules.faults import Severity
from rules.rehearsal import RehearsalFile, misses, read_rehearsals, run
from rules.review import review
from rules.schedule import Schedule, WholeSchedule, read_schedule, read_whole

FOLDER = Path(__file__).parents[2] / "rules" / "library"
NAMES = sorted(
    path.stem
    for path in FOLDER.glob("*.yaml")
    if not path.name.endswith(".rehearsal.yaml")
)
UNSOURCED = "common practice, no source"


def approved(name: str) -> str:
    """A file of the library, a table's approval filled in as its user would."""
    text = (FOLDER / name).read_text(encoding="utf-8")
    text = text.replace("approved by,\n", "approved by,AB (for a test)\n")
    return text.replace("approved on,\n", "approved on,2026-03-01\n")


def shipped(name: str) -> WholeSchedule:
    path = f"{name}.yaml"
    return read_whole(path, approved(path), approved)


def test_there_are_nine_and_each_has_its_rehearsal() -> None:
    assert NAMES == [
        "bacon",
        "cured_links",
        "fresh_smoked",
        "poultry_sausage",
        "recooked",
        "reheat_and_hold",
        "smoked_ham",
        "snack_sticks",
        "summer_sausage",
    ]
    rehearsed = {path.name for path in FOLDER.glob("*.rehearsal.yaml")}
    assert rehearsed == {f"{name}.rehearsal.yaml" for name in NAMES}


@pytest.mark.parametrize("name", NAMES)
def test_every_day_comes_to_what_was_worked_out_by_hand(name: str) -> None:
    found = shipped(name).schedule
    assert found
    path = f"{name}.rehearsal.yaml"
    file = read_rehearsals(path, approved(path))
    assert isinstance(file, RehearsalFile), file
    assert file.schedule == f"{name}.yaml"
    for number, day in enumerate(file.rehearsals):
        assert day.verdicts
        assert not [*misses(found, day, run(found, day), number)]


@pytest.mark.parametrize("name", NAMES)
def test_every_figure_says_where_it_is_from(name: str) -> None:
    found = shipped(name).schedule
    assert found
    assert all(stage.source for stage in found.stages)
    for limit in found.limits:
        assert limit.sources
        assert limit.if_missed or limit.grade == "operating"
    published = [one.sources for one in found.limits if UNSOURCED not in one.sources]
    assert published


@pytest.mark.parametrize("name", NAMES)
def test_a_reviewer_asks_nothing_that_can_be_mended_here(name: str) -> None:
    """What is left is for its user to approve, to weigh, to verify or to show."""
    found = shipped(name)
    assert found.schedule and found.marked
    left = {"approved it", "humidity", "from memory", "lot sheet"}
    if name == "reheat_and_hold":
        left.add("how it is cooled")  # it is eaten, or thrown away
    for one in review(found.schedule, found.marked):
        assert one.severity is Severity.WARNING
        assert any(words in one.found for words in left), one.found


def test_the_poultry_schedule_is_refused_until_its_table_is_approved() -> None:
    path = "poultry_sausage.yaml"

    def as_shipped(name: str) -> str:
        return (FOLDER / name).read_text(encoding="utf-8")

    faults = read_schedule(path, as_shipped(path), as_shipped)
    assert not isinstance(faults, Schedule)
    assert [(one.path, one.found) for one in faults] == [
        ("poultry_table.csv", "nothing is written for 'approved by'"),
        ("poultry_table.csv", "'' is not a day"),
    ]
