"""The record as a document: what an inspector reads in two minutes, on paper.

Rule 1: it shows the record and adds nothing: every figure on it is in the record,
which is attached to it with the public key.
Rule 2: the first page answers: which lot, on hold or not, which limits, how it went.
Rule 3: it never says that food is safe.  A limit is met by the readings; what
becomes of the lot is a person's decision, and has a line to sign.
Rule 4: the same record gives the same document, byte for byte, where the same fonts
are installed.

Times are shown in the zone that is asked for; the head of the document says which.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, tzinfo
from pathlib import Path

from daemon import chart
from daemon.calibrations import say_check
from daemon.chart import Band, Flag, Scene
from daemon.dossier import Dossier, Measured, Told
from daemon.journal import Noticed
from daemon.keys import DeviceKey
from daemon.record import CAUTIONS, held
from daemon.seal import BY_OPENSSL, digest
from daemon.sheet import DEJAVU, SMALL, Column, Row, Sheet
from daemon.signature import RECORD, sign
from rules import surface
from rules.calibration import in_force
from rules.channels import Channel
from rules.facts import EntryKind, Event, Finding, Quality, Standing, Subject, Verdict
from rules.limit import Limit
from rules.rate import ANYTHING_MC
from rules.schedule import Schedule, read_schedule
from rules.units import say_k, say_mc, say_ms
from rules.verdicts import Judged

LATE_MS = 15 * 60_000  # an entry written later than this after the fact is called late
MOST_EVENTS = 80
TROUBLE = {
    *(Standing.DEVIATION, Standing.MISSED, Standing.UNPROVEN, "quiet", "overdue"),
}
WORDS = {
    Verdict.MET: "met",
    Verdict.MISSED: "MISSED",
    Verdict.UNPROVEN: "UNPROVEN",
    Verdict.RUNNING: "NOT JUDGED",
}
DECISION = "Release is a person's decision."


def write(
    dossier: Dossier,
    sealed: bytes,
    key: DeviceKey,
    zone: tzinfo = UTC,
    fonts: Path = DEJAVU,
) -> bytes:
    """Give the signed document of a record, with the record attached.

    ``sealed`` is the record that ``daemon.record.write`` made of the dossier.
    """
    return sign(unsigned(dossier, sealed, key, zone, fonts), key, dossier.closed_ms)


def unsigned(
    dossier: Dossier,
    sealed: bytes,
    key: DeviceKey,
    zone: tzinfo = UTC,
    fonts: Path = DEJAVU,
) -> bytes:
    """Give the document before it is signed.

    Raises:
        ValueError: The schedule in the dossier cannot be read.
    """
    schedule = read_schedule(dossier.cook.schedule_path, dossier.cook.schedule)
    if not isinstance(schedule, Schedule):
        raise ValueError(f"the schedule cannot be read: {schedule[0].found}")
    lot, whole = dossier.cook.lot, digest(sealed)
    foot = f"lot {lot} · {dossier.site} · record {whole[:16]}"
    sheet = Sheet(f"Record of lot {lot}", foot, dossier.closed_ms, fonts)
    paper = _Paper(sheet, dossier, schedule, zone)
    paper.head()
    paper.verdict()
    paper.limits()
    paper.chart()
    paper.stages()
    paper.events()
    paper.entries()
    paper.alerts()
    paper.probes()
    paper.sources()
    paper.cautions()
    paper.signatures()
    paper.verifying(whole, key.public().thumbprint())
    sheet.embed_file(
        bytes=sealed,
        basename=f"{lot}{RECORD}",
        desc="the signed record that this document shows",
        mime_type="application/jsonl",
        associated_file_relationship="Source",
        modification_date=datetime.fromtimestamp(dossier.closed_ms // 1000, UTC),
        compress=True,
    )
    sheet.embed_file(
        bytes=key.public().pem(),
        basename=f"{lot}.public.pem",
        desc="the public key of the device that signed it",
        mime_type="application/x-pem-file",
        associated_file_relationship="Supplement",
        modification_date=datetime.fromtimestamp(dossier.closed_ms // 1000, UTC),
    )
    return bytes(sheet.output())


def scene(dossier: Dossier, zone: tzinfo = UTC, height: float = 240) -> Scene:
    """Lay out the chart of a whole cook."""
    schedule = read_schedule(dossier.cook.schedule_path, dossier.cook.schedule)
    bands = []
    chambers = (
        {stage.name: stage.chamber for stage in schedule.stages}
        if isinstance(schedule, Schedule)
        else {}
    )
    for span in dossier.outcome.stages:
        chamber = chambers.get(span.name)
        low_mc, high_mc = (chamber.low_mc, chamber.high_mc) if chamber else (None, None)
        bands.append(Band(span.name, span.from_ms, span.to_ms, low_mc, high_mc))
    return chart.scene(
        dossier.cook.channels,
        dossier.judged,
        bands,
        [Flag(number, event.at_ms) for number, event in _flagged(dossier)],
        from_ms=dossier.cook.begun_ms,
        to_ms=dossier.outcome.finished_ms,
        height=height,
        zone=zone,
    )


def _flagged(dossier: Dossier) -> list[tuple[str, Event]]:
    """What went wrong, numbered as on the chart and in the list of events."""
    end_ms = dossier.outcome.finished_ms
    bad = [
        one.event
        for one in dossier.events
        if one.event.now in TROUBLE and one.lot and one.event.at_ms <= end_ms
    ]
    return [(str(number), event) for number, event in enumerate(bad, 1)]


class _Paper:
    """The parts of one document, in the order in which they are read."""

    def __init__(
        self, sheet: Sheet, dossier: Dossier, schedule: Schedule, zone: tzinfo
    ) -> None:
        self.sheet, self.dossier, self.schedule = sheet, dossier, schedule
        self.zone = zone
        self.day = self._local(dossier.cook.begun_ms).date()
        self.flags = {event.key: number for number, event in _flagged(dossier)}

    def head(self) -> None:
        """Say which lot this is about, who made it and by what."""
        dossier, schedule, cook = self.dossier, self.schedule, self.dossier.cook
        product = schedule.product
        cured = "cured" if product.cured == "yes" else "not cured"
        made = [product.meat, product.form, cured, f"{product.cooked} cooked"]
        ended_ms = dossier.outcome.finished_ms
        self.sheet.say(f"Record of a cook · {dossier.site}", 8)
        self.sheet.say(f"Lot {cook.lot}", 17, bold=True)
        self.sheet.say(schedule.title, 9.5)
        self.sheet.ln(4)
        self.sheet.facts(
            [
                ("product", ", ".join([*made, product.diameter]).rstrip(", ")),
                ("schedule", f"revision {schedule.revision}"),
                ("approved by", schedule.approved_by or "not said"),
                ("smokehouse", cook.smokehouse),
                ("begun by", cook.who),
                ("begun", self._stamp(cook.begun_ms)),
                ("ended", self._stamp(ended_ms)),
                ("lasted", say_ms(ended_ms - cook.begun_ms)),
                ("record made", self._stamp(dossier.closed_ms)),
                ("made by", dossier.program),
            ]
        )

    def verdict(self) -> None:
        """Say in one line how the lot stands."""
        judged = self.dossier.outcome.judged
        if not held(judged):
            said = "The readings prove each critical limit below, as far as it goes."
            words = "All critical limits met by the readings"
            self.sheet.banner(words, [f"{said} {DECISION}"], dark=False)
            return
        under = [
            f"{self._name(one)}: {WORDS[one.verdict]}. {one.why}"
            for one in judged
            if one.critical and one.verdict is not Verdict.MET
        ]
        if not any(one.critical for one in judged):
            under = ["The schedule has no critical limit, so nothing is proven."]
        what_now = [
            f"The schedule says, if {one.name} is missed: {'; '.join(one.if_missed)}."
            for one in self.schedule.judged
            if one.if_missed and self._verdict_of(one.name) is Verdict.MISSED
        ]
        self.sheet.banner("ON HOLD", [*under, *what_now, DECISION], dark=True)

    def limits(self) -> None:
        """Show every limit with what was asked, measured and credited."""
        self.sheet.heading("Limits")
        columns = [
            Column("probe, part", 2.9),
            Column("required", 1.25),
            Column("measured", 1.25),
            Column("credited (least favourable)", 1.25),
            Column("most favourable", 1.25),
            Column("verdict", 0.9),
            Column("since", 1.1),
        ]
        self.sheet.rows(columns, list(self._limit_rows()))
        words = (
            "Credited is the least favourable truth that the readings allow: each "
            "probe by itself, at the worst end of its accuracy, nothing across a hole."
        )
        self.sheet.say(words, SMALL)

    def chart(self) -> None:
        """Show how the cook went."""
        room = self.sheet.left() - 44  # beside heading and words
        height = min(room, 240) if room > 150 else 240
        self.sheet.heading("How it went", height)
        self.sheet.draw(scene(self.dossier, self.zone, height))
        words = (
            "Grey boxes: where the chamber should be. Slanted lines: a hole, nothing "
            "was heard. Numbers: see what happened. Bars below: when each probe was "
            "heard."
        )
        self.sheet.say(words, SMALL)

    def stages(self) -> None:
        """List the stages and their times."""
        self.sheet.heading("Stages")
        columns = [
            *(Column("stage", 1), Column("from", 1), Column("to", 1)),
            *(Column("lasted", 1), Column("chamber", 1.6), Column("ends", 2.4)),
        ]
        wanted = {stage.name: stage for stage in self.schedule.stages}
        rows = []
        for span in self.dossier.outcome.stages:
            stage = wanted[span.name]
            band = stage.chamber
            chamber = f"{say_mc(band.low_mc)} to {say_mc(band.high_mc)}" if band else ""
            times = (self._time(span.from_ms), self._time(span.to_ms))
            lasted = say_ms(span.to_ms - span.from_ms)
            rows.append(Row((span.name, *times, lasted, chamber, str(stage.ends))))
        self.sheet.rows(columns, rows)

    def events(self) -> None:
        """List what happened, in the order in which it became true."""
        self.sheet.heading("What happened")
        columns = [
            *(Column("", 0.25), Column("became true", 1.1), Column("noticed", 0.85)),
            *(Column("what", 2.75), Column("why", 4.2)),
        ]
        events = [one for one in self.dossier.events if not _said_elsewhere(one)]
        shown = events
        if len(events) > MOST_EVENTS:
            shown = [one for one in events if one.event.now in TROUBLE or not one.lot]
        rows = [
            Row(
                (
                    self.flags.get(one.event.key, ""),
                    self._time(one.event.at_ms),
                    self._lag(one),
                    _event_words(one.event),
                    one.event.why,
                ),
                bold=one.event.key in self.flags,
            )
            for one in shown[:MOST_EVENTS]
        ]
        self.sheet.rows(columns, rows)
        if len(rows) < len(events):
            left = len(events) - len(rows)
            self.sheet.say(f"{left} more events are in the attached record.", SMALL)

    def entries(self) -> None:
        """List deviations' corrective actions, and everything else people wrote."""
        self.sheet.heading("Corrective actions and other entries")
        columns = [
            *(Column("happened", 1), Column("written", 1), Column("by", 0.6)),
            *(Column("entry", 1.2), Column("about", 1.2), Column("words", 4)),
        ]
        rows = []
        for one in sorted(self.dossier.entries, key=lambda entry: entry.at_ms):
            late_ms = one.entered_ms - one.at_ms
            late = f", {say_ms(late_ms)} later" if late_ms > LATE_MS else ""
            written = self._time(one.entered_ms) + late
            happened, acted = self._time(one.at_ms), EntryKind.CORRECTIVE_ACTION
            cells = (happened, written, one.who, one.kind, one.about, one.text)
            rows.append(Row(cells, bold=one.kind is acted))
        self.sheet.rows(columns, rows)
        if missing := self._unanswered():
            words = f"No corrective action is written down for: {', '.join(missing)}."
            self.sheet.say(words, bold=True)

    def alerts(self) -> None:
        """List who was told of what, and who answered."""
        self.sheet.heading("Alerts")
        if not self.dossier.alerts:
            self.sheet.say("Nobody had to be told of anything.")
            return
        columns = [
            *(Column("since", 0.9), Column("alert", 2.4), Column("told", 3)),
            *(Column("acknowledged", 1.5), Column("normal again", 0.9)),
        ]
        rows = []
        for one in self.dossier.alerts:
            answered = "nobody" if one.answer else "no answer asked"
            if one.acknowledged_ms:
                answered = f"{self._time(one.acknowledged_ms)} {one.acknowledged_by}"
            back = self._time(one.returned_ms) if one.returned_ms else ""
            since, about = self._time(one.since_ms), f"{one.name}: {one.standing}"
            rows.append(Row((since, about, self._told(one), answered, back)))
        self.sheet.rows(columns, rows)

    def probes(self) -> None:
        """Say how well each probe was heard, and what was refused."""
        self.sheet.heading("Probes and evidence")
        columns = [
            *(Column("channel", 1.1), Column("in the", 0.8), Column("probe", 1.5)),
            *(Column("accuracy", 0.8), Column("every", 0.6), Column("readings", 0.8)),
            *(
                Column("coverage", 0.8),
                Column("longest hole", 1),
                Column("unused", 0.7),
            ),
        ]
        channels = self.dossier.cook.channels
        self.sheet.rows(columns, [self._probe(one) for one in channels])
        for channel in channels:
            check = in_force(channel.checks, self.dossier.outcome.finished_ms)
            if check:
                words = say_check(check, self._time)
                self.sheet.say(f"{channel.name} is corrected, {words}.", SMALL)
        self.sheet.say(self._refused(), SMALL)

    def sources(self) -> None:
        """Say where the limits come from, and against which hazard they stand."""
        self.sheet.heading("Where the limits come from")
        for limit in self.schedule.judged:
            if words := _sources(limit):
                self.sheet.say(f"{limit.name}: {words}", SMALL)

    def cautions(self) -> None:
        """Say what the record does not say."""
        self.sheet.heading("Cautions", 30)
        for text in CAUTIONS:
            self.sheet.say(text)

    def signatures(self) -> None:
        """Leave room for the people who decide."""
        self.sheet.heading("Review before shipment (9 CFR 417.5(c))", 90)
        self.sheet.say(
            "Complete; critical limits met, or corrective action taken and product "
            "disposed of properly. By someone other than the maker where practicable."
        )
        self.sheet.ln(14)
        for what in (
            "Decision:   [  ] released    [  ] held    [  ] other:",
            "Reviewed by (name, signature, date and time):",
            "Record kept by (name, signature, date and time):",
        ):
            self.sheet.blank(what)

    def verifying(self, whole: str, thumbprint: str) -> None:
        """Say how a stranger checks all this."""
        self.sheet.heading("To verify", 60)
        lot = self.dossier.cook.lot
        self.sheet.say(
            f"The signed record {lot}{RECORD} and the public key are attached to this "
            "document (pdfdetach -saveall). It holds every reading. Its SHA-256 is "
            f"{whole}; the key's thumbprint (RFC 7638) is {thumbprint}. Compare the "
            "thumbprint with the one that the establishment gave you."
        )
        self.sheet.say(
            "fumarium verify FILE --key PUBLIC.pem judges the cook again from the "
            "readings and names whatever was changed. pdfsig FILE.pdf checks this "
            "document. Without either, sh and openssl check the record; its last line "
            "is a detached JWS (RFC 7515 appendix F, RFC 7797, ES256):"
        )
        self.sheet.ln(3)
        self.sheet.say(BY_OPENSSL, 5.6, code=True)
        if self.sheet.lacking:
            self.sheet.ln(3)
            self.sheet.say(
                f"{self.sheet.mark} stands for a character that this document's font "
                "lacks; the attached record holds it.",
                SMALL,
            )

    # Smaller parts

    def _limit_rows(self) -> Iterator[Row]:
        limits = {limit.name: limit for limit in self.schedule.judged}
        found = list(
            zip(self.dossier.outcome.findings, self.dossier.measured, strict=True)
        )
        lethal = surface.lethal(self.schedule)
        humid = surface.humidity(self.schedule, self.dossier.outcome.findings)
        for one in self.dossier.outcome.judged:
            limit = limits[one.limit]
            what = f"{self._name(one)}: {limit.required_words}"
            verdict = WORDS[one.verdict]
            grade = "" if one.critical else "operating limit, "
            yield Row((f"{what}   ({grade}{verdict})",), bold=True, spans=True)
            for finding, measured in found:
                if finding.limit == one.limit:
                    yield self._finding_row(finding, measured)
            if one.limit in lethal:
                yield Row((f"surface: {humid}",), rule=False, spans=True)

    def _finding_row(self, finding: Finding, measured: Measured | None) -> Row:
        unit = finding.unit
        name = finding.channel + (f", {finding.part}" if finding.part else "")
        if not unit:
            name += f": {finding.why}"
        face = figure(measured.figure, unit) if measured else ""
        if measured and measured.required != finding.required:
            face += f" of {figure(measured.required, unit)}"
        return Row(
            (
                name,
                figure(finding.required, unit),
                face,
                figure(finding.least, unit),
                figure(finding.most, unit),
                WORDS[finding.verdict],
                self._time(finding.since_ms) if finding.since_ms else "",
            ),
            bold=finding.verdict is not Verdict.MET,
            rule=False,
        )

    def _name(self, judged: Judged) -> str:
        return " ".join(filter(None, (judged.control_point, judged.limit)))

    def _verdict_of(self, name: str) -> Verdict | None:
        judged = self.dossier.outcome.judged
        return next((one.verdict for one in judged if one.limit == name), None)

    def _unanswered(self) -> list[str]:
        """Critical limits not met about which no corrective action says anything."""
        answered = {
            entry.about
            for entry in self.dossier.entries
            if entry.kind is EntryKind.CORRECTIVE_ACTION
        }
        return [
            one.limit
            for one in self.dossier.outcome.judged
            if one.critical
            and one.verdict is not Verdict.MET
            and one.limit not in answered
        ]

    def _told(self, alert: Told) -> str:
        parts = []
        for contact in dict.fromkeys(one.contact for one in alert.attempts):
            mine = [one for one in alert.attempts if one.contact == contact]
            sent = [one.at_ms for one in mine if one.outcome == "sent"]
            words = f"{contact}: "
            if sent:
                words += f"{_times(len(sent))}, first {self._time(sent[0])}"
            failed = [one for one in mine if one.outcome != "sent"]
            if failed:
                words += "; " if sent else ""
                words += f"failed {_times(len(failed))}"
                words += f" ({failed[-1].why})" if failed[-1].why else ""
            parts.append(words)
        return ". ".join(parts) or "nobody"

    def _probe(self, channel: Channel) -> Row:
        begun_ms, ended_ms = (
            self.dossier.cook.begun_ms,
            self.dossier.outcome.finished_ms,
        )
        mine = [one for one in self.dossier.readings if one.channel == channel.name]
        used = [
            one
            for one in mine
            if one.quality is Quality.GOOD and begun_ms <= one.at_ms <= ended_ms
        ]
        holes = chart.holes_of(channel, used, begun_ms, ended_ms)
        missed_ms = sum(hole.to_ms - hole.from_ms for hole in holes)
        whole_ms = max(ended_ms - begun_ms, 1)
        permille = (whole_ms - missed_ms) * 1000 // whole_ms
        longest_ms = max((hole.to_ms - hole.from_ms for hole in holes), default=0)
        unused = sum(one.quality is not Quality.GOOD for one in mine)
        return Row(
            (
                channel.name,
                channel.role,
                channel.probe,
                f"± {say_k(channel.accuracy_mc)}",
                say_ms(channel.every_ms),
                str(len(used)),
                f"{permille // 10}.{permille % 10} %",
                say_ms(longest_ms) if longest_ms else "none",
                str(unused),
            )
        )

    def _refused(self) -> str:
        refusals = self.dossier.refusals
        if not refusals:
            return "No message was refused."
        counts = Counter((one.why, one.channel) for one in refusals)
        said = "; ".join(
            f"{_times(count)}: {why}" + (f" ({channel})" if channel else "")
            for (why, channel), count in counts.most_common(5)
        )
        more = f"; and {len(counts) - 5} other reasons" if len(counts) > 5 else ""
        return f"Messages refused: {len(refusals)}. {said}{more}."

    def _lag(self, one: Noticed) -> str:
        if not one.noticed_ms:
            return "not then"
        return f"{say_ms((one.noticed_ms - one.event.at_ms) // 1000 * 1000)} later"

    def _local(self, at_ms: int) -> datetime:
        return datetime.fromtimestamp(at_ms // 1000, self.zone)

    def _time(self, at_ms: int) -> str:
        at = self._local(at_ms)
        day = "" if at.date() == self.day else f"{at:%d %b} "
        begun = self._local(self.dossier.cook.begun_ms)
        offset = "" if at.utcoffset() == begun.utcoffset() else f" {at:%z}"
        return f"{day}{at:%H:%M}{offset}"

    def _stamp(self, at_ms: int) -> str:
        return (
            f"{self._local(at_ms):%Y-%m-%d %H:%M:%S} (UTC{_offset(self._local(at_ms))})"
        )


def _offset(at: datetime) -> str:
    text = f"{at:%z}"
    return f"{text[:3]}:{text[3:5]}"


def _said_elsewhere(one: Noticed) -> bool:
    """Whether an event is only a stage's turn, or a probe's first word."""
    event = one.event
    turn = event.subject in (Subject.STAGE, Subject.COOK) and event.now not in TROUBLE
    first = event.subject is Subject.CHANNEL and event.was == "waiting"
    return bool(one.lot) and (turn or (first and event.now not in TROUBLE))


def _event_words(event: Event) -> str:
    name = event.name
    if event.subject is Subject.LIMIT and event.channel:
        name = f"{name}, {event.channel}"
    return f"{name}: {event.now}"


def _sources(limit: Limit) -> str:
    parts = [f"hazard: {limit.hazard}" if limit.hazard else ""]
    parts.append(f"source: {limit.sources}" if limit.sources else "")
    return ". ".join(part for part in parts if part)


def figure(figure: int, unit: str) -> str:
    """Say a figure of a finding in its unit; "" where it has none."""
    if not unit:
        return ""
    if unit == "ms":
        return say_ms(figure)
    if unit == "mc":
        tenths = round(figure * 18 / 1000 + 320)
        return f"{say_mc(figure)} ({tenths // 10}.{tenths % 10} °F)"
    if unit == "mk":
        return say_k(figure) if figure < ANYTHING_MC else "anything"
    if unit == "mlog10":
        return f"{figure // 1000}.{figure % 1000:03} log10"
    return f"{figure} {unit}"


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


__all__: Sequence[str] = ("scene", "unsigned", "write")
