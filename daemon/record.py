"""The record of a cook: every figure it was judged by, in lines that are sealed.

Rule 1: a pure function of what is gathered: the same dossier and the same key
give the same bytes, and reading them back gives the dossier.
Rule 2: it opens with what judges the cook (program, site, lot, the schedule's own
text, channels, key) and closes with counts, so that a missing tail shows.
Rule 3: whoever holds the record holds all that is needed to judge the cook again.
Rule 4: it says what the readings prove, never more; ``CAUTIONS`` goes with it.

The kinds of line stand in the order of ``KINDS``; ``daemon.seal`` has what every
line has, and the signature.  A line holds the members of its value below.

Units: ``_ms`` milliseconds since 1970-01-01T00:00:00Z; ``_mc`` as in ``rules.facts``.
"""

import itertools
import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, is_dataclass
from functools import cache
from typing import Any, NamedTuple

from pydantic import TypeAdapter, ValidationError

from daemon.canonical import Value
from daemon.dossier import Dossier, Measured, Told
from daemon.journal import Cook, Noticed
from daemon.keys import DeviceKey, base64url, from_base64url
from daemon.seal import Line, digest, seal
from probes.contract import Refusal
from rules.channels import Channel
from rules.facts import (
    Entry,
    EntryKind,
    Event,
    Finding,
    Quality,
    Reading,
    Subject,
    Verdict,
)
from rules.replay import Outcome
from rules.stages import Passed
from rules.verdicts import Judged

FORM = "fumarium record"
EDITION = 1
ROWS = 100  # readings a line
MEASURED = ("measured", "measured_required")
OF_EVERY_LINE = ("kind", "before", "line")  # what ``daemon.seal`` writes, and kind
PAYLOAD = 256  # bytes kept of a message that was refused

CAUTIONS = (
    "The readings advise. The operator, the written HACCP plan, a process authority, "
    "local codes and the inspector decide.",
    "A limit is met only for the quantity it names. Formulation, hygiene, humidity "
    "and raw material are not shown unless a limit above names them.",
    "A reading is as good as its probe: accuracy, place and calibration are for the "
    "operator to support.",
)


class FormError(ValueError):
    """A line of a record that does not say what its kind must say."""

    def __init__(self, line: int, why: str) -> None:
        """Name the line, from 1."""
        super().__init__(f"line {line}: {why}")
        self.line, self.why = line, why


class Opening(NamedTuple):
    """The first line: what judges the cook."""

    form: str
    edition: int
    program: str
    site: str
    lot: str
    smokehouse: str
    who: str
    begun_ms: int
    schedule: str
    schedule_path: str
    schedule_sha256: str
    channels: tuple[Channel, ...]
    key: str


class Rows(NamedTuple):
    """Readings of one channel: time, value, uncertainty.

    In a line of kind ``unused`` they are no evidence, for the reason it gives.
    """

    channel: str
    rows: tuple[tuple[int, int, int], ...]
    quality: Quality


class Refused(NamedTuple):
    """A refusal, with as much of its message as is kept."""

    topic: str
    channel: str
    received_ms: int
    why: str
    payload: str  # base64url
    payload_bytes: int  # as many as there were


class Wrote(NamedTuple):
    """An entry; ``entry`` is its kind, since every line has a ``kind`` too."""

    entry: EntryKind
    at_ms: int
    entered_ms: int
    who: str
    text: str
    about: str


class Happened(NamedTuple):
    """An event, whose it is ("" for the whole site's) and when it was noticed."""

    number: int  # in the journal; 0 where only the record's judging found it
    lot: str
    noticed_ms: int
    at_ms: int
    subject: Subject
    name: str
    channel: str
    was: str
    now: str
    why: str


class Closing(NamedTuple):
    """The last line: how much there was, and what it comes to."""

    counts: dict[str, int]
    on_hold: bool
    finished_ms: int
    until_ms: int
    closed_ms: int
    cautions: tuple[str, ...]


KINDS: Mapping[str, type[Any]] = {
    "opening": Opening,
    "readings": Rows,
    "unused": Rows,
    "refusal": Refused,
    "entry": Wrote,
    "event": Happened,
    "stage": Passed,
    "alert": Told,
    "finding": Finding,  # and ``measured`` and ``measured_required``, if there are
    "verdict": Judged,
    "closing": Closing,
}
ORDER = {kind: place for place, kind in enumerate(KINDS)}


