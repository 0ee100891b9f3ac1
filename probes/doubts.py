"""Every way in which a probe can fail its readings: the table.

``TABLE`` says of each what gives it away, and what becomes of what the probe says.
What is *refused* gave no value that could be kept.  What is *suspect* is kept and
shown, and proves nothing: to every limit it is a hole, which earns no credit and may
hold any risk.  What is *good* is evidence all the same, and the doubt a warning; where
the doubt is of its steps, it is kept with one step more of uncertainty.

Nothing that is in the journal is ever changed: no doubt reaches back to readings that
were kept before it was noticed.  The reason of a refusal that tells of one of these
begins with its name and a colon.
"""

from enum import StrEnum
from typing import NamedTuple


class Doubt(StrEnum):
    """Why a probe cannot be believed."""

    OPEN = "open circuit"
    SHORT = "short circuit"
    CHECKSUM = "bad checksum"
    POWERLESS = "too little power"
    AHEAD = "clock ahead"
    ANOTHER = "another probe"
    RANGE = "out of range"
    POWER_ON = "power-on value"
    ZERO = "dead zero"
    JUMP = "impossible jump"
    UNIT = "wrong unit"
    FROZEN = "frozen"
    COARSE = "coarse steps"
    ROUGH = "resolution lost"
    SWAPPED = "swapped"
    PULLED_OUT = "pulled out"
    IN_AIR = "in the air"
    TOUCHING = "touching the meat"
    BATTERY = "battery low"
    REPLACED = "probe replaced"


class Treated(StrEnum):
    """What becomes of what a probe in doubt says."""

    REFUSED = "refused"
    SUSPECT = "suspect"
    GOOD = "good"


class Rule(NamedTuple):
    """One doubt: how it shows, how its readings are treated, and what ends it."""

    shows: str
    treated: Treated
    ends: str


SAYS_AGAIN = "it says a value again"
SAYS_ELSE = "it says something else"
FINER = "3 finer values in a row"
WRITTEN = "it is near where it was, or a person has written about it"

TABLE: dict[Doubt, Rule] = {
    Doubt.OPEN: Rule("the source's own sign or code", Treated.REFUSED, SAYS_AGAIN),
    Doubt.SHORT: Rule("the source's own sign or code", Treated.REFUSED, SAYS_AGAIN),
    Doubt.CHECKSUM: Rule("the source says so", Treated.REFUSED, SAYS_AGAIN),
    Doubt.POWERLESS: Rule(
        "the code of a 1-wire sensor that did not convert", Treated.REFUSED, SAYS_AGAIN
    ),
    Doubt.AHEAD: Rule(
        "its time is over 2 min after its receipt", Treated.REFUSED, SAYS_AGAIN
    ),
    Doubt.ANOTHER: Rule(
        "the hardware names itself, and is not what the settings bind the channel to",
        Treated.REFUSED,
        "the right one says a value",
    ),
    Doubt.RANGE: Rule(
        "nothing in its place can be so hot or so cold", Treated.SUSPECT, SAYS_ELSE
    ),
    Doubt.POWER_ON: Rule(
        "exactly 85.000 degC, away from where it was", Treated.SUSPECT, SAYS_ELSE
    ),
    Doubt.ZERO: Rule(
        "exactly 0.000 degC, away from where it was", Treated.SUSPECT, WRITTEN
    ),
    Doubt.JUMP: Rule(
        "farther than its place can go in the time",
        Treated.SUSPECT,
        f"{WRITTEN}; of air, when it can have got there",
    ),
    Doubt.UNIT: Rule(
        "at once the same in the other of degC and degF", Treated.SUSPECT, WRITTEN
    ),
    Doubt.FROZEN: Rule(
        "the same to the last digit for 5 min (in air 15), from a probe with noise",
        Treated.SUSPECT,
        "it moves",
    ),
    Doubt.COARSE: Rule(
        "8 changes in a row to a whole K or an even degF, from a finer probe",
        Treated.SUSPECT,
        FINER,
    ),
    Doubt.ROUGH: Rule(
        "12 changes in a row to a half K or a whole degF, from a finer probe",
        Treated.GOOD,
        FINER,
    ),
    Doubt.SWAPPED: Rule(
        "core and chamber each say what the other did, or a core warms by itself",
        Treated.SUSPECT,
        "a person has written about it",
    ),
    Doubt.PULLED_OUT: Rule(
        "a core goes towards a warmer chamber faster than meat can",
        Treated.SUSPECT,
        "it is near where it was and away from the chamber, or written about",
    ),
    Doubt.IN_AIR: Rule(
        "for 10 min a core does what the chamber does",
        Treated.SUSPECT,
        "it was elsewhere than the chamber for 5 min, or a person has written about it",
    ),
    Doubt.TOUCHING: Rule(
        "a chamber came down to a core, and rises with it though too cold to warm it",
        Treated.SUSPECT,
        "it has left the core, or a person has written about it",
    ),
    Doubt.BATTERY: Rule(
        "the charge that it says is 20 % or less", Treated.GOOD, "30 % or more"
    ),
    Doubt.REPLACED: Rule(
        "the settings bind the channel to another probe than the cook began with",
        Treated.SUSPECT,
        "a person has entered that it was replaced, or the settings name the first",
    ),
}
DOUBTS = {str(doubt): doubt for doubt in Doubt}


def said(why: str) -> Doubt | None:
    """The doubt with which the reason of a refusal begins, if it is one."""
    name, colon, _ = why.partition(":")
    return DOUBTS.get(name) if colon else None
