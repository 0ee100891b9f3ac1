"""rules/spot_sets.py: a set by hand that contradicts a probe, and what ends the doubt.

Source: FSIS Appendix A (9 CFR 318.17), meat, 6.5-log10: at 158 degF (70.0 degC) the
reduction is achieved instantly, at 140 degF (60.0 degC) in 12 min.  That the lowest of
several pieces governs is common practice, no source.
"""

import pytest

from rules.facts import Entry, EntryKind, Subject, Verdict
from rules.rehearsal import Rehearsal, run
from rules.replay import Outcome
from rules.spots import read, text_of
from tests.rules.stories import BEGUN_MS, MIN, cook, core, entry, flat, judged, schedule

TOLD = schedule(
    """\
stages:
  - {stage: cook, ends: when every core rises to 158 degF}
  - {stage: chill, ends: by hand}
limits:
  - {limit: lethality, kind: dwell table, channel: core, during: cook,
     table: "FSIS Appendix A, meat, 6.5-log10"}
  - {limit: later, kind: dwell table, channel: core, during: "cook, chill",
     table: "FSIS Appendix A, meat, 6.5-log10"}
"""
)
LIMITS = ("lethality", "later")
COUNTS = "calibrated 2026-01-02, due 2027-01-02"
HOT = [*flat("core", 0, 9, 50), *flat("core", 10, 60, 71)]


def taken(
    at_min: float, pieces: str, of: str = "cook", standing: str = COUNTS
) -> Entry:
    """A set of this many degrees Celsius, within half a kelvin."""
    at_ms = BEGUN_MS + round(at_min * MIN)
    text = text_of(read(f"{pieces} degC", "0.5 K"), "TH-2", standing)
    return Entry(EntryKind.SPOT_CHECK, at_ms, at_ms, "AB", text, of)


def after(*entries: Entry) -> Outcome:
    """The cook whose probe is at its end point from the tenth minute on."""
    return cook(TOLD, [core()], HOT, *entries, until_min=61)


def verdicts(outcome: Outcome) -> tuple[Verdict, Verdict]:
    """Of the limit that is over with the cook, and of the one that goes on."""
    return judged(outcome, "lethality").verdict, judged(outcome, "later").verdict


def test_a_set_whose_lowest_piece_is_below_the_end_makes_it_unproven_and_tells() -> (
    None
):
    outcome = after(taken(12, "71.3, 66.2, 73"))
    assert verdicts(outcome) == (Verdict.UNPROVEN, Verdict.UNPROVEN)
    assert "66" not in judged(after(), "lethality").why
    assert "at 150.3 degF, and stage cook ends at 158.0 degF" in (
        judged(outcome, "lethality").why
    )
    moves = [
        (e.name, e.was, e.now)
        for e in outcome.events
        if e.at_ms == BEGUN_MS + 12 * MIN and e.subject is not Subject.STAGE
    ]
    assert moves == [
        ("spot check", "reporting", "not borne out"),
        ("later", "met", "unproven"),
        ("lethality", "met", "unproven"),
    ]


def test_what_a_set_takes_or_gives_back_of_lethality_says_the_surface_too() -> None:
    """FSIS-GD-2021-14: time and temperature of the core are not lethality alone."""
    lifted = entry(EntryKind.LIFTED, 20, about="cook")
    said = [
        (one.now, one.why)
        for one in after(taken(12, "71.3, 66.2, 73"), lifted).events
        if one.name == "lethality" and one.was != "within"
    ]
    assert [now for now, _ in said] == ["unproven", "met"]
    assert all(why.count("; surface: no humidity evidence") == 1 for _, why in said)


@pytest.mark.parametrize(
    ("pieces", "verdict"),
    [
        ("70.5, 90", Verdict.MET),
        ("90, 70.499", Verdict.UNPROVEN),  # nothing is rounded on the way
        ("70.49, 90, 90, 90", Verdict.UNPROVEN),  # no higher piece hides it
        ("-3", Verdict.UNPROVEN),
    ],
)
def test_the_lowest_less_the_uncertainty_governs(pieces: str, verdict: Verdict) -> None:
    assert verdicts(after(taken(12, pieces))) == (verdict, verdict)


