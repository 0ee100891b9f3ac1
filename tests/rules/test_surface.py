"""rules/surface.py: what stands beside lethality, and when a reviewer asks for it.

Source: FSIS-GD-2021-14: humidity is one of three parts of lethality; casings that hold
moisture are exempt, but not a product that is dried before it is cooked.
"""

import pytest

from rules import surface
from rules.review import review
from rules.schedule import read_whole
from tests.rules.stories import HEAD, chamber, cook, core, flat, schedule

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
    return surface.humidity(told, outcome.judged)


def test_what_stands_beside_lethality() -> None:
    assert beside(STORY) == "no humidity evidence"
    assert beside(STORY + HUMIDITY) == "moist unproven"
    assert beside(STORY, cased("none")) == "no humidity evidence"
    natural = beside(STORY, cased("natural"))
    assert natural.startswith("no humidity evidence; the schedule says casing: natural")
    assert natural.endswith("not where it is dried before it is cooked)")


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
    words = [one.found for one in review(whole.schedule, whole.marked)]
    assert any("surface humidity" in one for one in words) is asked
