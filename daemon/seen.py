"""From what the road knows to what a person sees.

Rule: of several channels the worst decides what a limit shows, by the order of
``rules.verdicts``; nothing here is a mean.

Units: ``_mc`` and ``_ms`` as in ``rules.facts``.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from daemon.view import (
    AheadView,
    AlertView,
    ChannelView,
    CookView,
    Heard,
    LimitView,
    SignView,
    SpotView,
    StageView,
    ToldView,
)
from rules import engine, spots
from rules.channels import Channel, Role
from rules.engine import Plan, State
from rules.facts import GRAVEST, Entry, Finding, Quality, Reading, Verdict
from rules.limit import Limit
from rules.outlook import Foreseen
from rules.replay import Outcome
from rules.spot_sets import Doubted
from rules.stages import Stage, Way
from rules.units import say_mc
from rules.verdicts import WORST, Judged, on_hold

if TYPE_CHECKING:
    from daemon.alert_tables import Alert

NEVER_MS = 1 << 62


def cook_view(
    lot: str,
    smokehouse: str,
    plan: Plan,
    outcome: Outcome,
    state: State | None = None,
) -> CookView:
    """Show one cook: every stage, and every part of every limit, as it stands.

    With its ``state`` also what is forecast of them, and the early signs.
    """
    ahead = _ahead(engine.foreseen(plan, state)) if state else {}
    return CookView(
        lot=lot,
        smokehouse=smokehouse,
        title=plan.schedule.title,
        begun_ms=outcome.stages[0].from_ms,
        finished_ms=outcome.finished_ms,
        on_hold=on_hold(outcome.judged),
        stages=_stage_views(plan.stages, outcome, ahead),
        limits=tuple(
            view
            for limit, judged in zip(plan.limits, outcome.judged, strict=True)
            for one in _limit_views(limit, judged, outcome.findings)
            for view in (replace(one, ahead=ahead.get((one.name, one.part))),)
        ),
        signs=_sign_views(plan, state) if state else (),
    )


def spot_views(
    plan: Plan, doubted: Doubted, sets: Iterable[Entry]
) -> tuple[SpotView, ...]:
    """Show each set that was taken by hand, the newest first, and what it means.

    ``doubted`` is what the sets have made doubtful and nothing has lifted yet.
    """
    ways = {one.name: way for one, way in zip(plan.stages, plan.ways, strict=True)}
    views = []
    for entry in sorted(sets, key=lambda one: -one.at_ms):
        told = spots.told(entry.text)
        if told is None:
            continue
        falls = ways.get(entry.about) is Way.FALLS
        values_mc = told.spots.values_mc
        views.append(
            SpotView(
                stage=entry.about,
                at_ms=entry.at_ms,
                who=entry.who,
                pieces=len(values_mc),
                decides_mc=max(values_mc) if falls else min(values_mc),
                falls=falls,
                within_mc=told.spots.within_mc,
                instrument=told.instrument,
                standing=told.standing,
                means=told.means,
                counts=told.counts,
                doubts=bool(doubted.name) and doubted.name == entry.about,
            )
        )
    return tuple(views)


def channel_view(
    channel: Channel,
    smokehouse: str,
    latest: Reading | None,
    now_ms: int,
    stage: StageView | None = None,
) -> ChannelView:
    """Show a channel's last reading, and whether it has gone quiet by ``now_ms``.

    ``stage`` is the running one of the smokehouse's cook; its band is the chamber's.
    """
    unit = "%RH" if channel.role is Role.HUMIDITY else "degC"
    view = ChannelView(channel.name, channel.role, smokehouse, unit, Heard.WAITING)
    if stage is not None and channel.role is Role.CHAMBER:
        view = replace(view, low_mc=stage.low_mc, high_mc=stage.high_mc)
    if latest is None:
        return view
    return replace(
        view,
        standing=_heard(channel, latest, now_ms),
        value_mc=latest.value_mc,
        at_ms=latest.at_ms,
        uncertainty_mc=latest.uncertainty_mc,
        quality=latest.quality,
    )


def alert_view(alert: "Alert") -> AlertView:
    """Show an alert of the outbox, with everybody who was told of it."""
    return AlertView(
        number=alert.number,
        lot=alert.lot,
        title=alert.title,
        why=alert.body,
        since_ms=alert.since_ms,
        state=alert.state,
        answer=alert.answer,
        acknowledged_by=alert.acknowledged_by,
        acknowledged_ms=alert.acknowledged_ms,
        returned_ms=alert.returned_ms,
        told=tuple(
            ToldView(one.contact, one.outcome.value, one.at_ms, one.why)
            for one in alert.attempts
        ),
    )


def _ahead(foreseen: Sequence[Foreseen]) -> dict[tuple[str, str], AheadView]:
    """Of each limit and part, and of the stages (""), the core that is last."""

    def lateness(one: Foreseen) -> tuple[int, int, str]:
        return (one.likely_ms or NEVER_MS, one.latest_ms or NEVER_MS, one.channel)

    return {
        (one.limit, one.part): AheadView(
            channel=one.channel,
            mark=say_mc(one.mark_mc),
            rises=one.rises,
            hold_ms=one.hold_ms,
            deadline_ms=one.deadline_ms,
            earliest_ms=one.earliest_ms,
            likely_ms=one.likely_ms,
            latest_ms=one.latest_ms,
            around=one.around,
            around_mc=one.around_mc,
            asks=one.asks,
        )
        for one in sorted(foreseen, key=lateness)
    }


def _sign_views(plan: Plan, state: State) -> tuple[SignView, ...]:
    return tuple(
        SignView(channel.name, str(seen.sign), seen.since_ms)
        for channel, seen in zip(plan.channels, state.signs, strict=True)
        if seen.sign
    )


def _stage_views(
    stages: Sequence[Stage],
    outcome: Outcome,
    ahead: Mapping[tuple[str, str], AheadView],
) -> tuple[StageView, ...]:
    views = []
    begins_ms: int | None = None  # when the next begins, where time alone says so
    for number, stage in enumerate(stages):
        view, part = StageView(stage.name, ends=str(stage.ends)), stage.name
        if stage.chamber is not None:
            low_mc, high_mc = stage.chamber
            view = replace(view, low_mc=low_mc, high_mc=high_mc)
        if number < len(outcome.stages):
            span, part = outcome.stages[number], ""
            view = replace(view, from_ms=span.from_ms, to_ms=span.to_ms)
            begins_ms = None if span.to_ms else span.from_ms
        if begins_ms is not None:
            view = replace(view, ahead=ahead.get(("", part)))
            timed = stage.ends.way is Way.AFTER
            begins_ms = begins_ms + stage.ends.ms if timed else None
        views.append(replace(view, due_ms=begins_ms or 0))
    return tuple(views)


def _limit_views(
    limit: Limit, judged: Judged, findings: Sequence[Finding]
) -> list[LimitView]:
    parts: dict[str, list[Finding]] = {}
    for finding in findings:
        if finding.limit == limit.name:
            parts.setdefault(finding.part, []).append(finding)
    if not parts:
        head = (limit.name, "", "", judged.standing, judged.verdict)
        return [
            _limit_view(limit, Finding(*head, judged.since_ms, "", 0, 0, 0, judged.why))
        ]
    ceiling = limit.counts_up
    return [_limit_view(limit, _deciding(each, ceiling)) for each in parts.values()]


def _deciding(shown: Sequence[Finding], ceiling: bool) -> Finding:
    """The worst finding of one part; of several that are met, the last to be so."""

    def gravity(finding: Finding) -> tuple[int, int, int, int, str]:
        room = finding.required - finding.least
        return (
            GRAVEST.index(finding.verdict),
            WORST.index(finding.standing),
            finding.lose_ms or NEVER_MS,
            room if ceiling else -room,
            finding.channel,
        )

    one = min(shown, key=gravity)
    if one.verdict is Verdict.MET:
        return max(shown, key=lambda each: each.since_ms)
    return one


def _limit_view(limit: Limit, finding: Finding) -> LimitView:
    return LimitView(
        name=limit.name,
        part=finding.part,
        control_point=limit.control_point,
        critical=limit.grade == "critical",
        asks=limit.required_words,
        standing=finding.standing,
        verdict=finding.verdict,
        since_ms=finding.since_ms,
        channel=finding.channel,
        ceiling=limit.counts_up,
        unit=finding.unit if finding.required else "",
        required=finding.required,
        least=finding.least,
        most=finding.most,
        lose_ms=finding.lose_ms,
        why=finding.why,
        kind=getattr(limit, "kind", ""),
    )


def _heard(channel: Channel, latest: Reading, now_ms: int) -> Heard:
    if latest.quality is not Quality.GOOD:
        return Heard.WAITING
    return Heard.QUIET if now_ms - latest.at_ms > channel.quiet_ms else Heard.HEARD
