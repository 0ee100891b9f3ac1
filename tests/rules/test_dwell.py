"""Time at or above a row of a dwell table, told as stories.

Rows are those of FSIS Appendix A, 1999, meat, 6.5-log10: 145 degF for 4 min, 141 degF
for 9 min, 139 degF for 15 min, 130 degF for 112 min, 154 degF for 27 s, 153 degF for
34 s, 158 degF at once.  Degrees Celsius are worked out by hand: 158 degF is 70 degC,
122 degF is 50 degC, 153 degF is 67.222 degC.
"""

import pytest

from rules.channels import Channel
from rules.dwell import DwellTableLimit
from rules.evidence import Hole, Piece, Span
from rules.facts import EntryKind, Reading, Verdict
from rules.limit import Move, Shown
from rules.replay import Outcome
from tests.rules.stories import (
    BEGUN_MS,
    MIN,
    S,
    cook,
    core,
    degf,
    entry,
    heard,
    judged,
    limit_moves,
    schedule,
    series_f,
    shown_to,
)

LETHALITY = DwellTableLimit.model_validate(
    {
        "limit": "lethality",
        "kind": "dwell table",
        "channel": "core",
        "table": "FSIS Appendix A, meat, 6.5-log10",
    }
)
EVERY_10_S = core(every_ms=10 * S)

COOK = """\
stages:
  - {stage: cook, ends: after 10 min}
  - {stage: rest, ends: by hand}
limits:
  - limit: lethality
    kind: dwell table
    channel: core
    table: FSIS Appendix A, meat, 6.5-log10
    during: cook
"""


def held(from_s: int, to_s: int, mc: int, within_mc: int = 0) -> list[Reading]:
    """The same reading every 10 s, both ends included."""
    return [
        Reading("core", BEGUN_MS + at * S, mc, within_mc)
        for at in range(from_s, to_s + 1, 10)
    ]


def run(
    readings: list[Reading], over_s: int = 0, channel: Channel = EVERY_10_S
) -> tuple[list[tuple[float, str]], Shown]:
    """Judge a series; the moves, in seconds, and what it came to."""
    over_ms = BEGUN_MS + over_s * S if over_s else 0
    moves, (shown,) = shown_to(LETHALITY, heard(channel, readings), over_ms)
    return seconds(moves), shown


def seconds(moves: list[Move]) -> list[tuple[float, str]]:
    """When it moved, in seconds."""
    return [((move.at_ms - BEGUN_MS) / S, str(move.now)) for move in moves]


def test_a_row_is_full_at_its_moment_and_not_at_the_next_reading() -> None:
    readings = held(5, 245, degf(145))
    moves, shown = run([*held(0, 0, degf(145)), *readings])
    assert moves == [(240, "met")]
    assert shown.verdict is Verdict.MET
    assert (shown.required, shown.least) == (240 * S, 240 * S)


def test_a_row_is_not_full_a_moment_before() -> None:
    last = Reading("core", BEGUN_MS + 240 * S - 1, degf(145), 0)
    moves, shown = run([*held(0, 230, degf(145)), last])
    assert moves == []
    assert shown.verdict is Verdict.RUNNING
    assert run([*held(0, 240, degf(145))])[0] == [(240, "met")]


def test_a_thousandth_of_a_degree_below_a_row_is_below_it() -> None:
    assert run(held(0, 240, degf(145) - 1))[0] == []


def test_what_a_reading_does_not_know_counts_against_it() -> None:
    assert run(held(0, 240, degf(145) + 499, within_mc=500))[0] == []
    assert run(held(0, 240, degf(145) + 500, within_mc=500))[0] == [(240, "met")]


def test_a_missed_set_point_still_passes_by_a_lower_row() -> None:
    """FSIS-GD-2021-14 gives it: 154 degF for 27 s where 158 degF was planned."""
    readings = [*held(0, 20, degf(154)), *held(27, 27, degf(154))]
    moves, shown = run([*readings, *held(37, 57, degf(140))])
    assert moves == [(27, "met")]
    assert shown.why.startswith("held 27 s at 67.8 degC or above, full at ")


def test_one_reading_is_enough_for_a_row_without_a_time() -> None:
    assert run(held(30, 30, degf(158)))[0] == [(30, "met")]
    assert run(held(30, 30, degf(158) - 1))[0] == []


