"""rules/moving.py: a probe goes from one piece to another while a cook goes on.

Source: FSIS Appendix A (9 CFR 318.17), meat, 6.5-log10: 140 degF for 12 min.
"""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.channels import Check, Point
from rules.facts import Entry, EntryKind, Event, Reading, Subject, Verdict
from rules.moving import SETTLES_MS, another, settles_ms, text_of
from rules.replay import Outcome
from tests.rules.stories import BEGUN_MS, MIN, cook, core, degf, schedule
from tests.rules.test_laws_cook import BY_TIME, readings, replayed

ROW_MIN, ROW_MC = 12, degf(140)
BY_HAND = schedule(
    """\
stages:
  - {stage: cook, ends: by hand}
limits:
  - {limit: lethality, kind: dwell table, channel: core,
     table: "FSIS Appendix A, meat, 6.5-log10"}
"""
)


def moved(at_min: float, settling: str = "5 min", about: str = "core") -> Entry:
    """What a person wrote at that minute."""
    at_ms = BEGUN_MS + round(at_min * MIN)
    text = text_of(settling, "into the thickest")
    return Entry(EntryKind.MOVED, at_ms, at_ms, "AB", text, about)


def held(to_min: int, value_mc: int = ROW_MC) -> list[Reading]:
    """The row's temperature once a minute from the beginning."""
    return [
        Reading("core", BEGUN_MS + at * MIN, value_mc, 0) for at in range(to_min + 1)
    ]


def of_limit(outcome: Outcome) -> list[tuple[float, str, str]]:
    """How the limit moved: when, from what and to what."""
    return [
        ((one.at_ms - BEGUN_MS) / MIN, one.was, one.now)
        for one in outcome.events
        if one.subject is Subject.LIMIT
    ]


def told(outcome: Outcome, subject: Subject, now: str) -> Event:
    """The one event of this subject that says so."""
    (found,) = (
        one for one in outcome.events if one.subject is subject and one.now == now
    )
    return found


def judged(readings: list[Reading], entries: list[Entry], until_min: int) -> Outcome:
    """A cook of one core with what a person wrote."""
    return cook(BY_HAND, [core()], readings, *entries, until_min=until_min)


def test_a_new_piece_needs_the_whole_row_for_itself() -> None:
    assert of_limit(judged(held(30), [], 30)) == [(ROW_MIN, "within", "met")]
    outcome = judged(held(30), [moved(8)], 30)
    assert of_limit(outcome) == [
        (8, "within", "within"),
        (8 + 5 + ROW_MIN, "within", "met"),
    ]
    assert "8 min are shown" in told(outcome, Subject.LIMIT, "within").why


def test_no_check_of_the_probe_before_corrects_another_in_its_place() -> None:
    checks = (Check(BEGUN_MS, "CD", (Point(degf(139), degf(140), 0),)),)
    channel = replace(core(), checks=checks)
    story = held(30, degf(139))  # at the row, but for the check of the first probe
    at_ms = BEGUN_MS + 8 * MIN
    text = text_of("5 min", another("28-2"))
    swap = Entry(EntryKind.MOVED, at_ms, at_ms, "AB", text, "core")
    as_one, other = (
        cook(BY_HAND, [channel], story, entry, until_min=30)
        for entry in (moved(8), swap)
    )
    assert of_limit(as_one)[-1] == (8 + 5 + ROW_MIN, "within", "met")
    assert of_limit(other)[-1] == (8 + 5 + 15, "within", "met")  # 139 degF: 15 min
    assert told(other, Subject.CHANNEL, "moved").why == (
        "replaced by AB (the probe was replaced by '28-2'); no evidence until it has "
        "settled for 5 min"
    )


def test_what_the_piece_before_had_is_kept_in_words_and_is_not_the_new_ones() -> None:
    outcome = judged(held(20), [moved(14)], 20)
    assert of_limit(outcome) == [(12, "within", "met"), (14, "met", "within")]
    why = told(outcome, Subject.LIMIT, "within").why
    assert why.startswith(
        "core begins anew after a move; the piece before: met, held 12"
    )
    (found,) = outcome.judged
    assert found.verdict is not Verdict.MET


def test_the_move_and_who_made_it_are_told() -> None:
    outcome = judged(held(20), [moved(8, "7 min")], 20)
    assert told(outcome, Subject.CHANNEL, "moved").why == (
        "moved to another piece by AB (into the thickest); no evidence until it has "
        "settled for 7 min"
    )


def test_a_core_that_settles_ends_no_stage_and_raises_no_silence() -> None:
    ends = schedule(
        "stages:\n  - {stage: cook, ends: when every core rises to 60 degC}"
    )
    cold = [one._replace(value_mc=50_000) for one in held(8)]
    hot = held(30)[9:]
    outcome = cook(ends, [core()], [*cold, *hot], moved(8, "15 min"), until_min=30)
    assert (outcome.stages[0].to_ms - BEGUN_MS) / MIN == 8 + 15
    assert "quiet" not in {one.now for one in outcome.events}


def test_a_core_that_had_reached_the_end_has_not_when_it_is_moved() -> None:
    ends = schedule(
        "stages:\n  - {stage: cook, ends: when every core rises to 60 degC}"
    )
    two = [core(), core("other")]
    readings = [
        *held(3),
        *(one._replace(value_mc=50_000) for one in held(20)[9:]),
        *(one._replace(channel="other") for one in held(20)[9:]),
    ]
    assert cook(ends, two, readings, until_min=20).finished_ms
    assert not cook(ends, two, readings, moved(4), until_min=20).finished_ms


@pytest.mark.parametrize(
    ("text", "ms"),
    [
        ("settling 10 min; into the thickest", 600_000),
        ("settling 90 s", 90_000),
        ("into the thickest", SETTLES_MS),
        ("settling soon", SETTLES_MS),
        ("", SETTLES_MS),
    ],
)
def test_how_long_it_settles(text: str, ms: int) -> None:
    assert settles_ms(Entry(EntryKind.MOVED, 0, 0, "AB", text, "core")) == ms


@settings(max_examples=60)
@given(readings(), st.integers(0, 200), st.sampled_from(["1 s", "20 s"]))
def test_a_move_never_lets_a_limit_be_met_earlier(
    heard: list[Reading], at_s: int, settling: str
) -> None:
    """The same readings without it meet each limit of that core no later."""
    entry = moved(at_s / 60, settling, "core-1")
    met_ms = [
        {
            (one.name, one.channel): one.at_ms
            for one in reversed(replayed(BY_TIME, heard, hand).events)
            if one.subject is Subject.LIMIT and one.now == "met"
        }
        for hand in ([], [entry])
    ]
    for name, at_ms in met_ms[1].items():
        assert met_ms[0].get(name, at_ms + 1) <= at_ms, name
