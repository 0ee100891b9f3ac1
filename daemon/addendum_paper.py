"""An addendum as a document: what was found out, and every figure before and after.

It shows the addendum and adds nothing.  Attached are the addendum, the record that it
names and every addendum in between, so that this one file can be verified alone.
"""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, tzinfo
from pathlib import Path

from daemon.addendum import NAME, Addendum, Compared, Correction, Shown
from daemon.calibrations import say_check
from daemon.dossier import Dossier
from daemon.keys import DeviceKey
from daemon.pdf import DECISION, WORDS, figure
from daemon.record import CAUTIONS
from daemon.seal import digest
from daemon.sheet import DEJAVU, SMALL, Column, Row, Sheet
from daemon.signature import RECORD, sign
from rules.channels import Check


def write(
    addendum: Addendum,
    dossier: Dossier,
    sealed: bytes,
    earlier: Sequence[bytes],
    key: DeviceKey,
    zone: tzinfo = UTC,
    fonts: Path = DEJAVU,
) -> bytes:
    """Give the signed document of an addendum.

    ``sealed`` is the addendum, ``earlier`` the record and the addenda before this one.
    """
    opening = addendum.opening
    lot, number, at_ms = opening.lot, opening.number, opening.written_ms
    foot = f"lot {lot} · {opening.site} · addendum {number}, {digest(sealed)[:16]}"
    sheet = Sheet(f"Addendum {number} to the record of lot {lot}", foot, at_ms, fonts)
    paper = _Paper(sheet, addendum, dossier, zone)
    paper.head()
    paper.outcome()
    paper.corrections()
    paper.verdicts()
    paper.figures()
    paper.close(digest(sealed), key.public().thumbprint())
    names = [f"{lot}{RECORD}"]
    names += [f"{lot}{NAME}{one}.jsonl" for one in range(1, number + 1)]
    for name, octets in zip(names, (*earlier, sealed), strict=True):
        sheet.embed_file(
            bytes=octets,
            basename=name,
            desc="what this document shows, or stands on",
            mime_type="application/jsonl",
            associated_file_relationship="Source",
            modification_date=datetime.fromtimestamp(at_ms // 1000, UTC),
            compress=True,
        )
    reason = "an addendum to the record of a cook, as this device made it"
    return sign(bytes(sheet.output()), key, at_ms, reason)


class _Paper:
    """The parts of one document, in the order in which they are read."""

    def __init__(
        self, sheet: Sheet, addendum: Addendum, dossier: Dossier, zone: tzinfo
    ) -> None:
        self.sheet, self.addendum, self.dossier = sheet, addendum, dossier
        self.zone = zone

    def head(self) -> None:
        """Say what it is about, who wrote it and why."""
        opening, cook = self.addendum.opening, self.dossier.cook
        words = f"Addendum {opening.number} to the record of a cook · {opening.site}"
        self.sheet.say(words, 8)
        self.sheet.say(f"Lot {opening.lot}", 17, bold=True)
        self.sheet.ln(4)
        self.sheet.facts(
            [
                ("what it is", opening.what),
                ("written by", opening.who),
                ("written", self._time(opening.written_ms)),
                ("cook begun", self._time(cook.begun_ms)),
                ("record made", self._time(self.dossier.closed_ms)),
                ("made by", opening.program),
            ]
        )
        self.sheet.ln(4)
        self.sheet.say(opening.text, 9.5)

    def outcome(self) -> None:
        """Say in one line what it changes."""
        turned = [
            f"{one.limit}: {WORDS[one.was.verdict]}, now {WORDS[one.now.verdict]}. "
            f"{one.now.why}"
            for one in self.addendum.verdicts
            if one.was.verdict is not one.now.verdict
        ]
        held = self.addendum.on_hold
        words = "ON HOLD" if held else "All critical limits met by the readings"
        under = turned or ["No verdict of the record changes."]
        self.sheet.banner(words, [*under, DECISION], dark=held)

    def corrections(self) -> None:
        """Say what is corrected, from when, by what comparison and how surely."""
        if not self.addendum.corrections:
            return
        self.sheet.heading("What is corrected")
        for one in self.addendum.corrections:
            self.sheet.say(self._correction(one))
        self.sheet.say(
            "The readings in the record stay as they were said, and the stages as they "
            "were lived through. Each limit is judged again by what is corrected.",
            SMALL,
        )

    def verdicts(self) -> None:
        """Show every limit before and after."""
        self.sheet.heading("Limits")
        columns = [
            *(Column("limit", 1.2), Column("before", 1.1), Column("why", 2.8)),
            *(Column("now", 1.1), Column("why", 2.8)),
        ]
        rows = []
        for one in self.addendum.verdicts:
            cells = (
                *(one.limit, WORDS[one.was.verdict], one.was.why),
                *(WORDS[one.now.verdict], one.now.why),
            )
            rows.append(Row(cells, bold=one.was.verdict is not one.now.verdict))
        self.sheet.rows(columns, rows)

    def figures(self) -> None:
        """Show every figure before and after, side by side."""
        if not self.addendum.findings:
            return
        self.sheet.heading("Figures, before and after")
        columns = [Column("limit, probe, part", 1.7)]
        for when in ("before", "now"):
            columns += [Column(f"{when}: required", 1), Column("measured", 1)]
            columns += [Column("credited", 1), Column("verdict", 1.05)]
        self.sheet.rows(columns, [_row(one) for one in self.addendum.findings])

    def close(self, whole: str, thumbprint: str) -> None:
        """Say what it does not say, who decides, and how a stranger checks it."""
        opening = self.addendum.opening
        self.sheet.heading("Cautions", 30)
        for text in CAUTIONS:
            self.sheet.say(text)
        self.sheet.heading("Review", 70)
        self.sheet.blank("Decision:   [  ] released    [  ] held    [  ] other:")
        self.sheet.blank("Reviewed by (name, signature, date and time):")
        self.sheet.heading("To verify", 60)
        before = ""
        if opening.previous_sha256:
            before = f" and the addendum before it, {opening.previous_sha256}"
        self.sheet.say(
            f"This addendum stands on the record with the SHA-256 "
            f"{opening.record_sha256}{before}. Its own is {whole}; "
            f"the thumbprint of the key (RFC 7638) is "
            f"{thumbprint}. All of them are attached to this document. fumarium verify "
            "FILE --key PUBLIC.pem judges the cook again under the corrections."
        )

    def _correction(self, one: Correction) -> str:
        if not one.points:
            since = self._time(one.from_ms)
            return f"{one.channel}: nothing it said from {since} on is evidence."
        check = Check(one.from_ms, one.who, one.points)
        return f"{one.channel}, as {say_check(check, self._time)}."

    def _time(self, at_ms: int) -> str:
        at = datetime.fromtimestamp(at_ms // 1000, self.zone)
        offset = f"{at:%z}"
        return f"{at:%Y-%m-%d %H:%M} (UTC{offset[:3]}:{offset[3:5]})"


def _row(one: Compared) -> Row:
    where = ", ".join(filter(None, (one.channel, one.part)))
    cells = [f"{one.limit}: {where}", *_cells(one.was), *_cells(one.now)]
    return Row(tuple(cells), bold=_verdict(one.was) != _verdict(one.now))


def _cells(shown: Shown | None) -> Iterator[str]:
    if shown is None:
        yield from ("", "", "", "")
        return
    finding, measured = shown
    yield figure(finding.required, finding.unit)
    yield figure(measured.figure, finding.unit) if measured else ""
    yield figure(finding.least, finding.unit)
    yield WORDS[finding.verdict]


def _verdict(shown: Shown | None) -> str:
    return WORDS[shown.finding.verdict] if shown else ""
