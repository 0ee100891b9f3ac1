"""What corrects each channel while a cook goes on: what judges it, and nothing else.

A cook is judged by the checks that it was begun with, until a probe is replaced.  What
the settings hold of a channel may be of a later check or of another probe, so whoever
shows a value asks here first.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from daemon.journal import Journal
from rules import moving
from rules.channels import Channel
from rules.facts import Entry, Subject


def bound_after(
    channels: Sequence[Channel], entries: Iterable[Entry]
) -> dict[str, str]:
    """The hardware of each channel that was begun with some, after these entries."""
    bound = {one.name: one.probe for one in channels if one.probe}
    for entry in entries:
        probe = moving.another_of(entry)
        if probe is not None and entry.about in bound:
            bound[entry.about] = probe
    return bound


def shown(
    channels: Sequence[Channel],
    entries: Sequence[Entry],
    hardware: Mapping[str, str],
) -> Iterator[Channel]:
    """The channels of a cook as their values are to be shown.

    ``hardware`` is what the settings bind each to.  Where that is not the cook's probe,
    what is said is no evidence, and no check of either probe corrects it.
    """
    bound = bound_after(channels, entries)
    for one in moving.channels_after(channels, entries):
        known = bound.get(one.name)
        is_other = known is not None and hardware.get(one.name, known) != known
        yield replace(one, checks=()) if is_other else one


def going_on(journal: Journal, hardware: Mapping[str, str]) -> dict[str, Channel]:
    """The channels of every cook that goes on, as their values are to be shown.

    Raises:
        JournalError: The journal cannot be read.
    """
    over, found = journal.settled(), dict[str, Channel]()
    for cook in journal.cooks():
        if cook.lot in over or _ended(cook.lot, journal):
            continue
        entries = [kept.entry for kept in journal.entries(cook.lot)]
        found |= {one.name: one for one in shown(cook.channels, entries, hardware)}
    return found


def _ended(lot: str, journal: Journal) -> bool:
    return any(one.event.subject is Subject.COOK for one in journal.events(lot))
