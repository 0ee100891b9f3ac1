"""Every kind of limit, how it can stand and why: the words, as a table.

The figures in the words of ``sentences.yaml`` are counted by hand from the story of
each row.  Stories: one reading a minute from 05:00 UTC on, minutes and degC one after
the other; the stage ``judged`` ends at ``turns_min``.  A step between two readings may
have come at either, so a stay that it ends is told with a minute or two of doubt.

Sources of the rows: FSIS Appendix A (June 1999), meat, 6.5-log10: 140 degF (60.0 degC)
for 12 min; FSIS Appendix B (June 1999), option 1: 130 to 80 degF in 1.5 h, 80 to 40
degF in 5 h; FDA Food Code 2022, 3-403.11(A): 165 degF for 15 s within 2 h.
"""

from collections import Counter
from pathlib import Path
from typing import Any, NamedTuple, get_args

import pytest
import yaml

from rules.channels import Channel, Role
from rules.facts import Entry, EntryKind, Quality, Reading
from rules.replay import replay
from rules.schedule import AnyLimit
from tests.rules.stories import BEGUN_MS, MIN, schedule

STAGES = """\
stages:
  - {stage: judged, ends: by hand}
  - {stage: after, ends: by hand}
limits:
"""
APPENDIX_A = "table: 'FSIS Appendix A, meat, 6.5-log10'"
LIMITS = {
    "band": "channel: chamber, within: 60 degC to 70 degC, grace: 10 min",
    "hold": "channel: core, at or above: 57 degC, grace: 5 min",
    "time between": "channel: core, between: 10 degC and 54 degC, at most: 2 h,"
    " warn: 30 min before",
    "dwell table": f"channel: core, {APPENDIX_A}",
    "integrated lethality": "channel: core, D: 1 min, z: 10 K, reference: 60 degC,"
    " target: 6.5-log10",
    "cooling option": "channel: core, option: 'FSIS Appendix B, option 1'",
    "reach within": "channel: core, at or above: 74 degC, at most: 2 h",
    "reheating": "channel: core, option: 'FDA Food Code 3-403.11(A)'",
    "rate": "channel: core, rises at most: 5 K, over: 50 min",
    "silence": "channel: core, at most: 10 min",
    "predicted growth": "channel: core, class: operating,"
    " model: 'C. perfringens, cooked cured pork,"
    " as if growth began at once, Juneja 2006'",
    "humidity": "channel: humidity, until: lethality,"
    " option: 'FSIS 2021, humidity option 3 (90 %)'",
}


class Row(NamedTuple):
    """One limit, what was read, and the words that follow."""

    kind: str
    verdict: str
    reason: str
    runs: tuple[tuple[int, float], ...]
    words: str
    turns_min: int = 0  # 0: it still runs
    missing: tuple[int, int] = (0, 0)  # no reading after the one, until the other
    unset: tuple[int, int] = (0, 0)  # the clock was not set between them
    left_out: tuple[int, int] = (0, 0)
    within_mc: int = 0
    standing: str = ""
    limit: str = ""  # where it is not the one of its kind


def _quality(row: Row, at: int) -> Quality:
    """What a reading is worth; what is left out comes as suspect."""
    if row.unset[0] < at < row.unset[1]:
        return Quality.CLOCK_UNSET
    out = row.left_out[0] < at < row.left_out[1]
    return Quality.SUSPECT if out else Quality.GOOD


def said(row: Row) -> tuple[str, str, str]:
    """How the limit of the row stands, its verdict, and the words."""
    text = row.limit or LIMITS[row.kind]
    name = text.split(",")[0].removeprefix("channel: ")
    role = Role(name)
    lethal = (
        f"  - {{limit: lethality, kind: dwell table, channel: core, during: judged,"
        f" {APPENDIX_A}}}\n"
        if role is Role.HUMIDITY
        else ""
    )
    found = schedule(
        f"{STAGES}{lethal}  - {{limit: l, kind: {row.kind}, during: judged, {text}}}\n"
    )
    levels = [degc for minutes, degc in row.runs for _ in range(minutes)]
    begin, end = row.missing
    readings = [
        Reading(
            name,
            BEGUN_MS + at * MIN,
            round(degc * 1000),
            row.within_mc,
            _quality(row, at),
        )
        for at, degc in enumerate(levels)
        if not begin < at < end
    ]
    channels = [Channel(name, role, MIN, 10 * MIN, 0)]
    if role is Role.HUMIDITY:
        for other, degc in ((Role.CHAMBER, 80), (Role.CORE, 20)):
            channels.append(Channel(other, other, MIN, 10 * MIN, 0))
            readings += [
                Reading(other, BEGUN_MS + at * MIN, degc * 1000, 0)
                for at in range(len(levels))
            ]
    readings.sort(key=lambda one: one.at_ms)
    entries = []
    if row.turns_min:
        at_ms = BEGUN_MS + row.turns_min * MIN
        entries.append(Entry(EntryKind.NEXT_STAGE, at_ms, at_ms, "AB"))
    if any(row.left_out):
        begun_ms, ended_ms = (BEGUN_MS + each * MIN for each in row.left_out)
        for at_ms, kind, why in (
            (begun_ms, EntryKind.LEFT_OUT, "fell out"),
            (ended_ms, EntryKind.NOTE, "in the middle again"),
        ):
            entries.append(Entry(kind, at_ms, at_ms, "AB", why, name))
    entries.sort(key=lambda one: one.at_ms)
    until_ms = BEGUN_MS + (len(levels) - 1) * MIN + 1
    outcome = replay(found, channels, BEGUN_MS, readings, entries, until_ms)
    (one,) = [one for one in outcome.judged if one.limit == "l"]
    return one.standing, one.verdict, one.why


def _rows() -> list[Row]:
    """The table; a sequence in it becomes a tuple."""
    text = Path(__file__).with_name("sentences.yaml").read_text(encoding="utf-8")
    return [
        Row(**{key: _tuples(tree) for key, tree in row.items()})
        for row in yaml.safe_load(text)
    ]


def _tuples(tree: Any) -> Any:
    return tuple(map(_tuples, tree)) if isinstance(tree, list) else tree


ROWS = _rows()
# A silence may be a lost message and is never missed; advice decides nothing.
NEVER = {"silence": {"missed"}, "predicted growth": {"met", "missed"}}
VERDICTS = {"met", "missed", "unproven", "running"}


@pytest.mark.parametrize(
    "row", ROWS, ids=lambda row: f"{row.kind}, {row.verdict}, {row.reason}"
)
def test_the_words(row: Row) -> None:
    standing, verdict, words = said(row)
    assert (verdict, words) == (row.verdict, row.words)
    assert not row.standing or standing == row.standing


def test_every_kind_has_a_row_for_every_verdict_that_it_can_come_to() -> None:
    kinds = [
        name
        for kind in get_args(get_args(AnyLimit)[0])
        for name in get_args(kind.model_fields["kind"].annotation)
    ]
    assert len(kinds) == len(set(kinds)) >= 12
    wanted = {
        (kind, one) for kind in kinds for one in VERDICTS - NEVER.get(kind, set())
    }
    assert {(row.kind, row.verdict) for row in ROWS} == wanted
    kept = Counter(row.reason for row in ROWS)
    assert kept >= Counter(
        ("hole", "uncertainty", "left out", "clock unset", "at risk")
    )
