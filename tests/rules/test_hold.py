"""A hold: one end of a band, judged as a band is."""

import pytest

from rules.channels import Channel, Role
from rules.evidence import Hole, Piece, Span
from rules.facts import Verdict
from rules.hold import HoldLimit
from tests.rules.stories import (
    BEGUN_MS,
    MIN,
    cook,
    core,
    judged,
    limit_moves,
    schedule,
    series,
    shown_to,
)


def hold(end: str, degrees: str, **more: str) -> HoldLimit:
    """A hold as its author writes it."""
    head = {"limit": "keep", "kind": "hold", "channel": "core", end: degrees}
    return HoldLimit.model_validate({**head, **more})


@pytest.mark.parametrize(
    ("end", "mc", "verdict"),
    [
        ("at or below", 4_000, "met"),
        ("at or below", 4_001, "missed"),
        ("at or below", -90_000, "met"),
        ("at or above", 4_000, "met"),
        ("at or above", 3_999, "missed"),
        ("at or above", 90_000, "met"),
    ],
)
def test_the_temperature_itself_is_inside(end: str, mc: int, verdict: str) -> None:
    limit = hold(end, "4 degC", grace="1 min")
    pieces: list[Piece] = [Span(BEGUN_MS, BEGUN_MS + 2 * MIN, mc, mc)]
    _, (shown,) = shown_to(limit, pieces, BEGUN_MS + 2 * MIN)
    assert shown.verdict == verdict


def test_it_says_what_it_asks() -> None:
    below, above = hold("at or below", "4 degC"), hold("at or above", "57 degC")
    assert below.required_words == "at or below 4.0 degC"
    assert above.required_words == "at or above 57.0 degC"
    short = hold("at or below", "4 degC", grace="10 min")
    assert short.required_words == (
        "at or below 4.0 degC, outside for no longer than 10 min"
    )


def test_nobody_gets_a_grace_that_was_not_written() -> None:
    limit = hold("at or above", "60 degC")
    pieces: list[Piece] = [Span(BEGUN_MS, BEGUN_MS + 1, 45_000, 45_000)]
    _, (warm,) = shown_to(limit, pieces, BEGUN_MS + 2)
    _, (unseen,) = shown_to(limit, [Hole(BEGUN_MS, BEGUN_MS + 1)], BEGUN_MS + 2)
    assert (warm.verdict, unseen.verdict) == ("missed", "unproven")


STORE = """\
stages: [{stage: store, ends: by hand}]
limits:
  - {limit: air, kind: hold, channel: cooler, at or below: 4 degC, grace: GRACE}
  - {limit: product, kind: hold, channel: core, at or below: 4 degC, grace: 0 s}
"""


@pytest.mark.parametrize(
    ("grace", "passed"),
    [
        ("20 min", [(15, "at risk"), (25, "within")]),
        ("19 min", [(14.5, "at risk"), (24, "unproven"), (25, "within")]),
    ],
)
def test_a_door_that_is_open_for_a_while_is_no_deviation(
    grace: str, passed: list[tuple[float, str]]
) -> None:
    """Air and product have limits of their own; restocking warms only the air."""
    air = Channel("air", Role.COOLER, 5 * MIN, 50 * MIN, 0)
    told = schedule(STORE.replace("GRACE", grace))
    warm = zip(range(0, 30, 5), [3, 3, 9, 11, 6, 3], strict=True)
    cold = zip(range(0, 30, 5), [3.1, 3.2, 3.4, 3.6, 3.6, 3.5], strict=True)
    readings = [*series("air", *warm), *series("core", *cold)]
    outcome = cook(told, [air, core(every_ms=5 * MIN)], readings, until_min=25)
    moves = [(at_ms / MIN, now) for at_ms, now in limit_moves(outcome, "air")]
    assert moves == passed
    assert limit_moves(outcome, "product") == []
    assert judged(outcome, "product").verdict is Verdict.RUNNING
