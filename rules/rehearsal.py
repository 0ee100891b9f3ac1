"""A rehearsal file: days that a person tells in words, and what is expected of them.

Form::

    schedule: chill.yaml
    rehearsals:
      - rehearsal: door left open for half an hour
        begins: 2026-01-10T06:00:00Z
        readings every: 1 min
        core:
          - 3 degC for 10 min
          - to 6 degC over 2 min
          - silent for 5 min
        entries:
          - at 40 min: next stage
          - at 45 min: spot check 3.9, 4.2 degC within 0.5 K of chill
          - at 50 min: "lifted for chill: all were turned and read 3.1"
        expect:
          - at 41 min: chill deviation
          - never: core quiet
        verdicts: {chill: missed}

A key that begins with a role is a channel.  One may be silent at first, as a core that
is put in late; another is heard from the beginning.  An expectation names a limit (or
one part of it: ``cooling: 54.4 degC to 26.7 degC missed``), a stage or a channel and
the word that it comes to; its moment is met by an event less than one reading away.
A rehearsal is judged by the very fold that judges a cook.

Units: ``_ms`` milliseconds since 1970-01-01T00:00:00Z, or a length of time.
"""

import re
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Annotated, Any, ClassVar, NamedTuple

from pydantic import BeforeValidator, Field, model_validator

from rules import engine, spots
from rules.channels import Channel, Role
from rules.facts import Entry, EntryKind, Event, Quality, Reading, Subject, Verdict
from rules.faults import Fault
from rules.limit import Written
from rules.reader import read
from rules.remarks import choice
from rules.replay import Outcome, replay
from rules.sayable import parted, sayable, unsayable
from rules.schedule import Schedule
from rules.told import Story, length, values
from rules.units import (
    ActivityMilli,
    Difference,
    Duration,
    PercentMilli,
    Ppm,
    refused,
    say_ms,
)

WORDS = {"next stage": EntryKind.NEXT_STAGE, "end": EntryKind.END}
# Of a thermometer that is taken to be in order.
SPOTS = re.compile(r"spot check (.+ deg[CF]) within (\S+ K) of (.+)")
LIFTED = re.compile(r"lifted for (.+): (.+)")
CALIBRATED = "calibrated 2026-01-01"
QUIET_PERIODS = 12
WHO = "rehearsal"


def role_of(name: str) -> Role | None:
    """The role that a channel's name begins with, as a word of its own."""
    for role in Role:
        if name.startswith(role) and not name[len(role) :][:1].isalpha():
            return role
    return None


class Expected(NamedTuple):
    """What should happen, and when; None: never."""

    at_ms: int | None
    words: str


def _one_key(tree: object, right: str) -> tuple[str, str]:
    if isinstance(tree, dict) and len(tree) == 1:
        ((key, words),) = tree.items()
        if isinstance(words, str) and words:
            return str(key), words
    raise refused("one line with a moment and what happens is wanted here", right)


def _expected(tree: object) -> Expected:
    right = "write for example: at 41 min: chill deviation"
    key, words = _one_key(tree, right)
    if key == "never":
        return Expected(None, words)
    if not key.startswith("at "):
        raise refused(f"{key!r} does not say when", right)
    return Expected(length(key.removeprefix("at ")), words)


def _entry(tree: object) -> Entry:
    right = "write for example: at 3 h: next stage"
    key, words = _one_key(tree, right)
    taken = SPOTS.fullmatch(words)
    if key.startswith("at ") and taken:
        at_ms = length(key.removeprefix("at "))
        kept = spots.text_of(spots.read(taken[1], taken[2]), "one", CALIBRATED)
        return Entry(EntryKind.SPOT_CHECK, at_ms, at_ms, WHO, kept, taken[3])
    if key.startswith("at ") and (lifted := LIFTED.fullmatch(words)):
        at_ms = length(key.removeprefix("at "))
        return Entry(EntryKind.LIFTED, at_ms, at_ms, WHO, lifted[2], lifted[1])
    if not key.startswith("at ") or words not in WORDS:
        raise refused(f"{key}: {words} is nothing that is entered", right)
    at_ms = length(key.removeprefix("at "))
    return Entry(WORDS[words], at_ms, at_ms, WHO)


def _moment(text: object) -> int:
    try:
        at = datetime.fromisoformat(str(text))
    except ValueError:
        at = datetime.min
    if at.tzinfo is None:
        right = "write day, time and zone, for example: 2026-01-10T06:00:00Z"
        raise refused(f"{text!r} is not a moment with its zone", right)
    return round(at.timestamp() * 1000)


