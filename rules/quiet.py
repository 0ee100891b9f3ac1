"""Whether a channel is heard: what the cook is told of its silence and of its return.

A silence counts from the last reading that was evidence, from the beginning of the
cook, or from when a moved probe has settled.

Units: ``_ms`` milliseconds since 1970-01-01T00:00:00Z.
"""

from rules.channels import Channel
from rules.evidence import Sight
from rules.facts import NOT_COLD, QUIET, REPORTING, WAITING, Event, Subject
from rules.units import say_ms


def fell(channel: Channel, sight: Sight, end_ms: int, at_ms: int) -> bool:
    """Whether a silence that nobody told of has grown too long within the cook.

    ``end_ms`` is when the cook ended; 0 while it goes on.
    """
    quiet_ms = sight.since_ms + channel.quiet_ms
    return not sight.quiet and quiet_ms < at_ms and (not end_ms or quiet_ms < end_ms)


def told(sight: Sight) -> str:
    """What a channel that is not quiet was last told to be."""
    if sight.seen:
        return REPORTING
    return NOT_COLD if sight.hot_told else WAITING


def heard(channel: Channel, sight: Sight, at_ms: int) -> list[Event]:
    """Say that a channel is heard for the first time, or again; nothing otherwise."""
    events, is_quiet = [], sight.quiet
    if not is_quiet and at_ms - sight.since_ms > channel.quiet_ms:
        events.append(event(channel, sight))
        is_quiet = True
    if sight.seen and not is_quiet:
        return events
    was = QUIET if is_quiet else told(sight)
    silence = say_ms(at_ms - sight.at_ms)
    why = f"heard again after {silence}" if sight.seen else "heard for the first time"
    if sight.settles_ms:
        why = "heard from the piece that it was moved to"
        if sight.cold_first:
            why = "seen as cold as the product begins; believed from here on"
    name = channel.name
    return [*events, Event(at_ms, Subject.CHANNEL, name, name, was, REPORTING, why)]


def event(channel: Channel, sight: Sight) -> Event:
    """The event of a channel that fell quiet."""
    was = told(sight)
    since = "its last reading" if sight.seen else "the cook began"
    if sight.settles_ms:
        since = "it settled in another piece"
        if sight.cold_first:
            since = "its last reading"
    why = f"nothing heard for {say_ms(channel.quiet_ms)} since {since}"
    at_ms, name = sight.since_ms + channel.quiet_ms, channel.name
    return Event(at_ms, Subject.CHANNEL, name, name, was, QUIET, why)
