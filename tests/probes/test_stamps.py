"""probes/stamps.py: what is a time, and what would have to be guessed at.

Source: 2026-01-10T05:00:00Z is 1768021200 s since 1970 (``date -u -d`` of GNU
        coreutils says so); 10**9 s is 2001-09-09T01:46:40Z and 10**10 s is
        2286-11-20T17:46:40Z (common knowledge, checked the same way).
"""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probes.json_text import Unusable
from probes.stamps import read_stamp, say_stamp

NOW_MS = 1_768_021_200_000


@pytest.mark.parametrize(
    ("found", "at_ms"),
    [
        ("2026-01-10T05:00:00Z", NOW_MS),
        ("2026-01-10T05:00:00+00:00", NOW_MS),
        ("2026-01-10T06:00:00+01:00", NOW_MS),
        ("2026-01-09T21:00:00-08:00", NOW_MS),
        ("2026-01-10 05:00:00.250Z", NOW_MS + 250),
        ("20260110T050000Z", NOW_MS),
        ("2026-01-10T05:00:00.0004999Z", NOW_MS),
        ("2026-01-10T05:00:00.0005Z", NOW_MS + 1),
        (Decimal("1768021200"), NOW_MS),
        (Decimal("1768021200.25"), NOW_MS + 250),
        (Decimal("1768021200250"), NOW_MS + 250),
        (Decimal("1.7680212e9"), NOW_MS),
        (Decimal("1000000000"), 1_000_000_000_000),  # 2001, in seconds
        (Decimal("1000000000000"), 1_000_000_000_000),  # 2001, in milliseconds
        (Decimal("9999999999"), 9_999_999_999_000),
        (Decimal("9999999999999"), 9_999_999_999_999),
    ],
)
def test_a_time(found: object, at_ms: int) -> None:
    assert read_stamp(found) == at_ms


NEITHER = (
    "is neither seconds (1000000000 to 9999999999) "
    "nor milliseconds (1000000000000 to 9999999999999) since 1970"
)


@pytest.mark.parametrize(
    ("found", "why"),
    [
        (
            "2026-01-10T05:00:00",
            "'2026-01-10T05:00:00' does not say its zone; "
            "add Z for UTC, or +01:00 and the like",
        ),
        (
            "2026-01-10",
            "'2026-01-10' does not say its zone; add Z for UTC, or +01:00 and the like",
        ),
        (
            "2026-01-10T05:00:00 CET",
            "'2026-01-10T05:00:00 CET' is not a time; "
            "write it like 2026-01-10T05:00:00Z",
        ),
        ("now", "'now' is not a time; write it like 2026-01-10T05:00:00Z"),
        (
            "1768021200",
            "'1768021200' is not a time; write it like 2026-01-10T05:00:00Z",
        ),
        (Decimal("999999999"), f"999999999 {NEITHER}"),
        (Decimal("10000000000"), f"10000000000 {NEITHER}"),
        (Decimal("999999999999"), f"999999999999 {NEITHER}"),
        (Decimal("1768021200250000"), f"1768021200250000 {NEITHER}"),  # microseconds
        (Decimal("12.5"), f"12.5 {NEITHER}"),
        (Decimal(-1), f"-1 {NEITHER}"),
        (Decimal("1e999999999"), f"1E+999999999 {NEITHER}"),
        (
            Decimal("1768021200." + "0" * 100 + "1"),
            f"1768021200.{'0' * 49}... has too many digits for a time",
        ),
        (True, "true is not a time"),
        (None, "null is not a time"),
        ([], "a list is not a time"),
        (Unusable("is given twice"), "is given twice"),
    ],
)
def test_what_is_not_a_time(found: object, why: str) -> None:
    assert read_stamp(found) == Unusable(why)


@given(st.integers(0, 253_402_300_799_999))
def test_a_time_said_is_read_back(at_ms: int) -> None:
    assert read_stamp(say_stamp(at_ms)) == at_ms
