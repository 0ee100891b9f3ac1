"""What a doubt says to a person at the smokehouse: what was seen, and what to do.

Units: ``_mc`` and ``_ms`` as in ``rules.facts``.
"""

from probes.doubts import Doubt
from probes.watch import Watch
from rules.channels import Channel, Role
from rules.facts import Reading
from rules.units import say_mc, say_ms


def words(channel: Channel, watch: Watch, doubt: str, reach: str) -> str:
    """Why a channel is doubted, and until when; ``reach`` is how far it can go."""
    now_mc, since_ms = watch.digits.value_mc, watch.doubted.since_ms
    value, path = say_mc(now_mc), say_mc(watch.path.value_mc)
    moved = f"{path} became {value} in {say_ms(watch.digits.at_ms - watch.path.at_ms)}"
    written = f"a note about {channel.name} says what was done to the probe"
    again = f"not used until it is near {path} again, or {written}"
    other = "a core" if channel.role is Role.CHAMBER else "the chamber"
    still = say_ms(since_ms - watch.digits.same_ms)
    if doubt == Doubt.JUMP and channel.role not in (Role.CORE, Role.MEAT):
        return f"{moved}, farther than {reach}; not used until it can have got there"
    return {
        Doubt.POWER_ON: (
            "exactly 85.0 degC is what a sensor says that has lost its power and not "
            "measured since; not used until it says something else; look at its cable"
        ),
        Doubt.RANGE: (
            f"{value} is nothing that {channel.role} can be; not used until it says "
            "something else; look at the probe and its cable"
        ),
        Doubt.ZERO: (
            f"exactly 0.0 degC after {path} is how a broken wire reads; {again}"
        ),
        Doubt.JUMP: f"{moved}, and no meat goes farther than {reach}; {again}",
        Doubt.UNIT: f"{moved}: the same in the other of degC and degF; {again}",
        Doubt.FROZEN: (
            f"{value} to the last digit for {still}, from a probe that was never "
            "still before; not used until it moves; what it said meanwhile was counted"
        ),
        Doubt.COARSE: (
            f"it says whole steps only, {value} at last, and said finer ones before: "
            "is its plug damp? not used until it says finer steps again; what it said "
            "meanwhile was counted"
        ),
        Doubt.ROUGH: (
            f"it says halves or whole degrees only, {value} at last, and said finer "
            "steps before: did it lose its power? used, with that much more doubt"
        ),
        Doubt.SWAPPED: (
            f"it says what {other} should: are the two exchanged, or is the meat in "
            f"hot water that no bath probe tells of? not used until {written}"
        ),
        Doubt.PULLED_OUT: (
            f"{moved}, towards the chamber and faster than any meat: is it out of the "
            f"meat? {again}"
        ),
        Doubt.IN_AIR: (
            "for 10 min it has done what the chamber did: is it in the meat? not used "
            f"until it was elsewhere than the chamber for 5 min, or {written}"
        ),
        Doubt.TOUCHING: (
            f"{value}, and rising as {watch.fell.core} does, which such air cannot "
            "warm so: does it touch the meat? look before you add heat; not used until "
            f"it has left {watch.fell.core}, or {written}"
        ),
    }[Doubt(doubt)]


def back_words(watch: Watch, reading: Reading) -> str:
    """That a channel in doubt is trusted again."""
    ms = reading.at_ms - watch.doubted.since_ms
    return f"back at {say_mc(reading.value_mc)} after {say_ms(ms)} in doubt"


def heard_words(watch: Watch, reading: Reading) -> str:
    """That a source which told of a fault gives values again."""
    ms = reading.at_ms - watch.fault.since_ms
    return f"says {say_mc(reading.value_mc)} after {say_ms(ms)} without a value"
