"""Alerts: which events people are told, in what words, and how an alert lives.

An *alert* is one condition (a limit of a lot, a channel, trouble of the site) that
somebody has to answer.  It has the states of ISA-18.2 / IEC 62682 (the words are
from memory, to be verified: the text of the standards was not at hand).

Rule 1: every move of an alert is in ``NEXT``, in this file.
Rule 2: people are told anew at once on ``WORSE`` and on nothing else; what hovers
around a limit is one alert, however often it comes and goes.
Rule 3: an alert is repeated until it is acknowledged, also when the condition has
returned to normal; good news (a limit met, a stage begun) asks for no answer and
is told once.
Rule 4: there is no clock here; times come in as values.

Units: ``_ms`` milliseconds since 1970-01-01T00:00:00Z, or a length of time.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum, StrEnum
from typing import NamedTuple

from rules import signs
from rules.facts import QUIET, Event, Standing, Subject
from rules.moving import MOVED
from rules.together import TOGETHER_MS

# An alert that went away and came back within this time is the same alert: our
# choice, five times the 60 s off-delay that ISA-18.2 is said to start with for a
# temperature (from memory, to be verified).  It quiets a phone only: the events
# and the record keep every crossing.
OFF_DELAY_MS = 300_000

FIRST_BACK_OFF_MS = 10_000
LONGEST_BACK_OFF_MS = 300_000

MISSING = "missing"  # numbered samples that never came; their hole is judged as one
# What a channel is when nothing is wrong with it; any other word is trouble.
WELL = frozenset({"", "reporting", "within", "judged", MISSING, MOVED})


class AlertState(StrEnum):
    """How an alert stands, in the words of ISA-18.2 (from memory, to be verified)."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned to normal, unacknowledged"


class Signal(StrEnum):
    """What can happen to an alert."""

    WORSE = "new or worse"
    SAME = "no worse than was told"
    CLEAR = "normal again"
    ACKNOWLEDGE = "acknowledged"
    NOTED = "worth knowing, no answer needed"


NORMAL, UNACKNOWLEDGED, ACKNOWLEDGED, RETURNED = AlertState
WORSE, SAME, CLEAR, ACKNOWLEDGE, NOTED = Signal

NEXT = {
    (NORMAL, WORSE): UNACKNOWLEDGED,
    (NORMAL, SAME): ACKNOWLEDGED,  # it chatters, and somebody has seen it
    (NORMAL, CLEAR): NORMAL,
    (NORMAL, ACKNOWLEDGE): NORMAL,
    (NORMAL, NOTED): NORMAL,
    (UNACKNOWLEDGED, WORSE): UNACKNOWLEDGED,
    (UNACKNOWLEDGED, SAME): UNACKNOWLEDGED,
    (UNACKNOWLEDGED, CLEAR): RETURNED,
    (UNACKNOWLEDGED, ACKNOWLEDGE): ACKNOWLEDGED,
    (UNACKNOWLEDGED, NOTED): UNACKNOWLEDGED,
    (ACKNOWLEDGED, WORSE): UNACKNOWLEDGED,  # what was seen was something less
    (ACKNOWLEDGED, SAME): ACKNOWLEDGED,
    (ACKNOWLEDGED, CLEAR): NORMAL,
    (ACKNOWLEDGED, ACKNOWLEDGE): ACKNOWLEDGED,
    (ACKNOWLEDGED, NOTED): ACKNOWLEDGED,
    (RETURNED, WORSE): UNACKNOWLEDGED,
    (RETURNED, SAME): UNACKNOWLEDGED,
    (RETURNED, CLEAR): RETURNED,  # a return does not replace an answer
    (RETURNED, ACKNOWLEDGE): NORMAL,
    (RETURNED, NOTED): RETURNED,
}

# The states in which somebody still has to answer.
CALLING = frozenset({UNACKNOWLEDGED, RETURNED})


class Severity(IntEnum):
    """How bad a condition is; a worse one is told at once."""

    NORMAL = 0
    AT_RISK = 1
    TROUBLE = 2  # a probe or the site: evidence is being lost
    UNPROVEN = 3
    DEVIATION = 4
    MISSED = 5


SEVERITIES = {
    Standing.WAITING: Severity.NORMAL,
    Standing.WITHIN: Severity.NORMAL,
    Standing.AT_RISK: Severity.AT_RISK,
    Standing.DEVIATION: Severity.DEVIATION,
    Standing.MET: Severity.NORMAL,
    Standing.MISSED: Severity.MISSED,
    Standing.UNPROVEN: Severity.UNPROVEN,
}

