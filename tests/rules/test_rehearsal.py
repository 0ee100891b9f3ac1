"""Rehearsal files: days told in words, and what is said when one is not as expected."""

from pathlib import Path

import pytest
from pydantic_core import PydanticCustomError

from daemon.cli import main
from rules.rehearsal import RehearsalFile, lacking, misses, read_rehearsals, run
from rules.told import length, segment, values
from tests.rules.stories import MIN, H, schedule

CHILL = """\
stages: [{stage: chill, ends: by hand}]
limits:
  - {limit: chill, kind: hold, channel: core, at or below: 4 degC, grace: 30 min}
"""
COOLING = """\
stages: [{stage: chill, ends: by hand}]
limits:
  - limit: chill
    kind: cooling option
    channel: core
    option: FSIS Appendix B 2021, option 1
"""
CHILLING = schedule(CHILL)
DAY = """\
schedule: chill.yaml
rehearsals:
  - rehearsal: door left open
    readings every: 1 min
    accuracy: 0 K
    core:
      - 3 degC for 10 min
      - to 6 degC over 3 min
      - 6 degC for 57 min
      - 3.5 degC for 20 min
    expect:
      - at 42 min: chill deviation
"""


def day(text: str = DAY) -> RehearsalFile:
    found = read_rehearsals("day.yaml", text)
    assert isinstance(found, RehearsalFile), found
    return found


@pytest.mark.parametrize(
    ("text", "ms"),
    [("45 min", 45 * MIN), ("1 h 30 min", 90 * MIN), ("2 h", 2 * H), ("90 s", 90_000)],
)
def test_a_length_may_have_several_parts(text: str, ms: int) -> None:
    assert length(text) == ms


def test_a_story_is_straight_lines_and_silences() -> None:
    story = [segment("10 degC for 2 min"), segment("to 16 degC over 3 min")]
    story += [segment("silent for 2 min"), segment("20 degC for 1 min")]
    assert [*values(story, MIN)] == [
        (0, 10_000),
        (MIN, 10_000),
        (2 * MIN, 10_000),
        (3 * MIN, 12_000),
        (4 * MIN, 14_000),
        (7 * MIN, 20_000),
        (8 * MIN, 20_000),
    ]


@pytest.mark.parametrize(
    "text",
    [
        *("60 degC", "60 for 10 min", "to 60 degC for 10 min", "60 degC over 10 min"),
        *(
            "60 degC for 1:30",
            "silent over 5 min",
            "60 degC for 0 min",
            "quiet for 1 h",
        ),
    ],
)
def test_what_is_no_story_is_refused(text: str) -> None:
    with pytest.raises(PydanticCustomError):
        segment(text)


def test_a_deviation_where_it_is_expected() -> None:
    """It rises by 1 K a minute from 3 degC at 10 min: surely above 4 from the 12th on.

    The 30 min that are allowed are over at 42 min.
    """
    (one,) = day().rehearsals
    assert not [*misses(CHILLING, one, run(CHILLING, one), 0)]


def test_what_is_not_as_expected_is_shown_beside_what_happened() -> None:
    (one,) = day(DAY.replace("at 42 min: chill", "at 35 min: chill")).rehearsals
    (miss,) = misses(CHILLING, one, run(CHILLING, one), 0)
    assert miss.loc == ("rehearsals", 0, "expect", 0)
    assert (miss.when, miss.expected) == ("at 35 min", "chill deviation")
    assert miss.got.startswith("chill deviation (core) at 42 min: core was not")


@pytest.mark.parametrize(
    ("expect", "got"),
    [
        ("never: chill deviation", "chill deviation (core) at 42 min"),
        ("at 5 min: lethality met", "nothing here is named so; write one of: chill,"),
        ("never: chil deviation", "nothing here is named so; did you mean 'chill'?"),
        ("never: chill deviating", "'chill' is never 'deviating'; did you mean 'devi"),
        ("never: chill", "nothing here is named so; did you mean 'chill'?"),
        ("never: core stale", "'core' is never 'stale'; did you mean 'stall'?"),
        ("never: chill met (core-2)", "no channel is named 'core-2'; did you mean"),
        ("at 5 min: chill met", "chill begun at 0 s"),
    ],
)
def test_each_way_to_be_wrong_is_said(expect: str, got: str) -> None:
    (one,) = day(DAY.replace("at 42 min: chill deviation", expect)).rehearsals
    (miss,) = misses(CHILLING, one, run(CHILLING, one), 0)
    assert miss.got.startswith(got), miss.got


def test_a_verdict_that_is_another_is_said() -> None:
    (one,) = day(DAY + "    verdicts: {chill: met, colour: met}\n").rehearsals
    first, second = misses(CHILLING, one, run(CHILLING, one), 0)
    assert first.got.startswith("chill missed (core: at or below 4.0 degC")
    assert second.got == "no limit is named so; write one of: chill"


def test_a_channel_that_is_not_told_of_is_said() -> None:
    (one,) = day(DAY.replace("    core:", "    chamber:")).rehearsals
    assert lacking(schedule(CHILL), one) == [
        "limit 'chill' needs a channel of role core"
    ]


