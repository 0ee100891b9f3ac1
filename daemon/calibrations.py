"""A probe's calibration in words: its checks, and what they leave open."""

from collections.abc import Callable, Sequence

from probes.contract import Probe
from rules import calibration
from rules.channels import Channel, Check, Role
from rules.limit import say_day
from rules.schedule import Schedule
from rules.stages import Way
from rules.units import say_k, say_mc

SOON_MS = 14 * 86_400_000  # ours, no source: time to send an instrument away


def say_check(check: Check, say_time: Callable[[int], str]) -> str:
    """A check on one line: when, by whom, what the probe said where it was what."""
    points = "; ".join(
        f"said {say_mc(one.said_mc)} at {say_mc(one.reference_mc)} "
        f"± {say_k(one.within_mc)}"
        for one in check.points
    )
    return f"checked {say_time(check.at_ms)} by {check.who}: {points}"


def told_from_ms(due_ms: int) -> int:
    """From when on a person should hear that a probe is to be checked."""
    return due_ms - SOON_MS


def due(probe: Probe, now_ms: int) -> str:
    """That a probe is to be checked soon, or should have been; "" for neither.

    What it says stays evidence: how far it may wander is told by its ``drift``.
    """
    if not probe.due_ms or now_ms < told_from_ms(probe.due_ms):
        return ""
    day = say_day(probe.due_ms)
    if now_ms < probe.due_ms:
        return f"{probe.channel} is to be checked by {day}"
    return (
        f"{probe.channel} was to be checked by {day}: it is judged by its last check "
        "all the same; compare it with a reference before you rely on it"
    )


def ends_mc(schedule: Schedule) -> list[int]:
    """The temperatures at which the stages of a schedule end by their cores."""
    by_core = (Way.RISES, Way.FALLS, Way.REACHES)
    ends = (stage.ends for stage in schedule.stages)
    return sorted({one.mc for one in ends if one.way in by_core})


def far_from(channel: Channel, at_ms: int, judged_mc: Sequence[int]) -> list[str]:
    """What a person should know of a core that was not checked near its limits."""
    if channel.role is not Role.CORE:
        return []
    check = calibration.in_force(channel.checks, at_ms)
    if check is None:
        return [f"{channel.name} has no calibration: what it says is taken as it is"]
    return [
        f"{channel.name} is judged at {say_mc(one)} and was not checked within "
        f"{say_k(calibration.NEAR_MC)} of it: add a point there"
        for one in judged_mc
        if not calibration.near(check, one)
    ]
