"""Which stage a cook is in, and what ends it.

A stage ends after a time, when every core has reached a temperature, or by hand.
A core has reached it when a reading surely shows it; it need not stay there.  The
stages follow each other without a gap, and the cook is finished with its last one.

How the end of a stage is written::

    after 45 min
    when every core reaches 69 degC
    when every core rises to 69 degC
    when every core falls to 4 degC
    by hand

Whether ``reaches`` is a rise or a fall is read off the schedule: see ``directed``.
"""

import re
from collections.abc import Sequence
from enum import StrEnum
from typing import Annotated, NamedTuple

from pydantic import Field, PlainValidator

from rules.allowance import RELIEVED_WORDS, SURELY, doubted
from rules.facts import Event, Subject
from rules.limit import Written
from rules.time_between import Band, band
from rules.units import (
    AtSomeTime,
    Duration,
    duration,
    refused,
    say_mc,
    say_ms,
    temperature,
)

# A chamber from here on heats: 130 degF, where the bands of cooling begin.
HEATS_MC = 54_444

RIGHT = (
    "write one of: after 45 min; when every core reaches 69 degC; "
    "when every core falls to 4 degC; by hand"
)
WHEN = re.compile(r"^when every core (reaches|rises to|falls to) (.+)$")


class Way(StrEnum):
    """What ends a stage."""

    AFTER = "after"
    RISES = "rises to"
    FALLS = "falls to"
    REACHES = "reaches"  # a rise or a fall, not yet told apart
    BY_HAND = "by hand"


class Ends(NamedTuple):
    """The end of a stage: after ``ms``, or at ``mc``, or by hand."""

    way: Way
    ms: int = 0
    mc: int = 0

    def __str__(self) -> str:
        if self.way is Way.AFTER:
            return f"after {say_ms(self.ms)}"
        if self.way is Way.BY_HAND:
            return "by hand"
        return f"when every core {self.way} {say_mc(self.mc)}"


def ends(text: object) -> Ends:
    """Read what ends a stage."""
    if not isinstance(text, str):
        raise refused(f"{text!r} does not say what ends the stage", RIGHT)
    if text == Way.BY_HAND:
        return Ends(Way.BY_HAND)
    if text.startswith("after "):
        return Ends(Way.AFTER, ms=duration(text.removeprefix("after ")))
    if found := WHEN.match(text):
        return Ends(Way(found[1]), mc=temperature(found[2]))
    raise refused(f"{text!r} does not say what ends the stage", RIGHT)


class Stage(Written):
    """One step of a cook, as its author wrote it."""

    name: str = Field(alias="stage", min_length=1)
    chamber: Annotated[Band, band("to")] | None = None
    settle_ms: Duration = Field(default=0, alias="settle")
    grace_ms: Duration | None = Field(default=None, alias="grace")
    ends: Annotated[Ends, PlainValidator(ends)]
    at_most_ms: AtSomeTime = Field(default=0, alias="at most")
    source: str = ""  # where its temperatures and times come from
    notes: str = ""


def directed(stages: Sequence[Stage]) -> list[Way | None]:
    """Which way each stage ends; None where ``reaches`` could be either.

    A core that reaches a temperature rises to it where the stage's own chamber is
    hotter, and falls to it where that is colder; with no chamber, it moves away from
    the core temperature that ended an earlier stage.
    """
    ways: list[Way | None] = []
    before_mc: int | None = None
    for stage in stages:
        way: Way | None = stage.ends.way
        if way is Way.REACHES:
            way = _way(stage, before_mc)
        if way in (Way.RISES, Way.FALLS):
            before_mc = stage.ends.mc
        ways.append(way)
    return ways


def _way(stage: Stage, before_mc: int | None) -> Way | None:
    target_mc = stage.ends.mc
    if stage.chamber and stage.chamber.low_mc >= target_mc:
        return Way.RISES
    if stage.chamber and stage.chamber.high_mc <= target_mc:
        return Way.FALLS
    if before_mc is None or before_mc == target_mc:
        return None
    return Way.RISES if before_mc < target_mc else Way.FALLS


