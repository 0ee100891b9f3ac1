"""``fumarium addendum``: write one, or list a lot's and bring back their files.

The journal takes the signed lines and the events that wake people in one transaction;
the files beside the record are copies of it, with the same bytes however often they
are written.  So a kill at any instant leaves an addendum whole or not there at all.
"""

import argparse
import re
from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple

from pydantic_core import PydanticCustomError

from daemon import addendum as addenda
from daemon.addendum import Addendum, Correction, Turned, What, stored
from daemon.calibration_checks import APART_MC
from daemon.cli import BAD_COMMAND, CHECK_FAILED, GOOD, CommandError
from daemon.clock import clock_of
from daemon.commands import journal_of, machine_faults, unknown_lot, write_whole
from daemon.dossier import PROGRAM, Dossier
from daemon.journal import Journal
from daemon.keys import DeviceKey, load
from daemon.seal import digest, seal
from daemon.settings import Settings
from daemon.verify import verify
from daemon.verify_addendum import Chain, opened, verify_addendum
from rules.alerts import AlertRule, wanted
from rules.calibration import LARGEST_MC
from rules.channels import Point, Role
from rules.facts import Entry, EntryKind, Event, Standing, Subject
from rules.schedule import Schedule, read_schedule
from rules.units import doubt, say_k, temperature

POINT = "said 147 degF at 140 degF within 0.5 K"
FARTHEST_MC = 50_000  # common practice, no source: more is a slip, or a dead probe
SAYS = re.compile(r"^said (.+) at (.+) within (.+)$")


class Sealed(NamedTuple):
    """The record of a lot and its addenda, as their files are to be."""

    record: bytes
    addenda: tuple[bytes, ...]


def addendum(asked: argparse.Namespace, settings: Settings) -> int:
    """Write an addendum to the record of a lot, or list those there are."""
    now_ms = clock_of(settings.pace).now_ms()
    with machine_faults(), journal_of(settings) as journal:
        if journal.cook(asked.lot) is None:
            raise CommandError(unknown_lot(asked.lot, journal), BAD_COMMAND)
        key = load(settings.key)
        before = _sealed(asked.lot, journal, settings)
        chain = _chain(asked.lot, before, key)
        if not (asked.text or asked.who or asked.channel):
            _write_files(asked.lot, chain, before, key, settings)
            return GOOD
        text, who = asked.text.strip(), asked.who.strip()
        if not text or not who:
            raise CommandError("an addendum has words, and --who wrote it", BAD_COMMAND)
        corrections = _corrections(asked, chain.record, who)
        _refuse_again(corrections, chain.corrections)
        opening = addenda.Opening(
            form=addenda.FORM,
            edition=addenda.EDITION,
            program=PROGRAM,
            site=settings.site,
            lot=asked.lot,
            number=len(chain.addenda) + 1,
            what=_what(asked, corrections),
            who=who,
            written_ms=now_ms,
            text=text,
            record_sha256=digest(before.record),
            previous_sha256=digest(before.addenda[-1]) if before.addenda else "",
            key=key.public().thumbprint(),
        )
        made = addenda.made(chain.record, chain.corrections, opening, corrections)
        octets = seal(addenda.lines(made), key)
        events = [_event(opening, one) for one in made.verdicts if one.worse]
        entry = Entry(
            *(EntryKind.ADDENDUM, now_ms, now_ms, who, octets.decode()),
            about=str(opening.number),
        )
        journal.add_entry(asked.lot, entry, events)
        after = before._replace(addenda=(*before.addenda, octets))
        now = chain._replace(addenda=(*chain.addenda, made))
        _write_files(asked.lot, now, after, key, settings)
    return _told(made, events, chain.record)


def _sealed(lot: str, journal: Journal, settings: Settings) -> Sealed:
    path = settings.records / f"{lot}.record.jsonl"
    try:
        return Sealed(path.read_bytes(), stored(lot, journal))
    except FileNotFoundError:
        words = (
            f"{path}: there is no record of lot {lot} to add to\n"
            f"  when its cook has ended: fumarium record {lot}; if there was one, "
            "bring the file back from a copy"
        )
        raise CommandError(words, CHECK_FAILED) from None


def _chain(lot: str, sealed: Sealed, key: DeviceKey) -> Chain:
    """The record and its addenda, all of them verified before anything is added."""
    pem = key.public().pem()
    octets = (sealed.record, *sealed.addenda)
    report = (
        verify_addendum(octets[-1], pem, octets[:-1])
        if sealed.addenda
        else verify(sealed.record, pem)
    )
    if not report.good:
        words = "\n".join(map(str, report.failures))
        raise CommandError(f"lot {lot}: {report.summary}\n{words}", CHECK_FAILED)
    return opened(octets)


def _corrections(
    asked: argparse.Namespace, dossier: Dossier, who: str
) -> tuple[Correction, ...]:
    if not asked.channel:
        if asked.point or asked.since or asked.left_out:
            raise CommandError("--channel: say which one is corrected", BAD_COMMAND)
        return ()
    roles = {one.name: one.role for one in dossier.cook.channels}
    if asked.channel not in roles:
        words = f"--channel: the record has none {asked.channel!r}; it has: "
        raise CommandError(words + ", ".join(roles), BAD_COMMAND)
    if roles[asked.channel] is Role.HUMIDITY and asked.point:
        words = "--point: humidity is not corrected; --left-out takes it out"
        raise CommandError(words, BAD_COMMAND)
    if bool(asked.point) == asked.left_out:
        words = f"--channel: give --point '{POINT}' once or twice, or --left-out"
        raise CommandError(words, BAD_COMMAND)
    from_ms = _moment(asked.since) if asked.since else dossier.cook.begun_ms
    said_ms = [x.at_ms for x in dossier.readings if x.channel == asked.channel]
    if from_ms > max(said_ms, default=0):
        words = f"--from: {asked.channel} said nothing from {asked.since} on"
        raise CommandError(f"{words}, so nothing would be corrected", BAD_COMMAND)
    return (Correction(asked.channel, from_ms, who, _points(asked.point)),)


