"""What the road shows: the journal's and the cooks' state as one view.

It keeps the last reading and a bounded curve of every channel, so that the page
never reads the database.
"""

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from daemon.calibrations import due, told_from_ms
from daemon.cooks import Running
from daemon.curve import RECENT_MS, Curve
from daemon.journal import Journal
from daemon.judged import shown
from daemon.seen import alert_view, channel_view, cook_view, spot_views
from daemon.settings import Settings
from daemon.view import (
    BrokerView,
    CookView,
    Figures,
    NoticeView,
    RecordingView,
    View,
)
from probes.contract import Probe, Refusal
from rules.calibration import as_judged
from rules.channels import Channel
from rules.facts import Quality, Reading
from rules.replay import outcome

if TYPE_CHECKING:
    from daemon.run import Road


BIT_MS = 15 * 60_000  # of the recent past, read at once after a start
REFUSED_SHOWN, REFUSED_MS = 3, 3_600_000  # the last refusals, for an hour


class Show:
    """The latest of every channel, and the way it came."""

    def __init__(self, settings: Settings) -> None:
        """Begin with nothing heard."""
        self._site = settings.site
        self._thermometers = settings.thermometers
        self.pace = settings.pace.times if settings.pace else 1
        self._houses: dict[str, str] = {}
        self._channels: dict[str, Channel] = {}
        for smokehouse in settings.smokehouses:
            for channel in settings.channels(smokehouse):
                self._channels[channel.name] = channel
                self._houses[channel.name] = smokehouse
        self._topics: dict[str, list[Probe]] = {}
        for probe in settings.probes:
            self._topics.setdefault(probe.topic, []).append(probe)
        self._hardware = {one.channel: one.bound_to for one in settings.probes}
        self._judged: dict[str, Channel] = {}  # of the cooks that go on
        self._latest: dict[str, Reading] = {}  # as they were said
        self._refused: deque[NoticeView] = deque(maxlen=REFUSED_SHOWN)
        self._curves = {name: Curve(one) for name, one in self._channels.items()}
        self._recall: Iterator[Iterable[Reading]] = iter(())
        # For the curves, while what was before is recalled.
        self._held: list[Reading] | None = None

    @property
    def channels(self) -> list[str]:
        """The names of every channel."""
        return list(self._channels)

    def probes_on(self, topic: str) -> Sequence[Probe]:
        """The channels that a topic carries."""
        return self._topics.get(topic, ())

    def remember(self, journal: Journal, now_ms: int) -> None:
        """Begin to read the recent past; ``recall`` goes on with it, bit by bit.

        Raises:
            JournalError: The journal cannot be read.
        """
        for reading in journal.latest().values():
            if (
                reading.channel in self._channels
                and reading.at_ms >= now_ms - RECENT_MS
            ):
                self._latest[reading.channel] = reading
        self._held = []
        self._recall = (
            journal.readings(self.channels, from_ms, from_ms + BIT_MS - 1)
            for from_ms in range(now_ms - RECENT_MS, now_ms, BIT_MS)
        )

    def recall(self) -> bool:
        """Draw one bit more of the recent past; False once all of it is drawn.

        Raises:
            JournalError: The journal cannot be read.
        """
        if self._held is None:
            return False
        bit = next(self._recall, None)
        for reading in self._held if bit is None else bit:
            self._draw(self._corrected(reading))
        if bit is None:
            self._held = None
        return self._held is not None

    def heard(self, reading: Reading) -> None:
        """Remember a reading as the latest of its channel."""
        before = self._latest.get(reading.channel)
        if before is None or before.at_ms <= reading.at_ms:
            self._latest[reading.channel] = reading
        if self._held is None:
            self._draw(self._corrected(reading))
        else:
            self._held.append(reading)

    def _corrected(self, reading: Reading) -> Reading:
        name = reading.channel
        channel = self._judged.get(name) or self._channels.get(name)
        return as_judged(channel, reading) if channel else reading

    def _draw(self, reading: Reading) -> None:
        if reading.quality is Quality.GOOD and reading.channel in self._curves:
            self._curves[reading.channel].add(reading)

    def refused(self, refusal: Refusal) -> None:
        """Remember a refusal, so that somebody sees it: silence would hide it."""
        of = f"{refusal.topic} {refusal.channel}".strip()
        words = f"refused, from {of}: {refusal.why}"
        self._refused.append(NoticeView(refusal.received_ms, words))

    def view(self, road: "Road") -> View:
        """Everything a person may look at, as it stands now."""
        self._judged = {
            one.name: one
            for running in road.cooks
            if not running.finished_ms
            for one in shown(running.cook.channels, running.replaced, self._hardware)
        }
        now_ms, link = road.clock.now_ms(), road.subscriber.state
        all_cooks = (*road.cooks, *road.cooks.past)
        cooks = [_shown(running) for running in road.cooks]
        stages = {cook.smokehouse: cook.stage for cook in cooks}
        return View(
            site=self._site,
            now_ms=now_ms,
            horizon_ms=road.horizon_ms,
            broker=BrokerView(link.connected, link.since_ms, link.why),
            recording=RecordingView(not road.recording, road.recording),
            cooks=(*cooks, *map(_shown, road.cooks.past)),
            channels=tuple(
                channel_view(
                    channel,
                    self._houses[name],
                    self._corrected(latest) if latest else None,
                    now_ms,
                    stages.get(self._houses[name]),
                )
                for name, channel in self._channels.items()
                for latest in (self._latest.get(name),)
            ),
            alerts=tuple(map(alert_view, road.outbox.open_alerts())),
            notices=(
                *(NoticeView(*trouble) for trouble in road.cooks.troubles.values()),
                *self.due(now_ms),
                *(one for one in self._refused if now_ms - one.at_ms < REFUSED_MS),
            ),
            curves=tuple(curve.view() for curve in self._curves.values()),
            unjudged=road.cooks.unjudged(),
            pace=self.pace,
            thermometers=self._thermometers,
            schedules=tuple((one.cook.lot, one.schedule) for one in all_cooks),
            figures=road.care.figures(road.journalled) if road.care else Figures(),
        )

    def due(self, now_ms: int) -> Iterator[NoticeView]:
        """Every probe that is to be checked soon, or should have been."""
        for probes in self._topics.values():
            for probe in probes:
                if words := due(probe, now_ms):
                    yield NoticeView(told_from_ms(probe.due_ms), words)


def _shown(running: Running) -> CookView:
    cook, plan = running.cook, running.plan
    state = running.state
    view = cook_view(cook.lot, cook.smokehouse, plan, outcome(plan, state, ()), state)
    sets = running.spots.values()
    return replace(view, spots=spot_views(plan, state.doubted, sets))