# The words of a rule's ``when`` that ask for a limit's standing.  Alerts go by the
# least favourable truth, so who asks for a deviation hears of what may be one.
ASKED_BY = {
    Standing.WAITING: frozenset[str](),
    Standing.WITHIN: frozenset[str](),
    Standing.AT_RISK: frozenset({"at risk"}),
    Standing.DEVIATION: frozenset({"deviation"}),
    Standing.MET: frozenset({"met"}),
    Standing.MISSED: frozenset({"missed", "deviation"}),
    Standing.UNPROVEN: frozenset({"unproven", "deviation"}),
}
PROBE_FAULT = frozenset({"probe fault"})
STAGE = frozenset({"stage"})
# An early sign wakes whoever asks for what is at risk, or is only worth knowing.
SIGNS = {
    str(sign): frozenset({"at risk"}) if sign in signs.WAKES else STAGE
    for sign in signs.Sign
    if sign
}
WHEN = frozenset[str]().union(PROBE_FAULT, STAGE, *ASKED_BY.values())


class Outcome(StrEnum):
    """What became of one notice; only ``SENT`` counts as told."""

    SENT = "sent"
    FAILED = "failed"
    NO_MATCH = "no match"  # the address leads to nobody


@dataclass(frozen=True, slots=True)
class AlertRule:
    """Who is told of what, how often again, and who else if nobody answers."""

    tell: str
    when: frozenset[str]  # words of WHEN
    again_ms: int  # 0 tells once
    then_ms: int = 0  # 0 tells nobody else
    then_tell: str = ""


class Notice(NamedTuple):
    """One message to one contact, ready to be sent."""

    alert: int
    contact: str
    title: str
    body: str
    tries: int  # how often sending it has failed since it last went out
    telling: int = 0  # which of the alert's tellings it serves


class Words(NamedTuple):
    """What an alert says."""

    title: str
    body: str


class Telling(NamedTuple):
    """That a contact is to be told of an alert, from when, and how often."""

    contact: str
    first_ms: int
    again_ms: int  # 0 tells once


class Tried(NamedTuple):
    """One attempt at a telling."""

    at_ms: int
    outcome: Outcome


class Condition(NamedTuple):
    """What is remembered of one limit, channel or trouble between two events."""

    abnormal: tuple[str, ...] = ()  # the standings of all channels that are not well
    peak: Severity = Severity.NORMAL  # the worst that was told of late
    dropped_ms: int = 0  # when it last became less than that


def severity(subject: Subject, now: str) -> Severity:
    """How bad it is that a subject is ``now`` what it is."""
    if subject is Subject.LIMIT:
        return SEVERITIES[Standing(now)]
    if subject is Subject.CHANNEL and now not in WELL:
        return Severity.TROUBLE
    if subject is Subject.SIGN and now in signs.WAKES:
        return Severity.AT_RISK
    return Severity.NORMAL


def wanted(rule: AlertRule, event: Event) -> bool:
    """Whether the rule asks to be told of the event."""
    if event.subject is Subject.LIMIT:
        asked_by = ASKED_BY[Standing(event.now)]
    elif event.subject is Subject.CHANNEL:
        asked_by = frozenset[str]() if event.now in WELL else PROBE_FAULT
    elif event.subject is Subject.SIGN:
        asked_by = SIGNS.get(event.now, frozenset[str]())
    else:
        asked_by = STAGE | ({event.now} & {Standing.AT_RISK})
    return not rule.when.isdisjoint(asked_by)


def follow(
    condition: Condition, event: Event, *, asked: bool, joined: bool = False
) -> tuple[Condition, Signal | None]:
    """Take one event of a condition; answer what it means for the alert.

    ``asked`` says whether any rule wants the event.  A limit has a standing for
    every channel, and so have channels that ``joined`` (``rules.together``): it is
    normal again when none of them is abnormal any more.
    """
    bad = severity(event.subject, event.now)
    before = _worst(event.subject, condition.abnormal)
    peak = condition.peak
    if before < peak and event.at_ms - condition.dropped_ms > OFF_DELAY_MS:
        peak = before

    abnormal = list(condition.abnormal)
    if event.was in abnormal:
        abnormal.remove(event.was)
    # Another silence under the same name, and not of the same moment.
    anew = event.subject is Subject.CHANNEL and bool(abnormal) and not joined
    if bad:
        abnormal.append(event.now)
    signal = None  # nobody asked, or other channels are still abnormal
    if bad and asked and (bad > peak or anew):
        signal, peak = WORSE, bad
    elif bad and bad <= peak:
        signal = SAME
    elif not abnormal:
        signal = CLEAR
    after = _worst(event.subject, abnormal)
    dropped = after < peak <= before
    dropped_ms = event.at_ms if dropped else condition.dropped_ms
    return Condition(tuple(sorted(abnormal)), peak, dropped_ms), signal


