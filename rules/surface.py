"""What there is of the surface's humidity: lethality is never said by the core alone.

Whatever says how a limit of lethality stands carries these words at its end, after
``MARK``: every finding and verdict, so the record, its addenda, the page and what a
rehearsal prints do; and every event that proves or disproves one, so an alert does.

A casing that holds moisture takes the question away only where the product is not dried
before it is cooked, which no reading shows: it is said as what the schedule says.

Source: FSIS-GD-2021-14, the three critical operating parameters, and table 5, gap 5.
"""

from collections.abc import Iterable, Sequence

from rules import poultry
from rules.crosscheck import LETHAL
from rules.facts import GRAVEST, Finding, Standing, Verdict
from rules.schedule import Schedule
from rules.standards.humidity import EXEMPT, EXEMPT_SOURCE

HUMID = "humidity"
NONE = "no humidity evidence"
MARK = "; surface: "
PROVEN = (Standing.MET, Standing.MISSED, Standing.UNPROVEN)


def lethal(schedule: Schedule) -> frozenset[str]:
    """The names of the limits that say something of lethality."""
    return frozenset(_named(schedule, *LETHAL))


def ahead(schedule: Schedule) -> str:
    """What an event says, which cannot know what is proven later: where to look."""
    names = [repr(name) for name in _named(schedule, HUMID)]
    return f"{MARK}see {' and '.join(names)}" if names else f"{MARK}{_absent(schedule)}"


def beside(schedule: Schedule, findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """The findings, those of lethality with the poultry's target and the humidity."""
    names = lethal(schedule)
    humid = f"{MARK}{humidity(schedule, findings)}" if names else ""
    meat = schedule.product.meat
    words = {
        one.name: f"{poultry.words(meat, one.kind)}{humid}"
        for one in schedule.limits
        if one.name in names
    }
    return tuple(
        one._replace(why=one.why + words.get(one.limit, "")) for one in findings
    )


def humidity(schedule: Schedule, findings: Sequence[Finding]) -> str:
    """The verdict of every humidity limit; or that there is none, and who says why."""
    words = []
    for name in _named(schedule, HUMID):
        found = [one.verdict for one in findings if one.limit == name]
        worst = min(found, key=GRAVEST.index, default=Verdict.UNPROVEN)
        words.append(f"{name} {worst}")
    return "; ".join(words) or _absent(schedule)


def summary(whys: Iterable[str]) -> str:
    """What a summary of a whole lot says beside lethality, from what its limits say."""
    found = next((tail(why) for why in whys if tail(why)), "")
    return found.replace(MARK, "; beside lethality, of the surface: ", 1)


def tail(why: str) -> str:
    """What is said of the surface at the end of what is said of a limit, or ""."""
    return "".join(why.partition(MARK)[1:])


def _absent(schedule: Schedule) -> str:
    casing = schedule.product.casing
    if casing in EXEMPT:
        return f"{NONE}; the schedule says casing: {casing} ({EXEMPT_SOURCE})"
    return NONE


def _named(schedule: Schedule, *kinds: str) -> list[str]:
    return [one.name for one in schedule.limits if one.kind in kinds]
