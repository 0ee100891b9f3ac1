"""From what every channel shows to how a limit and a lot stand."""

import pytest

from rules import engine
from rules.facts import Finding, Standing, Verdict
from rules.verdicts import Judged, judge, on_hold
from tests.rules.stories import core, schedule

PLAN = engine.plan(
    schedule(
        """\
stages: [{stage: store, ends: by hand}]
limits:
  - {limit: cold, control point: CCP-3, kind: hold, channel: core,
     at or below: 4 degC, source: our plan}
  - {limit: rest, class: operating, kind: hold, channel: core, at or below: 9 degC}
"""
    ),
    [core("a"), core("b")],
)

MET = (Standing.MET, Verdict.MET)
MISSED = (Standing.MISSED, Verdict.MISSED)
UNPROVEN = (Standing.UNPROVEN, Verdict.UNPROVEN)
DOUBTED = (Standing.UNPROVEN, Verdict.RUNNING)
DEVIATION = (Standing.DEVIATION, Verdict.RUNNING)
AT_RISK = (Standing.AT_RISK, Verdict.RUNNING)
WITHIN = (Standing.WITHIN, Verdict.RUNNING)
WAITING = (Standing.WAITING, Verdict.RUNNING)

# Worst first.
ORDER = [MISSED, UNPROVEN, DOUBTED, DEVIATION, AT_RISK, WITHIN, WAITING, MET]


def shows(
    channel: str,
    stands: tuple[Standing, Verdict],
    since_ms: int = 0,
    least: int = 0,
    unit: str = "ms",
    part: str = "",
) -> Finding:
    """What one channel shows of the limit."""
    standing, verdict = stands
    figures = (unit, 10, least, least)
    return Finding("cold", part, channel, standing, verdict, since_ms, *figures, "why")


def worst(*findings: Finding) -> Judged:
    """How the limit is judged by what its channels show."""
    cold, _ = judge(PLAN, findings)
    return cold


@pytest.mark.parametrize("i", range(len(ORDER) - 1))
def test_the_worst_channel_decides(i: int) -> None:
    for better in ORDER[i + 1 :]:
        one = worst(shows("a", better), shows("b", ORDER[i]))
        assert (one.standing, one.verdict) == ORDER[i]
        assert one.channel == "b"


def test_the_worst_part_decides() -> None:
    assert worst(shows("a", MET), shows("a", MISSED, part="x")).verdict == "missed"


def test_of_two_allowances_the_one_used_up_more_decides() -> None:
    one = worst(
        shows("a", WITHIN, least=3),
        shows("b", WITHIN, least=9),
        shows("a", WITHIN, part="end", unit="mc"),
    )
    assert one.channel == "b"


def test_of_two_that_are_to_be_reached_the_farther_decides() -> None:
    reach = engine.plan(
        schedule(
            """\
stages: [{stage: cook, ends: by hand}]
limits:
  - {limit: cold, kind: dwell table, channel: core,
     table: "FSIS Appendix A, meat, 6.5-log10"}
"""
        ),
        [core("a"), core("b")],
    )
    (one,) = judge(reach, [shows("a", WITHIN, least=9), shows("b", WITHIN, least=3)])
    assert one.channel == "b"


def test_where_all_are_met_the_slowest_says_when() -> None:
    one = worst(shows("a", MET, since_ms=5), shows("b", MET, since_ms=3))
    assert (one.channel, one.since_ms) == ("a", 5)


def test_a_judgement_says_what_it_is_about() -> None:
    cold, rest = judge(PLAN, [shows("a", MET)])
    assert (cold.limit, cold.critical, cold.control_point) == ("cold", True, "CCP-3")
    assert (cold.source, cold.why) == ("our plan", "a: why")
    assert (rest.limit, rest.critical) == ("rest", False)


def test_a_limit_of_which_no_channel_tells_is_unproven() -> None:
    _, rest = judge(PLAN, [shows("a", MET)])
    assert (rest.standing, rest.verdict) == UNPROVEN
    assert rest.why == "no channel of role core reports"


@pytest.mark.parametrize(
    ("stands", "critical", "held"),
    [
        (MISSED, True, True),
        (UNPROVEN, True, True),
        (DOUBTED, True, False),  # it goes on
        (MET, True, False),
        (MISSED, False, False),
        (UNPROVEN, False, False),
    ],
)
def test_a_lot_is_on_hold_by_its_critical_limits(
    stands: tuple[Standing, Verdict], critical: bool, held: bool
) -> None:
    one = worst(shows("a", stands))._replace(critical=critical)
    assert on_hold([one]) is held


def test_one_limit_is_enough_to_hold_a_lot() -> None:
    assert on_hold([worst(shows("a", MET)), worst(shows("a", MISSED))])
    assert not on_hold([])
