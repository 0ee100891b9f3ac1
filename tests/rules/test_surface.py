"""rules/surface.py: what stands beside lethality, and when a reviewer asks for it.

Source: FSIS-GD-2021-14: humidity is one of three parts of lethality; casings that hold
moisture are exempt, but not a product that is dried before it is cooked.
"""

import pytest

from rules import surface
from rules.alerts import words
from rules.review import review
from rules.schedule import read_whole
from tests.rules.stories import HEAD, chamber, cook, core, flat, judged, schedule

STORY = """\
stages:
  - {stage: heat, chamber: 70 degC to 80 degC, ends: after 1 h}
limits:
  - {limit: lethality, kind: dwell table, channel: core,
     table: "FSIS Appendix A, meat, 6.5-log10"}
"""
HUMIDITY = """\
  - {limit: moist, kind: humidity, channel: humidity, until: lethality,
     option: "FSIS 2021, humidity option 3 (90 %)"}
"""


def cased(casing: str) -> str:
    return HEAD.replace("cured: yes", f"cured: yes, casing: {casing}")


def beside(rest: str, head: str = HEAD) -> str:
    told = schedule(rest, head)
    outcome = cook(told, [core(), chamber()], flat("core", 0, 60, 72), until_min=61)
    assert surface.lethal(told) == {"lethality"}
    return surface.humidity(told, outcome.findings)


def test_what_stands_beside_lethality() -> None:
    assert beside(STORY) == "no humidity evidence"
    assert beside(STORY + HUMIDITY) == "moist unproven"
    assert beside(STORY, cased("none")) == "no humidity evidence"
    natural = beside(STORY, cased("natural"))
    assert natural.startswith("no humidity evidence; the schedule says casing: natural")
    assert natural.endswith("not where it is dried before it is cooked)")


def told(rest: str, head: str = HEAD) -> tuple[str, str, str]:
    """The ends of what a finding, a verdict and an event say of lethality."""
    whole = schedule(rest, head)
    outcome = cook(whole, [core(), chamber()], flat("core", 0, 61, 72), until_min=61)
    (finding,) = [one for one in outcome.findings if one.limit == "lethality"]
    (event,) = [one for one in outcome.events if one.name == "lethality"]
    assert event.now == "met"
    alert = words(event, "J-1").body
    assert alert == event.why
    whys = (finding.why, judged(outcome, "lethality").why, alert)
    first, second, third = map(surface.tail, whys)
    return first, second, third


def test_no_sentence_says_lethality_by_the_core_alone() -> None:
    absent = "; surface: no humidity evidence"
    assert told(STORY) == (absent, absent, absent)
    moist = "; surface: moist unproven"
    assert told(STORY + HUMIDITY) == (moist, moist, "; surface: see 'moist'")
    natural = told(STORY, cased("natural"))
    assert len(set(natural)) == 1
    assert natural[0].startswith(f"{absent}; the schedule says casing: natural")


def test_what_is_not_about_lethality_says_nothing_of_the_surface() -> None:
    whole = schedule(STORY)
    outcome = cook(whole, [core(), chamber()], flat("core", 0, 60, 72), until_min=61)
    others = [one.why for one in outcome.judged if one.limit != "lethality"]
    assert others
    assert not surface.summary(others)
    whys = [one.why for one in outcome.judged]
    assert surface.summary(whys).endswith("of the surface: no humidity evidence")


BY_PEOPLE = """\
stages:
  - {stage: heat, chamber: 70 degC to 80 degC, ENDS}
limits:
  - {limit: lethality, kind: dwell table, channel: core,
     table: "FSIS Appendix A, meat, 6.5-log10"}
  - {limit: moist, kind: humidity, channel: chamber, until: lethality,
     option: "FSIS 2021, humidity option 1 (steam)"}
"""
WHOLE = HUMIDITY.replace("3 (90 %)", "4 (90 %, whole cooking time)")
READY = STORY.replace("  - {stage: heat", "  - {stage: ready, ends: by hand}\n&", 1)


@pytest.mark.parametrize(
    ("rest", "about"),
    [
        (BY_PEOPLE.replace("ENDS", "ends: after 1 h"), "145 degF"),
        (BY_PEOPLE.replace("ENDS", "ends: when every core rises to 144 degF"), "145"),
        (BY_PEOPLE.replace("ENDS", "ends: when every core rises to 145 degF"), ""),
        (
            BY_PEOPLE.replace("ENDS", "ends: when every core rises to 145 degF")
            .replace("1 (steam)", "2 (sealed oven)")
            .replace("stage: heat", "stage: dry and heat"),
            "a sealed oven",
        ),
        (STORY + WHOLE, "nothing is heard before"),
        (
            READY.replace("&", "  - {stage: heat")
            + WHOLE.replace("until:", "during: heat, until:"),
            "",
        ),
    ],
)
def test_a_reviewer_asks_whether_the_option_fits(rest: str, about: str) -> None:
    """FSIS-GD-2021-14, options 1, 2 and 4, and table 5, gap 5."""
    whole = read_whole("story.yaml", HEAD + rest)
    assert whole.schedule and whole.marked, whole
    said = [one.found for one in review(whole.schedule, whole.marked)]
    asks = ("145 degF", "a sealed oven", "nothing is heard before")
    found = [one for one in said if any(ask in one for ask in asks)]
    assert len(found) == bool(about), found
    assert all(about in one for one in found)


@pytest.mark.parametrize(
    ("head", "rest", "asked"),
    [
        (HEAD, STORY, True),
        (HEAD, STORY + HUMIDITY, False),
        (cased("fibrous"), STORY, False),
        (cased("none"), STORY, True),
        (cased("fibrous"), STORY.replace("heat,", "dry and heat,"), True),
    ],
)
def test_a_reviewer_asks_for_humidity(head: str, rest: str, asked: bool) -> None:
    whole = read_whole("story.yaml", head + rest)
    assert whole.schedule
    assert whole.marked
    remarks = [one.found for one in review(whole.schedule, whole.marked)]
    assert any("surface humidity" in one for one in remarks) is asked
