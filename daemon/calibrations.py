"""A probe's calibration in words: its checks, and what they leave open."""

from collections.abc import Callable, Sequence

from rules import calibration
from rules.channels import Channel, Check, Role
from rules.schedule import Schedule
from rules.stages import Way
from rules.units import say_k, say_mc


def say_check(check: Check, say_time: Callable[[int], str]) -> str:
    """A check on one line: when, by whom, what the probe said where it was what."""
    points = "; ".join(
        f"said {say_mc(one.said_mc)} at {say_mc(one.reference_mc)} "
        f"± {say_k(one.within_mc)}"
        for one in check.points
    )
    return f"checked {say_time(check.at_ms)} by {check.who}: {points}"


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