def write(dossier: Dossier, key: DeviceKey) -> bytes:
    """Give the signed record, ready to be kept."""
    return seal(lines(dossier, key.public().thumbprint()), key)


def lines(dossier: Dossier, thumbprint: str) -> list[Line]:
    """Give the lines of a record before they are sealed."""
    body = [
        line_of("opening", _opening(dossier, thumbprint)),
        *_readings(dossier.readings),
        *(line_of("refusal", _refused(one)) for one in dossier.refusals),
        *(line_of("entry", Wrote(*one)) for one in dossier.entries),
        *(line_of("event", _happened(one)) for one in dossier.events),
        *(line_of("stage", one) for one in dossier.outcome.stages),
        *(line_of("alert", one) for one in dossier.alerts),
        *map(_finding, dossier.outcome.findings, dossier.measured),
        *(line_of("verdict", one) for one in dossier.outcome.judged),
    ]
    return [*body, line_of("closing", _closing(dossier, body))]


def held(judged: Iterable[Judged]) -> bool:
    """Whether the lot is on hold: unless every critical limit there is was met.

    A critical limit that was never judged, or a schedule without one, proves nothing.
    """
    critical = [one.verdict for one in judged if one.critical]
    return not critical or any(verdict is not Verdict.MET for verdict in critical)


def read(body: Sequence[Mapping[str, Any]]) -> Dossier:
    """Give the dossier that a record was written from.

    Raises:
        FormError: A line does not say what its kind must say, or is out of place.
    """
    kinds = [str(line["kind"]) for line in body]
    _check_order(kinds)
    values = [
        _value(kind, line, number)
        for number, (kind, line) in enumerate(zip(kinds, body, strict=True), 1)
    ]
    by_kind: dict[str, list[Any]] = {kind: [] for kind in KINDS}
    for kind, value in zip(kinds, values, strict=True):
        by_kind[kind].append(value)
    opening: Opening = by_kind["opening"][0]
    closing: Closing = by_kind["closing"][0]
    events = tuple(map(_noticed, by_kind["event"]))
    return Dossier(
        program=opening.program,
        site=opening.site,
        cook=_cook(opening),
        readings=tuple(_rows(by_kind["readings"] + by_kind["unused"])),
        refusals=tuple(map(_refusal, by_kind["refusal"])),
        entries=tuple(Entry(*one) for one in by_kind["entry"]),
        events=events,
        alerts=tuple(by_kind["alert"]),
        outcome=Outcome(
            events=tuple(one.event for one in events if one.lot == opening.lot),
            findings=tuple(by_kind["finding"]),
            judged=tuple(by_kind["verdict"]),
            stages=tuple(by_kind["stage"]),
            finished_ms=closing.finished_ms,
        ),
        measured=tuple(_measured(line) for line in body if line["kind"] == "finding"),
        until_ms=closing.until_ms,
        closed_ms=closing.closed_ms,
    )


# Writing


def line_of(kind: str, value: Any) -> dict[str, Value]:
    """Give the line of a kind that holds the members of a named tuple."""
    return {"kind": kind, **members(value)}


def members(value: Any) -> dict[str, Any]:
    """Give the members of a named tuple, with what is inside them made plain too."""
    return {name: _plain(inner) for name, inner in value._asdict().items()}


def _plain(value: Any) -> Any:
    if hasattr(value, "_asdict"):
        return members(value)
    if is_dataclass(value) and not isinstance(value, type):
        return asdict(value)
    if isinstance(value, tuple):
        return [_plain(inner) for inner in value]
    return value


def _opening(dossier: Dossier, thumbprint: str) -> Opening:
    cook = dossier.cook
    return Opening(
        form=FORM,
        edition=EDITION,
        program=dossier.program,
        site=dossier.site,
        lot=cook.lot,
        smokehouse=cook.smokehouse,
        who=cook.who,
        begun_ms=cook.begun_ms,
        schedule=cook.schedule,
        schedule_path=cook.schedule_path,
        schedule_sha256=digest(cook.schedule.encode()),
        channels=cook.channels,
        key=thumbprint,
    )