def test_a_later_set_begins_anew_and_mends_no_limit_that_is_over() -> None:
    outcome = after(taken(12, "66"), taken(20, "71, 72"))
    assert verdicts(outcome) == (Verdict.UNPROVEN, Verdict.MET)
    assert judged(outcome, "later").since_ms >= BEGUN_MS + 20 * MIN
    again = after(taken(12, "66"), taken(20, "71"), taken(30, "71, 69"))
    assert verdicts(again) == (Verdict.UNPROVEN, Verdict.UNPROVEN)


@pytest.mark.parametrize(
    ("about", "over", "goes_on"),
    [
        ("cook", Verdict.MET, Verdict.MET),
        ("lethality", Verdict.MET, Verdict.UNPROVEN),
        ("later", Verdict.UNPROVEN, Verdict.MET),
        ("chill", Verdict.UNPROVEN, Verdict.UNPROVEN),
        ("", Verdict.UNPROVEN, Verdict.UNPROVEN),
    ],
)
def test_what_is_lifted_for_a_stage_or_a_limit_is_met_again_and_nothing_else(
    about: str, over: Verdict, goes_on: Verdict
) -> None:
    lifted = entry(EntryKind.LIFTED, 20, about=about)
    assert verdicts(after(taken(12, "66"), lifted)) == (over, goes_on)


def test_both_limits_lifted_one_by_one_leave_no_doubt() -> None:
    each = [entry(EntryKind.LIFTED, 20 + n, about=n_) for n, n_ in enumerate(LIMITS)]
    outcome = after(taken(12, "66"), *each)
    assert verdicts(outcome) == (Verdict.MET, Verdict.MET)


@pytest.mark.parametrize("about", ["cook", "lethality", "later", ""])
@pytest.mark.parametrize("kind", [EntryKind.NOTE, EntryKind.CORRECTIVE_ACTION])
def test_a_note_lifts_nothing_whatever_it_is_about(kind: EntryKind, about: str) -> None:
    note = entry(kind, 20, about=about)
    assert verdicts(after(taken(12, "66"), note)) == verdicts(after(taken(12, "66")))


def test_who_lifted_a_doubt_and_why_is_told() -> None:
    lifted = entry(EntryKind.LIFTED, 20, about="cook")._replace(text="it was the bone")
    events = after(taken(12, "66"), lifted).events
    (told,) = [e for e in events if e.name == "spot check" and e.now == "reporting"]
    assert told.why == "lifted for cook by ab: it was the bone"


def test_a_set_of_a_thermometer_that_is_not_calibrated_is_advice_alone() -> None:
    set_ = taken(
        12, "66", standing="advice alone: its calibration was due on 2025-01-01"
    )
    assert after(set_).events == after().events
    assert verdicts(after(taken(12, "66", of="chill"))) == (Verdict.MET, Verdict.MET)


def test_a_stage_that_a_set_contradicts_goes_on_until_one_bears_it_out() -> None:
    two = [core("core-1"), core("core-2")]
    hot = [one._replace(channel="core-1") for one in HOT]
    late = [*flat("core-2", 0, 14, 50), *flat("core-2", 15, 60, 71)]
    entries = taken(12, "66, 71"), taken(40, "70.5")
    for count, ended in ((0, 15), (1, 0), (2, 40)):
        outcome = cook(TOLD, two, [*hot, *late], *entries[:count], until_min=60)
        to_ms = outcome.stages[0].to_ms
        assert to_ms == (BEGUN_MS + ended * MIN if ended else 0)


def test_a_set_before_any_probe_is_there_contradicts_nothing() -> None:
    assert verdicts(after(taken(5, "49"))) == (Verdict.MET, Verdict.MET)


def test_a_rehearsal_enters_a_set() -> None:
    day = Rehearsal.model_validate(
        {
            "rehearsal": "a colder piece",
            "core": ["50 degC for 10 min", "71 degC for 30 min"],
            "entries": [
                {"at 12 min": "spot check 71.3, 66.2 degC within 0.5 K of cook"}
            ],
        }
    )
    assert verdicts(run(TOLD, day))[0] is Verdict.UNPROVEN


def test_a_rehearsal_lifts_it() -> None:
    day = Rehearsal.model_validate(
        {
            "rehearsal": "a colder piece that was none",
            "core": ["50 degC for 10 min", "71 degC for 30 min"],
            "entries": [
                {"at 12 min": "spot check 71.3, 66.2 degC within 0.5 K of cook"},
                {"at 15 min": "lifted for cook: the tip was in the air"},
            ],
        }
    )
    assert verdicts(run(TOLD, day))[0] is Verdict.MET
