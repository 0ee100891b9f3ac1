"""What is wrong with a sealed file, and where: damage told apart by its traces.

A change of one line breaks the digest that the next line holds, and the signature.
Which line it was is found by *mending*: where a line's number or its digest of the
line before is wrong, put the right one in; if the line after it then agrees, the
change was there and nowhere else.

Rule 1: every byte of the file is under one of these traces, so nothing can be
changed without a finding.
Rule 2: the finding names the line where the change was made, not where it shows.
Rule 3: what is read here may come from anyone: no input raises.
"""

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any, NamedTuple

from daemon.canonical import CanonicalError, decode, encode
from daemon.keys import PublicKey, from_base64url, header, signing_input
from daemon.seal import ORIGIN, Sealed, digest

KIND = re.compile(rb'"kind":"([a-z]{1,12})"')
CHANNEL = re.compile(rb'"channel":"([^"\\]{1,60})"')
TIME = re.compile(rb'(?:\[|_ms":)(\d{12,14})\b')

MANY = 100_000  # lines; more are not missing, a number was changed


class Kind(StrEnum):
    """The ways in which a record fails."""

    NOT_A_RECORD = "not a record"
    EDITION = "unknown edition"
    NOT_CANONICAL = "not canonical"
    CHANGED = "changed line"
    MISSING = "missing line"
    ADDED = "added line"
    ORDER = "lines out of order"
    CUT_SHORT = "cut short"
    COUNTS = "counts disagree"
    NOT_SIGNED = "not signed"
    SIGNATURE = "signature"
    OTHER_KEY = "another key"
    FORM = "form"
    SCHEDULE = "schedule"
    EVENTS = "events differ"
    STAGES = "stages differ"
    FINDINGS = "findings differ"
    VERDICTS = "verdicts differ"
    LINK = "link"  # an addendum without the record that it names
    PDF = "PDF"


@dataclass(frozen=True, slots=True)
class Failure:
    """One thing that is wrong, where it stands, and what it means in words."""

    kind: Kind
    line: int  # from 1, as the record numbers them; 0 for the whole file
    words: str

    def __str__(self) -> str:
        return f"{self.kind}: {self.words}"


class Examined(NamedTuple):
    """The lines of an intact file, or what is wrong with it."""

    body: tuple[Mapping[str, Any], ...]
    failures: tuple[Failure, ...]


class _Place(NamedTuple):
    """One line as it stands, and what could be read of it."""

    at: int  # from 1, in the file
    octets: bytes
    line: Mapping[str, Any] | None  # None where it is no line of a record
    why: str = ""

    @property
    def number(self) -> int:
        """The number that the line gives itself; 0 where it cannot be read."""
        return self.line["line"] if self.line else 0


class _Signed(NamedTuple):
    """What the signature line says, and whether it holds."""

    before: str  # the digest of the last line signed; "" where it cannot be read
    lines: int
    failures: tuple[Failure, ...]


def examine(sealed: Sealed, public: PublicKey) -> Examined:
    """Give the lines of a sealed file if nobody has touched it."""
    places = [_read(at, octets) for at, octets in enumerate(sealed.body, 1)]
    lines = [place.line for place in places if place.line is not None]
    if not lines:
        words = "no line of it has the form of a record's line"
        return Examined((), (Failure(Kind.NOT_A_RECORD, 0, words),))
    signed = _signed(sealed, public, str(lines[0].get("key", "")))
    failures = list(_broken(places))
    places, renumbered = _renumbered(places, signed)
    failures += renumbered
    failures += _misplaced(places, signed)
    failures += _changed(places, signed)
    failures += signed.failures
    failures += _miscounted(places)
    return Examined(tuple(lines), tuple(failures))


def describe(number: int, octets: bytes) -> str:
    """Say which line it is: its number, kind, channel and times, as far as legible."""
    kind, channel = KIND.search(octets), CHANNEL.search(octets)
    times = [int(time) for time in TIME.findall(octets)]
    words = [kind[1].decode()] if kind else []
    if channel:
        words.append(f"of {channel[1].decode(errors='replace')}")
    if times:
        first, last = _say_at(times[0]), _say_at(times[-1])
        words.append(f"{first} to {last}" if kind and first != last else first)
    return f"line {number} ({', '.join(words)})" if words else f"line {number}"


