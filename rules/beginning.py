"""A core in product that begins cold is believed once it was seen cold.

A probe that is still hot from the lot before, or from the wash, says for minutes that
cold meat is hot.  Where the product says how warm it begins at most, what a core says
before it was surely as cold once is no evidence: it earns nothing, ends no stage, and
leaves a hole that may hold any risk.  A core that never comes so low stays without
evidence, and after ``COMES_COLD_MS`` it is told what can be done.  One that a person
says was moved (``rules.moving``) begins anew and need not be cold: the cook may be warm
by then.

Units: ``_mc`` as in ``rules.facts``; ``_ms`` milliseconds since 1970-01-01T00:00:00Z.
"""

from rules import evidence, quiet
from rules.evidence import Sight
from rules.facts import NOT_COLD, QUIET, WAITING, Event, Reading, Subject
from rules.plan import Plan
from rules.units import say_mc

# Common practice, no source: a thin probe is close to the meat around it after one or
# two minutes.  What says more after this is told; it is no evidence before either.
COMES_COLD_MS = 300_000


def sights(plan: Plan, at_ms: int) -> tuple[Sight, ...]:
    """The sight of every channel of a cook that begins now."""
    asked = plan.schedule.product.begins_mc is not None
    first = evidence.opened(at_ms)
    return tuple(first._replace(cold_first=asked and core >= 0) for core in plan.cores)


def hot(plan: Plan, reading: Reading) -> bool:
    """Whether a reading may be of something warmer than the product begins."""
    begins_mc = plan.schedule.product.begins_mc
    high_mc = reading.value_mc + reading.uncertainty_mc
    return begins_mc is not None and high_mc > begins_mc


def heard(
    plan: Plan, i: int, sight: Sight, reading: Reading, end_ms: int, events: list[Event]
) -> Sight:
    """What is known of a core that spoke and is not believed; its first is told.

    ``end_ms`` is when the cook ended; 0 while it goes on.
    """
    channel, at_ms = plan.channels[i], reading.at_ms
    if quiet.fell(channel, sight, end_ms, at_ms):
        events.append(quiet.event(channel, sight))
        sight = sight._replace(quiet=True)
    if end_ms:
        return sight
    told = sight.hot_told and not sight.quiet
    if not told and (sight.quiet or at_ms - sight.at_ms >= COMES_COLD_MS):
        sight = sight._replace(hot_told=True)
        head = (at_ms, Subject.CHANNEL, channel.name, channel.name)
        was = QUIET if sight.quiet else WAITING
        events.append(Event(*head, was, NOT_COLD, _why(plan, channel.name, reading)))
    return sight._replace(settles_ms=at_ms, quiet=False)


def _why(plan: Plan, name: str, reading: Reading) -> str:
    """Why it is not believed, and what to do."""
    begins_mc = plan.schedule.product.begins_mc or 0
    said, cold = say_mc(reading.value_mc), say_mc(begins_mc)
    return (
        f"says {said} and was not yet seen at {cold} or below, where the product "
        "begins: it may be hot from the lot before; no evidence until it is seen so "
        f"cold. Where it never will be, write: fumarium moved LOT {name} --who "
        "INITIALS; a product that begins warmer says so in its schedule"
    )
