"""What a careful reviewer asks: each question by the schedule that leaves it open."""

import pytest

from rules.faults import Severity
from rules.review import review
from rules.schedule import read_whole

# Nothing is asked of this one but the humidity, which its limits cannot show, and the
# memory that the table's own note speaks of.
SOUND = """\
schedule: sound
revision: 1
approved by: AB, 2026-03-01
product: {meat: pork, form: comminuted, cured: yes, begins: at most 15 degC}
stages:
  - {stage: smoke, chamber: 57 degC to 63 degC, ends: after 3 h}
  - {stage: cook, chamber: 74 degC to 82 degC, ends: when every core reaches 71 degC}
  - {stage: chill, chamber: 0 degC to 3 degC, ends: when every core falls to 4 degC}
limits:
  - {limit: come-up, kind: time between, channel: core, at most: 6 h,
     between: 50 degF and 130 degF, during: 'smoke, cook', warn: 45 min before,
     source: FSIS-GD-2021-14, if missed: [hold the lot apart]}
  - {limit: lethality, kind: dwell table, channel: core, if missed: [cook on],
     table: 'FSIS Appendix A, meat, 6.5-log10'}
  - {limit: cooling, kind: cooling option, channel: core, if missed: [add ice],
     option: FDA Food Code 3-501.14(A)}
alerts:
  - {tell: operator, when: 'at risk, deviation'}
"""
ALWAYS = [
    "core time and temperature are not lethality alone",
    "limit 'lethality' uses figures that are from memory, to be verified",
]


def asked(text: str) -> list[str]:
    """Every question, in file order."""
    found = read_whole("story.yaml", text)
    assert found.schedule and found.marked, found.faults
    warnings = review(found.schedule, found.marked)
    assert {one.severity for one in warnings} <= {Severity.WARNING}
    assert all(one.remedy for one in warnings)
    return [one.found for one in warnings]


def test_a_sound_schedule_is_asked_only_what_it_cannot_show() -> None:
    found = asked(SOUND)
    assert len(found) == len(ALWAYS)
    for words, begins in zip(found, ALWAYS, strict=True):
        assert words.startswith(begins)


def cut(name: str) -> str:
    """The schedule without one of its limits."""
    head, _, rest = SOUND.partition(f"  - {{limit: {name},")
    return head + rest[rest.index("}\n") + 2 :]


OPTION = "FDA Food Code 3-501.14(A)"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (cut("come-up"), "no critical limit holds its come-up time"),
        (cut("lethality"), "no critical limit asks for its lethality"),
        (cut("cooling"), "no critical limit says how it is cooled"),
        (
            SOUND.replace("limit: cooling,", "limit: cooling, class: operating,"),
            "no critical limit says how it is cooled",
        ),
        (SOUND.replace("approved by: AB, 2026-03-01\n", ""), "who approved it"),
        (SOUND[: SOUND.index("alerts:")], "nobody is told of anything"),
        (
            SOUND.replace("'at risk, deviation'", "at risk"),
            "nobody is told when a critical limit is missed",
        ),
        (
            SOUND.replace("'at risk, deviation'", "deviation"),
            "nobody is told of 'at risk'",
        ),
        (SOUND.replace(", if missed: [add ice]", ""), "what to do when it is missed"),
        (SOUND.replace("source: FSIS-GD-2021-14, ", ""), "names no source"),
        (
            SOUND.replace("FSIS-GD-2021-14", "FSIS Appendix A 1999"),
            "limit 'come-up' cites an edition of 1999, which may not be cited as "
            "support after 14 December 2022 (86 FR 71007)",
        ),
        (
            SOUND.replace(OPTION, "'FSIS Appendix B 1999, option 2'"),
            "is the edition of 1999, which may not be cited",
        ),
        (
            SOUND.replace(OPTION, "'FSIS Appendix B 2021, option 1'"),
            "limit 'cooling' uses figures that are from memory, to be verified",
        ),
        (
            SOUND.replace(OPTION, "'FSIS Appendix B 1999, option 3'"),
            "without a lot sheet this is unproven: ingoing nitrite is not known",
        ),
        (
            SOUND.replace(OPTION, "'FSIS Appendix B 1999, option 3'").replace(
                "cured: yes", "cured: yes, nitrite: 90 ppm"
            ),
            "no lot of this product may be cooled so: ingoing nitrite is 90 ppm",
        ),
        (
            SOUND.replace(OPTION, "'FSIS Appendix B 1999, option 3'").replace(
                "cured: yes", "cured: yes, nitrite: 150 ppm"
            ),
            "this rests on what the schedule says of the product: ingoing nitrite",
        ),
        (
            SOUND.replace("'smoke, cook'", "cook"),
            "does not count in stage 'smoke', which comes before the heat ends",
        ),
        (
            SOUND.replace("74 degC to 82 degC", "60 degC to 65 degC").replace(
                "reaches 71", "rises to 71"
            ),
            "the core comes to 71.0 degC in no chamber of this band",
        ),
        (
            SOUND.replace("and 130 degF", "and 300 degF"),
            "limit 'come-up' waits for 300.0 degF, and every stage that it is",
        ),
        (
            SOUND.replace("63 degC, ends", "63 degC, settle: 3 h, ends"),
            "the chamber may settle for 3 h, and stage 'smoke' is over by then",
        ),
        (
            SOUND.replace("falls to 4 degC", "falls to 10 degC"),
            "stage 'chill' ends at 10.0 degC, and limit 'cooling' goes on to 5.0 degC",
        ),
        (
            SOUND.replace("0 degC to 3 degC", "7 degC to 9 degC").replace(
                "falls to 4", "falls to 9"
            ),
            "limit 'cooling' asks for 5.0 degC, and stage 'chill' is never colder",
        ),
        (
            SOUND.replace("reaches 71 degC", "rises to 60 degC"),
            "and limit 'lethality' asks 12 min there",
        ),
        (
            SOUND.replace("reaches 71 degC", "rises to 54 degC"),
            "and limit 'lethality' is below every row",
        ),
        (
            SOUND.replace(
                "table: 'FSIS Appendix A, meat, 6.5-log10'",
                "table: 'FSIS Appendix A, meat, 6.5-log10', during: chill",
            ),
            "asks for 54.4 degC, and no stage that it is judged in is hotter than 3.0",
        ),
        (
            SOUND.replace("cured: yes", "cured: no").replace(
                "57 degC to 63 degC", "30 degC to 40 degC"
            ),
            "uncured product has been at 40.0 degC or below for 3 h",
        ),
    ],
)
def test_what_is_left_open_is_asked_about(text: str, words: str) -> None:
    assert text != SOUND
    found = asked(text)
    assert any(words in one for one in found), found


@pytest.mark.parametrize(
    ("hours", "asks"), [("119 min", False), ("2 h", True), ("3 h", True)]
)
def test_uncured_product_may_be_warm_for_a_while(hours: str, asks: bool) -> None:
    """Two hours are common practice, no source."""
    text = SOUND.replace("cured: yes", "cured: no").replace(
        "after 3 h", f"after {hours}"
    )
    text = text.replace("57 degC to 63 degC", "30 degC to 54 degC")
    assert any("uncured product" in one for one in asked(text)) is asks


def test_a_heat_that_is_held_afterwards_is_long_enough() -> None:
    held = "  - {stage: hold, chamber: 60 degC to 65 degC, ends: after 12 min}\n"
    short = SOUND.replace("reaches 71 degC", "rises to 60 degC")
    text = short.replace("  - {stage: chill", f"{held}  - {{stage: chill")
    assert not any("as soon as every core" in one for one in asked(text))