# Line by line


def _read(at: int, octets: bytes) -> _Place:
    try:
        line = decode(octets)
    except CanonicalError as error:
        return _Place(at, octets, None, str(error)[:200])
    if not isinstance(line, Mapping):
        return _Place(at, octets, None, "it is not a map")
    for name, kind in (("kind", str), ("before", str), ("line", int)):
        if type(line.get(name)) is not kind:
            return _Place(at, octets, None, f"it does not say its {name!r}")
    return _Place(at, octets, line)


def _broken(places: Sequence[_Place]) -> Iterator[Failure]:
    for place in places:
        if place.line is None:
            where = describe(place.at, place.octets)
            words = f"{where} was changed, it is no line of a record: {place.why}"
            yield Failure(Kind.NOT_CANONICAL, place.at, words)


def _renumbered(
    places: Sequence[_Place], signed: _Signed
) -> tuple[list[_Place], list[Failure]]:
    """Mend each line of which the number alone was changed."""
    mended: list[_Place] = []
    failures: list[Failure] = []
    for place, next_before in zip(places, _held(places, signed), strict=True):
        right = _with(place, "line", place.at)
        if place.number != place.at and right and digest(right.octets) == next_before:
            where = describe(place.at, place.octets)
            words = f"{where} was changed: it says that it is line {place.number}"
            failures.append(Failure(Kind.CHANGED, place.at, words))
            place = right
        mended.append(place)
    return mended, failures


def _misplaced(places: Sequence[_Place], signed: _Signed) -> Iterator[Failure]:
    """Find lines that are missing, stand twice or are out of order."""
    found: dict[int, _Place] = {}
    highest = 0
    for place in places:
        number = place.number
        if not place.line:
            continue
        where = describe(place.at, place.octets)
        if number in found:
            twice = "stands twice" if place.octets == found[number].octets else "added"
            words = f"{where} {twice}: line {found[number].at} has its number {number}"
            yield Failure(Kind.ADDED, place.at, words)
            continue
        if number < highest:
            words = f"{where} is line {number} and stands after line {highest}"
            yield Failure(Kind.ORDER, place.at, words)
        found[number] = place
        highest = max(highest, number)
    yield from _missing(places, found, max(highest, signed.lines))


def _missing(
    places: Sequence[_Place], found: Mapping[int, _Place], last: int
) -> Iterator[Failure]:
    """Name each run of numbers that no line has, unless a broken line stands there."""
    if last > len(places) + MANY:  # nobody's own numbers are so far apart
        words = f"there are {len(places)} lines, and one says that it is line {last}"
        yield Failure(Kind.MISSING, 0, words)
        return
    gone = [number for number in range(1, last + 1) if number not in found]
    runs: list[list[int]] = []
    for number in gone:
        if runs and runs[-1][-1] == number - 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    for run in runs:
        after = found[run[0] - 1].at if run[0] - 1 in found else 0
        until = found[run[-1] + 1].at if run[-1] + 1 in found else len(places) + 1
        if any(place.line is None for place in places[after : until - 1]):
            continue
        which = f"line {run[0]} is"
        if len(run) > 1:
            which = f"lines {run[0]} to {run[-1]} are"
        yield Failure(Kind.MISSING, run[0], f"{which} missing, of {last} lines")


def _changed(places: Sequence[_Place], signed: _Signed) -> Iterator[Failure]:
    """Name each line that is not the one whose digest the next line holds."""
    held = _held(places, signed)
    before: _Place | None = None
    want = ORIGIN
    for place, next_before in zip(places, held, strict=True):
        if place.line is None:
            before, want = None, ""
            continue
        follows = place.number == (before.number + 1 if before else 1)
        octets = place.octets
        if want and follows and place.line["before"] != want:
            mended = _with(place, "before", want)
            if mended and (before is None or digest(mended.octets) == next_before):
                yield _was_changed(place, "it holds another digest of the line before")
                octets = mended.octets
            elif before:
                yield _was_changed(before, "the line after it holds another digest")
        before, want = place, digest(octets)
    last = before if before and before.number == signed.lines else None
    if last and want and signed.before not in ("", want):
        yield _was_changed(last, "it is not the line that was signed")