class Lot(Written):
    """What is known of the lot: a cooling option may ask for it."""

    nitrite_ppm: Ppm | None = Field(default=None, alias="nitrite")
    erythorbate_ppm: Ppm | None = Field(default=None, alias="erythorbate")
    brine_percent_milli: PercentMilli | None = Field(default=None, alias="brine")
    water_activity_milli: ActivityMilli | None = Field(
        default=None, alias="water activity"
    )


class Rehearsal(Written):
    """One day, told in words, and what is expected of it."""

    KEYS_BEGIN: ClassVar[str] = f"begin a channel with: {', '.join(Role)}"

    title: str = Field(alias="rehearsal", min_length=1)
    begins_ms: Annotated[int, BeforeValidator(_moment)] = Field(
        default=1_768_024_800_000,  # 2026-01-10T06:00:00Z: any day will do
        alias="begins",
    )
    every_ms: Duration = Field(default=60_000, alias="readings every", gt=0)
    accuracy_mc: Difference = Field(default=500, alias="accuracy")
    lot: Lot | None = None
    channels: dict[str, Story] = Field(alias="a line for each channel", exclude=True)
    entries: tuple[Annotated[Entry, BeforeValidator(_entry)], ...] = ()
    expect: tuple[Annotated[Expected, BeforeValidator(_expected)], ...] = ()
    verdicts: dict[str, Verdict] = Field(default_factory=dict)

    @model_validator(mode="before")
    @classmethod
    def _channel_keys(cls, tree: Any) -> Any:
        """Take the keys that name a channel together."""
        if not isinstance(tree, dict):
            return tree
        rest = {key: value for key, value in tree.items() if not role_of(key)}
        told = {key: value for key, value in tree.items() if role_of(key)}
        return {**rest, "a line for each channel": told}

    @model_validator(mode="after")
    def _begins_loud(self) -> "Rehearsal":
        if not self.channels:
            right = "write for example: core: [12 degC for 1 min]"
            raise refused("nothing is told of any channel", right)
        right = "begin for example: 12 degC for 1 min"
        for name, story in self.channels.items():
            loud = [one for one in story if one.to_mc is not None]
            if not loud or loud[0].ramp:
                found = f"the story of {name!r} does not begin with a temperature"
                raise refused(found, right)
        if all(story[0].to_mc is None for story in self.channels.values()):
            raise refused("no channel is heard when the cook begins", right)
        return self


class RehearsalFile(Written):
    """A schedule's name, and the days it is rehearsed by."""

    schedule: str = Field(min_length=1)
    rehearsals: tuple[Rehearsal, ...] = Field(min_length=1)


class Miss(NamedTuple):
    """One expectation that did not come true."""

    loc: tuple[str | int, ...]  # in the rehearsal file
    when: str
    expected: str
    got: str
    about: str  # the limit or stage, for its line in the schedule


def read_rehearsals(path: str, text: str) -> RehearsalFile | list[Fault]:
    """Read a rehearsal file, or say everything that is wrong with it."""
    return read(path, text, RehearsalFile)


def channels_of(rehearsal: Rehearsal) -> list[Channel]:
    """The channels that a rehearsal tells of."""
    return [
        Channel(
            name,
            role,
            rehearsal.every_ms,
            QUIET_PERIODS * rehearsal.every_ms,
            rehearsal.accuracy_mc,
        )
        for name in rehearsal.channels
        if (role := role_of(name))
    ]


def lacking(schedule: Schedule, rehearsal: Rehearsal) -> list[str]:
    """What the channels lack for the schedule to be judged, in words."""
    return engine.lacking(engine.plan(schedule, channels_of(rehearsal)))


def run(schedule: Schedule, rehearsal: Rehearsal) -> Outcome:
    """What the day comes to; the cook ends with its readings, if not before."""
    if rehearsal.lot:
        known = rehearsal.lot.model_dump(exclude_none=True)
        product = schedule.product.model_copy(update=known)
        schedule = schedule.model_copy(update={"product": product})
    begun_ms = rehearsal.begins_ms
    entries = [
        one._replace(at_ms=begun_ms + one.at_ms, entered_ms=begun_ms + one.entered_ms)
        for one in rehearsal.entries
    ]
    readings = readings_of(rehearsal)
    return run_on(schedule, channels_of(rehearsal), readings, entries)


