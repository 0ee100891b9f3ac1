"""Verifying an addendum: its own lines, what it stands on, and what it comes to.

1. Is every line as it was signed?  2. Is the record that it names here, with every
addendum in between, and is each of them good?  3. Do the readings in that record,
judged again under the corrections, give the figures and verdicts in it?
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from daemon import addendum as addenda
from daemon.addendum import Addendum, Correction, Opening
from daemon.canonical import decode
from daemon.dossier import Dossier
from daemon.keys import PublicKey, read_public
from daemon.record import FormError
from daemon.record import read as read_record
from daemon.seal import digest, split
from daemon.tampering import Failure, Kind, examine
from daemon.verify import Report, verify
from rules import surface


class Chain(NamedTuple):
    """A record, and its addenda in the order in which they were written."""

    record: Dossier
    addenda: tuple[Addendum, ...]

    @property
    def corrections(self) -> tuple[tuple[Correction, ...], ...]:
        """What each addendum corrects."""
        return tuple(one.corrections for one in self.addenda)


class _Read(NamedTuple):
    """One addendum as it stands, or what is wrong with it."""

    body: tuple[Mapping[str, Any], ...]
    made: Addendum | None
    failures: tuple[Failure, ...]


def is_addendum(octets: bytes) -> bool:
    """Whether the first line says so; nothing is verified here."""
    said = f'"form":"{addenda.FORM}"'.encode()
    return said in octets.split(b"\n", 1)[0]


def verify_addendum(
    octets: bytes, public_pem: bytes, beside: Sequence[bytes]
) -> Report:
    """Say whether an addendum is untouched, linked to its record and judged rightly.

    ``beside`` holds the record that it names and the addenda before it, in any order.

    Raises:
        DeviceKeyError: ``public_pem`` is not the public key of a device.
    """
    files = {digest(one): one for one in beside}
    public, found = read_public(public_pem), [octets]
    read: list[_Read] = []
    while True:  # down to the record
        one = _read(found[0], public)
        read.insert(0, one)
        if one.made is None:
            return _report(_below(one.failures, read), _lot(read))
        below, failures = _below_it(one.made.opening, files)
        if failures:
            return _report(_below(failures, read), _lot(read))
        found.insert(0, below)
        if not one.made.opening.previous_sha256:
            break
    failures = _unlinked(found, [one.made for one in read if one.made])
    failures = failures or _named("the record", verify(found[0], public_pem).failures)
    if failures:
        return _report(failures, _lot(read))
    failures = tuple(_differing(read, opened(found)))
    return _report(failures, _lot(read), read[-1].made)


def opened(octets: Sequence[bytes]) -> Chain:
    """Read a record and its addenda that were verified before."""
    record, *later = ([_line(one) for one in split(each).body] for each in octets)
    return Chain(read_record(record), tuple(map(addenda.read, later)))


def _line(octets: bytes) -> Mapping[str, Any]:
    line = decode(octets)
    assert isinstance(line, Mapping)  # it was verified
    return line


def _read(octets: bytes, public: PublicKey) -> _Read:
    found = examine(split(octets), public)
    failures = found.failures or tuple(_form(found.body[0]))
    if failures:
        return _Read(found.body, None, failures)
    try:
        return _Read(found.body, addenda.read(found.body), ())
    except FormError as error:
        failure = Failure(Kind.FORM, error.line, str(error))
        return _Read(found.body, None, (failure,))


def _form(first: Mapping[str, Any]) -> Iterator[Failure]:
    if first.get("form") != addenda.FORM:
        words = f"its first line does not say that it is a {addenda.FORM}"
        yield Failure(Kind.NOT_A_RECORD, 1, words)
    elif first.get("edition") != addenda.EDITION:
        words = (
            f"the addendum is of edition {first.get('edition')}, and this program "
            f"reads edition {addenda.EDITION}; verify it with "
            f"{first.get('program', 'another')}"
        )
        yield Failure(Kind.EDITION, 1, words)


def _below_it(
    opening: Opening, files: Mapping[str, bytes]
) -> tuple[bytes, tuple[Failure, ...]]:
    """The file that an addendum stands on, or that it is not here."""
    sha256 = opening.previous_sha256 or opening.record_sha256
    if sha256 in files:
        return files[sha256], ()
    what = f"addendum {opening.number - 1}" if opening.previous_sha256 else "the record"
    words = (
        f"{what} that it names, of SHA-256 {sha256}, is not here: put that file "
        "beside this one, as it was written"
    )
    return b"", (Failure(Kind.LINK, 1, words),)


def _unlinked(found: Sequence[bytes], made: Sequence[Addendum]) -> tuple[Failure, ...]:
    """What an addendum says of its place that is not so."""
    opening = _line(split(found[0]).body[0])
    record, lot = digest(found[0]), opening.get("lot")
    return tuple(
        Failure(Kind.LINK, 1, f"addendum {number} names another lot, number or record")
        for number, one in enumerate(made, 1)
        if (one.opening.lot, one.opening.number, one.opening.record_sha256)
        != (lot, number, record)
    )


def _below(failures: Sequence[Failure], read: Sequence[_Read]) -> tuple[Failure, ...]:
    """Failures, with whose they are where it is not the file that was asked about."""
    if len(read) == 1:
        return tuple(failures)
    return _named("an addendum before it", failures)


def _named(what: str, failures: Sequence[Failure]) -> tuple[Failure, ...]:
    return tuple(
        Failure(one.kind, one.line, f"{what}: {one.words}") for one in failures
    )


def _differing(read: Sequence[_Read], chain: Chain) -> Iterator[Failure]:
    """Name every line that the readings under these corrections do not give."""
    for place, made in enumerate(chain.addenda):
        before = chain.corrections[:place]
        again = addenda.made(chain.record, before, made.opening, made.corrections)
        right = addenda.lines(again)
        for number, line in enumerate(read[place].body, 1):
            given = right[number - 1] if number <= len(right) else {}
            if _own(line) != _own(given):
                words = (
                    f"addendum {place + 1}, line {number} "
                    f"({line['kind']} of {line.get('limit', 'the lot')}) is not what "
                    "the readings give under these corrections"
                )
                yield Failure(Kind.VERDICTS, number, words)


def _own(line: Mapping[str, Any]) -> dict[str, Any]:
    return {name: line[name] for name in line if name not in ("before", "line")}


def _lot(read: Sequence[_Read]) -> str:
    first = read[-1].body[0] if read[-1].body else {}
    return str(first.get("lot", ""))


def _report(
    failures: Sequence[Failure], lot: str, made: Addendum | None = None
) -> Report:
    if failures or made is None:
        count = f"{len(failures)} things are" if len(failures) > 1 else "one thing is"
        words = f"do not rely on this addendum: {count} wrong with it"
        return Report(tuple(failures), lot, words)
    turned = [one for one in made.verdicts if one.was.verdict is not one.now.verdict]
    changes = "; ".join(
        f"{one.limit} {one.was.verdict} -> {one.now.verdict}" for one in turned
    )
    humid = surface.summary(one.now.why for one in made.verdicts)
    hold = "the lot is on hold" if made.on_hold else "every critical limit is met"
    words = (
        f"addendum {made.opening.number} to the record of lot {lot} is as it was "
        f"signed, and belongs to that record: {changes or 'no verdict changes'}; {hold}"
        f"; release is a person's decision{humid}"
    )
    return Report((), lot, words)


def verify_paper(pdf: bytes, public_pem: bytes) -> Report:
    """Say the same of an addendum's document, which holds all that it stands on."""
    from daemon.signature import inside

    attached, outside = inside(pdf, read_public(public_pem))
    files = [octets for name, octets in attached if name.endswith(".jsonl")]
    newest = max(filter(is_addendum, files), key=_number, default=b"")
    if not newest:
        words = "the PDF: it has no addendum attached, and one is wanted"
        return _report((*outside, Failure(Kind.PDF, 0, words)), "")
    report = verify_addendum(newest, public_pem, files)
    failures = (*outside, *report.failures)
    return _report(failures, report.lot) if failures else report


def _number(octets: bytes) -> int:
    found = re.search(rb'"number":(\d{1,9})', octets.split(b"\n", 1)[0])
    return int(found[1]) if found else 0
