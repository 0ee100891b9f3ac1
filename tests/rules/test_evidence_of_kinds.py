"""Every kind of limit against every way in which evidence is lost or doubted.

Each kind has one course that meets it and one that misses it, told by points of minutes
and values with straight lines between, and the minutes that decide.  In them the
readings are taken away, one way after the other, or doubted by 30 K: what was proven
is proven no more, whichever it was.  What comes late but in time is put in its place,
and changes nothing.

Source: none; what is met and missed follows from the words of each limit, by hand.
"""

from collections.abc import Callable, Sequence
from typing import NamedTuple, get_args

import pytest

from rules.channels import Channel, Role
from rules.facts import Quality, Reading, Verdict
from rules.order import Order
from rules.schedule import AnyLimit
from tests.rules.stories import BEGUN_MS, HEAD, MIN, cook, flat, judged, schedule

MET, MISSED, UNPROVEN = Verdict.MET, Verdict.MISSED, Verdict.UNPROVEN
Points = tuple[tuple[int, float], ...]
DOUBT_MC = 30_000
LATE_MS = 5 * MIN


class Case(NamedTuple):
    """One limit, one course, what it comes to, and the minutes that decide."""

    kind: str
    limit: str  # what its author writes, but for its name, kind and channel
    course: Points
    decided: Verdict
    deciding: tuple[int, int]
    role: Role = Role.CORE
    doubted: Verdict = UNPROVEN  # what a doubt of 30 K makes of it
    lost: Verdict = UNPROVEN  # what a loss does


COLD = "at or below: 7 degC"
COME_UP = "between: 10 degC and 54 degC, at most: 20 min"
SUM = "D: 60 s, z: 10 K, reference: 60 degC, target: 6.5-log10"
TABLE = 'table: "FSIS Appendix A, meat, 6.5-log10"'
COOLING = 'option: "FSIS Appendix B 1999, option 1"'
AGAIN = "option: FDA Food Code 3-403.11(A)"
MOIST = 'option: "FSIS 2021, humidity option 3 (90 %)", until: lethality'
GROWTH = 'model: "C. perfringens, cooked uncured pork, Juneja 2011", class: operating'
RATE = "rises at most: 6 K, over: 10 min"
AIR = "within: 50 degC to 70 degC, grace: 5 min"

STEP = ((0, 60), (9, 60), (10, 80), (20, 80), (21, 60), (30, 60))
CASES = [
    Case("band", AIR, ((0, 60), (30, 60)), MET, (10, 20)),
    Case("band", AIR, STEP, MISSED, (9, 21)),
    Case("hold", f"{COLD}, grace: 5 min", ((0, 4), (30, 4)), MET, (10, 20)),
    Case(
        "hold",
        f"{COLD}, grace: 5 min",
        ((0, 4), (9, 4), (10, 20), (20, 20), (21, 4), (30, 4)),
        MISSED,
        (9, 21),
    ),
    Case(
        "time between", COME_UP, ((0, 20), (9, 20), (10, 60), (40, 60)), MET, (11, 25)
    ),
    Case(
        "time between",
        COME_UP,
        ((0, 20), (25, 20), (26, 60), (40, 60)),
        MISSED,
        (3, 20),
    ),
    Case(
        "reach within",
        f"{COLD}, at most: 20 min",
        ((0, 20), (9, 20), (10, 4), (40, 4)),
        MET,
        (9, 25),
    ),
    Case(
        "reach within",
        f"{COLD}, at most: 20 min",
        ((0, 20), (25, 20), (26, 4), (40, 4)),
        MISSED,
        (10, 25),
    ),
    Case("reheating", AGAIN, ((0, 50), (59, 50), (60, 76), (180, 76)), MET, (59, 130)),
    Case(
        "reheating",
        AGAIN,
        ((0, 50), (130, 50), (131, 76), (180, 76)),
        MISSED,
        (30, 130),
    ),
    Case("rate", RATE, ((0, 60), (40, 60)), MET, (10, 20)),
    Case("rate", RATE, ((0, 60), (14, 60), (15, 80), (40, 80)), MISSED, (8, 22)),
    Case(
        "dwell table",
        TABLE,
        ((0, 50), (9, 50), (10, 63.5), (18, 63.5), (19, 50), (30, 50)),
        MET,
        (11, 17),
    ),
    # 63.5 degC is above the row of 146 degF, which asks for 169 s; it may be 2 min.
    Case(
        "dwell table",
        TABLE,
        ((0, 50), (9, 50), (10, 63.5), (11, 50), (30, 50)),
        MISSED,
        (9, 20),
    ),
    # A minute at 63 degC is two decades, 10 ** 0.3 of a D of one; it may be two.
    Case(
        "integrated lethality",
        SUM,
        ((0, 40), (9, 40), (10, 63), (18, 63), (19, 40), (30, 40)),
        MET,
        (11, 17),
    ),
    Case(
        "integrated lethality",
        SUM,
        ((0, 40), (9, 40), (10, 63), (11, 40), (30, 40)),
        MISSED,
        (9, 20),
    ),
    Case(
        "cooling option",
        COOLING,
        ((0, 60), (60, 26), (240, 2), (250, 2)),
        MET,
        (20, 200),
    ),
    Case(
        "cooling option",
        COOLING,
        ((0, 60), (10, 40), (150, 40), (250, 2)),
        MISSED,
        (30, 140),
    ),
    Case("predicted growth", GROWTH, ((0, 45), (60, 45)), UNPROVEN, (10, 50)),
    Case("humidity", MOIST, ((0, 95), (120, 95)), MET, (20, 100), Role.HUMIDITY),
    Case("humidity", MOIST, ((0, 65), (120, 65)), MISSED, (20, 100), Role.HUMIDITY),
    # Silence asks what was heard, not what it said; and it is never missed.
    Case("silence", "at most: 5 min", ((0, 60), (30, 60)), MET, (10, 20), doubted=MET),
]


