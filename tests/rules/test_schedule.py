"""The reader of schedules: every fault of a file, in the exact words a person sees.

Each ``schedules/NAME.bad.yaml`` stands beside ``NAME.bad.txt``, written by hand.
"""

from pathlib import Path

import pytest

from rules.band import GRACE_MS, BandLimit
from rules.channels import Role
from rules.faults import render_all
from rules.schedule import read_schedule
from rules.stages import Way
from tests.rules.stories import MIN, schedule

FOLDER = Path(__file__).parent / "schedules"
BAD = sorted(path.name for path in FOLDER.glob("*.bad.yaml"))


@pytest.mark.parametrize("name", BAD)
def test_the_words_for_every_fault_of_a_file(name: str) -> None:
    source = (FOLDER / name).read_text(encoding="utf-8")
    faults = read_schedule(name, source)
    assert isinstance(faults, list)
    assert faults == sorted(set(faults))
    words = (FOLDER / name).with_suffix(".txt").read_text(encoding="utf-8")
    assert render_all(faults, source) == words


def test_every_bad_file_has_its_words() -> None:
    words = {path.name for path in FOLDER.glob("*.bad.txt")}
    assert words == {name.replace(".yaml", ".txt") for name in BAD}
    assert len(BAD) == 23


def test_a_whole_schedule_is_read() -> None:
    told = schedule(
        """\
stages:
  - stage: dry
    chamber: 50 degC to 60 degC
    settle: 15 min
    ends: after 45 min
  - stage: cook
    chamber: 74 degC to 82 degC
    grace: 20 min
    ends: when every core reaches 69 degC
    at most: 4 h
  - stage: chill
    ends: when every core reaches 4 degC
limits:
  - limit: come-up
    control point: CCP-1
    kind: time between
    channel: core
    between: 50 degF and 130 degF
    during: dry, cook
    at most: 6 h
    warn: 45 min before
    if missed: [hold the lot apart, ask a process authority]
  - limit: cooling
    kind: cooling option
    class: operating
    channel: core
    option: FSIS Appendix B, option 1
alerts:
  - tell: operator
    when: at risk, deviation
    again every: 10 min until acknowledged
    then after 20 min tell: backup
"""
    )
    assert told.ways == (Way.AFTER, Way.RISES, Way.FALLS)
    come_up, cooling, *bands = told.judged
    assert (come_up.name, come_up.grade, come_up.warn_ms) == (
        "come-up",
        "critical",
        45 * MIN,
    )
    assert come_up.if_missed == ("hold the lot apart", "ask a process authority")
    assert cooling.grade == "operating"
    assert [told.during(limit) for limit in (come_up, cooling, *bands)] == [
        (0, 1),
        (2,),
        (0,),
        (1,),
    ]
    (rule,) = told.alert_rules
    assert rule.when == {"at risk", "deviation"}
    assert (rule.again_ms, rule.then_ms, rule.then_tell) == (
        10 * MIN,
        20 * MIN,
        "backup",
    )


def test_what_never_happens_is_what_was_left_out() -> None:
    """``never`` is a word; a nought, which might mean at once, is refused (zeros)."""
    written = """\
stages:
  - {stage: cook, ends: by hand, at most: never}
limits:
  - limit: come-up
    kind: time between
    channel: core
    between: 50 degF and 130 degF
    at most: 6 h
    warn: never
alerts:
  - {tell: operator, when: at risk, again every: never}
"""
    left_out = written.replace(", at most: never", "").replace("    warn: never\n", "")
    left_out = left_out.replace(", again every: never", "")
    assert "never" not in left_out
    assert schedule(written) == schedule(left_out)


def test_a_stage_with_a_chamber_has_a_band_of_its_own() -> None:
    told = schedule(
        """\
stages:
  - stage: dry
    chamber: 50 degC to 60 degC
    settle: 15 min
    ends: after 1 h
  - stage: rest
    ends: after 1 h
"""
    )
    (band,) = told.judged
    assert isinstance(band, BandLimit)
    assert (band.name, band.grade, band.channel) == (
        "dry chamber",
        "operating",
        Role.CHAMBER,
    )
    assert band.within == (50_000, 60_000)
    assert (band.settle_ms, band.grace_ms) == (15 * MIN, GRACE_MS)


