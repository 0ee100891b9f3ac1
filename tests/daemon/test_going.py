"""In words: where a core is going, in the house's own zone."""

from typing import Any
from zoneinfo import ZoneInfo

import pytest

from daemon.going import House, ahead, clock, lethality
from rules.surface import MARK, NONE

AT_MS = 1_768_050_600_000  # 2026-01-10T13:10:00Z, 14:10 in Vienna
MIN = 60_000
BESIDE = f"{MARK}{NONE}"
VIENNA = House(ZoneInfo("Europe/Vienna"), AT_MS - 90 * MIN)


def core(**changes: Any) -> dict[str, Any]:
    """A core that has to be past 130 degF by 14:10 and will be at 14:55."""
    return {
        "channel": "core",
        "mark": "54.4 degC",
        "rises": True,
        "hold_ms": 0,
        "deadline_ms": AT_MS,
        "earliest_ms": AT_MS + 30 * MIN,
        "likely_ms": AT_MS + 45 * MIN,
        "latest_ms": AT_MS + 80 * MIN,
        "asks": "",
        **changes,
    }


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            {},
            "core must be past 54.4 degC by 14:10; at this rate 14:55 (14:40 to 15:30)",
        ),
        (
            {"deadline_ms": 0, "mark": "39.2 degF", "rises": False},
            "core has to be down to 39.2 degF; at this rate 14:55 (14:40 to 15:30)",
        ),
        (
            {"deadline_ms": 0, "hold_ms": 12 * MIN},
            "core has to be past 54.4 degC for 12 min; "
            "at this rate 14:55 (14:40 to 15:30)",
        ),
        (
            {"latest_ms": 0},
            "core must be past 54.4 degC by 14:10; "
            "at this rate 14:55 (14:40 at the earliest)",
        ),
        (
            {"likely_ms": 0, "latest_ms": 0},
            "core must be past 54.4 degC by 14:10; "
            "at this rate never (14:40 at the earliest)",
        ),
        (
            {"earliest_ms": 0, "likely_ms": 0, "latest_ms": 0},
            "core must be past 54.4 degC by 14:10; at this rate never",
        ),
        (
            {"asks": "6.50-log10"},
            "core must have 6.50-log10 by 14:10; at this rate 14:55 (14:40 to 15:30)",
        ),
    ],
)
def test_a_core_in_words(changes: dict[str, Any], words: str) -> None:
    assert ahead(core(**changes), VIENNA) == words


def limit(kind: str, standing: str, **changes: Any) -> dict[str, Any]:
    """A limit as the view has it."""
    head = {"name": kind, "kind": kind, "standing": standing, "since_ms": AT_MS}
    return {**head, "why": f"held 12 min{BESIDE}", "ahead": None, **changes}


def test_lethality_never_stands_alone() -> None:
    alone = [limit("dwell table", "met")]
    assert list(lethality(alone, VIENNA)) == [
        (True, f"dwell table: met since 14:10, held 12 min{BESIDE}")
    ]


def test_lethality_says_when_it_will_be_met_or_that_it_was_not() -> None:
    goes = core(deadline_ms=0, hold_ms=12 * MIN)
    shown = lethality(
        [
            limit("integrated lethality", "within", ahead=goes),
            limit("dwell table", "unproven"),
            limit("dwell table", "waiting"),
            limit("time between", "met"),
        ],
        VIENNA,
    )
    assert list(shown) == [
        (
            True,
            f"integrated lethality: not met yet, {ahead(goes, VIENNA)}{BESIDE}",
        ),
        (False, f"dwell table: unproven since 14:10, held 12 min{BESIDE}"),
    ]


def test_another_day_is_named() -> None:
    assert clock(AT_MS + 10 * 60 * MIN, VIENNA) == "2026-01-11 00:10"
