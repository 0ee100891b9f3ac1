"""What the road shows: the journal's and the cooks' state as one view.

It keeps the last reading and a bounded curve of every channel, so that the page
never reads the database.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from daemon.alert_tables import Alert
from daemon.cooks import Running
from daemon.curve import Curve
from daemon.settings import Settings
from daemon.view import (
    AlertStanding,
    AlertView,
    BrokerView,
    ChannelView,
    CookView,
    NoticeView,
    RecordingView,
    StageView,
    ToldView,
    View,
    channel_view,
    limit_views,
)
from probes.contract import Probe
from rules import engine, stages, verdicts
from rules.alerts import AlertState
from rules.channels import Channel, Role
from rules.facts import Quality, Reading

if TYPE_CHECKING:
    from daemon.run import Road

FINISHED_SHOWN = 3  # cooks that are over and still worth a look


class Show:
    """The latest of every channel, and the way it came."""

    def __init__(self, settings: Settings) -> None:
        """Begin with nothing heard."""
        self._site = settings.site
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
        self._latest: dict[str, Reading] = {}
        self._curves = {name: Curve(one) for name, one in self._channels.items()}
        self._over: list[CookView] = []
        self._notices: list[NoticeView] = []

    def probes_on(self, topic: str) -> Sequence[Probe]:
        """The channels that a topic carries."""
        return self._topics.get(topic, ())

    def heard(self, reading: Reading) -> None:
        """Remember a reading as the latest of its channel."""
        before = self._latest.get(reading.channel)
        if before is None or before.at_ms <= reading.at_ms:
            self._latest[reading.channel] = reading
        if reading.quality is Quality.GOOD and reading.channel in self._curves:
            self._curves[reading.channel].add(reading)

    def view(self, road: "Road") -> View:
        """Everything a person may look at, as it stands now."""
        now_ms, link = road.clock.now_ms(), road.subscriber.state
        cooks = [_cook_view(running) for running in road.cooks]
        self._over = [
            one for one in self._over if one.lot not in {cook.lot for cook in cooks}
        ]
        self._over += [cook for cook in cooks if cook.finished_ms]
        return View(
            site=self._site,
            now_ms=now_ms,
            horizon_ms=road.horizon_ms,
            broker=BrokerView(link.connected, link.since_ms, link.why),
            recording=RecordingView(not road.recording, road.recording),
            cooks=(*cooks, *self._past(cooks)),
            channels=self._channel_views(now_ms, cooks),
            alerts=tuple(map(_alert_view, road.outbox.open_alerts())),
            notices=tuple(NoticeView(now_ms, t) for t in road.cooks.troubles),
            curves=tuple(curve.view() for curve in self._curves.values()),
            pace=self.pace,
        )

    def _past(self, cooks: Sequence[CookView]) -> list[CookView]:
        shown = {cook.lot for cook in cooks}
        return [one for one in self._over if one.lot not in shown][-FINISHED_SHOWN:]

    def _channel_views(
        self, now_ms: int, cooks: Sequence[CookView]
    ) -> tuple[ChannelView, ...]:
        bands = {
            cook.smokehouse: (cook.stage.low_mc, cook.stage.high_mc)
            for cook in cooks
            if cook.stage
        }
        return tuple(
            channel_view(
                channel,
                self._houses[name],
                self._latest.get(name),
                now_ms,
                bands.get(self._houses[name], (None, None))
                if channel.role is Role.CHAMBER
                else (None, None),
            )
            for name, channel in self._channels.items()
        )


def _cook_view(running: Running) -> CookView:
    plan, state, cook = running.plan, running.state, running.cook
    found = engine.findings(plan, state)
    judged = verdicts.judge(plan, found)
    critical = {
        limit.name: limit.control_point
        for limit in plan.limits
        if limit.grade == "critical"
    }
    ceilings = {limit.name for limit in plan.limits if limit.ceiling}
    return CookView(
        lot=cook.lot,
        smokehouse=cook.smokehouse,
        title=running.schedule.title,
        begun_ms=cook.begun_ms,
        finished_ms=running.finished_ms,
        on_hold=verdicts.on_hold(judged),
        stages=_stage_views(running),
        limits=limit_views(found, critical, ceilings),
    )


def _stage_views(running: Running) -> tuple[StageView, ...]:
    passed = {one.name: one for one in engine.passed(running.state)}
    views = []
    for stage in running.plan.stages:
        one = passed.get(stage.name)
        going_on = one is not None and not one.to_ms
        due_ms = stages.due_ms(stage, running.state.at) if going_on else None
        low, high = stage.chamber or (None, None)
        views.append(
            StageView(
                name=stage.name,
                from_ms=one.from_ms if one else 0,
                to_ms=one.to_ms if one else 0,
                ends=str(stage.ends),
                due_ms=due_ms or 0,
                low_mc=low,
                high_mc=high,
            )
        )
    return tuple(views)


STANDINGS = {
    AlertState.UNACKNOWLEDGED: AlertStanding.OPEN,
    AlertState.ACKNOWLEDGED: AlertStanding.ACKNOWLEDGED,
    AlertState.RETURNED: AlertStanding.RETURNED,
    AlertState.NORMAL: AlertStanding.ACKNOWLEDGED,
}


def _alert_view(alert: Alert) -> AlertView:
    return AlertView(
        number=alert.number,
        lot=alert.lot,
        title=alert.title,
        why=alert.body,
        since_ms=alert.since_ms,
        standing=STANDINGS[alert.state],
        acknowledged_by=alert.acknowledged_by,
        acknowledged_ms=alert.acknowledged_ms,
        returned_ms=alert.returned_ms,
        told=tuple(
            ToldView(one.contact, one.outcome.value, one.at_ms, one.why)
            for one in alert.attempts
        ),
    )