def _refuse_again(
    corrections: Sequence[Correction], earlier: Sequence[Sequence[Correction]]
) -> None:
    """Refuse what the last word on the same channel and time says already."""
    for one in corrections:
        said = [
            (number, old)
            for number, each in enumerate(earlier, 1)
            for old in each
            if (old.channel, old.from_ms) == (one.channel, one.from_ms)
        ]
        if said and said[-1][1].points == one.points:
            words = f"addendum {said[-1][0]} corrects {one.channel} so already"
            raise CommandError(words, BAD_COMMAND)


def _points(texts: Sequence[str]) -> tuple[Point, ...]:
    points = sorted((_point(text) for text in texts), key=lambda one: one.said_mc)
    if len(points) > 2:
        raise CommandError("--point: give one, or two", BAD_COMMAND)
    if len(points) == 2 and points[1].said_mc - points[0].said_mc < APART_MC:
        words = f"--point: the two are less than {say_k(APART_MC)} apart; keep one"
        raise CommandError(words, BAD_COMMAND)
    return tuple(points)


def _point(text: str) -> Point:
    found = SAYS.match(text.strip())
    if not found:
        raise CommandError(f"--point: {text!r} is not like '{POINT}'", BAD_COMMAND)
    said, reference, within = found.groups()
    try:
        point = Point(
            int(temperature(said)), int(temperature(reference)), doubt(within)
        )
    except PydanticCustomError as error:
        remedy = (error.context or {}).get("remedy", "")
        words = f"--point: {error.message()}; {remedy}"
        raise CommandError(words, BAD_COMMAND) from None
    if abs(point.correction_mc) > FARTHEST_MC:
        words = f"--point: {text!r} is off by more than {say_k(FARTHEST_MC)}; look at "
        words += "the figures again, or take what it said for no evidence: --left-out"
        raise CommandError(words, BAD_COMMAND)
    return point


def _moment(text: str) -> int:
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        at = None
    if at is None or at.tzinfo is None:
        right = "write date, time and Z, for example: 2026-01-10T05:00:00Z"
        raise CommandError(f"--from: {text!r} is not a moment; {right}", BAD_COMMAND)
    return round(at.timestamp() * 1000)


def _what(asked: argparse.Namespace, corrections: Sequence[Correction]) -> What:
    if corrections:
        return What.CORRECTION
    if asked.corrective:
        return What.ACTION
    return What.REVIEW if asked.review else What.REMARK


def _event(opening: addenda.Opening, one: Turned) -> Event:
    why = (
        f"addendum {opening.number} by {opening.who}: {one.was.verdict} until now, "
        f"corrected it is {one.now.verdict}: {one.now.why}"
    )
    return Event(
        opening.written_ms,
        Subject.LIMIT,
        one.limit,
        one.now.channel,
        one.was.standing,
        Standing(one.now.verdict.value),
        why,
    )


def _told(made: Addendum, events: Sequence[Event], dossier: Dossier) -> int:
    """Say what the addendum turned, and who will hear of it."""
    for one in made.corrections:
        if any(abs(point.correction_mc) > LARGEST_MC for point in one.points):
            print(
                f"note: {one.channel} is corrected by more than {say_k(LARGEST_MC)}: "
                "such a probe is broken; replace it"
            )
    for turned in made.verdicts:
        if turned.was.verdict is not turned.now.verdict:
            print(f"{turned.limit}: {turned.was.verdict} -> {turned.now.verdict}")
            print(f"  {turned.now.why}")
    print(f"the lot is {'' if made.on_hold else 'not '}on hold by what is corrected")
    if not events:
        return GOOD
    rules = _rules(dossier)
    names = sorted(
        {one.tell for one in rules for event in events if wanted(one, event)}
    )
    print(
        f"told by the daemon: {', '.join(names) or 'nobody; the schedule names none'}"
    )
    return CHECK_FAILED


def _rules(dossier: Dossier) -> Sequence[AlertRule]:
    """Whom the record's schedule tells of what."""
    found = read_schedule(dossier.cook.schedule_path, dossier.cook.schedule)
    return found.alert_rules if isinstance(found, Schedule) else ()


def _write_files(
    lot: str, chain: Chain, sealed: Sealed, key: DeviceKey, settings: Settings
) -> None:
    """Write every file of the addenda that is missing or not as it was signed."""
    from daemon.addendum_paper import write

    for number, made in enumerate(chain.addenda, 1):
        octets = sealed.addenda[number - 1]
        lines = settings.records / f"{lot}{addenda.NAME}{number}.jsonl"
        paper = lines.with_suffix(".pdf")
        same = lines.exists() and lines.read_bytes() == octets
        if not same or not paper.exists():
            earlier = (sealed.record, *sealed.addenda[: number - 1])
            write_whole(
                paper, write(made, chain.record, octets, earlier, key, settings.zone)
            )
            write_whole(lines, octets)
        opening = made.opening
        print(f"{opening.number}\t{opening.what}\t{opening.who}\t{opening.text}")
        print(lines)
        print(paper)
    if not chain.addenda:
        print(f"no addenda to the record of lot {lot}")
