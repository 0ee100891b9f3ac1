"""The commands that read the journal and add entries to it.

They change nothing else, and run beside the daemon on the same file.
"""

import argparse
import contextlib
import os
import re
from collections.abc import Iterator
from pathlib import Path

from daemon import by_hand, formulate
from daemon.calibrations import due
from daemon.cli import (
    BAD_COMMAND,
    BAD_FILE,
    CHECK_FAILED,
    GOOD,
    MACHINE,
    SETTINGS,
    CommandError,
)
from daemon.clock import clock_of
from daemon.files import explained, schedule_at
from daemon.journal import Cook, Journal, JournalError, Trouble
from daemon.settings import Settings, load
from rules import engine, moving, spot_sets
from rules.channels import Channel, Role
from rules.facts import Entry, EntryKind, Standing, Subject
from rules.reader import choice
from rules.schedule import Schedule, read_schedule
from rules.units import duration

# A lot's text becomes the name of its record's file.
LOT = re.compile(r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")

KINDS = {
    "end": EntryKind.END,
    "next": EntryKind.NEXT_STAGE,
    "note": EntryKind.NOTE,
    "moved": EntryKind.MOVED,
    "spot-check": EntryKind.SPOT_CHECK,
    "acknowledge": EntryKind.ACKNOWLEDGE,
}

# What a mistake in a set by hand is called here.
OPTIONS = {"pieces": "spot-check", "instrument": "--with", "within": "--within"}


def settings_at(path: Path) -> Settings:
    """The settings in a file.

    Raises:
        CommandError: There is none, or it has faults, all of them in the words.
    """
    with contextlib.suppress(PermissionError):  # which is told with all else below
        if not path.exists():
            raise CommandError(_no_settings(path), BAD_FILE)
    found = load(path, os.environ)
    if isinstance(found, Settings):
        return found
    raise explained(path, found)


def _no_settings(path: Path) -> str:
    by = "by --settings"
    if str(path) == os.environ.get("FUMARIUM_SETTINGS"):
        by = "by FUMARIUM_SETTINGS"
    elif str(path) == SETTINGS:
        by = "where neither --settings nor FUMARIUM_SETTINGS says otherwise"
    return (
        f"{path}: there is no such settings file; it was looked for there {by}\n"
        "  sudo deploy/install makes one, in a clone of the repository;\n"
        "  deploy/example/settings.yaml there is one to copy and change"
    )


@contextlib.contextmanager
def machine_faults() -> Iterator[None]:
    """Turn what the machine refuses into words for a person."""
    from daemon.keys import DeviceKeyError
    from daemon.web import PageError

    try:
        yield
    except (JournalError, PageError, DeviceKeyError) as error:
        raise CommandError(str(error), MACHINE) from error
    except OSError as error:
        raise CommandError(f"{error.strerror}: {error.filename}", MACHINE) from error


def key(what: str, settings: Settings) -> int:
    """Make the device key, or print its public half."""
    from daemon import keys

    with machine_faults():
        if what == "create":
            settings.key.parent.mkdir(parents=True, exist_ok=True)
            made = keys.create(settings.key)
            print(f"device key: {settings.key}")
            print(f"fingerprint: {made.public().thumbprint()}")
        else:
            print(keys.load(settings.key).public().pem().decode(), end="")
    return GOOD


def entry(asked: argparse.Namespace, settings: Settings) -> int:
    """Add what a person wrote to the journal."""
    now_ms = clock_of(settings.pace).now_ms()
    if not asked.who.strip():
        raise CommandError("--who: give your initials", BAD_COMMAND)
    with machine_faults(), journal_of(settings) as journal:
        if asked.name == "begin":
            return _begin(asked, settings, journal, now_ms)
        kind = KINDS[asked.name]
        lot, text, about = getattr(asked, "lot", ""), "", ""
        if kind is EntryKind.NOTE:
            text, about = asked.text.strip(), asked.about
            if asked.corrective:
                kind = EntryKind.CORRECTIVE_ACTION
            elif asked.left_out:
                kind = EntryKind.LEFT_OUT
                _must_be_channel(about, lot, journal)
            elif asked.lift:
                kind = EntryKind.LIFTED
                _must_be_doubted(about, lot, journal)
            if not text:
                raise CommandError("a note has words", BAD_COMMAND)
        if kind is EntryKind.ACKNOWLEDGE:
            about = asked.alert
            if not (about == "all" or about.isdigit()):
                raise CommandError("give the number of an alert, or all", BAD_COMMAND)
            if about != "all":
                _must_be_alert(int(about), journal)
        elif journal.cook(lot) is None:
            raise CommandError(unknown_lot(lot, journal), BAD_COMMAND)
        elif kind is EntryKind.MOVED:
            text, about = _move(asked, settings, journal)
        elif kind is EntryKind.SPOT_CHECK:
            text, about = _spots(asked, settings, journal, now_ms)
        elif kind in (EntryKind.NEXT_STAGE, EntryKind.END):
            about = _stage(lot, journal)
            if not about or _ended(lot, journal):
                words = (
                    f"lot {lot}: its {'end' if about else 'beginning'} is entered and "
                    "not judged yet, or it is over; is the daemon running?"
                )
                raise CommandError(words, CHECK_FAILED)
        number = journal.add_entry(
            lot, Entry(kind, now_ms, now_ms, asked.who, text, about)
        )
    print(f"entry {number}: {kind} by {asked.who}")
    return GOOD


def _move(
    asked: argparse.Namespace, settings: Settings, journal: Journal
) -> tuple[str, str]:
    """The text of the entry and the channel of a probe that was moved."""
    cook = journal.cook(asked.lot)
    assert cook is not None
    inside = (Role.CORE, Role.MEAT)
    names = [one.name for one in cook.channels if one.role in inside]
    if asked.channel not in names:
        words = f"lot {asked.lot} has no core {asked.channel!r}; "
        raise CommandError(words + choice(asked.channel, names), BAD_COMMAND)
    if _ended(asked.lot, journal):
        raise CommandError(f"lot {asked.lot} is over", CHECK_FAILED)
    try:
        duration(asked.settling)
    except ValueError as error:
        raise CommandError(f"--settling: {error}", BAD_COMMAND) from None
    words = asked.text.strip()
    if moving.ANOTHER.search(words):
        raise CommandError("say by --replaced that it is another probe", BAD_COMMAND)
    if asked.replaced:
        probes = {one.channel: one.bound_to for one in settings.probes}
        said = moving.another(probes.get(asked.channel, ""))
        words = "; ".join(filter(None, [said, words]))
    return moving.text_of(asked.settling, words), asked.channel


def _spots(
    asked: argparse.Namespace, settings: Settings, journal: Journal, now_ms: int
) -> tuple[str, str]:
    """The text of a set of spot checks, with what it bears out, and the stage."""
    cook = journal.cook(asked.lot)
    assert cook is not None
    stage = "" if _ended(asked.lot, journal) else _stage(asked.lot, journal)
    if asked.of and not any(
        one.event.subject == "stage" and one.event.name == asked.of
        for one in journal.events(asked.lot)
    ):
        words = f"--of: lot {asked.lot} has come to no stage {asked.of!r}"
        raise CommandError(words, BAD_COMMAND)
    stage = asked.of or stage
    schedule = read_schedule(cook.schedule_path, cook.schedule)
    taken = by_hand.Taken(asked.pieces, asked.instrument.strip(), asked.within, stage)
    known = schedule if isinstance(schedule, Schedule) else None
    try:
        text = by_hand.text_of(taken, settings.thermometers, known, now_ms)
    except by_hand.SetError as error:
        words = f"{OPTIONS[error.field]}: {error}"
        raise CommandError(words, BAD_COMMAND) from None
    print(text)
    return text, stage


def lots(settings: Settings) -> int:
    """List every lot, when it began, and whether it has ended."""
    from daemon.addendum import stored

    with machine_faults(), journal_of(settings) as journal:
        for cook in journal.cooks():
            events = journal.events(cook.lot)
            state = "going on"
            if any(e.event.subject == "cook" for e in events):
                state = "ended"
            elif isinstance(read_schedule(cook.schedule_path, cook.schedule), list):
                state = "on hold: this version does not understand its schedule"
            words = f"{cook.lot}\t{cook.smokehouse}\t{state}\t{len(events)} events"
            if added := len(stored(cook.lot, journal)):
                words += f"\t{added} addenda" if added > 1 else "\t1 addendum"
            print(words)
    return GOOD


def record(lot: str, settings: Settings) -> int:
    """Write the signed record of a lot and its PDF; say where they are."""
    from daemon import dossier, keys, pdf
    from daemon import record as records
    from daemon.addendum import stored
    from daemon.outbox import Outbox

    now_ms = clock_of(settings.pace).now_ms()
    with machine_faults(), journal_of(settings) as journal:
        device = keys.load(settings.key)
        if stored(lot, journal):
            words = (
                f"lot {lot}: its record has addenda and stays as it is; if the file "
                f"is lost, bring it back from a copy\n  fumarium addendum {lot}"
            )
            raise CommandError(words, CHECK_FAILED)
        found = dossier.gather(
            journal, Outbox(journal, {}), lot, site=settings.site, closed_ms=now_ms
        )
        if isinstance(found, list):
            raise CommandError("\n".join(found), CHECK_FAILED)
        sealed = records.write(found, device)
        folder = settings.records
        folder.mkdir(parents=True, exist_ok=True)
        written = {
            folder / f"{lot}.public.pem": device.public().pem(),
            folder / f"{lot}.record.jsonl": sealed,
            folder / f"{lot}.record.pdf": pdf.write(
                found, sealed, device, settings.zone
            ),
        }
        for path, octets in written.items():
            write_whole(path, octets)
            print(path)
    return GOOD


def verify(file: Path, public: Path) -> int:
    """Verify a record, an addendum, or the PDF of one, by a public key alone."""
    from daemon import keys
    from daemon.addendum import NAME
    from daemon.verify import PDF
    from daemon.verify import verify as verify_record
    from daemon.verify_addendum import is_addendum, verify_addendum, verify_paper

    try:
        octets, pem = file.read_bytes(), public.read_bytes()
        if octets.startswith(PDF) and NAME in file.name:
            report = verify_paper(octets, pem)
        elif is_addendum(octets):
            folder = file.parent.glob("*.jsonl")
            report = verify_addendum(octets, pem, [one.read_bytes() for one in folder])
        else:
            report = verify_record(octets, pem)
    except OSError as error:
        words = f"{error.filename}: cannot be read: {error.strerror}"
        raise CommandError(words, BAD_FILE) from error
    except keys.DeviceKeyError as error:
        raise CommandError(f"{public}: {error}", BAD_FILE) from error
    for failure in report.failures:
        print(f"{failure.kind}: {failure.words}")
    print(report.summary)
    return GOOD if report.good else CHECK_FAILED


def _stage(lot: str, journal: Journal) -> str:
    """The stage that goes on now, as far as the journal says."""
    events = [noticed.event for noticed in journal.events(lot)]
    begun = (e.name for e in reversed(events) if e.subject == "stage")
    return next(begun, "")


def _ended(lot: str, journal: Journal) -> bool:
    """Whether the end of the cook has been entered, or has come."""
    entered = any(k.entry.kind is EntryKind.END for k in journal.entries(lot))
    return entered or any(e.event.subject == "cook" for e in journal.events(lot))


def _must_be_channel(name: str, lot: str, journal: Journal) -> None:
    cook = journal.cook(lot)
    known = [channel.name for channel in cook.channels] if cook else []
    if cook and name not in known:
        words = f"--left-out: say by --about which channel: {', '.join(known)}"
        raise CommandError(words, BAD_COMMAND)


def _must_be_doubted(about: str, lot: str, journal: Journal) -> None:
    events = [noticed.event for noticed in journal.events(lot)]
    stands = next((e.now for e in reversed(events) if e.name == spot_sets.NAME), "")
    if stands != spot_sets.BELOW:
        words = f"--lift: no set by hand leaves anything of lot {lot} unproven"
        raise CommandError(words, CHECK_FAILED)
    limits = (Standing.UNPROVEN, Standing.MET)
    known = {e.name for e in events if e.subject is Subject.STAGE}
    known |= {
        e.name.split(": ")[0]
        for e in events
        if e.subject == Subject.LIMIT and e.now in limits
    }
    if about not in known:
        choice_of = ", ".join(sorted(known))
        words = f"--lift: say by --about for which stage or limit: {choice_of}"
        raise CommandError(words, BAD_COMMAND)


def _must_be_alert(number: int, journal: Journal) -> None:
    from daemon.outbox import Outbox

    numbers = [alert.number for alert in Outbox(journal, {}).open_alerts()]
    if number not in numbers:
        known = ", ".join(map(str, numbers)) or "none"
        raise CommandError(f"no alert {number} is open; open are: {known}", BAD_COMMAND)


def _begin(
    asked: argparse.Namespace, settings: Settings, journal: Journal, now_ms: int
) -> int:
    if not LOT.match(asked.lot):
        right = "letters, digits, dots, dashes and underlines, at most 64"
        raise CommandError(f"{asked.lot!r} is no name for a lot: {right}", BAD_COMMAND)
    schedule, text = schedule_at(asked.schedule)
    if asked.sheet:
        schedule, text = formulate.bound_at(asked.schedule, text, asked.sheet)
    smokehouse, channels = _smokehouse(asked.smokehouse, settings)
    if lacking := engine.lacking(engine.plan(schedule, channels)):
        words = "\n".join(f"{smokehouse}: {one}" for one in lacking)
        raise CommandError(words, BAD_FILE)
    contacts = {rule.tell for rule in schedule.alert_rules}
    contacts |= {rule.then_tell for rule in schedule.alert_rules if rule.then_tell}
    known = list(settings.contacts)
    if strangers := sorted(contacts - set(known)):
        words = "\n".join(
            f"the schedule tells {name!r}, whom the settings do not know; "
            f"{choice(name, known) if known else 'add the contact to the settings'}"
            for name in strangers
        )
        raise CommandError(words, BAD_FILE)
    cook = Cook(
        lot=asked.lot,
        smokehouse=smokehouse,
        schedule=text,
        schedule_path=asked.schedule.name,
        channels=channels,
        begun_ms=now_ms,
        who=asked.who,
    )
    try:
        journal.begin(cook, now_ms)
    except JournalError as error:
        if error.trouble is not Trouble.LOT:
            raise
        raise CommandError(str(error), CHECK_FAILED) from error
    for limit in schedule.limits:
        if limit.weakens:
            print(
                f"note: limit {limit.name!r} is weaker than its base: {limit.weakens}"
            )
    for probe in settings.probes:
        if probe.smokehouse == smokehouse and (words := due(probe, now_ms)):
            print(f"note: {words}")
    print(f"lot {asked.lot}: {schedule.title}, revision {schedule.revision}, begun")
    return GOOD


def _smokehouse(name: str, settings: Settings) -> tuple[str, tuple[Channel, ...]]:
    names = settings.smokehouses
    if not name and len(names) == 1:
        name = names[0]
    if name not in names:
        right = f"give --smokehouse with one of: {', '.join(names)}"
        raise CommandError(right, BAD_COMMAND)
    return name, settings.channels(name)


def unknown_lot(lot: str, journal: Journal) -> str:
    """Say which lots there are instead."""
    known = ", ".join(cook.lot for cook in journal.cooks()) or "none yet"
    return f"there is no lot {lot!r}; there are: {known}"


def write_whole(path: Path, octets: bytes) -> None:
    """Write a file so that it is there as a whole or not at all."""
    partly = path.with_name(path.name + ".partly")
    partly.write_bytes(octets)
    partly.replace(path)


@contextlib.contextmanager
def journal_of(settings: Settings) -> Iterator[Journal]:
    """The journal of the settings, made if there is none, closed afterwards."""
    settings.journal.parent.mkdir(parents=True, exist_ok=True)
    journal = Journal(settings.journal)
    try:
        yield journal
    finally:
        journal.close()