def test_a_dip_of_two_kelvins_begins_the_row_anew() -> None:
    """At 145 degF less 2 K the 141 degF row runs on; the 145 degF row does not."""
    dip = degf(145) - 2_000
    readings = [*held(0, 200, degf(145)), *held(210, 210, dip)]
    moves, _ = run([*readings, *held(220, 500, degf(145))])
    assert moves == [(220 + 240, "met")]


def test_a_colder_row_runs_on_through_a_dip() -> None:
    readings = [*held(0, 200, degf(145)), *held(210, 340, degf(141))]
    moves, _ = run([*readings, *held(350, 560, degf(141))])
    assert moves == [(540, "met")]


def test_a_stall_met_a_lower_row_long_ago() -> None:
    """139 degF and flat at one in the morning: a row was full hours ago."""
    points = [(0, 40), (120, 88), (240, 118), (320, 130), (480, 139), (1020, 139)]
    moves, shown = run(series_f("core", *points), channel=core(every_ms=400 * MIN))
    assert moves == [((320 + 112) * 60, "met")]
    assert shown.verdict is Verdict.MET


def test_the_recipe_s_end_and_lethality_are_two_things() -> None:
    """The core creeps to 145 degF and stays there; the recipe wants 152 degF.

    A door lets it dip to 141 degF: from 143 degF on it held 141 degF for 9 min.
    """
    told = schedule(COOK.replace("after 10 min", "when every core rises to 152 degF"))
    points = [(0, 143), (5, 141), (12, 143), (60, 145), (105, 145)]
    outcome = cook(
        told, [core(every_ms=40 * MIN)], series_f("core", *points), until_min=105
    )
    assert limit_moves(outcome, "lethality") == [(9 * MIN, "met")]
    assert [stage.name for stage in outcome.stages] == ["cook"]


def test_met_stays_met_whatever_comes() -> None:
    moves, shown = run([*held(0, 0, degf(158)), *held(10, 300, 10_000)], over_s=600)
    assert moves == [(0, "met")]
    assert shown.since_ms == BEGUN_MS


def test_too_cold_all_the_time_is_missed_when_its_stages_are_over() -> None:
    moves, shown = run(held(0, 300, degf(129)), over_s=300)
    assert moves == [(300, "missed")]
    assert shown.why == (
        "needed 1 h 52 min at 54.4 degC or above, the coldest row; never shown there"
    )


def test_the_row_that_came_nearest_is_named() -> None:
    _, shown = run(held(0, 230, degf(145)), over_s=230)
    assert shown.verdict is Verdict.MISSED
    assert (shown.required, shown.least, shown.most) == (240 * S, 230 * S, 230 * S)
    assert shown.why == "needed 4 min at 62.8 degC or above; 3 min 50 s are shown"


def test_what_a_reading_may_have_been_makes_it_unproven() -> None:
    moves, shown = run(held(0, 240, degf(145) - 500, within_mc=500), over_s=240)
    assert moves == [(240, "unproven")]
    assert shown.most >= shown.required > shown.least


def test_a_hole_ends_every_run() -> None:
    """200 s and 200 s with half a minute unseen between them are not 4 min."""
    readings = [*held(0, 200, degf(145)), *held(230, 430, degf(145))]
    moves, shown = run(readings, over_s=430)
    assert moves == [(430, "unproven")]
    assert shown.why.endswith("; readings missing from 05:03 UTC to 05:03 UTC")


@pytest.mark.parametrize(
    ("gap_ms", "verdict"),
    [
        pytest.param(34_444, "unproven", id="up to 67.222 degC: 153 degF for 34 s"),
        pytest.param(34_442, "missed", id="one thousandth of a degree short"),
    ],
)
def test_in_a_hole_it_rises_and_falls_a_kelvin_a_second(
    gap_ms: int, verdict: str
) -> None:
    """Half the time up from 50 degC and half of it down again."""
    readings = [Reading("core", BEGUN_MS + ms, 50_000, 0) for ms in (0, gap_ms)]
    assert run(readings, over_s=35)[1].verdict == verdict


@pytest.mark.parametrize(
    ("first_ms", "verdict"),
    [
        # From the beginning down to 45 degC at the first reading: as hot as 45 degC
        # and a kelvin for every second.  152 degF is 66.667 degC and asks 43 s.
        pytest.param(21_667, "missed", id="66.667 degC, but not for 43 s"),
        pytest.param(25_000, "unproven", id="70 degC, for any time"),
        pytest.param(24_999, "unproven", id="157 degF is 69.444 degC and asks 14 s"),
        pytest.param(22_000, "missed", id="153 degF is 67.222 degC"),
    ],
)
def test_before_the_first_reading_it_may_have_been_hotter(
    first_ms: int, verdict: str
) -> None:
    readings = [Reading("core", BEGUN_MS + first_ms, 45_000, 0)]
    assert run(readings, over_s=26)[1].verdict == verdict