def tellings(
    rules: Sequence[AlertRule], event: Event, now_ms: int, earlier: Sequence[Telling]
) -> list[Telling]:
    """Who is to be told of the event, one telling a contact.

    ``earlier`` are the alert's tellings that nobody has answered: a worse standing
    never puts off a second person who was already due.
    """
    asked: dict[str, Telling] = {}

    if event.subject is Subject.CHANNEL and event.now == QUIET:
        now_ms += TOGETHER_MS  # until then others may join it

    def ask(contact: str, first_ms: int, again_ms: int) -> None:
        other = asked.get(contact)
        if other:
            first_ms = min(first_ms, other.first_ms)
            again_ms = min(filter(None, (again_ms, other.again_ms)), default=0)
        asked[contact] = Telling(contact, first_ms, again_ms)

    for rule in rules:
        if not wanted(rule, event):
            continue
        ask(rule.tell, now_ms, rule.again_ms)
        if rule.then_ms and severity(event.subject, event.now):
            due = [one.first_ms for one in earlier if one.contact == rule.then_tell]
            first_ms = min([*due, now_ms + rule.then_ms])
            ask(rule.then_tell, first_ms, rule.again_ms)
    return list(asked.values())


def due_ms(telling: Telling, tried: Sequence[Tried], *, repeats: bool) -> int | None:
    """When the contact is to be told next; None when that is never."""
    if not tried:
        return telling.first_ms
    failed = failures(tried)
    if failed:
        return tried[-1].at_ms + back_off_ms(failed)
    if repeats and telling.again_ms:
        return tried[-1].at_ms + telling.again_ms
    return None


def failures(tried: Sequence[Tried]) -> int:
    """How many attempts have failed since the last that succeeded."""
    failed = 0
    for one in reversed(tried):
        if one.outcome is Outcome.SENT:
            break
        failed += 1
    return failed


def back_off_ms(failed: int) -> int:
    """How long to wait after so many failures: 10 s, 20 s, 40 s ... 5 min."""
    # The exponent is held down: an alert may fail for weeks.
    return min(FIRST_BACK_OFF_MS << min(failed - 1, 10), LONGEST_BACK_OFF_MS)


def words(
    event: Event, lot: str, smokehouse: str = "", remedies: Sequence[str] = ()
) -> Words:
    """The title and body that tell a person what happened, where, and what to do."""
    what = f"{event.name} {event.now}".strip()
    if event.subject is Subject.SIGN:
        what = f"{event.now}, {event.name}"
    elif event.subject in (Subject.STAGE, Subject.CHANNEL) and lot:
        what = f"{event.subject} {what}"
    places = [f"lot {lot}"] if lot else []
    if smokehouse:
        places.append(f"smokehouse {smokehouse}")
    lines = [event.why]
    if remedies and severity(event.subject, event.now):
        lead = "If it is missed" if event.now == Standing.AT_RISK else "Now"
        lines.append(f"{lead}: {'; '.join(remedies)}.")
    title = f"{what}: {', '.join(places)}" if places else what
    return Words(title, "\n".join(lines))


def words_together(
    event: Event, silent: Sequence[str], lot: str, smokehouse: str = ""
) -> Words:
    """The title and body for channels that fell silent together.

    ``event`` is the silence of one of them, or its end; ``silent`` are those that are
    silent now.
    """
    those = ", ".join(silent)
    what = f"channel{'s' if len(silent) > 1 else ''} {those} quiet"
    body = (
        f"{those}: {event.why}. They fell silent together: look first at what they "
        "share, such as a cable, a receiver or its power."
    )
    if event.now != QUIET:
        body = f"{event.name} was {event.why}. Still silent: {those}."
    places = [f"lot {lot}", *([f"smokehouse {smokehouse}"] if smokehouse else [])]
    return Words(f"{what}: {', '.join(places)}", body)


def closing(number: int, state: AlertState, *, told: bool) -> str:
    """The last line of a notice: which alert it is, and that it waits for an answer."""
    lines = []
    if state is RETURNED:
        lines.append("It has returned to normal since.")
    again = "Told before, still not acknowledged" if told else "Not acknowledged"
    lines.append(f"Alert {number}. {again}.")
    return "\n".join(lines)


def _worst(subject: Subject, standings: Sequence[str]) -> Severity:
    return max((severity(subject, now) for now in standings), default=Severity.NORMAL)
