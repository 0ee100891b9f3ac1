"""What messages are worth while the board's clock is not set.

A value without a time of its own gets its time from our clock; while that is not
``trusted`` (``daemon.steady``) the reading is kept as ``CLOCK_UNSET`` and is no
evidence.  Once the clock is set, its true time is known by the count that never
steps, and the same value is kept again, as evidence, at that time.  A reading with a
time of its own is worth what it always is, however far it seems to lie ahead.
"""

from collections.abc import Iterable, Sequence

from probes.contract import Arrival, Decoded, Probe, Refusal
from probes.decode import decode
from probes.forms import FORMS
from rules.facts import Quality, Reading

# Two times of receipt ahead of which no probe's clock seems to be, further apart than
# a time that is relative to the receipt can reach (RFC 8428, section 4.5.3).
FAR_MS = 4_102_444_800_000  # 2100-01-01
FARTHER_MS = FAR_MS + 4 * 2**28 * 1000


def own_times(probes: Sequence[Probe], arrival: Arrival) -> list[Reading]:
    """The readings in a message that carry an absolute time of their own.

    Such a time stays what it is, whenever the message is received.
    """
    far, farther = (
        decode(probes, arrival._replace(received_ms=at_ms))
        for at_ms in (FAR_MS, FARTHER_MS)
    )
    same = {_said(one) for one in farther if isinstance(one, Reading)}
    return [
        one._replace(received_ms=arrival.received_ms)
        for one in far
        if isinstance(one, Reading) and _said(one) in same
    ]


def untimed(probes: Sequence[Probe], arrival: Arrival) -> bool:
    """Whether something in a message is stamped by its receipt.

    Received again, it would be another reading.
    """
    if not all(FORMS[one.form].timed(one) for one in probes):
        return True
    plainly = [FORMS[one.form].plainly_timed for one in probes]
    if all(look(arrival.payload) for look in dict.fromkeys(plainly)):
        return False  # nearly always: a message a second, a channel
    said = sum(isinstance(one, Reading) for one in decode(probes, arrival))
    return len(own_times(probes, arrival)) < said


def decode_unset(probes: Sequence[Probe], arrival: Arrival) -> list[Decoded]:
    """Everything a message says, where its receipt was stamped by an unset clock."""
    own = own_times(probes, arrival)
    known = {_said(one) for one in own}
    ours = [
        _doubted(one)
        for one in decode(probes, arrival)
        if isinstance(one, Reading) and _said(one) not in known
    ]
    refused = [
        one._replace(received_ms=arrival.received_ms)
        for one in decode(probes, arrival._replace(received_ms=FAR_MS))
        if isinstance(one, Refusal)
    ]
    return [*own, *ours, *refused]


def dated(readings: Iterable[Reading], later_ms: int) -> list[Reading]:
    """What was stamped by an unset clock, at the times it was shown to have meant."""
    return [
        one._replace(
            at_ms=one.at_ms + later_ms,
            received_ms=one.received_ms + later_ms,
            quality=Quality.GOOD,
        )
        for one in readings
    ]


def _said(reading: Reading) -> tuple[str, int, int]:
    return (reading.channel, reading.at_ms, reading.value_mc)


def _doubted(reading: Reading) -> Reading:
    if reading.quality is Quality.GOOD:
        return reading._replace(quality=Quality.CLOCK_UNSET)
    return reading