def closing(last_s: int, last_mc: int) -> Outcome:
    """A cook stage that ends after 10 min, and nothing heard since ``last_s``."""
    readings = held(0, last_s, last_mc)
    return cook(schedule(COOK), [EVERY_10_S], readings, until_min=12)


@pytest.mark.parametrize(
    ("last_s", "mc", "verdict"),
    [
        pytest.param(580, 45_000, "missed", id="65 degC at the end: 149 degF for 85 s"),
        pytest.param(570, 45_000, "unproven", id="75 degC at the end"),
        pytest.param(580, 50_000, "unproven", id="70 degC at the end"),
    ],
)
def test_a_stage_that_ends_in_a_hole_may_have_ended_hotter(
    last_s: int, mc: int, verdict: str
) -> None:
    outcome = closing(last_s, mc)
    assert limit_moves(outcome, "lethality") == [(10 * MIN, verdict)]


def test_each_probe_is_judged_by_itself_and_the_slowest_decides() -> None:
    one = series_f("a", *((at, 145) for at in range(11)))
    other = series_f("b", (0, 140), (1, 140), *((at, 145) for at in range(2, 11)))
    outcome = cook(schedule(COOK), [core("a"), core("b")], [*one, *other], until_min=11)
    assert limit_moves(outcome, "lethality") == [(4 * MIN, "met"), (6 * MIN, "met")]
    worst = judged(outcome, "lethality")
    assert (worst.verdict, worst.channel) == (Verdict.MET, "b")
    assert worst.since_ms == BEGUN_MS + 6 * MIN


def test_two_probes_do_not_make_one_run_together() -> None:
    """One is hot while the other is not, turn about: their hottest is no product."""
    points = [(at, 145 if at % 4 < 2 else 120) for at in range(11)]
    others = [(at, 120 if at % 4 < 2 else 145) for at in range(11)]
    readings = [*series_f("a", *points), *series_f("b", *others)]
    outcome = cook(schedule(COOK), [core("a"), core("b")], readings, until_min=11)
    assert judged(outcome, "lethality").verdict is Verdict.MISSED


def test_one_probe_that_never_speaks_makes_it_unproven() -> None:
    readings = series_f("a", *((at, 160) for at in range(11)))
    outcome = cook(schedule(COOK), [core("a"), core("b")], readings, until_min=11)
    worst = judged(outcome, "lethality")
    assert (worst.verdict, worst.channel) == (Verdict.UNPROVEN, "b")


def test_no_channel_at_all_makes_it_unproven() -> None:
    outcome = cook(schedule(COOK), [], [], until_min=11)
    worst = judged(outcome, "lethality")
    assert worst.verdict is Verdict.UNPROVEN
    words = "no channel of role core reports; surface: no humidity evidence"
    assert worst.why == words


def test_what_lies_between_two_of_its_stages_earns_nothing() -> None:
    """Hot when the one ended and when the other began, and chilled in between."""
    pieces: list[Piece] = [
        Span(BEGUN_MS, BEGUN_MS + 200 * S, degf(145), degf(145)),
        Span(BEGUN_MS + 900 * S, BEGUN_MS + 1_100 * S, degf(145), degf(145)),
    ]
    moves, (shown,) = shown_to(LETHALITY, pieces, BEGUN_MS + 1_100 * S)
    assert seconds(moves) == [(1_100, "missed")]
    assert shown.least == 200 * S


def test_nothing_shown_at_all_is_told_by_the_hole() -> None:
    pieces: list[Piece] = [Hole(BEGUN_MS, BEGUN_MS + 60 * S)]
    _, (shown,) = shown_to(LETHALITY, pieces)
    assert shown.verdict is Verdict.RUNNING


def test_a_clock_that_jumps_ahead_earns_no_time() -> None:
    """The board's clock steps by an hour between two readings at 140 degF."""
    readings = series_f("core", (0, 140), (1, 140), (61, 140), (62, 140))
    outcome = cook(
        schedule(COOK.replace("after 10 min", "by hand")),
        [core()],
        readings,
        entry(EntryKind.END, 62),
        until_min=63,
    )
    # 12 min are asked at 140 degF, and an hour seems to have gone by.
    assert judged(outcome, "lethality").verdict is Verdict.UNPROVEN
