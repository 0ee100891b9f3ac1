"""The words the parts speak to each other: what a probe says, what a limit answers.

Every value is frozen and holds integers in one unit, so that it can be compared
exactly and signed as it stands.  They are tuples because one is made for every
reading.

Units: ``_mc`` thousandths of a degree Celsius (of a percent, on a humidity
channel); ``_ms`` milliseconds since 1970-01-01T00:00:00Z.
"""

from enum import StrEnum
from typing import NamedTuple


class Quality(StrEnum):
    """What a reading may be used for."""

    GOOD = "good"  # evidence
    AGE_UNKNOWN = "age unknown"  # retained, or it waited without a time of its own
    CLOCK_UNSET = "clock unset"  # stamped before the board knew the time
    SUSPECT = "suspect"  # no working probe in its place could give it


class Reading(NamedTuple):
    """One value from one channel, at the time the probe gave it.

    Only a ``GOOD`` reading is evidence; the others are kept and shown.
    """

    channel: str
    at_ms: int
    value_mc: int
    uncertainty_mc: int  # the true value lies within this much, either way
    quality: Quality = Quality.GOOD
    received_ms: int = 0  # when it came here; 0 where nobody received it (a trace)


class EntryKind(StrEnum):
    """What a person can write."""

    BEGIN = "begin"  # a cook; body holds the schedule's text
    NEXT_STAGE = "next stage"
    END = "end"  # of the cook, before its last stage is over
    ACKNOWLEDGE = "acknowledge"  # an alert
    CORRECTIVE_ACTION = "corrective action"
    NOTE = "note"
    LEFT_OUT = "left out"  # what a probe says is no evidence; about holds its channel
    ADDENDUM = "addendum"  # to a sealed record; text holds the signed lines
    SPOT_CHECK = "spot check"  # of pieces by hand, one set: see ``rules.spots``
    LIFTED = "lifted"  # what sets left unproven of a stage or limit; text says why
    MOVED = "moved"  # a probe, to another piece: see ``rules.moving``
    LATE = "late"  # from when another entry acts; about holds that one's number


class Entry(NamedTuple):
    """What a person wrote: when it happened, when it was written, and who wrote it."""

    kind: EntryKind
    at_ms: int  # when it happened
    entered_ms: int  # when it was written down
    who: str
    text: str = ""
    about: str = ""  # the limit, stage, channel or alert it is about


class Tick(NamedTuple):
    """The shell's word that no fact from before this time is still to come."""

    at_ms: int


Fact = Reading | Entry | Tick


class Subject(StrEnum):
    """What an event is about."""

    COOK = "cook"
    STAGE = "stage"
    LIMIT = "limit"
    CHANNEL = "channel"
    SIGN = "sign"  # what a channel shows early, of the fire, door, bath or surface


# What a channel is, in an event: not heard yet, heard, or silent for too long.
WAITING, REPORTING, QUIET = "waiting", "reporting", "quiet"
NOT_COLD = "not seen cold"  # a core, where the product begins: see ``rules.beginning``


class Event(NamedTuple):
    """Something that became true, at the time it became true.

    Two events with the same ``key`` are the same event: a replay that meets it
    again adds nothing.
    """

    at_ms: int
    subject: Subject
    name: str  # of the cook, stage, limit or channel
    channel: str  # whose evidence decided; "" where no single channel did
    was: str
    now: str
    why: str  # one sentence a person understands

    @property
    def key(self) -> tuple[int, str, str, str, str]:
        """What makes this event itself and no other."""
        return (self.at_ms, self.subject, self.name, self.channel, self.now)


class Standing(StrEnum):
    """How a limit stands now."""

    WAITING = "waiting"  # its stages have not begun
    WITHIN = "within"
    AT_RISK = "at risk"
    DEVIATION = "deviation"
    MET = "met"
    MISSED = "missed"
    UNPROVEN = "unproven"


class Verdict(StrEnum):
    """What the evidence proves of a limit."""

    MET = "met"
    MISSED = "missed"
    UNPROVEN = "unproven"
    RUNNING = "running"  # it can still change


# The first decides.
GRAVEST = (Verdict.MISSED, Verdict.UNPROVEN, Verdict.RUNNING, Verdict.MET)


class Finding(NamedTuple):
    """What one channel's evidence shows of one limit, with both bounds.

    ``least`` is the figure under the least favourable truth that the evidence
    allows, ``most`` under the most favourable; which of the two is the larger
    number depends on the kind of limit.
    """

    limit: str
    part: str  # of a limit with several (a cooling band); "" where it has one
    channel: str
    standing: Standing
    verdict: Verdict
    since_ms: int  # when the standing became true
    unit: str  # of the three figures: "ms", "mc", "mlog10"
    required: int
    least: int
    most: int
    why: str
    lose_ms: int = 0  # when it is lost if nothing changes; 0 where that has no answer
