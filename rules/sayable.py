"""What may be expected of a day: the names and words that its events can have.

An expectation of something that can never be said would hold for ever where it says
``never``, so it is a mistake wherever it stands.
"""

import re
from collections.abc import Iterable, Iterator, Mapping

from rules.facts import NOT_COLD, QUIET, REPORTING, WAITING, Standing
from rules.remarks import choice
from rules.replay import Outcome
from rules.schedule import Schedule
from rules.signs import Sign, over
from rules.spot_sets import BELOW, NAME
from rules.stages import Lasts

NAMED = re.compile(r"^(.*?)(?: \(([^()]+)\))?$")
OF_STAGE = (*Lasts, "ended")
OF_SIGNS = tuple(word for sign in Sign if sign for word in (sign, over(sign)))
OF_CHANNEL = (WAITING, REPORTING, QUIET, NOT_COLD, *OF_SIGNS)


def parted(words: str) -> tuple[str, str | None]:
    """An expectation without its channel, and the channel where one is named."""
    found = NAMED.match(words)
    assert found
    return found[1], found[2]


def unsayable(
    schedule: Schedule, outcome: Outcome, channels: Iterable[str], words: str
) -> str:
    """Why no event of the day can ever be what the words say; ``""`` where one can."""
    told, channel = parted(words)
    known = [*channels]
    if channel is not None and channel not in known:
        return f"no channel is named {channel!r}; {choice(channel, known)}"
    can = sayable(schedule, outcome, known)
    said = [name for name in can if told.startswith(f"{name} ")]
    if not said:
        return _unnamed(told, can)
    name = max(said, key=len)  # "smoke chamber" is not "smoke"
    now = told.removeprefix(f"{name} ")
    if now in can[name]:
        return ""
    return f"{name!r} is never {now!r}; {choice(now, can[name])}"


def sayable(
    schedule: Schedule, outcome: Outcome, channels: Iterable[str]
) -> dict[str, list[str]]:
    """Every name that an event of the day can have, and the words it comes to."""
    can: dict[str, list[str]] = {}
    for name, words in _pairs(schedule, outcome, channels):
        can[name] = [*can.get(name, ()), *(str(word) for word in words)]
    return can


def _pairs(
    schedule: Schedule, outcome: Outcome, channels: Iterable[str]
) -> Iterator[tuple[str, Iterable[str]]]:
    for stage in schedule.stages:
        yield stage.name, OF_STAGE
    for judged in outcome.judged:
        yield judged.limit, Standing
    for one in outcome.findings:
        if one.part:
            yield f"{one.limit}: {one.part}", Standing
    for name in channels:
        yield name, OF_CHANNEL
    yield NAME, (BELOW, REPORTING)
    yield schedule.title, ("finished",)


def _unnamed(told: str, can: Mapping[str, list[str]]) -> str:
    """That nothing has the name that the words begin with, and what has one like it."""
    parts = told.split()
    tried = [" ".join(parts[:i]) for i in range(len(parts) - 1, 0, -1)] or [told]
    right = [choice(name, [*can]) for name in tried]
    near = next((one for one in right if one.startswith("did you")), right[-1])
    return f"nothing here is named so; {near}"
