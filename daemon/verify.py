"""Verifying a record: from the record and a public key alone, in five questions.

1. Is every line as it was signed, and is none missing?  (``daemon.tampering``)
2. Does every line say what its kind must say?
3. Is the schedule inside the one whose digest is named?
4. Does the cook, judged again from the readings and entries inside, come to the
   same events, stages, findings and verdicts?
5. For a PDF: is it untouched since this key signed it, and is one record in it?

A later question is asked only where the earlier ones are answered well.  Whoever
holds the key can write a record that is false and well signed: the fourth question
is for that, and only a false reading or entry remains.
"""

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from daemon.dossier import PROGRAM, Dossier, Judgement, Measured, judge_again
from daemon.keys import PublicKey, read_public
from daemon.record import EDITION, FORM, FormError, held, read
from daemon.seal import digest, split
from daemon.tampering import Failure, Kind, examine
from rules import surface
from rules.facts import Finding
from rules.schedule import read_schedule

PDF = b"%PDF-"


@dataclass(frozen=True, slots=True)
class Report:
    """What verifying came to."""

    failures: tuple[Failure, ...]
    lot: str  # "" where it could not be read
    summary: str  # one sentence for a person

    @property
    def good(self) -> bool:
        """Whether nothing at all is wrong with the record."""
        return not self.failures


def verify(octets: bytes, public_pem: bytes) -> Report:
    """Say whether a record, or the PDF around one, is untouched and judged rightly.

    Raises:
        DeviceKeyError: ``public_pem`` is not the public key of a device.
    """
    public = read_public(public_pem)
    outside: tuple[Failure, ...] = ()
    if octets.startswith(PDF):
        from daemon.signature import (
            opened,
        )  # costs two seconds, and only a PDF needs it

        octets, outside = opened(octets, public)
        if not octets:  # no record in it, and that is said
            return Report(outside, "", _summary(outside, None, ""))
    inside, dossier, lot = _inside(octets, public)
    failures = (*outside, *inside)
    return Report(failures, lot, _summary(failures, dossier, lot))


def _inside(
    octets: bytes, public: PublicKey
) -> tuple[tuple[Failure, ...], Dossier | None, str]:
    found = examine(split(octets), public)
    first = found.body[0] if found.body else {}
    lot = str(first.get("lot", "")) if first.get("kind") == "opening" else ""
    if found.failures:
        return found.failures, None, lot
    if failures := tuple(_edition(first)):
        return failures, None, lot
    try:
        dossier = read(found.body)
    except FormError as error:
        return (Failure(Kind.FORM, error.line, str(error)),), None, lot
    return tuple(_recomputed(found.body, dossier, public)), dossier, lot


def _edition(first: Mapping[str, Any]) -> Iterator[Failure]:
    if first.get("form") != FORM:
        words = f"its first line does not say that it is a {FORM}"
        yield Failure(Kind.NOT_A_RECORD, 1, words)
    elif first.get("edition") != EDITION:
        words = (
            f"the record is of edition {first.get('edition')}, and this program reads "
            f"edition {EDITION}; verify it with {first.get('program', 'another')}"
        )
        yield Failure(Kind.EDITION, 1, words)


def _recomputed(
    body: Sequence[Mapping[str, Any]], dossier: Dossier, public: PublicKey
) -> Iterator[Failure]:
    opening, cook = body[0], dossier.cook
    if opening["key"] != public.thumbprint():
        words = f"the opening names the key {opening['key']}, which did not sign it"
        yield Failure(Kind.OTHER_KEY, 1, words)
    if (found := digest(cook.schedule.encode())) != opening["schedule_sha256"]:
        words = (
            "the schedule in the record is not the one whose digest it names: "
            f"{found} is not {opening['schedule_sha256']}"
        )
        yield Failure(Kind.SCHEDULE, 1, words)
        return
    schedule = read_schedule(cook.schedule_path, cook.schedule)
    if isinstance(schedule, list):
        fault = schedule[0]
        words = f"line {fault.line} of the schedule cannot be read: {fault.found}"
        yield Failure(Kind.SCHEDULE, 1, words + _made_by(dossier))
        return
    again = judge_again(
        schedule, cook, dossier.readings, dossier.entries, dossier.until_ms
    )
    yield from _differing(body, dossier, again)


