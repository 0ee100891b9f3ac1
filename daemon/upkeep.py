"""The commands that look after the journal: copy it, bring it back, pack it, count."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

from daemon.backup import back_up, restore
from daemon.cli import BAD_COMMAND, BAD_FILE, CHECK_FAILED, GOOD, MACHINE, CommandError
from daemon.clock import Clock, clock_of
from daemon.commands import machine_faults
from daemon.journal import Counts, Journal
from daemon.pruning import Keeping, Share
from daemon.settings import Settings

CAUTION_KEEP = (
    "9 CFR 417.5(e) asks for one year where the product is refrigerated, two where it "
    "is frozen, preserved or shelf-stable; local codes, a customer or an open case may "
    "ask for longer. The signed record itself is never removed here."
)
GONE = "no packed readings are left"
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def back_up_to(file: Path, settings: Settings) -> int:
    """Write a checked copy of the journal, while the daemon goes on."""
    with machine_faults():
        journal = Journal(settings.journal, create=False)
        try:
            counts = back_up(journal, file)
        finally:
            journal.close()
        print(f"{file}: {_counted(counts)}; {file.stat().st_size:,} bytes, checked")
    return GOOD


def restore_from(file: Path, settings: Settings, *, over: bool) -> int:
    """Make a backup the journal."""
    with machine_faults():
        settings.journal.parent.mkdir(parents=True, exist_ok=True)
        done = restore(file, settings.journal, Clock().now_ms(), over=over)
    print(f"{settings.journal}: {_counted(done.counts)}")
    if done.newest_ms:
        print(f"what came after {_utc(done.newest_ms)} is not in it")
    if done.aside:
        print(f"the journal that was there is now {done.aside}")
    return GOOD


def compact_now(settings: Settings) -> int:
    """Pack the readings that are old enough."""
    from daemon.compaction import PAUSE_S, compact, say

    with machine_faults():
        journal = Journal(settings.journal, create=False)
        try:
            now_ms = Clock().now_ms()
            done = compact(journal, now_ms, settings.compact_ms, pause_s=PAUSE_S)
        finally:
            journal.close()
    print(f"{settings.journal}: {say(done)}")
    return GOOD


def prune_now(settings: Settings, *, who: str, remove: bool) -> int:
    """Show which readings nobody has to keep any longer, and remove them if asked."""
    from daemon.compaction import size
    from daemon.pruning import keepings, prune, shares

    if remove and not who:
        raise CommandError("--who: give your initials", BAD_COMMAND)
    with machine_faults():
        journal = Journal(settings.journal, create=False)
        try:
            now_ms = clock_of(settings.pace).now_ms()
            lots = keepings(journal, settings.records, now_ms)
            going = shares(journal, lots, now_ms)
            _tell_kept(lots, going)
            before_bytes = size(journal)
            for share in going if remove else ():
                prune(journal, share, now_ms, _reason(share, lots, who))
            after_bytes = size(journal)
        finally:
            journal.close()
    if remove:
        print(f"removed; {before_bytes:,} bytes before, {after_bytes:,} after")
    elif going:
        print("nothing was removed; to remove what may go, add --remove --who INITIALS")
    print(CAUTION_KEEP)
    return GOOD


def _tell_kept(lots: Sequence[Keeping], going: Sequence[Share]) -> None:
    count = {share.lot: share.readings for share in going}
    for lot in lots:
        storage = lot.storage or "storage not said"
        until = f"to {_day(lot.until_ms)}" if lot.until_ms else "without end"
        kept = f"kept: {lot.why}"
        may_go = f"{count[lot.lot]:,} readings may go" if lot.lot in count else GONE
        print(
            f"{lot.lot}: {storage}, to be kept {until}; {kept if lot.why else may_go}"
        )
    if "" in count:
        print(f"of no lot: {count['']:,} readings may go, all older than two years")
    if not count:
        print("no readings may go")


def _reason(share: Share, lots: Sequence[Keeping], who: str) -> str:
    words = f"{share.readings} readings in {len(share.blocks)} blocks, by {who}"
    for lot in lots:
        if lot.lot == share.lot and lot.until_ms:
            words += f"; {lot.storage}, to be kept to {_day(lot.until_ms)}"
            words += f"; its record has the digest {lot.record}"
    return words


def reconcile_now(settings: Settings) -> int:
    """Count the journal and its mirror, and name what the mirror lacks."""
    from daemon.mirror import MirrorError, Target
    from daemon.reconcile import reconcile

    if settings.mirror is None:
        raise CommandError("the settings name no mirror", BAD_FILE)
    to = settings.mirror
    target = (to.url, to.organisation, to.bucket, settings.site, to.token.reveal())
    with machine_faults():
        journal = Journal(settings.journal, create=False)
        try:
            found = reconcile(journal, Target(*target))
        except MirrorError as error:
            raise CommandError(str(error), MACHINE) from error
        finally:
            journal.close()
    for side in found.sides:
        name = side.channel or "events"
        print(f"{name}: {side.journal:,} in the journal, {side.mirror:,} in the mirror")
    for gap in found.gaps:
        name, span = (
            gap.channel or "events",
            f"{_utc(gap.from_ms)} to {_utc(gap.to_ms)}",
        )
        print(f"{name}: {gap.points:,} not in the mirror, {span}")
    print("both sides are equal" if found.equal else "both sides differ")
    return GOOD if found.equal else CHECK_FAILED


def _counted(counts: Counts) -> str:
    return ", ".join(f"{count:,} {what}" for what, count in counts._asdict().items())


def _utc(at_ms: int) -> str:
    return f"{EPOCH + timedelta(milliseconds=at_ms):%Y-%m-%d %H:%M:%S} UTC"


def _day(at_ms: int) -> str:
    return f"{EPOCH + timedelta(milliseconds=at_ms):%Y-%m-%d}"
