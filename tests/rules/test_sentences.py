"""What a verdict says, word for word: the figures that decided it, and what is missing.

Rows: FSIS Appendix A (June 1999), meat, 6.5-log10: 140 degF for 12 min, typed from the
source in ``tests.standards.rows_appendix_a``; 140 degF is 60.0 degC and 130 degF is
54.4 degC.  The cooling option is 130 to 80 degF (26.7 degC) in 1.5 h and to 40 degF
(4.4 degC) in 5 h: FSIS Appendix B, option 1.  All else is counted by hand.
"""

import pytest

from rules.channels import Channel
from rules.facts import Entry, EntryKind, Reading
from rules.replay import replay
from tests.rules.stories import BEGUN_MS, MIN, chamber, core, schedule
from tests.standards.rows_appendix_a import SIX_AND_A_HALF

ROWS = dict(SIX_AND_A_HALF)
STAGES = """\
stages:
  - {stage: cook, ends: by hand}
  - {stage: chill, ends: by hand}
limits:
"""
LETHALITY = (
    "{limit: l, kind: dwell table, channel: core, during: cook,"
    " table: 'FSIS Appendix A, meat, 6.5-log10'}"
)
COME_UP = (
    "{limit: l, kind: time between, channel: core, during: cook,"
    " between: 10 degC and 54.4 degC, at most: 2 h}"
)
HOT = (
    "{limit: l, kind: hold, channel: core, during: cook, at or above: 57 degC,"
    " grace: 5 min}"
)
BAND = (
    "{limit: l, kind: band, channel: chamber, during: cook, within: 60 degC to 70 degC,"
    " grace: 10 min}"
)
SUM = (
    "{limit: l, kind: integrated lethality, channel: core, during: cook, D: 1 min,"
    " z: 10 K, reference: 60 degC, target: 6.5-log10}"
)
IN_DEGF = STAGES.replace("ends: by hand", "ends: when every core rises to 300 degF", 1)
COOLING = (
    "{limit: l, kind: cooling option, channel: core, during: chill,"
    " option: 'FSIS Appendix B, option 1'}"
)

Runs = tuple[tuple[int, float], ...]
Gaps = tuple[tuple[int, int], ...]


def said(name: str, runs: Runs, gaps: Gaps = (), within_mc: int = 0) -> list[Reading]:
    """One reading a minute, so many minutes at each temperature, but in no gap."""
    levels = [degc for minutes, degc in runs for _ in range(minutes)]
    return [
        Reading(name, BEGUN_MS + minute * MIN, round(degc * 1000), within_mc)
        for minute, degc in enumerate(levels)
        if not any(begin < minute < end for begin, end in gaps)
    ]


DRY = "; surface: no humidity evidence"  # lethality is never said by the core alone


def sentence(
    limit: str,
    readings: list[Reading],
    *,
    next_min: int | None = None,
    stages: str = STAGES,
) -> tuple[str, str]:
    """The verdict and the sentence of one limit."""
    found = schedule(f"{stages}  - {limit}\n")
    name = readings[0].channel
    channels: list[Channel] = [chamber(name) if name == "chamber" else core(name)]
    last_ms = readings[-1].at_ms
    entries = []
    if next_min is not None:
        at_ms = BEGUN_MS + next_min * MIN
        entries.append(Entry(EntryKind.NEXT_STAGE, at_ms, at_ms, "AB"))
        entries.append(Entry(EntryKind.END, last_ms, last_ms, "AB"))
    (judged,) = replay(found, channels, BEGUN_MS, readings, entries, last_ms + 1).judged
    return judged.verdict, judged.why


def test_a_row_that_a_hole_interrupts() -> None:
    assert ROWS[140] == 12 * 60
    runs = ((30, 50.0), (16, 60.0), (20, 50.0))
    readings = said("core-2", runs, gaps=((34, 40),))
    # Surely from minute 40 to 45; at the most from after 29 until before 46.
    assert sentence(LETHALITY, readings, next_min=60) == (
        "unproven",
        "core-2: needed 12 min at 60.0 degC or above; 5 min are shown, 17 min may have "
        f"been; readings missing from 05:34 UTC to 05:40 UTC{DRY}",
    )


def test_a_row_that_was_held_too_briefly_and_one_that_still_runs() -> None:
    readings = said("core-2", ((30, 50.0), (10, 60.0), (20, 50.0)))
    words = f"core-2: needed 12 min at 60.0 degC or above; 9 min are shown{DRY}"
    assert sentence(LETHALITY, readings, next_min=55) == ("missed", words)
    assert sentence(LETHALITY, readings[:40]) == ("running", words)


def test_what_a_doubtful_probe_surely_showed_is_said_too() -> None:
    # 9 min surely at 140 degF; half a kelvin more would be 141 degF, for which
    # the table asks 9 min.
    assert ROWS[141] == 9 * 60
    readings = said("core-2", ((30, 50.0), (10, 60.6), (20, 50.0)), within_mc=500)
    assert sentence(LETHALITY, readings, next_min=55) == (
        "unproven",
        "core-2: needed 9 min at 60.6 degC or above; none is shown, 11 min may have "
        f"been; of 12 min at 60.0 degC or above 9 min are shown{DRY}",
    )


