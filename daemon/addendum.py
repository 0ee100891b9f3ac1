"""An addendum: what was found out after a record was sealed, and what it changes.

Rule 1: the record stays byte for byte as it is.  An addendum is a file of its own,
sealed as the record is, that names the record's digest and that of the addendum
before it.
Rule 2: a correction judges the readings in the record again; it rewrites none.  The
verdicts before and after stand side by side with their figures.
Rule 3: the stages stay as they were lived through: whoever read 69 degC took the fire
out then, whatever the core really was.
Rule 4: whoever holds the record and its addenda holds all that judges them again.

Units: ``_ms`` milliseconds since 1970-01-01T00:00:00Z; ``_mc`` as in ``rules.facts``.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from enum import StrEnum
from itertools import chain
from typing import Any, NamedTuple

from daemon.dossier import Dossier, Judgement, Measured, judge_again
from daemon.journal import Journal
from daemon.record import CAUTIONS, FormError, held, line_of, value_of
from daemon.seal import Line
from rules.channels import Channel, Check, Point
from rules.facts import GRAVEST, Entry, EntryKind, Finding, Quality, Reading
from rules.schedule import Schedule, read_schedule
from rules.stages import Ends, Stage, Way
from rules.verdicts import Judged

FORM = "fumarium addendum"
EDITION = 1
NAME = ".addendum-"  # between the lot and the number, in the name of its file
LAST_MS = 1 << 52  # an entry written later than any other
FAR_MC = 10_000_000  # no core comes here: its stage ends when it ended


class What(StrEnum):
    """What an addendum is."""

    REMARK = "remark"
    CORRECTION = "correction"  # of what a probe said
    ACTION = "corrective action"
    REVIEW = "review"  # by whoever read the record and what came after


class Opening(NamedTuple):
    """The first line: what it is about, who wrote it, and what it stands on."""

    form: str
    edition: int
    program: str
    site: str
    lot: str
    number: int  # of the lot's addenda, from 1
    what: What
    who: str
    written_ms: int
    text: str
    record_sha256: str
    previous_sha256: str  # of the addendum before this; "" for the first
    key: str


class Correction(NamedTuple):
    """What a channel's probe said from a time on, compared with a reference.

    Without points nothing is known of how far it was off: no reading of the channel
    from then on is evidence.
    """

    channel: str
    from_ms: int
    who: str
    points: tuple[Point, ...]


class Shown(NamedTuple):
    """A finding and its figure at face value."""

    finding: Finding
    measured: Measured | None


class Compared(NamedTuple):
    """What one channel shows of one limit, before and after; None: nothing."""

    limit: str
    part: str
    channel: str
    was: Shown | None
    now: Shown | None


class Turned(NamedTuple):
    """How one limit stands before and after."""

    limit: str
    was: Judged
    now: Judged

    @property
    def worse(self) -> bool:
        """Whether the verdict is graver than it was."""
        was, now = self.was.verdict, self.now.verdict
        return now is not was and GRAVEST.index(now) < GRAVEST.index(was)


class Closing(NamedTuple):
    """The last line: how much there was, and what it comes to."""

    counts: dict[str, int]
    on_hold_before: bool
    on_hold: bool
    cautions: tuple[str, ...]


class Addendum(NamedTuple):
    """An addendum, with what it says of the record."""

    opening: Opening
    corrections: tuple[Correction, ...]
    findings: tuple[Compared, ...]
    verdicts: tuple[Turned, ...]
    on_hold: bool


KINDS: Mapping[str, type[Any]] = {
    "opening": Opening,
    "correction": Correction,
    "finding": Compared,
    "verdict": Turned,
    "closing": Closing,
}


def made(
    dossier: Dossier,
    earlier: Sequence[Sequence[Correction]],
    opening: Opening,
    corrections: Sequence[Correction],
) -> Addendum:
    """Judge the record again, with the corrections of the earlier addenda and these.

    Raises:
        ValueError: This program does not understand the schedule in the record.
    """
    known = tuple(chain.from_iterable(earlier))
    before, after = (judged(dossier, each) for each in (known, (*known, *corrections)))
    turned = zip(before.outcome.judged, after.outcome.judged, strict=True)
    return Addendum(
        opening,
        tuple(corrections),
        tuple(_compared(before, after)) if corrections else (),
        tuple(Turned(was.limit, was, now) for was, now in turned),
        held(after.outcome.judged),
    )


def lines(addendum: Addendum) -> list[Line]:
    """Give the lines of an addendum before they are sealed."""
    body = [
        line_of("opening", addendum.opening),
        *(line_of("correction", one) for one in addendum.corrections),
        *(line_of("finding", one) for one in addendum.findings),
        *(line_of("verdict", one) for one in addendum.verdicts),
    ]
    counts = Counter(str(line["kind"]) for line in body)
    counts["closing"] = 1
    was = held(one.was for one in addendum.verdicts)
    closing = Closing(dict(counts), was, addendum.on_hold, CAUTIONS)
    return [*body, line_of("closing", closing)]


def read(body: Sequence[Mapping[str, Any]]) -> Addendum:
    """Give the addendum of which these are the lines.

    Raises:
        FormError: A line does not say what its kind must say, or is out of place.
    """
    order = list(KINDS)
    kinds = [str(line["kind"]) for line in body]
    for number, kind in enumerate(kinds, 1):
        if kind not in KINDS:
            raise FormError(number, f"{kind!r} is no kind of line in an addendum")
    if kinds != sorted(kinds, key=order.index):
        raise FormError(0, "its lines are out of order")
    if kinds[0] != "opening" or kinds[-1] != "closing" or kinds.count("opening") > 1:
        raise FormError(
            1, "it does not begin with one opening and end with its closing"
        )
    found: dict[str, list[Any]] = {kind: [] for kind in KINDS}
    for number, (kind, line) in enumerate(zip(kinds, body, strict=True), 1):
        found[kind].append(value_of(KINDS[kind], line, number))
    return Addendum(
        found["opening"][0],
        tuple(found["correction"]),
        tuple(found["finding"]),
        tuple(found["verdict"]),
        found["closing"][0].on_hold,
    )


def judged(dossier: Dossier, corrections: Sequence[Correction]) -> Judgement:
    """What the readings in a record come to under corrections of their channels.

    Raises:
        ValueError: This program does not understand the schedule in the record.
    """
    if not corrections:
        return Judgement(dossier.outcome, dossier.measured)
    cook = dossier.cook
    schedule = read_schedule(cook.schedule_path, cook.schedule)
    if not isinstance(schedule, Schedule):
        raise ValueError(f"its schedule cannot be read: {schedule[0].found}")
    schedule = schedule.model_copy(update={"stages": tuple(_lived(schedule))})
    channels = tuple(_corrected(one, corrections) for one in cook.channels)
    out = {one.channel: one.from_ms for one in corrections if not one.points}
    return judge_again(
        schedule,
        cook._replace(channels=channels),
        [_used(reading, out) for reading in dossier.readings],
        [*dossier.entries, *_ends(dossier)],
        dossier.until_ms,
    )


def stored(lot: str, journal: Journal) -> tuple[bytes, ...]:
    """The addenda of a lot, in the order in which they were written."""
    kept = journal.entries(lot)
    return tuple(
        one.entry.text.encode() for one in kept if one.entry.kind is EntryKind.ADDENDUM
    )


def _lived(schedule: Schedule) -> Iterator[Stage]:
    """The stages with no core that could end them at another time than it did."""
    for stage, way in zip(schedule.stages, schedule.ways, strict=True):
        far_mc = {Way.RISES: FAR_MC, Way.FALLS: -FAR_MC}.get(way or Way.AFTER)
        ends = stage.ends if far_mc is None else Ends(way or Way.AFTER, mc=far_mc)
        yield stage.model_copy(update={"ends": ends})


def _ends(dossier: Dossier) -> Iterator[Entry]:
    """The end of every stage; where time or a person ended it this changes nothing."""
    for stage in dossier.outcome.stages:
        if stage.to_ms:
            head = (EntryKind.NEXT_STAGE, stage.to_ms, LAST_MS, "the record")
            yield Entry(*head, about=stage.name)


def _corrected(channel: Channel, corrections: Sequence[Correction]) -> Channel:
    checks = {check.at_ms: check for check in channel.checks}
    for one in corrections:
        if one.channel == channel.name and one.points:
            checks[one.from_ms] = Check(one.from_ms, one.who, one.points)
    return replace(channel, checks=tuple(checks[at_ms] for at_ms in sorted(checks)))


def _used(reading: Reading, out: Mapping[str, int]) -> Reading:
    from_ms = out.get(reading.channel)
    if (
        from_ms is None
        or reading.at_ms < from_ms
        or reading.quality is not Quality.GOOD
    ):
        return reading
    return reading._replace(quality=Quality.SUSPECT)


def _compared(before: Judgement, after: Judgement) -> Iterator[Compared]:
    old, new = _by_place(before), _by_place(after)
    for place in dict.fromkeys([*old, *new]):
        yield Compared(*place, old.get(place), new.get(place))


def _by_place(judgement: Judgement) -> dict[tuple[str, str, str], Shown]:
    pairs = zip(judgement.outcome.findings, judgement.measured, strict=True)
    return {
        (one.limit, one.part, one.channel): Shown(one, measured)
        for one, measured in pairs
    }