@pytest.mark.parametrize(
    ("was", "now", "words"),
    [
        ("at 42 min: chill deviation", "chill deviation", "one line with a moment"),
        ("at 42 min", "after 42 min", "'after 42 min' does not say when"),
        ("    core:", "    probe:", "'probe' is not a key here"),
        ("    core:", "    channels:", "'channels' is not a key here"),
        ("3 degC for 10 min", "to 3 degC over 10 min", "does not begin with a temp"),
        ("readings every: 1 min", "begins: noon", "'noon' is not a moment"),
        ("    expect", "    entries: [{at 3 h: dance}]\n    expect", "at 3 h: dance"),
        ("to 6 degC over 3 min", "6 over 3", "'6 over 3' is no stretch of a story"),
    ],
)
def test_a_mistake_in_a_rehearsal_is_said(was: str, now: str, words: str) -> None:
    faults = read_rehearsals("day.yaml", DAY.replace(was, now))
    assert isinstance(faults, list)
    assert any(words in one.found for one in faults), faults


def test_the_command_shows_expected_and_got_with_the_schedules_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    head = "schedule: Chill\nrevision: 1\n"
    head += "product: {meat: pork, form: comminuted, cured: yes}\n"
    (tmp_path / "chill.yaml").write_text(head + CHILL)
    path = tmp_path / "day.yaml"
    path.write_text(DAY)
    assert main(["rehearse", str(path)]) == 0
    assert capsys.readouterr().out == f"{path}: door left open: as expected\n"
    path.write_text(DAY.replace("42 min", "35 min"))
    assert main(["rehearse", str(path)]) == 1
    _, place, expected, *got = capsys.readouterr().out.splitlines()
    assert place == f"{path}:12:9:"
    assert expected == "  at 35 min expected: chill deviation"
    assert got[0].startswith("             but got: chill deviation (core) at 42 min: ")
    assert got[-1].endswith(", chill.yaml:6")
    assert all(line.startswith(" " * 22) and len(line) <= 80 for line in got[1:])


def test_a_schedule_that_is_not_there_is_said_where_it_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "day.yaml"
    path.write_text(DAY)
    assert main(["rehearse", str(path)]) == 3
    assert capsys.readouterr().err.startswith(
        f"{path}:1:11: there is no file 'chill.yaml' in the folder of this one\n"
        "    1 | schedule: chill.yaml\n"
    )


COME_UP = """\
stages: [{stage: smoke, ends: by hand}]
limits:
  - limit: come-up
    kind: time between
    channel: core
    between: 50 degF and 130 degF
    at most: 6 h
"""
LATE = """\
schedule: links.yaml
rehearsals:
  - rehearsal: the core is measured late
    readings every: 1 min
    chamber: [60 degC for 6 h]
    core: [silent for 3 h, 30 degC for 1 min, to 60 degC over 2 h, 60 degC for 1 h]
    verdicts: {come-up: met}
"""


def test_a_core_that_is_measured_late_has_come_up_since_loading() -> None:
    """Three hours unseen and 98 min from 30 degC to 130 degF: below 6 h, or not."""
    late = schedule(COME_UP)
    for unseen, verdict in ("3 h", "met"), ("5 h", "unproven"):
        text = LATE.replace("3 h", unseen).replace("up: met", f"up: {verdict}")
        (one,) = day(text).rehearsals
        assert not [*misses(late, one, run(late, one), 0)]


def test_somebody_is_heard_when_a_told_day_begins() -> None:
    faults = read_rehearsals("day.yaml", LATE.replace("60 degC for 6", "silent for 6"))
    assert isinstance(faults, list)
    (fault,) = faults
    assert fault.found.startswith("the story of 'chamber' does not begin with a temp")
    later = LATE.replace("[60 degC for 6 h]", "[silent for 1 h, 60 degC for 5 h]")
    faults = read_rehearsals("day.yaml", later)
    assert isinstance(faults, list)
    assert [one.found for one in faults] == ["no channel is heard when the cook begins"]


def test_a_limit_is_named_for_all_its_parts() -> None:
    """Whoever writes ``never: cooling missed`` means either band of it."""
    cooling = schedule(COOLING)
    slow = DAY.replace("3 degC for 10 min", "60 degC for 10 min").replace(
        "at 42 min: chill deviation", "never: chill missed"
    )
    (one,) = day(slow.replace("6 degC for 57 min", "40 degC for 9 h")).rehearsals
    (miss,) = misses(cooling, one, run(cooling, one), 0)
    assert miss.got.startswith("chill: 54.4 degC to 26.7 degC missed (core) at ")


def test_a_chamber_is_not_taken_for_its_stage(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = CHILL.replace("{stage: chill,", "{stage: chill, chamber: 0 degC to 9 degC,")
    head = "schedule: Chill\nrevision: 1\n"
    head += "product: {meat: pork, form: comminuted, cured: yes}\n"
    (tmp_path / "chill.yaml").write_text(head + text)
    told = DAY.replace("at 42 min: chill deviation", "at 42 min: chill chamber missed")
    told = told.replace("    core:", "    chamber: [3 degC for 1 h]\n    core:")
    path = tmp_path / "day.yaml"
    path.write_text(told)
    assert main(["rehearse", str(path)]) == 1
    got = capsys.readouterr().out
    assert "but got: chill chamber " in got
    assert got.endswith(", chill.yaml:4\n")
