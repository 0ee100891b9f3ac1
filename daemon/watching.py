"""The watch over the channels of the cooks that go on, reading by reading.

``probes.screening`` says what is doubted; this file says which channels are watched
(those of a cook, from its beginning until it has ended) and what a restart does: the
watch is folded again from the last ``RECALL_MS`` of the journal.  After a kill the
same readings are doubted as without it; only what needs a longer memory than that
begins anew.

A channel that the settings bind to another probe than its cook was begun with is no
evidence for that cook until a person has entered that the probe was replaced.

Rule: what was screened counts (``kept``) once the readings are durable, so that a
group that could not be kept is screened again as if for the first time.

Units: ``_ms`` as in ``rules.facts``.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from daemon.cooks import Running
from daemon.journal import Journal, Kept
from daemon.judged import bound_after
from probes.company import Company, company_of, recalled
from probes.company import screened as screened_one
from probes.contract import Probe, Refusal, battery_of, powered_by
from probes.doubts import TABLE, Doubt, Treated
from probes.screening import (
    REPORTING,
    TOLD_AFTER,
    charged,
    event_of,
    heard,
    refused,
)
from probes.watch import NEW, NO_DOUBT, Doubted, Watch
from rules import moving
from rules.facts import EntryKind, Event, Quality, Reading, Subject
from rules.leaving import WRITTEN

RECALL_MS = 2 * 3_600_000
REFUSED = {doubt for doubt, rule in TABLE.items() if rule.treated is Treated.REFUSED}
OF_SOURCES = REFUSED | {Doubt.RANGE, Doubt.POWER_ON}  # which values show as well
LEFT_OUT = EntryKind.LEFT_OUT.value


class Group(NamedTuple):
    """Readings as they are to be kept, and what is to be said of their channels."""

    readings: list[Reading]
    events: list[Event]
    watches: dict[str, Watch]  # as they are once all this is durable


class Watching:
    """One watch for every channel of a cook."""

    def __init__(
        self, journal: Journal, hardware: Mapping[str, str] | None = None
    ) -> None:
        """Begin with no cook; each is taken up when it is first seen.

        ``hardware`` has the probe that the settings bind each channel to.
        """
        self._journal, self._hardware = journal, hardware or {}
        self._other: dict[str, str] = {}  # why a channel is another probe's than begun
        self._companies: dict[str, Company] = {}  # of each channel
        self._watches: dict[str, Watch] = {}
        self._out: set[str] = set()  # the channels that a person has left out
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
            if name in self._other:
                if reading.quality is Quality.GOOD:
                    reading = reading._replace(quality=Quality.SUSPECT)
                group.events.extend(self._told_other(name, reading.at_ms, group))
            elif company := self._companies.get(name):
                watch, reading, event = screened_one(company, group.watches, reading)
                if event:
                    group.events.append(event)
                if watch.fault.doubt:
                    watch, event = heard(company.channels[name], watch, reading)
                    if event:
                        group.events.append(event)
                group.watches[name] = watch
                if name in self._out and reading.quality is Quality.GOOD:
                    reading = reading._replace(quality=Quality.SUSPECT)
            elif (of := powered_by(name)) and of in self._companies:
                self._charge(reading, group)
            group.readings.append(reading)
        return group

    def _told_other(self, name: str, at_ms: int, group: Group) -> list[Event]:
        """Say once that another probe speaks for the channel."""
        watch = group.watches[name]
        if watch.doubted.doubt == Doubt.REPLACED:
            return []
        told = Doubted(Doubt.REPLACED, at_ms, TOLD_AFTER)
        group.watches[name] = NEW._replace(doubted=told)
        return [event_of(name, at_ms, REPORTING, Doubt.REPLACED, self._other[name])]

    def _charge(self, reading: Reading, group: Group) -> None:
        name = reading.channel
        if (watch := group.watches.get(name)) is None:
            told = self._told(name)
            low = Doubted(told.now, told.at_ms, TOLD_AFTER) if told else NO_DOUBT
            watch = NEW._replace(doubted=low)
        low, event = charged(name, watch.doubted, reading)
        group.watches[name] = watch._replace(doubted=low)
        if event:
            group.events.append(event)

    def _refused(self, refusal: Refusal, group: Group) -> None:
        name, at_ms = refusal.channel, refusal.received_ms
        if company := self._companies.get(name):
            channel, watch = company.channels[name], group.watches[name]
            watch, event = refused(channel, watch, refusal.why, at_ms)
            group.watches[name] = watch
            if event:
                group.events.append(event)

    def kept(self, group: Group) -> None:
        """Go on from a group that is durable."""
        self._watches = group.watches

    def written(self, kept: Kept) -> list[Event]:
        """Believe a channel again once a person has written about its probe.

        One that a person leaves out is no evidence until then.
        """
        entry = kept.entry
        watch = self._watches.get(entry.about)
        why = f"{entry.who} wrote: {entry.text}"
        if watch is not None and entry.kind is EntryKind.LEFT_OUT:
            self._out.add(entry.about)
            why += "; no evidence until a note about it"
            return [event_of(entry.about, entry.at_ms, REPORTING, LEFT_OUT, why)]
        if watch is None or entry.kind not in WRITTEN:
            return []
        if entry.about in self._other:
            if moving.another_of(entry) != self._hardware[entry.about]:
                return []  # nothing else says that the other probe is the right one
            del self._other[entry.about]
        events, names = [], [entry.about]
        if entry.about in self._out:
            self._out.remove(entry.about)
            told = event_of(entry.about, entry.at_ms, LEFT_OUT, REPORTING, why)
            events.append(told)
        company = self._companies[entry.about]
        if watch.doubted.doubt == Doubt.SWAPPED:  # and with it the other one
            names = [
                name
                for name in company.channels
                if self._watches[name].doubted.doubt == Doubt.SWAPPED
            ]
        for name in names:
            watch = self._watches[name]
            # No word mends what the source itself tells of.
            self._watches[name] = NEW._replace(fault=watch.fault)
            events += _all_clear(name, watch.doubted, entry.at_ms, why)
        return events

    def _follow(self, cooks: Iterable[Running]) -> list[Event]:
        """Take up the channels of new cooks, and let go of those that are over."""
        events: list[Event] = []
        lots: dict[str, str] = {}
        for running in cooks:
            if running.finished_ms:
                continue
            lot = running.cook.lot
            lots |= {channel.name: lot for channel in running.cook.channels}
            if lot not in self._lots.values():
                thick_um = running.schedule.product.diameter_um
                company = company_of(running.cook.channels, thick_um)
                self._companies |= dict.fromkeys(company.channels, company)
                events += self._of_before(running, company)
                self._watches |= self._recalled(running, company)
                self._other |= self._others(running)
                for name in self._other.keys() & company.channels.keys():
                    doubted = self._watches[name].doubted
                    if doubted.doubt != Doubt.REPLACED:  # and so it was not told yet
                        doubted = NO_DOUBT
                    self._watches[name] = NEW._replace(doubted=doubted)
        why = "the cook that it was watched for is over"
        for name in self._lots.keys() - lots.keys():
            del self._companies[name]
            self._other.pop(name, None)
            watch = self._watches.pop(name)
            told = max(watch.fault, watch.doubted, key=lambda one: one.times)
            at_ms = max(watch.digits.at_ms, told.since_ms)
            events += _all_clear(name, told, at_ms, why)
            if name in self._out:
                self._out.remove(name)
                events.append(event_of(name, at_ms, LEFT_OUT, REPORTING, why))
            charge = battery_of(name)
            low = self._watches.pop(charge, NEW).doubted
            events += _all_clear(charge, low, max(at_ms, low.since_ms), why)
        self._lots = lots
        return events

    def _others(self, running: Running) -> dict[str, str]:
        """Why each channel is no evidence whose probe is not the cook's any more."""
        entries = [kept.entry for kept in self._journal.entries(running.cook.lot)]
        bound = bound_after(running.cook.channels, entries)
        return {
            name: other_words(running.cook.lot, name, probe, self._hardware[name])
            for name, probe in bound.items()
            if self._hardware.get(name, probe) != probe
        }

    def _of_before(self, running: Running, company: Company) -> list[Event]:
        """What was told in an earlier cook is over, also where nobody saw its end."""
        begun_ms, why = running.cook.begun_ms, "another cook has begun"
        told = [self._told(name) for name in company.channels]
        return [
            event_of(one.name, begun_ms, one.now, REPORTING, why)
            for one in told
            if one and one.at_ms < begun_ms
        ]

    def _recalled(self, running: Running, company: Company) -> dict[str, Watch]:
        journal = self._journal
        horizon_ms = journal.horizon(running.cook.lot)
        begins_ms = max(running.cook.begun_ms, horizon_ms - RECALL_MS)
        from_ms = dict.fromkeys(company.channels, begins_ms)
        for kept in journal.entries():
            if kept.lot not in ("", running.cook.lot):
                continue
            about, at_ms = kept.entry.about, kept.entry.at_ms
            if about in from_ms and kept.entry.kind in WRITTEN:
                from_ms[about] = max(from_ms[about], at_ms)
                self._out.discard(about)
            elif about in from_ms and kept.entry.kind is EntryKind.LEFT_OUT:
                self._out.add(about)
        from_ms |= dict.fromkeys(self._out & from_ms.keys(), 1 << 62)  # read nothing
        readings = journal.readings(list(from_ms), begins_ms, 1 << 62)
        watches = recalled(
            company, (r for r in readings if r.at_ms >= from_ms[r.channel])
        )
        begun_ms = running.cook.begun_ms
        return {
            name: self._as_told(name, watch, begun_ms)
            for name, watch in watches.items()
        }

    def _as_told(self, name: str, watch: Watch, begun_ms: int) -> Watch:
        told = self._told(name)
        if told and told.at_ms < begun_ms:
            return watch
        if told and (watch.doubted.doubt or told.now == Doubt.REPLACED):
            times = max(watch.doubted.times, TOLD_AFTER)
            return watch._replace(doubted=Doubted(told.now, told.at_ms, times))
        if told and told.now in OF_SOURCES:
            return watch._replace(fault=Doubted(told.now, told.at_ms, TOLD_AFTER))
        return watch

    def _told(self, name: str) -> Event | None:
        """What was last told of a channel, where that was a doubt."""
        told = None
        for noticed in self._journal.events(""):
            event = noticed.event
            if event.subject is Subject.CHANNEL and event.name == name:
                told = event
        return told if told and told.now in set(Doubt) else None


def bound(probes: Iterable[Probe]) -> dict[str, str]:
    """The hardware that the settings bind each channel to."""
    return {one.channel: one.bound_to for one in probes}


def other_words(lot: str, name: str, begun: str, now: str) -> str:
    """That the settings name another probe than a cook was begun with; what to do."""
    return (
        f"the cook was begun with the probe {begun!r}, and the settings have {now!r} "
        "now: not used until you say that it was replaced (fumarium moved "
        f"{lot} {name} --replaced --who INITIALS), or put the first one back into the "
        "settings"
    )


def _all_clear(name: str, told: Doubted, at_ms: int, why: str) -> list[Event]:
    if told.times < TOLD_AFTER:
        return []
    return [event_of(name, at_ms, told.doubt, REPORTING, why)]
