"""Channels that fall silent together have one cause, and people are told once.

Rule 1: a channel that falls silent no more than ``TOGETHER_MS`` after (or, noticed
late, before) the first one joins it; the alert is that of the first.
Rule 2: it belongs to that alert until it is heard again.  What falls silent later has
an alert of its own: a loss that nobody was told of is never hidden by an older one.
"""

from collections.abc import Sequence
from typing import NamedTuple

from rules.facts import QUIET, Event, Subject

# No source: longer than the common period of a probe, shorter than anybody needs to
# reach for a phone.
TOGETHER_MS = 30_000


class Silent(NamedTuple):
    """A channel that is silent, and the alert that it belongs to."""

    channel: str
    alert: str  # the name of the channel that fell silent first
    since_ms: int  # when that was


class Gathered(NamedTuple):
    """The silent channels of a lot after an event, and whose alert it is."""

    silent: tuple[Silent, ...]
    alert: str
    joined: bool  # the event joins an alert that people are told of already
    parted: bool  # it leaves one in which others are still silent


def gather(silent: Sequence[Silent], event: Event) -> Gathered:
    """Take one event; what is not a channel's silence or its end changes nothing."""
    name = event.name
    mine = next((one for one in silent if one.channel == name), None)
    others = tuple(one for one in silent if one.channel != name)
    if event.subject is not Subject.CHANNEL or QUIET not in (event.was, event.now):
        return Gathered(tuple(silent), name, joined=False, parted=False)
    if event.now != QUIET:
        alert = mine.alert if mine else name
        parted = any(one.alert == alert for one in others)
        return Gathered(others, alert, joined=False, parted=parted)
    for one in reversed(others):
        if abs(event.at_ms - one.since_ms) <= TOGETHER_MS:
            joins = one._replace(channel=name)
            return Gathered((*others, joins), one.alert, joined=True, parted=False)
    first = Silent(name, name, event.at_ms)
    return Gathered((*others, first), name, joined=False, parted=False)


def members(gathered: Gathered) -> list[str]:
    """The channels that are silent now and belong to the alert, by name."""
    return sorted(one.channel for one in gathered.silent if one.alert == gathered.alert)
