"""A probe is moved from one piece to another while a cook goes on.

One entry says so: its ``about`` names the channel, and its text may begin with the
time that the probe takes to settle, ``settling 10 min; into the thickest piece``.

Rule 1: what the probe says between the move and the end of settling is no evidence.
Rule 2: nothing joins the two pieces: to every limit there is a hole between them.
Rule 3: what a piece has earned is its own.  Where a limit credits heat that a piece
has had (``Limit.earned``), the new piece begins with none, and the event of the move
says how far the piece before had come.  Time that a limit allows runs on.
Rule 4: a core that is moved has not reached the end of the stage.
Rule 5: another probe in place of the first is a move as well (``another``); the checks
of the one before correct nothing that the other says (``channels_after``).

So a move can only put off when a limit is met: the same readings without it earn at
least as much.

Units: ``_ms`` milliseconds since 1970-01-01T00:00:00Z.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace

from rules import quiet
from rules.channels import Channel, Check, Point
from rules.evidence import Hole, Piece, Sight, one_sided
from rules.facts import (
    Entry,
    EntryKind,
    Event,
    Standing,
    Subject,
)
from rules.limit import Limit, Move, Opening
from rules.lines import Line
from rules.standards.cooling import ProductFacts
from rules.units import duration, say_ms

# Common practice, no source: a probe of a few millimetres is within its accuracy of
# the meat around it after one or two minutes; the hole that it made takes longer.
SETTLES_MS = 300_000
TOLD = re.compile(r"settling ([0-9]+ (?:s|min|h))(?:; (.*))?", re.DOTALL)
MOVED = "moved"
ANOTHER = re.compile(r"the probe was replaced by '([^']*)'")
UNCORRECTED = (Point(0, 0, 0),)


def text_of(settles: str, words: str) -> str:
    """The text of the entry; ``settles`` is a length of time, as ``10 min``."""
    return "; ".join(filter(None, [f"settling {settles}", words]))


def another(identity: str) -> str:
    """The words of a move that say which probe is in the place of the first."""
    return f"the probe was replaced by '{identity}'"


def another_of(entry: Entry) -> str | None:
    """Which probe an entry says to be in the place of the first; None if it is none."""
    told = ANOTHER.search(entry.text) if entry.kind is EntryKind.MOVED else None
    return told[1] if told else None


def channels_after(
    channels: Sequence[Channel], entries: Iterable[Entry]
) -> tuple[Channel, ...]:
    """The channels where from each such entry on no earlier check corrects anything."""
    found = {one.name: one for one in channels}
    for entry in entries:
        channel = found.get(entry.about)
        if channel and channel.checks and another_of(entry) is not None:
            none = Check(entry.at_ms, entry.who, UNCORRECTED)
            checks = [one for one in channel.checks if one.at_ms <= entry.at_ms]
            found[entry.about] = replace(channel, checks=(*checks, none))
    return tuple(found.values())


def settles_ms(entry: Entry) -> int:
    """How long the probe settles."""
    told = TOLD.fullmatch(entry.text)
    try:
        return duration(told[1]) if told else SETTLES_MS
    except ValueError:
        return SETTLES_MS


def seen(
    channel: Channel, before: Sight, entry: Entry
) -> tuple[Sight, list[Piece], list[Event]]:
    """What is known of the new piece, the last of the one before, and what is told."""
    at_ms, events = entry.at_ms, []
    if quiet.fell(channel, before, 0, at_ms):
        events.append(quiet.event(channel, before))
        before = before._replace(quiet=True)
    events.append(_event(before, entry))
    until_ms = at_ms + settles_ms(entry)
    after = Sight(False, at_ms, 0, 0, at_ms, before.quiet, until_ms)
    return after, _last(before, at_ms), events


def line(
    limit: Limit, facts: ProductFacts, old: Line, at_ms: int, heat_ended_ms: int
) -> tuple[Line, list[Move]]:
    """The limit as it stands for the new piece, and how it stood for the old one."""
    if not limit.earned or old.state is None or old.over:
        return old, []
    stood = limit.findings(old.state)[0]
    state = limit.opened(Opening(at_ms, heat_ended_ms, facts, grown=old.grown))
    why = f"begins anew after a move; the piece before: {stood.standing}, {stood.why}"
    move = Move(at_ms, stood.part, stood.standing, Standing.WITHIN, why)
    return old._replace(state=state, from_ms=at_ms), [move]


def _last(before: Sight, at_ms: int) -> list[Piece]:
    """What is left to be told of the piece before."""
    if at_ms <= before.at_ms:
        return []
    hole = [Hole(before.front_ms, at_ms)] if at_ms > before.front_ms else []
    return [*hole, one_sided(before, at_ms)]


def _event(before: Sight, entry: Entry) -> Event:
    """The event that tells of the move."""
    told = TOLD.fullmatch(entry.text)
    words = (told[2] or "") if told else entry.text
    what = "moved to another piece" if another_of(entry) is None else "replaced"
    why = f"{what} by {entry.who}"
    why += f" ({words})" if words else ""
    why += f"; no evidence until it has settled for {say_ms(settles_ms(entry))}"
    was = quiet.told(before)
    head = (entry.at_ms, Subject.CHANNEL, entry.about, entry.about)
    return Event(*head, was, MOVED, why)
