"""The time a message or a trace gives for a reading: text or number into ``at_ms``.

Text is ISO 8601 with its zone.  A number is seconds or milliseconds since
1970-01-01T00:00:00Z, told apart by size: from 10**9 up to 10**10 it can only be
seconds (2001-09-09 to 2286-11-20), from 10**12 up to 10**13 only milliseconds of
the same dates; every other number would have to be guessed at and is refused.

Units: ``_ms`` milliseconds since 1970-01-01T00:00:00Z, rounded to the nearest.
"""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

from probes.json_text import Unusable, say
from probes.units import EXACT, THOUSAND

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
HALF_MS = timedelta(microseconds=500)
ONE_MS = timedelta(milliseconds=1)
SECONDS = Decimal(10**9), Decimal(10**10)
MILLISECONDS = Decimal(10**12), Decimal(10**13)


def read_stamp(found: object) -> int | Unusable:
    """The time in milliseconds, or why it is none."""
    if isinstance(found, Unusable):
        return found
    if isinstance(found, str):
        return read_iso(found)
    if isinstance(found, Decimal):
        return read_unix(found)
    return Unusable(f"{say(found)} is not a time")


def read_iso(text: str) -> int | Unusable:
    """The time that an ISO 8601 text gives, or why it gives none."""
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return Unusable(
            f"{say(text)} is not a time; write it like 2026-01-10T05:00:00Z"
        )
    if at.tzinfo is None:
        return Unusable(
            f"{say(text)} does not say its zone; add Z for UTC, or +01:00 and the like"
        )
    return (at - EPOCH + HALF_MS) // ONE_MS


def read_unix(number: Decimal) -> int | Unusable:
    """The time that a count since 1970 gives, or why it gives none."""
    try:
        if SECONDS[0] <= number < SECONDS[1]:
            return round(EXACT.multiply(number, THOUSAND))
        if MILLISECONDS[0] <= number < MILLISECONDS[1]:
            return round(EXACT.plus(number))
    except ArithmeticError:
        return Unusable(f"{say(number)} has too many digits for a time")
    return Unusable(
        f"{say(number)} is neither seconds (1000000000 to 9999999999) "
        "nor milliseconds (1000000000000 to 9999999999999) since 1970"
    )


def say_stamp(at_ms: int) -> str:
    """The time as ISO 8601 text in UTC, with milliseconds.

    Raises:
        OverflowError: The time is outside the years 1 to 9999.
    """
    at = EPOCH + timedelta(milliseconds=at_ms)
    return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")