def test_every_hole_is_named_by_the_clock_up_to_three() -> None:
    gaps = ((10, 14), (20, 25), (30, 36), (50, 52))
    readings = said("core", ((110, 20.0), (60, 60.0)), gaps=gaps)
    verdict, words = sentence(COME_UP, readings)
    assert verdict == "running"
    assert words.endswith(
        "; readings missing from 05:10 UTC to 05:14 UTC, 05:20 UTC to 05:25 UTC, "
        "05:30 UTC to 05:36 UTC, once more"
    )


@pytest.mark.parametrize(
    ("runs", "gaps", "verdict", "words"),
    [
        (((61, 20.0), (60, 60.0)), (), "met", "1 h to 1 h 1 min; 2 h allowed"),
        (
            ((151, 20.0), (60, 60.0)),
            (),
            "missed",
            "2 h 30 min to 2 h 31 min; 2 h allowed",
        ),
        (
            ((111, 20.0), (80, 60.0)),
            ((90, 130),),
            "unproven",
            "1 h 30 min to 2 h 10 min; 2 h allowed; readings missing from 06:30 UTC "
            "to 07:10 UTC",
        ),
    ],
)
def test_time_between(runs: Runs, gaps: Gaps, verdict: str, words: str) -> None:
    found, why = sentence(COME_UP, said("core-1", runs, gaps), next_min=120 + 60)
    assert (found, why[: len(why) - len(words)]) == (
        verdict,
        "core-1: between 10.0 degC and 54.4 degC for ",
    )
    assert why.endswith(words)


def test_a_count_that_is_over_by_seconds_is_not_told_as_the_allowance() -> None:
    readings = said("core", ((121, 20.0),))
    late = readings[-1].at_ms + 30_000
    readings += [Reading("core", late, 20_000, 0), Reading("core", late + 1, 60_000, 0)]
    verdict, words = sentence(COME_UP, readings)
    assert verdict == "missed"
    assert words.endswith("for just over 2 h; 2 h allowed")


def test_bands_and_holds_say_how_long_it_was_outside() -> None:
    gap = said("chamber", ((110, 65.0),), gaps=((50, 75),))
    assert sentence(BAND, gap, next_min=100) == (
        "unproven",
        "chamber: 60.0 degC to 70.0 degC: longest outside between 0 s and 25 min; "
        "10 min allowed; readings missing from 05:50 UTC to 06:15 UTC",
    )
    hot = said("core-1", ((60, 65.0), (25, 50.0), (40, 65.0)))
    assert sentence(HOT, hot, next_min=110) == (
        "missed",
        "core-1: at or above 57.0 degC: longest outside between 24 min and 26 min; "
        "5 min allowed",
    )


def test_a_sum_of_log_reductions() -> None:
    # At the reference with D = 1 min a whole minute is one log reduction.
    readings = said("core", ((4, 60.0),))
    assert sentence(SUM, readings) == (
        "running",
        f"core: needed 6.50-log10; 3.00-log10 is shown{DRY}",
    )


def test_a_cooling_band_with_a_hole_says_the_shortest_and_the_longest() -> None:
    runs = ((10, 60.0), (80, 45.0), (100, 20.0), (60, 3.0))
    readings = said("core-1", runs, gaps=((69, 160),))
    verdict, words = sentence(COOLING, readings, next_min=9)
    assert verdict == "unproven"
    assert words == (
        "core-1: 54.4 degC to 26.7 degC took 59 min to 2 h 31 min; 1 h 30 min allowed; "
        "readings missing from 06:09 UTC to 07:40 UTC"
    )


def test_all_in_degf_is_said_in_degf_with_the_rows_of_the_table() -> None:
    """The same cooks: 10 and 54.4 degC are 50 and 130 degF, 57 degC is 134.6 degF."""
    readings = said("core-2", ((30, 50.0), (10, 60.0), (20, 50.0)))
    assert sentence(LETHALITY, readings, next_min=55, stages=IN_DEGF) == (
        "missed",
        f"core-2: needed 12 min at 140.0 degF or above; 9 min are shown{DRY}",
    )
    hot = said("core-1", ((60, 65.0), (25, 50.0), (40, 65.0)))
    limit = HOT.replace("57 degC", "134.6 degF")
    assert sentence(limit, hot, next_min=110, stages=IN_DEGF)[1].startswith(
        "core-1: at or above 134.6 degF: longest outside"
    )
    cold = said("core-1", ((30, 70.0), (31, 50.0), (10, 20.0)))
    limit = COOLING.replace("during: chill", "during: 'cook, chill'")
    _, words = sentence(limit, cold, stages=IN_DEGF)
    assert "80.0 degF to 40.0 degF took" in words and "degC" not in words


def test_what_is_written_in_degf_beside_degc_is_said_as_it_is_written() -> None:
    """And the table in degC: not all of the schedule is in degF."""
    come_up = COME_UP.replace("10 degC and 54.4 degC", "50 degF and 130 degF")
    mixed = f"{come_up}\n  - {HOT.replace('l, kind', 'h, kind')}"
    found = schedule(f"{STAGES}  - {mixed}\n  - {LETHALITY.replace('l, k', 't, k')}\n")
    readings = said("core-1", ((61, 20.0), (5, 60.0)))
    judged = replay(
        found, [core("core-1")], BEGUN_MS, readings, [], readings[-1].at_ms + 1
    ).judged
    why = {one.limit: one.why for one in judged}
    assert "between 50.0 degF and 130.0 degF for" in why["l"]
    assert "at or above 57.0 degC" in why["h"]
    assert "degC" in why["t"] and "degF" not in why["t"]
