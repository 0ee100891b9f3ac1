"""rules/leaving.py: who left out a channel, and why, in the sentence of the verdict.

Source: FSIS Appendix A, 140 degF for 12 min (6.5-log10).
"""

import json

import pytest

from rules import engine, keep, leaving
from rules.facts import EntryKind, Quality, Reading
from rules.leaving import Left
from tests.rules.stories import (
    BEGUN_MS,
    MIN,
    chamber,
    cook,
    core,
    entry,
    flat,
    judged,
    schedule,
)

STORY = """\
stages: [{stage: heat, ends: after 1 h}]
limits:
  - {limit: lethality, kind: dwell table, channel: core,
     table: "FSIS Appendix A, meat, 6.5-log10"}
  - {limit: air, kind: hold, channel: chamber, at or above: 50 degC, grace: 1 min}
"""
WORDS = "; core was left out from 05:34 UTC to 05:40 UTC by ab: it fell out"


def readings(from_min: int, to_min: int) -> list[Reading]:
    """A core that is at 140 degF from minute 30 on, and doubted in between."""
    told = [*flat("core", 0, 29, 50), *flat("core", 30, 45, 60)]
    told += flat("core", 46, 62, 50)
    return [
        one._replace(quality=Quality.SUSPECT)
        if from_min * MIN < one.at_ms - BEGUN_MS < to_min * MIN
        else one
        for one in told
    ]


def why(name: str, from_min: int, to_min: int) -> str:
    """What is said of a limit where the core was left out between two minutes."""
    out = entry(EntryKind.LEFT_OUT, from_min, about="core")._replace(text="it fell out")
    back = entry(EntryKind.NOTE, to_min, about="core")._replace(text="put back")
    heard = [*readings(from_min, to_min), *flat("chamber", 0, 62, 70)]
    channels = [core(), chamber()]
    outcome = cook(schedule(STORY), channels, heard, out, back, until_min=62)
    return judged(outcome, name).why


def test_an_open_verdict_names_who_left_out_what_and_why() -> None:
    words = why("lethality", 34, 40)
    assert "readings missing from 05:34 UTC to 05:40 UTC" in words
    assert WORDS in words


def test_a_verdict_that_lost_nothing_by_it_does_not() -> None:
    assert "left out" not in why("lethality", 50, 55).partition("full at")[2]
    assert "left out" not in why("air", 34, 40)


@pytest.mark.parametrize(
    ("entries", "left"),
    [
        (["left out"], [(34, 0)]),
        (["left out", "note"], [(34, 35)]),
        (["left out", "corrective action"], [(34, 35)]),
        (["left out", "moved"], [(34, 35)]),
        (["left out", "end"], [(34, 0)]),
        (["left out", "left out"], [(34, 35), (35, 0)]),
        (["note"], []),
    ],
)
def test_a_note_about_it_ends_it(
    entries: list[str], left: list[tuple[int, int]]
) -> None:
    found: tuple[Left, ...] = ()
    for minute, kind in enumerate(entries, 34):
        found = leaving.written(found, entry(EntryKind(kind), minute, about="core"))
    ends = [(from_min, to_min) for from_min, to_min in left]
    assert [
        (
            (one.from_ms - BEGUN_MS) // MIN,
            (one.to_ms - BEGUN_MS) // MIN if one.to_ms else 0,
        )
        for one in found
    ] == ends


def test_it_is_remembered_over_a_restart() -> None:
    plan = engine.plan(schedule(STORY), [core(), chamber()])
    out = entry(EntryKind.LEFT_OUT, 34, about="core")
    state, _ = engine.step(plan, engine.opened(plan, BEGUN_MS), out)
    assert state.left
    kept = json.loads(json.dumps(keep.dump(state)))
    assert keep.load(engine.State, kept).left == state.left
