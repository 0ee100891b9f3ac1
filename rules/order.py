"""Puts facts that come out of order into the order of their times.

A fact may be late by so much and still be put in its place; one that comes later
than that is told apart, and never changes what was already concluded.  At one
moment readings come before entries, and channels in the order of their names, so
that the order of arrival within the lateness changes nothing.
"""

import heapq
from typing import NamedTuple

from rules.facts import Entry, Fact, Reading

Key = tuple[int, int, str, int]


def key(fact: Fact) -> Key:
    """The place of a fact among the others."""
    if isinstance(fact, Reading):
        return (fact.at_ms, 0, fact.channel, fact.value_mc)
    if isinstance(fact, Entry):
        return (fact.at_ms, 1, fact.kind, fact.entered_ms)
    return (fact.at_ms, 2, "", 0)


class Waiting(NamedTuple):
    """A fact that waits for its time to be over."""

    key: Key
    number: int
    fact: Fact


class Order:
    """The facts of one cook that are not yet old enough to be certain of order.

    It holds no clock: ``release`` is told the time before which nothing is still
    to come.
    """

    def __init__(self, horizon_ms: int) -> None:
        self.horizon_ms = horizon_ms
        self._waiting: list[Waiting] = []
        self._taken = 0

    def take(self, fact: Fact) -> bool:
        """Take a fact in; False, and nothing is kept, where it comes too late."""
        if fact.at_ms < self.horizon_ms:
            return False
        self._taken += 1
        heapq.heappush(self._waiting, Waiting(key(fact), self._taken, fact))
        return True

    def release(self, horizon_ms: int) -> list[Fact]:
        """Give out, in order, every fact from before ``horizon_ms``."""
        self.horizon_ms = max(horizon_ms, self.horizon_ms)
        facts = []
        while self._waiting and self._waiting[0].fact.at_ms < self.horizon_ms:
            facts.append(heapq.heappop(self._waiting).fact)
        return facts
