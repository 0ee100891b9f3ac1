"""The watch over the channels of the cooks that go on, reading by reading.

``probes.screening`` says what is doubted; this file says which channels are watched
(those of a cook, from its beginning until it has ended) and what a restart does: the
watch is folded again from the last ``RECALL_MS`` of the journal.  After a kill the
same readings are doubted as without it; only what needs a longer memory than that
begins anew.

Rule: what was screened counts (``kept``) once the readings are durable, so that a
group that could not be kept is screened again as if for the first time.

Units: ``_ms`` as in ``rules.facts``.
"""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from daemon.cooks import Running
from daemon.journal import Journal, Kept
from probes.contract import Refusal
from probes.doubts import TABLE, Doubt, Treated
from probes.screening import NEW, REPORTING, TOLD_AFTER, Watch, heard, recalled, refused
from probes.screening import screened as screened_one
from rules.channels import Channel
from rules.facts import EntryKind, Event, Reading, Subject

RECALL_MS = 2 * 3_600_000
WRITTEN = (EntryKind.NOTE, EntryKind.CORRECTIVE_ACTION)


class Group(NamedTuple):
    """Readings as they are to be kept, and what is to be said of their channels."""

    readings: list[Reading]
    events: list[Event]
    watches: dict[str, Watch]  # as they are once all this is durable


class Watching:
    """One watch for every channel of a cook."""

    def __init__(self, journal: Journal) -> None:
        """Begin with no cook; each is taken up when it is first seen."""
        self._journal = journal
        self._channels: dict[str, Channel] = {}
        self._watches: dict[str, Watch] = {}
        self._lots: dict[str, str] = {}  # of each channel: whose cook it is watched for

    def screened(
        self,
        cooks: Iterable[Running],
        readings: Sequence[Reading],
        refusals: Iterable[Refusal] = (),
    ) -> Group:
        """Screen readings in the order in which they came, after what was refused."""
        group = Group([], self._follow(cooks), dict(self._watches))
        for refusal in refusals:
            self._refused(refusal, group)
        for reading in readings:
            name = reading.channel
            if channel := self._channels.get(name):
                watch, reading, event = screened_one(
                    channel, group.watches[name], reading
                )
                if event:
                    group.events.append(event)
                if watch.fault:
                    watch, event = heard(channel, watch, reading)
                    if event:
                        group.events.append(event)
                group.watches[name] = watch
            group.readings.append(reading)
        return group

    def _refused(self, refusal: Refusal, group: Group) -> None:
        name, at_ms = refusal.channel, refusal.received_ms
        if channel := self._channels.get(name):
            watch = group.watches[name]
            watch, event = refused(channel, watch, refusal.why, at_ms)
            group.watches[name] = watch
            if event:
                group.events.append(event)

    def kept(self, group: Group) -> None:
        """Go on from a group that is durable."""
        self._watches = group.watches

    def written(self, kept: Kept) -> list[Event]:
        """Believe a channel again once a person has written about its probe."""
        entry = kept.entry
        watch = self._watches.get(entry.about)
        if watch is None or entry.kind not in WRITTEN:
            return []
        # No word mends what the source itself tells of.
        self._watches[entry.about] = NEW._replace(
            fault=watch.fault, fault_ms=watch.fault_ms, faults=watch.faults
        )
        why = f"{entry.who} wrote: {entry.text}"
        return _all_clear(entry.about, watch, entry.at_ms, why)

    def _follow(self, cooks: Iterable[Running]) -> list[Event]:
        """Take up the channels of new cooks, and let go of those that are over."""
        events: list[Event] = []
        lots: dict[str, str] = {}
        for running in cooks:
            if running.finished_ms:
                continue
            for channel in running.cook.channels:
                lots[channel.name] = running.cook.lot
                if self._lots.get(channel.name) != running.cook.lot:
                    self._channels[channel.name] = channel
                    self._watches[channel.name] = self._recalled(running, channel)
        for name in self._lots.keys() - lots.keys():
            del self._channels[name]
            why = "the cook that it was watched for is over"
            watch = self._watches.pop(name)
            if watch.faults >= TOLD_AFTER:
                watch = watch._replace(doubt=watch.fault, doubted=TOLD_AFTER)
            events += _all_clear(name, watch, watch.at_ms, why)
        self._lots = lots
        return events

    def _recalled(self, running: Running, channel: Channel) -> Watch:
        name, journal = channel.name, self._journal
        horizon_ms = journal.horizon(running.cook.lot)
        from_ms = max(running.cook.begun_ms, horizon_ms - RECALL_MS)
        for kept in journal.entries():
            if kept.entry.about == name and kept.entry.kind in WRITTEN:
                from_ms = max(from_ms, kept.entry.at_ms)
        readings = list(journal.readings([name], from_ms, 1 << 62))
        watch, told = recalled(channel, readings), self._told(name)
        if told and TABLE[Doubt(told.now)].treated is Treated.REFUSED:
            return watch._replace(
                fault=told.now, fault_ms=told.at_ms, faults=TOLD_AFTER
            )
        if told and watch.doubt:
            doubted = max(watch.doubted, TOLD_AFTER)
            return watch._replace(doubt=told.now, since_ms=told.at_ms, doubted=doubted)
        return watch

    def _told(self, name: str) -> Event | None:
        """What was last told of a channel, where that was a doubt."""
        told = None
        for noticed in self._journal.events(""):
            event = noticed.event
            if event.subject is Subject.CHANNEL and event.name == name:
                told = event
        return told if told and told.now in set(Doubt) else None


def _all_clear(name: str, watch: Watch, at_ms: int, why: str) -> list[Event]:
    if watch.doubted < TOLD_AFTER:
        return []
    return [Event(at_ms, Subject.CHANNEL, name, name, watch.doubt, REPORTING, why)]