def readings_of(rehearsal: Rehearsal) -> list[Reading]:
    """The readings that a rehearsal tells of."""
    begun_ms = rehearsal.begins_ms
    return [
        Reading(name, begun_ms + at_ms, value_mc, rehearsal.accuracy_mc, Quality.GOOD)
        for name, story in rehearsal.channels.items()
        for at_ms, value_mc in values(story, rehearsal.every_ms)
    ]


def run_on(
    schedule: Schedule,
    channels: Sequence[Channel],
    readings: Sequence[Reading],
    entries: Sequence[Entry] = (),
) -> Outcome:
    """What a cook comes to that begins and ends with its readings."""
    first_ms = min(reading.at_ms for reading in readings)
    last_ms = max(reading.at_ms for reading in readings)
    end = Entry(EntryKind.END, last_ms, last_ms, "the end of the readings")
    # One more moment than the longest joint, so that every channel is settled.
    until_ms = last_ms + max(channel.joined_ms for channel in channels) + 1
    return replay(schedule, channels, first_ms, readings, [*entries, end], until_ms)


def misses(
    schedule: Schedule, rehearsal: Rehearsal, outcome: Outcome, number: int
) -> Iterator[Miss]:
    """Every expectation of the ``number``-th rehearsal that did not come true."""
    head: tuple[str | int, ...] = ("rehearsals", number)
    for i, (at_ms, words) in enumerate(rehearsal.expect):
        loc = (*head, "expect", i)
        when = "never" if at_ms is None else f"at {say_ms(at_ms)}"
        same = [one for one in outcome.events if _says(one, words)]
        if why := unsayable(schedule, outcome, rehearsal.channels, words):
            yield Miss(loc, when, words, why, "")
        elif at_ms is None:
            if same:
                got = _when(same[0], rehearsal)
                yield Miss(loc, when, words, got, same[0].name.split(":")[0])
        elif not any(
            abs(one.at_ms - rehearsal.begins_ms - at_ms) < rehearsal.every_ms
            for one in same
        ):
            about, got = _nearest(schedule, rehearsal, outcome, words, at_ms)
            yield Miss(loc, when, words, got, about)
    verdicts = {one.limit: one for one in outcome.judged}
    for limit, verdict in rehearsal.verdicts.items():
        there = (*head, "verdicts", limit)
        found = verdicts.get(limit)
        if found is None:
            got = f"no limit is named so; {choice(limit, [*verdicts])}"
            yield Miss(there, "at the end", f"{limit} {verdict}", got, "")
        elif found.verdict != verdict:
            got = f"{limit} {found.verdict} ({found.why})"
            yield Miss(there, "at the end", f"{limit} {verdict}", got, limit)


def _says(event: Event, words: str) -> bool:
    """Whether an event is the one in words, of any channel or of the one named."""
    told, channel = parted(words)
    same = told in [f"{name} {event.now}" for name in _names(event)]
    return same and channel in (None, event.channel)


def _names(event: Event) -> tuple[str, str]:
    """What an event may be called by: a limit's part, or the limit for any part."""
    return event.name, event.name.split(":")[0]


def _nearest(
    schedule: Schedule, rehearsal: Rehearsal, outcome: Outcome, words: str, at_ms: int
) -> tuple[str, str]:
    """What happened instead to the same thing, nearest in time."""
    judged = {one.limit: one for one in outcome.judged}
    names = sayable(schedule, outcome, rehearsal.channels)
    meant = [name for name in names if words.startswith(f"{name} ")]
    name = max(meant, key=len)  # "smoke chamber" is not "smoke"
    about = [one for one in outcome.events if name in _names(one)]
    if not about and name in judged:
        return name, f"{name} {judged[name].verdict} at the end: {judged[name].why}"
    if not about:
        return name.split(":")[0], f"{name}: nothing happened"
    moment_ms = rehearsal.begins_ms + at_ms
    before = [one for one in about if one.at_ms <= moment_ms]
    near = before[-1] if before else about[0]
    same = [one for one in about if _says(one, words)]
    if same:
        near = min(same, key=lambda one: abs(one.at_ms - moment_ms))
    return near.name.split(":")[0], _when(near, rehearsal)


def _when(event: Event, rehearsal: Rehearsal) -> str:
    of = f" ({event.channel})" if event.subject is Subject.LIMIT else ""
    at = say_ms(event.at_ms - rehearsal.begins_ms)
    return f"{event.name} {event.now}{of} at {at}: {event.why}"
