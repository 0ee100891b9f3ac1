"""Every kind of limit in one cook: checked, judged, shown, recorded and verified."""

import json
from dataclasses import replace
from datetime import UTC
from pathlib import Path
from typing import get_args

import pytest

from daemon import pdf, record
from daemon.checking import checked
from daemon.dossier import Dossier, gather
from daemon.seen import cook_view
from daemon.verify import verify
from daemon.view import as_json
from rules import engine
from rules.faults import Severity
from rules.replay import replay
from rules.schedule import AnyLimit
from tests.browser.yard import yard
from tests.daemon import invented
from tests.daemon.records import KEY, PEM
from tests.daemon.test_from_memory import MARK
from tests.daemon.test_pdf import fonts, text_of

HEAD = invented.SCHEDULE.split("limits:")[0]
HEAD = HEAD.replace("cured: yes", "cured: no")  # the model below is for none
HEAD = HEAD.replace("  nitrite: 156 ppm\n  erythorbate: 500 ppm\n", "")
LIMITS = """\
limits:
  - {limit: air, kind: band, channel: chamber, during: smoke,
     within: 50 degC to 70 degC, settle: 30 min, grace: 30 min}
  - {limit: cold, kind: hold, channel: core, during: chill, at or below: 80 degC}
  - {limit: come-up, kind: time between, channel: core, between: 50 degF and 130 degF,
     during: "dry, smoke, cook", at most: 6 h,
     begins anew after: "FSIS Appendix A, meat, 6.5-log10"}
  - {limit: down, kind: reach within, channel: core, during: chill, at or below: 7 degC,
     since leaving: 60 degC, at most: 4 h}
  - {limit: hot, kind: reheating, channel: core, option: FDA Food Code 3-403.11(C),
     during: cook}
  - {limit: lethality, kind: dwell table, channel: core,
     table: "FSIS Appendix A, meat, 6.5-log10"}
  - {limit: sum, kind: integrated lethality, channel: core, D: 60 s, z: 10 K,
     reference: 60 degC, target: 6.5-log10, after growth: 1-log10}
  - {limit: cooling, kind: cooling option, channel: core,
     option: "FSIS Appendix B 2021, option 2"}
  - {limit: gently, kind: rate, channel: core, during: "dry, smoke",
     rises at most: 30 K, over: 60 min}
  - {limit: heard, kind: silence, channel: core, at most: 20 min}
  - {limit: growth, kind: predicted growth, class: operating, channel: core,
     model: "C. perfringens, cooked uncured pork, Juneja 2011"}
  - {limit: moist, kind: humidity, channel: humidity, until: lethality,
     option: "FSIS 2021, humidity option 3 (90 %)"}
"""
KINDS = {one.model_fields["kind"].annotation for one in get_args(get_args(AnyLimit)[0])}


@pytest.fixture(scope="module")
def dossier(tmp_path_factory: pytest.TempPathFactory) -> Dossier:
    """A cook that was judged by every kind."""
    place = invented.yard(tmp_path_factory.mktemp("kinds"))
    told, lot = invented.BRIEF, "L-1"
    begun, said = invented.cook(lot, told, HEAD + LIMITS), invented.readings(told)
    place.journal.begin(begun, begun.begun_ms)
    place.journal.append(said, [])
    until_ms = said[-1].at_ms + invented.MIN_MS
    rules = invented.schedule(HEAD + LIMITS)
    events = replay(rules, begun.channels, begun.begun_ms, said, (), until_ms).events
    place.journal.add_events(lot, events, until_ms, until_ms)
    found = gather(*place, lot, site="Juniper Yard (invented)", closed_ms=until_ms)
    place.journal.close()
    assert isinstance(found, Dossier), found
    return found


def written() -> set[str]:
    return {one.kind for one in invented.schedule(HEAD + LIMITS).limits}


def test_no_kind_was_left_out() -> None:
    assert {get_args(one)[0] for one in KINDS} == written()


def test_check_finds_no_fault_in_any(tmp_path: Path) -> None:
    path = tmp_path / "kinds.yaml"
    path.write_text(HEAD + LIMITS)
    found, _ = checked(path, HEAD + LIMITS)
    assert {one.severity for one in found} == {Severity.WARNING}


def test_the_record_holds_each_and_its_verdicts_are_made_again(
    dossier: Dossier,
) -> None:
    octets = record.write(dossier, KEY)
    lines = [json.loads(line) for line in octets.splitlines()[:-1]]
    names = {one["limit"] for one in lines if one["kind"] == "verdict"}
    assert {one.name for one in invented.schedule(HEAD + LIMITS).limits} <= names
    assert verify(octets, PEM).good


def test_the_page_is_told_of_each() -> None:
    told = invented.BRIEF
    channels = invented.channels(told.every_s)
    plan = engine.plan(invented.schedule(HEAD + LIMITS), channels)
    said = invented.readings(told)
    outcome = replay(
        plan.schedule, channels, invented.BEGUN_MS, said, (), said[-1].at_ms
    )
    view = cook_view("L-1", "north", plan, outcome)
    assert {one.kind for one in view.limits} == written()
    assert all(one.asks and one.why for one in view.limits)
    shown = json.loads(as_json(replace(yard(1), cooks=(view,))))
    assert {one["kind"] for one in shown["cooks"][0]["limits"]} == written()


def test_the_pdf_says_what_each_asks(dossier: Dossier, tmp_path: Path) -> None:
    document = pdf.write(dossier, record.write(dossier, KEY), KEY, UTC, fonts())
    text = text_of(document, tmp_path)
    for limit in invented.schedule(HEAD + LIMITS).limits:
        assert limit.required_words.replace("deg", "°") in text
    assert f"as {MARK}; advice, decides nothing" in text
    assert "gently: rises at most 30.0 K in 1 h (UNPROVEN) core-1 30.0 K" in text