def _differing(
    body: Sequence[Mapping[str, Any]], dossier: Dossier, again: Judgement
) -> Iterator[Failure]:
    """Name everything recorded that the evidence does not give, and the reverse."""
    old, new, lot = dossier.outcome, again.outcome, dossier.cook.lot
    old_figures = tuple(zip(old.findings, dossier.measured, strict=True))
    new_figures = tuple(zip(new.findings, again.measured, strict=True))
    made_by = _made_by(dossier)
    for kind, was, now, what in (
        (Kind.EVENTS, old.events, new.events, _EVENT),
        (Kind.STAGES, old.stages, new.stages, _STAGE),
        (Kind.FINDINGS, old_figures, new_figures, _FINDING),
        (Kind.VERDICTS, old.judged, new.judged, _VERDICT),
    ):
        numbers = [
            number
            for number, line in enumerate(body, 1)
            if line["kind"] == what.kind and line.get("lot", lot) == lot
        ]
        for number, words in _unlike(list(zip(numbers, was, strict=True)), now, what):
            yield Failure(kind, number, words + made_by)
    closing = (body[-1]["on_hold"], old.finished_ms)
    if closing != (held(new.judged), new.finished_ms):
        words = "the closing line says otherwise whether the lot is on hold, or when"
        words += f" the cook ended{made_by}"
        yield Failure(Kind.VERDICTS, len(body), words)


class _What(NamedTuple):
    """How one kind of thing is told from another, and what is said of it."""

    kind: str
    key: Callable[[Any], Hashable]
    say: Callable[[Any], str]


def _unlike(
    recorded: Sequence[tuple[int, Any]], again: Sequence[Any], what: _What
) -> Iterator[tuple[int, str]]:
    given = {what.key(one): one for one in again}
    seen = set()
    for number, one in recorded:
        key, words = what.key(one), f"line {number} records {what.say(one)}"
        if key in seen:
            yield number, f"{words}, and an earlier line does too"
        elif key not in given:
            yield number, f"{words}, and the readings do not give that"
        elif given[key] != one:
            yield number, f"{words}; the readings give {what.say(given[key])}"
        seen.add(key)
    for key, one in given.items():
        if key not in seen:
            yield 0, f"the readings give {what.say(one)}, and no line records it"


def _finding_words(pair: tuple[Finding, Measured | None]) -> str:
    one, measured = pair
    face = measured.figure if measured else "nothing"
    place = f"limit {one.limit!r}" + (f", {one.part}" if one.part else "")
    return (
        f"of {place}, on {one.channel}: {one.verdict}, least {one.least} "
        f"and most {one.most} {one.unit} of {one.required}, measured {face}"
    )


_EVENT = _What(
    "event",
    lambda one: one.key,
    lambda one: f"of {one.subject} {one.name!r}: {one.now} at {one.at_ms} ms",
)
_STAGE = _What(
    "stage",
    lambda one: one.name,
    lambda one: f"stage {one.name!r} from {one.from_ms} to {one.to_ms} ms",
)
_FINDING = _What(
    "finding",
    lambda pair: (pair[0].limit, pair[0].part, pair[0].channel),
    _finding_words,
)
_VERDICT = _What(
    "verdict",
    lambda one: one.limit,
    lambda one: f"limit {one.limit!r} as {one.verdict}: {one.why}",
)


def _made_by(dossier: Dossier) -> str:
    if dossier.program == PROGRAM:
        return ""
    return f"; the record was made by {dossier.program}, and this is {PROGRAM}"


def _summary(failures: Sequence[Failure], dossier: Dossier | None, lot: str) -> str:
    if failures:
        count = f"{len(failures)} things are" if len(failures) > 1 else "one thing is"
        return f"do not rely on this record: {count} wrong with it"
    assert dossier is not None  # nothing is wrong, so all of it was read
    words = "the lot is on hold"
    if not held(dossier.outcome.judged):
        words = "every critical limit is met; release is a person's decision"
    words += surface.summary(one.why for one in dossier.outcome.judged)
    return (
        f"the record of lot {lot} is as it was signed, and its {len(dossier.readings)} "
        f"readings give the verdicts in it: {words}"
    )
