"""Time between two temperatures, told as stories of a come-up.

The limit is the come-up of the FSIS Cooking Guideline: 50 to 130 degF in 6 h.
"""

import pytest

from rules.channels import Role
from rules.evidence import Bridge, Hole, Piece, Span
from rules.facts import EntryKind, Reading, Verdict
from rules.limit import Shown
from rules.schedule import read_schedule
from rules.standards.tables import DWELL_TABLES
from rules.time_between import Band, TimeBetween
from tests.rules.stories import (
    BEGUN_MS,
    HEAD,
    MIN,
    H,
    cook,
    core,
    degf,
    entry,
    judged,
    limit_moves,
    schedule,
    series_f,
    shown_to,
)

COME_UP = """\
stages:
  - {stage: dry, ends: after 1 h}
  - {stage: smoke, ends: by hand}
  - {stage: cook, ends: by hand}
limits:
  - limit: come-up
    kind: time between
    channel: core
    between: 50 degF and 130 degF
    during: DURING
    at most: 6 h
    warn: 45 min before
"""
ALL = COME_UP.replace("DURING", "dry, smoke, cook")

LIMIT = TimeBetween.model_construct(
    kind="time between",
    name="come-up",
    channel=Role.CORE,
    between=Band(10_000, 54_444),
    at_most_ms=6 * H,
    warn_ms=0,
)


def run(*pieces: Piece, over_ms: int = 0) -> Shown:
    """What a limit came to by some pieces of evidence."""
    _, (shown,) = shown_to(LIMIT, pieces, BEGUN_MS + over_ms if over_ms else 0)
    return shown


def span(hours: int, low_mc: int, high_mc: int) -> Span:
    """The first hours of a cook."""
    return Span(BEGUN_MS, BEGUN_MS + hours * H, low_mc, high_mc)


@pytest.mark.parametrize(
    ("low_mc", "high_mc", "least_h", "most_h"),
    [
        pytest.param(20_000, 30_000, 1, 1, id="surely inside"),
        pytest.param(10_000, 30_000, 1, 0, id="perhaps at the lower end, outside"),
        pytest.param(20_000, 54_444, 1, 0, id="perhaps at the upper end, outside"),
        pytest.param(54_444, 60_000, 0, 0, id="above, the end included"),
        pytest.param(4_000, 10_000, 0, 0, id="below, the end included"),
        pytest.param(54_443, 60_000, 1, 0, id="a thousandth of a degree inside"),
    ],
)
def test_the_ends_belong_to_the_outside(
    low_mc: int, high_mc: int, least_h: int, most_h: int
) -> None:
    shown = run(span(1, low_mc, high_mc))
    assert (shown.least, shown.most) == (least_h * H, most_h * H)


def test_a_hole_may_have_been_inside_and_need_not() -> None:
    shown = run(Hole(BEGUN_MS, BEGUN_MS + H), Bridge(BEGUN_MS, BEGUN_MS + H, 0, 0))
    assert (shown.least, shown.most) == (H, 0)


def test_exactly_the_allowance_is_met() -> None:
    shown = run(span(6, 20_000, 30_000), over_ms=6 * H)
    assert shown.verdict is Verdict.MET


def test_a_millisecond_more_is_missed() -> None:
    shown = run(
        span(6, 20_000, 30_000),
        Span(BEGUN_MS + 6 * H, BEGUN_MS + 6 * H + 1, 20_000, 20_000),
    )
    assert shown.verdict is Verdict.MISSED
    assert shown.since_ms == BEGUN_MS + 6 * H


def test_what_it_was_for_is_said_in_words() -> None:
    shown = run(span(1, 20_000, 30_000), Hole(BEGUN_MS + H, BEGUN_MS + 2 * H))
    assert shown.why == "between 10.0 degC and 54.4 degC for 1 h to 2 h; 6 h allowed"


def test_a_come_up_with_a_stall_in_it() -> None:
    """40 degF at loading and 130 degF after 320 min: at most that, and at least 2 h."""
    points = [(0, 40), (120, 88), (240, 118), (320, 130), (480, 139)]
    outcome = cook(
        schedule(ALL),
        [core(every_ms=120 * MIN)],
        series_f("core", *points),
        until_min=480,
    )
    (finding,) = [one for one in outcome.findings if one.limit == "come-up"]
    assert (finding.least, finding.most) == (320 * MIN, 120 * MIN)
    # 45 min before 6 h are full, and clear again at 130 degF.
    assert limit_moves(outcome, "come-up") == [
        (315 * MIN, "at risk"),
        (320 * MIN, "within"),
    ]


