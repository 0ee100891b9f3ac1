"""What judges a cook, worked out once: which limit, on which channel, in which stages.

It names no kind of limit.  A limit that is judged beside other channels is no line of
its channel's own: see ``rules.pairs``.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from rules import pairs, surface
from rules.channels import Channel, Role
from rules.facts import Event, Subject
from rules.limit import Limit, Move
from rules.pairs import Pair
from rules.schedule import Schedule
from rules.stages import Stage, Way
from rules.standards.cooling import ProductFacts


@dataclass(frozen=True, slots=True)
class Plan:
    """What judges a cook, worked out once."""

    schedule: Schedule
    channels: tuple[Channel, ...]
    stages: tuple[Stage, ...]
    ways: tuple[Way | None, ...]
    limits: tuple[Limit, ...]
    during: tuple[frozenset[int], ...]  # of each limit: the stages it is judged in
    judged: tuple[tuple[int, ...], ...]  # of each channel: its limits
    cores: tuple[int, ...]  # of each channel: its number among the cores, or -1
    index: dict[str, int]  # of each channel name
    facts: ProductFacts  # of the product, for what a limit asks of it
    pairs: tuple[Pair, ...]  # limits that are judged on several channels at once
    beside: tuple[str, ...]  # of each limit: what an event that proves it says too


def plan(schedule: Schedule, channels: Sequence[Channel]) -> Plan:
    """Work out which limit is judged on which channel, and when."""
    limits = schedule.judged
    cores = [channel.name for channel in channels if channel.role is Role.CORE]
    lethal, humid = surface.lethal(schedule), surface.ahead(schedule)
    return Plan(
        schedule=schedule,
        channels=tuple(channels),
        stages=schedule.stages,
        ways=schedule.ways,
        limits=limits,
        during=tuple(frozenset(schedule.during(limit)) for limit in limits),
        judged=tuple(
            tuple(
                i
                for i, one in enumerate(limits)
                if one.channel is channel.role and one.beside is None
            )
            for channel in channels
        ),
        cores=tuple(
            cores.index(channel.name) if channel.name in cores else -1
            for channel in channels
        ),
        index={channel.name: i for i, channel in enumerate(channels)},
        facts=schedule.product.facts,
        pairs=tuple(pairs.among(limits, channels)),
        beside=tuple(humid if one.name in lethal else "" for one in limits),
    )


def events(plan: Plan, i: int, number: int, moves: Sequence[Move]) -> list[Event]:
    """What became true of a limit on a channel, as its moves say."""
    name, channel = plan.limits[number].name, plan.channels[i].name
    beside = plan.beside[number]
    return [
        Event(
            move.at_ms,
            Subject.LIMIT,
            f"{name}: {move.part}" if move.part else name,
            channel,
            move.was,
            move.now,
            f"{channel} {move.why}{beside if move.now in surface.PROVEN else ''}",
        )
        for move in moves
    ]


def lacking(plan: Plan) -> list[str]:
    """What the channels lack for the schedule to be judged, in words."""
    words = []
    roles = {channel.role for channel in plan.channels}
    for limit in plan.limits:
        if limit.channel not in roles:
            words.append(
                f"limit {limit.name!r} needs a channel of role {limit.channel}"
            )
        if limit.beside and not limit.alone and limit.beside not in roles:
            words.append(f"limit {limit.name!r} needs a channel of role {limit.beside}")
    for stage, way in zip(plan.stages, plan.ways, strict=True):
        if way in (Way.RISES, Way.FALLS) and Role.CORE not in roles:
            words.append(f"stage {stage.name!r} ends by a core, and no channel is one")
    return words