def readings(case: Case) -> list[Reading]:
    """One a minute, along the course."""
    found = []
    for (begin, low), (end, high) in zip(case.course, case.course[1:], strict=False):
        for minute in range(begin, end):
            value = low + (high - low) * (minute - begin) / (end - begin)
            found.append((minute, value))
    found.append(case.course[-1])
    name = case.role.value
    return [
        Reading(name, BEGUN_MS + minute * MIN, round(value * 1000), 0)
        for minute, value in found
    ]


def decides(case: Case, reading: Reading) -> bool:
    first, last = case.deciding
    return first * MIN <= reading.at_ms - BEGUN_MS < last * MIN


def marked(quality: Quality) -> Callable[[Reading], list[Reading]]:
    return lambda one: [one._replace(quality=quality)]


def doubted(one: Reading) -> list[Reading]:
    return [one._replace(uncertainty_mc=DOUBT_MC)]


def lost(one: Reading) -> list[Reading]:
    return []


FAULTS: dict[str, Callable[[Reading], list[Reading]]] = {
    "lost": lost,
    "stamped before the clock was set": marked(Quality.CLOCK_UNSET),
    "of an unknown age": marked(Quality.AGE_UNKNOWN),
    "left out by a person, or suspect": marked(Quality.SUSPECT),
    "doubted": doubted,
}


def verdict(case: Case, heard: Sequence[Reading]) -> Verdict:
    """What the limit comes to in a cook of one stage that ends with the course."""
    name, minutes = case.role.value, case.course[-1][0]
    extra = (
        [] if case.role is Role.CORE else ["- {limit: lethality, kind: dwell table,"]
    )
    if extra:
        extra.append(f"     channel: core, {TABLE}}}")
    written = f"- {{limit: it, kind: {case.kind}, channel: {name}, {case.limit}}}"
    lines = ["limits:", written, *extra]
    stages = f"stages: [{{stage: chill, ends: after {minutes} min}}]\n"
    head = HEAD.replace("cured: yes", "cured: no")
    told = schedule(stages + "\n  ".join(lines) + "\n", head)
    roles = {case.role, Role.CORE}
    channels = [Channel(one.value, one, MIN, 10 * MIN, 0) for one in sorted(roles)]
    cold = flat("core", 0, minutes, 20) if extra else []  # nothing was lethal yet
    outcome = cook(told, channels, [*heard, *cold], until_min=minutes + 30)
    return judged(outcome, "it").verdict


def arrived(case: Case, late_ms: int) -> tuple[list[Reading], int]:
    """What is put in its place, the deciding readings so late; and how many are not."""
    waiting, found, refused = Order(BEGUN_MS), list[Reading](), 0
    delays = [(one, late_ms if decides(case, one) else 0) for one in readings(case)]
    for one, delay_ms in sorted(delays, key=lambda pair: pair[0].at_ms + pair[1]):
        ready = waiting.release(one.at_ms + delay_ms - LATE_MS)
        found += [fact for fact in ready if isinstance(fact, Reading)]
        refused += not waiting.take(one)
    rest = waiting.release(1 << 62)
    return [*found, *(one for one in rest if isinstance(one, Reading))], refused


every_case = pytest.mark.parametrize(
    "case", CASES, ids=lambda case: f"{case.kind}, {case.decided}"
)


@every_case
def test_what_is_seen_all_the_way_is_decided(case: Case) -> None:
    assert verdict(case, readings(case)) is case.decided


@every_case
@pytest.mark.parametrize("fault", FAULTS)
def test_what_is_lost_or_doubted_proves_nothing(case: Case, fault: str) -> None:
    spoil = FAULTS[fault]
    spoiled = [
        left
        for one in readings(case)
        for left in (spoil(one) if decides(case, one) else [one])
    ]
    expected = case.doubted if fault == "doubted" else case.lost
    assert verdict(case, spoiled) is expected


@every_case
def test_late_is_as_good_as_in_time_and_too_late_is_lost(case: Case) -> None:
    heard, refused = arrived(case, LATE_MS)
    assert (heard, refused) == (readings(case), 0)
    assert verdict(case, heard) is case.decided
    heard, refused = arrived(case, LATE_MS + MIN)
    first, last = case.deciding
    assert refused == last - first
    assert verdict(case, heard) is case.lost


def test_every_kind_is_in_the_table() -> None:
    """Each is both met and missed, but for growth and silence, which cannot be."""
    words = {
        word
        for one in get_args(get_args(AnyLimit)[0])
        for word in get_args(one.model_fields["kind"].annotation)
    }
    met, missed = (
        {case.kind for case in CASES if case.decided is one} for one in (MET, MISSED)
    )
    assert words - met == {"predicted growth"}
    assert words - missed == {"predicted growth", "silence"}
    assert words == {case.kind for case in CASES}