def test_a_probe_pushed_in_late_does_not_begin_the_count_anew() -> None:
    """Loaded at 0, first measured after 270 min at 106 degF: the count ran on."""
    points = [(270, 106), (360, 113), (450, 115)]
    outcome = cook(
        schedule(ALL),
        [core(every_ms=60 * MIN)],
        series_f("core", *points),
        until_min=450,
    )
    assert limit_moves(outcome, "come-up") == [
        (315 * MIN, "at risk"),
        (360 * MIN, "unproven"),
    ]


def test_a_probe_pushed_in_late_shows_it_missed_in_the_end() -> None:
    """Of the hours nobody saw none is surely inside; 6 h after them are enough."""
    points = [(at, 110) for at in range(270, 700, 60)]
    outcome = cook(
        schedule(ALL),
        [core(every_ms=60 * MIN)],
        series_f("core", *points),
        until_min=690,
    )
    assert limit_moves(outcome, "come-up")[-1] == ((270 + 360) * MIN, "missed")


def test_the_count_runs_on_through_a_power_cut() -> None:
    """113 degF when the power fails, 95 degF two hours later, 130 degF at 330 min."""
    told = schedule(ALL)
    before = series_f("core", (0, 40), (100, 113))
    after = series_f("core", (225, 95), (330, 130))
    channels = [core(every_ms=80 * MIN)]
    dark = cook(told, channels, before, until_min=222)
    (finding,) = [one for one in dark.findings if one.limit == "come-up"]
    assert finding.lose_ms == BEGUN_MS + 360 * MIN
    outcome = cook(told, channels, [*before, *after], until_min=330)
    (finding,) = [one for one in outcome.findings if one.limit == "come-up"]
    assert (finding.least, finding.most) == (330 * MIN, 0)
    assert finding.why.endswith(
        "for 0 s to 5 h 30 min; 6 h allowed; "
        "readings missing from 06:40 UTC to 08:45 UTC"
    )


def test_stages_that_are_not_named_are_not_counted() -> None:
    told = schedule(COME_UP.replace("DURING", "dry, cook"))
    readings = [*series_f("core", *((at, 100) for at in range(0, 481, 10)))]
    outcome = cook(
        told,
        [core(every_ms=10 * MIN)],
        readings,
        entry(EntryKind.NEXT_STAGE, 300),
        entry(EntryKind.NEXT_STAGE, 480),
        until_min=480,
    )
    # One hour of drying and three of cooking.
    (finding,) = [one for one in outcome.findings if one.limit == "come-up"]
    assert (finding.least, finding.most) == (4 * H, 4 * H)
    # The cook is over and the core at 100 degF yet: its time runs on, unseen.
    assert judged(outcome, "come-up").verdict is Verdict.UNPROVEN


def test_the_verdict_comes_when_its_stages_are_over() -> None:
    told = schedule(ALL)
    readings = [Reading("core", BEGUN_MS, degf(131), 0)]
    readings += [r._replace(at_ms=BEGUN_MS + H) for r in readings]
    running = cook(told, [core(every_ms=H)], readings, until_min=61)
    assert judged(running, "come-up").verdict is Verdict.RUNNING
    outcome = cook(
        told, [core(every_ms=H)], readings, entry(EntryKind.END, 60), until_min=61
    )
    assert limit_moves(outcome, "come-up") == [(60 * MIN, "met")]


RECOOK = """\
stages:
  - {stage: smoke, ends: by hand}
  - {stage: chill, ends: when every core falls to 38 degF}
  - {stage: recook, ends: by hand}
  - {stage: chill again, ends: by hand}
limits:
  - {limit: come-up, kind: time between, channel: core, during: "smoke, recook",
     between: 50 degF and 130 degF, at most: 6 h, LETHAL}
  - {limit: lethality, kind: dwell table, channel: core, during: "smoke, recook",
     table: "FSIS Appendix A, meat, 6.5-log10"}
"""
ANEW = 'begins anew after: "FSIS Appendix A, meat, 6.5-log10"'