class Lasts(StrEnum):
    """How long a stage lasts, in one word."""

    BEGUN = "begun"
    AT_RISK = "at risk"  # its cores are forecast to come later than they should
    IN_TIME = "in time again"
    OVERDUE = "overdue"


class Passed(NamedTuple):
    """A stage that was entered; ``to_ms`` is 0 while it goes on."""

    name: str
    from_ms: int
    to_ms: int


class At(NamedTuple):
    """Where a cook is among its stages."""

    number: int  # of the stage; one past the last stage: finished
    since_ms: int
    reached: tuple[bool, ...]  # which of the cook's cores have reached the end
    lasts: Lasts
    passed: tuple[Passed, ...]
    heat_ended_ms: int
    foreseen: int = 0  # how many more forecasts were bad than good

    @property
    def finished_ms(self) -> int:
        """When the last stage ended; 0 while the cook goes on."""
        return self.passed[-1].to_ms if self.passed[-1].to_ms else 0


def opened(stages: Sequence[Stage], cores: int, at_ms: int) -> At:
    """In the first stage."""
    first = (Passed(stages[0].name, at_ms, 0),)
    return At(0, at_ms, (False,) * cores, Lasts.BEGUN, passed=first, heat_ended_ms=0)


def due_ms(stage: Stage, at: At) -> int | None:
    """When the stage ends by time alone; None where it does not."""
    return at.since_ms + stage.ends.ms if stage.ends.way is Way.AFTER else None


def overdue_ms(stage: Stage, at: At) -> int | None:
    """When the stage has lasted too long; None where that is over or not asked."""
    waits = stage.at_most_ms and at.lasts is not Lasts.OVERDUE
    return at.since_ms + stage.at_most_ms if waits else None


def foreseen(
    stage: Stage, at: At, at_ms: int, channel: str, why: str
) -> tuple[At, list[Event]]:
    """Hear why a core will be late for a stage that is not overdue; "" for in time."""
    doubts, lasts = doubted(at.foreseen, why), at.lasts
    if doubts == SURELY:
        lasts = Lasts.AT_RISK
    elif not doubts and lasts is Lasts.AT_RISK:
        lasts = Lasts.IN_TIME
    after = at._replace(foreseen=doubts, lasts=lasts)
    if lasts is at.lasts:
        return after, []
    head = (at_ms, Subject.STAGE, stage.name, channel, str(at.lasts), str(lasts))
    return after, [Event(*head, why or RELIEVED_WORDS)]


def core_reached(way: Way | None, stage: Stage, low_mc: int, high_mc: int) -> bool:
    """Whether a core between ``low_mc`` and ``high_mc`` has surely reached the end."""
    if way is Way.RISES:
        return low_mc >= stage.ends.mc
    return way is Way.FALLS and high_mc <= stage.ends.mc


def unreached(at: At, core: int) -> At:
    """The same where that core has not reached the end, if it is one."""
    reached = (one and i != core for i, one in enumerate(at.reached))
    return at._replace(reached=tuple(reached))


def moved_on(
    stages: Sequence[Stage], ways: Sequence[Way | None], at: At, at_ms: int
) -> At:
    """The next stage, from ``at_ms`` on; finished after the last."""
    *rest, last = at.passed
    passed = (*rest, last._replace(to_ms=at_ms))
    number = at.number + 1
    heats = _heats(stages[at.number], ways[at.number])
    heat_ended_ms = at_ms if heats else at.heat_ended_ms
    if number < len(stages):
        passed = (*passed, Passed(stages[number].name, at_ms, 0))
    none = (False,) * len(at.reached)
    return At(number, at_ms, none, Lasts.BEGUN, passed, heat_ended_ms)


def _heats(stage: Stage, way: Way | None) -> bool:
    hot = stage.chamber is not None and stage.chamber.low_mc >= HEATS_MC
    return hot or way is Way.RISES


def ended(stages: Sequence[Stage], at: At, at_ms: int) -> At:
    """Finished at once, whatever stages are left."""
    *rest, last = at.passed
    return at._replace(
        number=len(stages),
        since_ms=at_ms,
        passed=(*rest, last._replace(to_ms=at_ms)),
    )