def _readings(readings: Sequence[Reading]) -> Iterator[dict[str, Value]]:
    """Evidence first, then the rest; at most ``ROWS`` of one channel a line."""
    by_use = sorted(readings, key=_use)
    for (unused, channel, quality), group in itertools.groupby(by_use, _use):
        rows = [(one.at_ms, one.value_mc, one.uncertainty_mc) for one in group]
        for first in range(0, len(rows), ROWS):
            part = Rows(channel, tuple(rows[first : first + ROWS]), Quality(quality))
            yield line_of("unused" if unused else "readings", part)


def _use(reading: Reading) -> tuple[bool, str, str]:
    quality = reading.quality
    return (quality is not Quality.GOOD, reading.channel, quality)


def _refused(refusal: Refusal) -> Refused:
    topic, channel, received_ms, why, payload = refusal
    kept = base64url(payload[:PAYLOAD])
    return Refused(topic, channel, received_ms, why, kept, len(payload))


def _happened(one: Noticed) -> Happened:
    return Happened(one.number, one.lot, one.noticed_ms, *one.event)


def _finding(finding: Finding, measured: Measured | None) -> dict[str, Value]:
    line = line_of("finding", finding)
    if measured is None:
        return line
    figure, required = measured
    return {**line, "measured": figure, "measured_required": required}


def _closing(dossier: Dossier, body: Sequence[Line]) -> Closing:
    counts = Counter(str(line["kind"]) for line in body)
    counts["closing"] = 1
    return Closing(
        counts=dict(counts),
        on_hold=held(dossier.outcome.judged),
        finished_ms=dossier.outcome.finished_ms,
        until_ms=dossier.until_ms,
        closed_ms=dossier.closed_ms,
        cautions=CAUTIONS,
    )


# Reading back


@cache
def _shape(form: Any) -> TypeAdapter[Any]:
    return TypeAdapter(form)


def value_of(form: Any, line: Mapping[str, Any], number: int) -> Any:
    """Give the named tuple of which a line holds the members.

    Raises:
        FormError: It holds something else.
    """
    own = {name: value for name, value in line.items() if name not in OF_EVERY_LINE}
    try:
        return _shape(form).validate_json(json.dumps(own), strict=True)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(map(str, first["loc"]))
        words = f"{line['kind']}: {place}: {first['msg']}"
        raise FormError(number, words) from None


def _value(kind: str, line: Mapping[str, Any], number: int) -> Any:
    if kind == "finding":
        pair = [line.get(name) for name in MEASURED]
        line = {name: line[name] for name in line if name not in MEASURED}
        if pair != [None, None] and not all(type(one) is int for one in pair):
            raise FormError(number, "finding: measured: two whole numbers are wanted")
    return value_of(KINDS[kind], line, number)


def _measured(line: Mapping[str, Any]) -> Measured | None:
    return Measured(*(line[name] for name in MEASURED)) if MEASURED[0] in line else None


def _check_order(kinds: Sequence[str]) -> None:
    for number, kind in enumerate(kinds, 1):
        if kind not in KINDS:
            raise FormError(number, f"{kind!r} is no kind of line")
    for number, (before, after) in enumerate(itertools.pairwise(kinds), 2):
        if ORDER[after] < ORDER[before]:
            raise FormError(number, f"{after} stands after {before}")
        if before == after and before in ("opening", "closing"):
            raise FormError(number, f"a second {after}")
    if not kinds or kinds[0] != "opening":
        raise FormError(1, "the record does not begin with its opening")
    if kinds[-1] != "closing":
        raise FormError(len(kinds), "the record does not end with its closing")


def _cook(opening: Opening) -> Cook:
    return Cook(
        lot=opening.lot,
        smokehouse=opening.smokehouse,
        schedule=opening.schedule,
        schedule_path=opening.schedule_path,
        channels=opening.channels,
        begun_ms=opening.begun_ms,
        who=opening.who,
    )


def _rows(groups: Sequence[Rows]) -> list[Reading]:
    return sorted(
        Reading(group.channel, *row, group.quality)
        for group in groups
        for row in group.rows
    )


def _refusal(one: Refused) -> Refusal:
    payload = from_base64url(one.payload)
    return Refusal(one.topic, one.channel, one.received_ms, one.why, payload)


def _noticed(one: Happened) -> Noticed:
    event = Event(
        one.at_ms, one.subject, one.name, one.channel, one.was, one.now, one.why
    )
    return Noticed(one.number, one.lot, event, one.noticed_ms)