def recooked(first_h: int, top_degf: int, second_h: int) -> tuple[str, str, str, str]:
    """Come-up in so many hours to a top for 20 min, chilled in 4 h, and up again.

    The hours on the way into the band and out of it may lie inside it, or outside.
    """
    hour = 60
    points = [(at * hour, 60 if at else 40) for at in range(first_h)]
    points += [(first_h * hour, top_degf), (first_h * hour + 20, top_degf)]
    stop = first_h * hour + 20
    points += [(stop + 10, 40), (stop + 20, 37)]  # surely chilled, and out of the way
    again = stop + 20
    points += [(again + at * hour, 60) for at in range(1, second_h)]
    points += [(again + second_h * hour, 160), (again + second_h * hour + 10, 160)]
    end = again + second_h * hour + 10
    outcome = cook(
        schedule(RECOOK.replace("LETHAL", ANEW)),
        [core(every_ms=hour * MIN)],
        series_f("core", *points),
        entry(EntryKind.NEXT_STAGE, stop),
        entry(EntryKind.NEXT_STAGE, end),
        entry(EntryKind.END, end + 1),
        until_min=end + 2,
    )
    come_up, lethal = judged(outcome, "come-up"), judged(outcome, "lethality")
    (finding,) = [one for one in outcome.findings if one.limit == "come-up"]
    hours = f"{finding.least / H:g} to {finding.most / H:g}"
    return come_up.verdict, lethal.verdict, hours, come_up.why


def test_without_a_full_lethality_both_cooks_add_up() -> None:
    """FSIS-GD-2021-14: 4 h to 128 degF, never lethal, and 3 h more are 7 h and 20 min.

    The first hour of each, on the way up through 50 degF, and the last of the recook
    may or may not have been inside.
    """
    verdict, lethal, hours, _ = recooked(4, 128, 3)
    assert (verdict, lethal) == ("unproven", "met")
    assert hours == "7.33333 to 4.33333"


def test_after_a_full_lethality_the_recook_has_its_own_six_hours() -> None:
    verdict, lethal, hours, why = recooked(4, 160, 3)
    assert (verdict, lethal) == ("met", "met")
    assert hours == "4 to 2"
    assert why == (
        "core: between 50.0 degF and 130.0 degF for 2 h to 4 h; 6 h allowed; "
        "0 s since it was last hot enough"
    )


def test_a_recook_repairs_the_end_point_and_never_a_slow_come_up() -> None:
    """9 h to 128 degF: the recook is lethal, and the come-up stays missed."""
    verdict, lethal, _, _ = recooked(9, 128, 3)
    assert (verdict, lethal) == ("missed", "met")


def test_what_may_have_been_lethal_begins_nothing_anew_for_the_least() -> None:
    """12 min in which it may have been at 140 degF, and need not."""
    limit = LIMIT.model_copy(
        update={"lethal": DWELL_TABLES["FSIS Appendix A, meat, 6.5-log10"]}
    )
    hot = degf(140)
    warm = Span(BEGUN_MS, BEGUN_MS + 4 * H, 20_000, 30_000)
    perhaps = Span(warm.to_ms, warm.to_ms + 12 * MIN, hot - 9_000, hot)
    again = Span(perhaps.to_ms, perhaps.to_ms + 4 * H, 20_000, 30_000)
    _, (shown,) = shown_to(limit, [warm, perhaps, again], again.to_ms)
    assert (shown.least, shown.most) == (8 * H + 12 * MIN, 4 * H)
    assert shown.verdict is Verdict.UNPROVEN


def test_what_stays_hot_after_a_lethality_excuses_no_second_come_up() -> None:
    """71 degC is lethal at once; 5 min at perhaps 70 degC after it end no count."""
    limit = LIMIT.model_copy(
        update={"lethal": DWELL_TABLES["FSIS Appendix A, meat, 6.5-log10"]}
    )
    hot = Span(BEGUN_MS, BEGUN_MS + MIN, 71_000, 71_000)
    cooler = Span(hot.to_ms, hot.to_ms + 5 * MIN, 60_000, 70_000)
    again = Span(cooler.to_ms, cooler.to_ms + 6 * H + 1, 20_000, 30_000)
    _, (shown,) = shown_to(limit, [hot, cooler, again], again.to_ms)
    assert shown.verdict is Verdict.MISSED


def test_a_band_that_reaches_into_the_table_is_refused() -> None:
    rest = ALL.replace("130 degF", "131 degF").replace(
        "at most: 6 h", f"at most: 6 h\n    {ANEW}"
    )
    faults = read_schedule("r.yaml", HEAD + rest)
    assert isinstance(faults, list)
    assert [one.found for one in faults] == [
        "the table begins at 130.0 degF, inside the band"
    ]


def test_what_ends_a_count_names_its_source() -> None:
    told = schedule(RECOOK.replace("LETHAL", ANEW))
    assert "Appendix A" in told.limits[0].sources
