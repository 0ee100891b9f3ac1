"""Stages: how their end is written, and what ends them."""

import pytest
from pydantic_core import PydanticCustomError

from rules import stages
from rules.stages import Ends, Stage, Way, core_reached, ends
from tests.rules.stories import BEGUN_MS, MIN, H


@pytest.mark.parametrize(
    ("text", "meant", "said"),
    [
        ("after 45 min", Ends(Way.AFTER, ms=45 * MIN), "after 45 min"),
        ("after 1.5 h", Ends(Way.AFTER, ms=90 * MIN), "after 1 h 30 min"),
        ("by hand", Ends(Way.BY_HAND), "by hand"),
        (
            "when every core reaches 69 degC",
            Ends(Way.REACHES, mc=69_000),
            "when every core reaches 69.0 degC",
        ),
        (
            "when every core rises to 158 degF",
            Ends(Way.RISES, mc=70_000),
            "when every core rises to 158.0 degF",
        ),
        (
            "when every core falls to 4 degC",
            Ends(Way.FALLS, mc=4_000),
            "when every core falls to 4.0 degC",
        ),
    ],
)
def test_the_end_of_a_stage_is_read_and_said(text: str, meant: Ends, said: str) -> None:
    assert ends(text) == meant
    assert str(ends(text)) == said


@pytest.mark.parametrize(
    "text",
    [
        "",
        "after",
        "after 45",
        "when any core reaches 69 degC",
        "when every core reaches 69",
        "when every core drops to 4 degC",
        "When every core reaches 69 degC",
        "by Hand",
        ["by hand"],
    ],
)
def test_what_does_not_say_the_end_is_refused(text: object) -> None:
    with pytest.raises(PydanticCustomError):
        ends(text)


@pytest.mark.parametrize(
    ("way", "low_mc", "high_mc", "reached"),
    [
        (Way.RISES, 69_000, 70_000, True),
        (Way.RISES, 68_999, 70_000, False),
        (Way.FALLS, 68_000, 69_000, True),
        (Way.FALLS, 68_000, 69_001, False),
        (Way.BY_HAND, 69_000, 69_000, False),
        (Way.AFTER, 69_000, 69_000, False),
        (None, 69_000, 69_000, False),
    ],
)
def test_a_core_has_reached_it_when_a_reading_surely_shows_it(
    way: Way | None, low_mc: int, high_mc: int, reached: bool
) -> None:
    stage = written("when every core reaches 69 degC")
    assert core_reached(way, stage, low_mc, high_mc) is reached


def written(end: str, **more: str) -> Stage:
    """A stage as its author writes it."""
    more = {key.replace("_", " "): value for key, value in more.items()}
    return Stage.model_validate({"stage": "one", "ends": end, **more})


def test_a_stage_ends_by_time_or_is_overdue_by_time() -> None:
    at = stages.opened([written("by hand")], 0, BEGUN_MS)
    assert stages.due_ms(written("after 45 min"), at) == BEGUN_MS + 45 * MIN
    assert stages.due_ms(written("by hand"), at) is None
    late = written("by hand", at_most="4 h")
    assert stages.overdue_ms(late, at) == BEGUN_MS + 4 * H
    assert stages.overdue_ms(late, at._replace(lasts=stages.Lasts.OVERDUE)) is None
    assert stages.overdue_ms(written("by hand"), at) is None


@pytest.mark.parametrize(
    ("stage", "heats"),
    [
        pytest.param(written("when every core rises to 69 degC"), True, id="rises"),
        pytest.param(written("when every core falls to 4 degC"), False, id="falls"),
        pytest.param(
            written("after 3 h", chamber="130 degF to 82 degC"), True, id="hot chamber"
        ),
        pytest.param(
            written("after 3 h", chamber="129 degF to 82 degC"),
            False,
            id="warm chamber",
        ),
        pytest.param(written("by hand"), False, id="nothing known"),
    ],
)
def test_which_stages_heat(stage: Stage, heats: bool) -> None:
    """The end of the last of them is the end of heating: 130 degF and up."""
    at = stages.opened([stage], 0, BEGUN_MS)
    after = stages.moved_on([stage], stages.directed([stage]), at, BEGUN_MS + H)
    assert after.heat_ended_ms == (BEGUN_MS + H if heats else 0)
    assert after.finished_ms == BEGUN_MS + H
