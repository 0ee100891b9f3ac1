"""``fumarium probes``: what each channel says now, and how far it can be trusted.

It reads the journal, with or without the daemon beside it, and writes nothing.  A value
is shown as it is judged; where a check corrects it, what the probe said stands behind.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from daemon.calibrations import due, ends_mc, far_from, say_check
from daemon.cli import GOOD, MACHINE, CommandError
from daemon.clock import clock_of
from daemon.commands import machine_faults
from daemon.journal import Journal
from daemon.judged import going_on
from daemon.settings import Settings
from daemon.watching import bound
from probes.contract import Probe, Refusal, battery_of
from probes.doubts import TABLE, Doubt, Treated
from probes.stamps import say_stamp
from rules import calibration
from rules.channels import Channel, Role
from rules.facts import Event, Quality, Reading, Subject
from rules.schedule import Schedule, read_schedule
from rules.units import say_ms

NAMELESS = "no identity: another probe in its place would not be noticed"
REFUSALS = 1_000  # the newest are looked through


EVIDENCE = {
    Treated.REFUSED: "no: no value is kept, only the message and why it was refused",
    Treated.SUSPECT: "no: kept and shown, and a hole to every limit",
    Treated.GOOD: "yes: a warning; lost steps are added to the uncertainty",
}


class Known(NamedTuple):
    """What the journal knows of the channels."""

    latest: dict[str, Reading]
    refused: dict[str, Refusal]
    doubted: dict[str, Event]
    judged: dict[str, Channel]  # as the cook that goes on corrects them


def show(settings: Settings) -> int:
    """Print every channel of the settings, house by house.

    Raises:
        CommandError: There is no journal yet, or it cannot be read.
    """
    if not settings.journal.exists():
        words = f"{settings.journal}: no journal yet; it begins with the daemon"
        raise CommandError(words, MACHINE)
    now_ms = clock_of(settings.pace).now_ms()
    probes = {probe.channel: probe for probe in settings.probes}
    with machine_faults():
        journal = Journal(settings.journal)
        try:
            known = _known(journal, bound(settings.probes))
            for house in settings.smokehouses:
                print(house)
                judged_mc = _judged_mc(journal, house)
                for channel in settings.channels(house):
                    for line in _lines(channel, known, now_ms):
                        print(f"  {line}")
                    for line in _battery(probes[channel.name], known, now_ms):
                        print(f"  {line}")
                    if words := due(probes[channel.name], now_ms):
                        print(f"      advice: {words}")
                    for words in far_from(channel, now_ms, judged_mc):
                        print(f"      advice: {words}")
            for words in rewritten(journal, settings):
                print(words)
        finally:
            journal.close()
    return GOOD


def doubts() -> int:
    """Print every way in which a probe can fail, and what becomes of what it says."""
    for doubt, rule in TABLE.items():
        print(doubt)
        print(f"    shows     {rule.shows}")
        print(f"    evidence  {EVIDENCE[rule.treated]}")
        print(f"    ends      {rule.ends}")
    return GOOD


def rewritten(journal: Journal, settings: Settings) -> Iterator[str]:
    """Checks by which a cook was judged and that the settings no longer hold."""
    held = {probe.channel: set(probe.checks) for probe in settings.probes}
    for cook in journal.cooks():
        for channel in cook.channels:
            for check in channel.checks:
                if check not in held.get(channel.name, {check}):
                    yield (
                        f"lot {cook.lot} was judged with {channel.name} "
                        f"{say_check(check, say_stamp)}, and the settings no longer "
                        "say so; a history is written onward, never changed"
                    )


def _known(journal: Journal, hardware: Mapping[str, str]) -> Known:
    after = max(journal.last_refusal() - REFUSALS, 0)
    refused = {one.channel: one for _, one in journal.refusals(after, REFUSALS)}
    doubted = {
        one.event.name: one.event
        for one in journal.events("")
        if one.event.subject is Subject.CHANNEL
    }
    judged = going_on(journal, hardware)
    return Known(journal.latest(), refused, doubted, judged)


def _lines(channel: Channel, known: Known, now_ms: int) -> Iterator[str]:
    name, at_ms = channel.name, now_ms
    judging = known.judged.get(name, channel)
    said = known.latest.get(name)
    if said is None:
        yield f"{name:<12} {channel.role:<9} never heard"
    else:
        judged = calibration.as_judged(judging, said)
        at_ms = said.at_ms
        yield (
            f"{name:<12} {channel.role:<9} {_say(channel, judged)}, "
            f"{say_ms((now_ms - at_ms) // 1_000 * 1_000)} ago"
            f"{_standing(channel, said, now_ms)}"
        )
        if judged.value_mc != said.value_mc:
            yield f"    said {_thousandths(said.value_mc)} degC"
    yield f"    probe {channel.probe}" if channel.probe else f"    {NAMELESS}"
    check = calibration.in_force(channel.checks, at_ms)
    used = calibration.in_force(judging.checks, at_ms)
    if used and any(one.correction_mc or one.within_mc for one in used.points):
        yield f"    {say_check(used, say_stamp)}"
    if check and check != used:
        yield f"    not used by the cook that goes on: {say_check(check, say_stamp)}"
    doubt = known.doubted.get(name)
    if doubt and doubt.now in set(Doubt):
        yield f"    {doubt.now} since {say_stamp(doubt.at_ms)}: {doubt.why}"
    if refusal := known.refused.get(name):
        yield f"    last refused {say_stamp(refusal.received_ms)}: {refusal.why}"


def _standing(channel: Channel, said: Reading, now_ms: int) -> str:
    quiet = ", QUIET" if now_ms - said.at_ms > channel.quiet_ms else ""
    used = "" if said.quality is Quality.GOOD else f", {said.quality}: no evidence"
    return quiet + used


def _say(channel: Channel, judged: Reading) -> str:
    if channel.role is Role.HUMIDITY:
        unit, doubt = "%RH", f"{_thousandths(judged.uncertainty_mc)} %RH"
    else:
        unit, doubt = "degC", f"{_thousandths(judged.uncertainty_mc)} K"
    return f"{_thousandths(judged.value_mc)} {unit} ± {doubt}"


def _thousandths(value_mc: int) -> str:
    return f"{value_mc / 1000:.3f}"


def _battery(probe: Probe, known: Known, now_ms: int) -> Iterator[str]:
    if charge := known.latest.get(battery_of(probe.channel)):
        age = say_ms((now_ms - charge.at_ms) // 1_000 * 1_000)
        yield f"    battery {charge.value_mc / 1000:.0f} %, {age} ago"


def _judged_mc(journal: Journal, house: str) -> Sequence[int]:
    """Where the cores of the house's newest cook are judged."""
    mine = [cook for cook in journal.cooks() if cook.smokehouse == house]
    if not mine:
        return ()
    found = read_schedule(mine[-1].schedule_path, mine[-1].schedule)
    return ends_mc(found) if isinstance(found, Schedule) else ()