@pytest.mark.parametrize(
    ("stage", "way"),
    [
        ("chamber: 74 degC to 82 degC", Way.RISES),
        ("chamber: 69 degC to 82 degC", Way.RISES),
        ("chamber: 0 degC to 4 degC", Way.FALLS),
        ("chamber: 0 degC to 69 degC", Way.FALLS),
    ],
)
def test_a_core_reaches_what_its_chamber_is_on_the_other_side_of(
    stage: str, way: Way
) -> None:
    told = schedule(
        f"stages: [{{stage: one, {stage}, ends: when every core reaches 69 degC}}]"
    )
    assert told.ways == (way,)


@pytest.mark.parametrize(
    ("first", "second", "way"),
    [
        ("rises to 60 degC", "reaches 69 degC", Way.RISES),
        ("rises to 60 degC", "reaches 4 degC", Way.FALLS),
        ("falls to 4 degC", "reaches 60 degC", Way.RISES),
    ],
)
def test_a_core_reaches_what_lies_away_from_where_it_was(
    first: str, second: str, way: Way
) -> None:
    told = schedule(
        f"""\
stages:
  - {{stage: one, ends: when every core {first}}}
  - {{stage: rest, ends: after 1 h}}
  - {{stage: two, ends: when every core {second}}}
"""
    )
    assert told.ways[-1] is way


def test_a_limit_with_no_stages_named_is_judged_in_all_of_them() -> None:
    told = schedule(
        """\
stages: [{stage: a, ends: by hand}, {stage: b, ends: by hand}]
limits: [{limit: l, kind: hold, channel: core, at or above: 57 degC}]
"""
    )
    assert told.during(told.limits[0]) == (0, 1)


@pytest.mark.parametrize("during", ["", "during: 'chill, cool',"])
def test_what_cools_is_cooling_all_the_way(during: str) -> None:
    """A rest between two chills is no break: the product lies there and is warm."""
    told = schedule(
        f"""\
stages:
  - {{stage: cook, ends: when every core rises to 69 degC}}
  - {{stage: chill, ends: after 20 min}}
  - {{stage: bloom, ends: after 2 h}}
  - {{stage: cool, ends: when every core falls to 4 degC}}
  - {{stage: pack, ends: by hand}}
limits:
  - {{limit: l, kind: cooling option, {during} channel: core,
     option: "FSIS Appendix B, option 1"}}
"""
    )
    assert told.during(told.limits[0]) == (1, 2, 3)


def test_a_product_that_is_not_cured_holds_no_nitrite() -> None:
    head = "schedule: s\nrevision: 1\nproduct: {meat: pork, form: intact, cured: no}\n"
    told = schedule("stages: [{stage: a, ends: by hand}]", head)
    assert told.product.facts.nitrite_ppm == 0
    assert told.product.facts.erythorbate_ppm is None
    assert told.product.facts.fully_cooked is None


def test_the_product_tells_what_a_cooling_option_asks() -> None:
    head = """\
schedule: s
revision: 1
product:
  meat: pork
  form: intact
  cured: yes
  cooked: partially
  nitrite: 156 ppm
  erythorbate: 550 ppm
  brine: 3.5 %
  water activity: 0.92
"""
    facts = schedule("stages: [{stage: a, ends: by hand}]", head).product.facts
    assert facts.nitrite_ppm == 156
    assert facts.erythorbate_ppm == 550
    assert facts.brine_percent_milli == 3_500
    assert facts.water_activity_milli == 920
    assert facts.fully_cooked is False


def test_a_schedule_does_not_change_afterwards() -> None:
    told = schedule("stages: [{stage: a, ends: by hand}]")
    with pytest.raises(ValueError, match="frozen"):
        told.title = "another"
