"""A channel that a person leaves out: who did, why, and from when until when.

What its probe says in between is no evidence, which shows as a hole in its readings.  A
verdict that such a hole leaves open, or that it helped to lose, names the person and
the reason beside it: nobody takes evidence away without a name.
"""

from collections.abc import Collection, Sequence
from typing import NamedTuple

from rules.facts import Entry, EntryKind, Verdict
from rules.limit import Shown, say_at
from rules.lines import Line

# What a person writes about a channel that is believed again from then on.
WRITTEN = (EntryKind.NOTE, EntryKind.CORRECTIVE_ACTION, EntryKind.MOVED)


class Left(NamedTuple):
    """A channel that is no evidence for a while, and whose word that is."""

    channel: str
    from_ms: int
    to_ms: int  # 0: it still is none
    who: str
    text: str


def written(left: Sequence[Left], entry: Entry) -> tuple[Left, ...]:
    """What is left out after an entry."""
    ends = entry.kind in WRITTEN or entry.kind is EntryKind.LEFT_OUT
    after = tuple(
        one._replace(to_ms=entry.at_ms)
        if ends and one.channel == entry.about and not one.to_ms
        else one
        for one in left
    )
    if entry.kind is not EntryKind.LEFT_OUT:
        return after
    return (*after, Left(entry.about, entry.at_ms, 0, entry.who, entry.text))


def told(
    left: Sequence[Left], channels: Collection[str], line: Line, shown: list[Shown]
) -> list[Shown]:
    """What is shown, with who left out what where that made a hole in it."""
    holes = [*line.missed.longest]
    if line.missed.last:
        holes.append((line.missed.last[0], line.missed.last[1]))
    words = "".join(
        f"; {_words(one)}"
        for one in left
        if one.channel in channels and any(_within(one, hole) for hole in holes)
    )
    return [
        one if one.verdict is Verdict.MET else one._replace(why=one.why + words)
        for one in shown
    ]


def _within(one: Left, hole: tuple[int, int]) -> bool:
    return one.from_ms <= hole[1] and (not one.to_ms or hole[0] <= one.to_ms)


def _words(one: Left) -> str:
    until = f" to {say_at(one.to_ms)}" if one.to_ms else ""
    return (
        f"{one.channel} was left out from {say_at(one.from_ms)}{until} "
        f"by {one.who}: {one.text}"
    )
