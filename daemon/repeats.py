"""Which messages are repeats of what is durable already.

A message that was kept, and whose acknowledgement was lost, comes again with the mark
of a duplicate.  Where what it says has a time of its own a repeat adds nothing; where
it has none, it is known by its packet number and a digest, kept with it in the same
transaction.

Rule 1: the mark alone proves nothing: the broker sets it too on what never reached us.
Rule 2: packet numbers are used again after 65,535 messages, or sooner where the broker
counts anew.  So what a delivery proves ends after ``FORGET_AFTER`` messages: an old one
with the same number and words (a probe that says 4.0 all night) must not make a new
one a repeat.  Messages are what is counted, not time: a broker may hold one for days.

Source: MQTT 3.1.1 (OASIS Standard), 2.3.1 (packet identifiers), 4.4 (delivery again).
"""

import hashlib
from collections.abc import Collection

from daemon.journal import Delivery, Journal
from daemon.mqtt import Message

# More than a broker and our own queue hold unacknowledged, and far below 65,535.
FORGET_AFTER = 10_000


def delivery_of(message: Message) -> Delivery:
    """By what a message would be known if it came again."""
    arrival = message.arrival
    said = arrival.topic.encode() + b"\0" + arrival.payload
    return Delivery(message.packet, hashlib.sha256(said).digest())


class Repeats:
    """The deliveries of late, in two ages; the older one is forgotten as a whole."""

    def __init__(self, journal: Journal) -> None:
        """Begin with what the journal holds, whose age is not known."""
        self._journal = journal
        self._older = journal.delivered()
        self._newer: set[int] = set()
        self._passed = 0

    def has(self, message: Message, delivery: Delivery) -> bool:
        """Whether a message repeats one that is durable."""
        known = message.duplicate and self._journal.was_delivered(delivery)
        if known:  # its acknowledgement may be lost again
            self._newer.add(delivery.packet)
        return known

    def kept(self, deliveries: Collection[Delivery], messages: int) -> None:
        """Take notice of a group that is durable, and of how many messages it was.

        Raises:
            JournalError: What is out of date could not be forgotten.
        """
        self._newer.update(delivery.packet for delivery in deliveries)
        self._passed += messages
        if self._passed >= FORGET_AFTER:
            self._journal.forget_deliveries(self._older - self._newer)
            self._older, self._newer, self._passed = self._newer, set(), 0