def _was_changed(place: _Place, why: str) -> Failure:
    where = describe(place.at, place.octets)
    return Failure(Kind.CHANGED, place.at, f"{where} was changed: {why}")


def _miscounted(places: Sequence[_Place]) -> Iterator[Failure]:
    """Compare the closing line's counts with the lines there are."""
    last = places[-1]
    if any(place.line is None for place in places):
        return  # they cannot be counted, and that is said already
    if not last.line or last.line["kind"] != "closing":
        where = describe(last.at, last.octets)
        words = f"the record ends with {where}; its closing line is missing"
        yield Failure(Kind.CUT_SHORT, last.at, words)
        return
    there = Counter(place.line["kind"] for place in places if place.line)
    counts = last.line.get("counts")
    said = dict(counts) if isinstance(counts, Mapping) else {}
    for kind in sorted({*there, *said}):
        if there[kind] != said.get(kind, 0):
            words = (
                f"the closing line counts {said.get(kind, 0)} lines of {kind}, "
                f"and there are {there[kind]}"
            )
            yield Failure(Kind.COUNTS, last.at, words)


def _held(places: Sequence[_Place], signed: _Signed) -> list[str]:
    """What the line after each one holds as its digest; "" where that is unknown."""
    after = [str(place.line["before"]) if place.line else "" for place in places[1:]]
    return [*after, signed.before]


def _with(place: _Place, name: str, value: str | int) -> _Place | None:
    if place.line is None:
        return None
    line = {**place.line, name: value}
    return place._replace(line=line, octets=encode(line))


# The signature


def _signed(sealed: Sealed, public: PublicKey, opening_key: str) -> _Signed:
    at = len(sealed.body) + 1
    if not sealed.signature:
        words = (
            "the record is not signed: after its closing line a signature must stand"
        )
        return _Signed("", 0, (Failure(Kind.NOT_SIGNED, at, words),))
    body = b"".join(line + b"\n" for line in sealed.body)
    ours = header(public.thumbprint(), at - 1, digest(sealed.body[-1]))
    protected, _, text = sealed.signature.decode(errors="replace").partition("..")
    signature = _octets(text)
    said = _header(protected)
    if signature and public.verifies(signing_input(ours, body), signature):
        if protected == ours and sealed.ended:
            return _Signed(digest(sealed.body[-1]), at - 1, ())
        words = f"line {at}, the signature, was changed: its header or its line end"
        failure = Failure(Kind.SIGNATURE, at, words)
        return _Signed(digest(sealed.body[-1]), at - 1, (failure,))
    before, lines = str(said.get("before", "")), said.get("lines")
    known = lines if type(lines) is int else 0
    kid, mine = str(said.get("kid", "")), public.thumbprint()
    if said and kid == opening_key != mine:
        words = f"the record was signed by the key {kid}, and the given key is {mine}"
        return _Signed(before, known, (Failure(Kind.OTHER_KEY, at, words),))
    closing = "" if not signature or not said else digest(sealed.body[-1])
    words = _hint(at, before, closing)
    return _Signed(before, known, (Failure(Kind.SIGNATURE, at, words),))


def _hint(at: int, before: str, closing: str) -> str:
    if not closing:
        return f"line {at}, the signature, was changed: it is not header..signature"
    if before == closing:
        return (
            "the signature does not verify, and yet it names the closing line as it "
            f"stands: line {at}, the signature, was changed, or another key made it"
        )
    return (
        "the signature does not verify: it was made over another closing line, so "
        "something above it was changed"
    )


def _octets(text: str) -> bytes:
    try:
        return from_base64url(text)
    except ValueError:
        return b""


def _header(protected: str) -> Mapping[str, Any]:
    try:
        said = decode(_octets(protected))
    except CanonicalError:
        return {}
    return said if isinstance(said, Mapping) else {}


def _say_at(at_ms: int) -> str:
    """Say a time to the second; what is beyond a calendar stays a number."""
    try:
        return f"{datetime.fromtimestamp(at_ms // 1000, UTC):%Y-%m-%d %H:%M:%SZ}"
    except (ValueError, OverflowError):
        return f"{at_ms} ms"
