"""What a careful reviewer would ask of a schedule that has no fault.

Each question is a warning at its place: the schedule can be used, and somebody should
look at it first.  Nothing here changes how a cook is judged.

Source: 9 CFR 417.2(c) and 417.3 for what a critical limit has (monitoring, corrective
action, support); FSIS-GD-2021-14 for come-up, lethality and humidity as three parts of
one claim; 86 FR 71007 for the editions that may not be cited.
"""

import re
from collections.abc import Callable, Iterator

from rules.alerts import ASKED_BY
from rules.band import BandLimit
from rules.cooling import CoolingLimit
from rules.dwell import DwellTableLimit
from rules.facts import Standing
from rules.faults import Fault, Severity
from rules.growth import lacking
from rules.hold import HoldLimit
from rules.humidity import HumidityLimit
from rules.integrated import IntegratedLimit
from rules.limit import Limit
from rules.predicted import PredictedGrowth
from rules.reach import ReachWithin
from rules.reachable import unreached
from rules.reader import Marked, Path
from rules.reheating import ReheatingLimit
from rules.review_humidity import asked, dried
from rules.schedule import Schedule
from rules.stages import HEATS_MC, Way
from rules.standards.cooling import qualifies
from rules.standards.humidity import EXEMPT
from rules.time_between import TimeBetween
from rules.units import say_mc, say_ms

FROM_MEMORY = "from memory, to be verified"
WITHDRAWN = "may not be cited as support after 14 December 2022 (86 FR 71007)"
EDITION = re.compile(r"(FSIS|Appendix)\D*\b(1999|2017)\b")
# Common practice, no source: so long in a warm chamber asks for a cure.
WARM_MS = 2 * 3_600_000
GROWS_MC = 10_000  # 50 degF, where come-up begins to count (FSIS-GD-2021-14)

Ask = Callable[[Path, str, str], Fault]


def review(schedule: Schedule, marked: Marked) -> list[Fault]:
    """Every warning about a schedule, in file order."""

    def ask(loc: Path, found: str, right: str) -> Fault:
        # Where the author wrote nothing, the question stands at what is around it.
        one = marked.fault(loc, found, right, on_key=len(loc) < 2)
        place = (one.path, one.line, one.column, one.width)
        return Fault(*place, found, right, Severity.WARNING)

    found = [
        *_lacking(schedule, ask),
        *_gaps(schedule, ask),
        *_warm_and_uncured(schedule, ask),
        *unreached(schedule, ask),
        *_untold(schedule, ask),
        *_begins(schedule, ask),
    ]
    for i, limit in enumerate(schedule.limits):
        found += _support(i, limit, ask)
        found += _claim(i, limit, schedule, ask)
        if isinstance(limit, HumidityLimit):
            place = ("limits", i, "option")
            found += [ask(place, *words) for words in asked(schedule, limit)]
    return sorted({*found})


def _begins(schedule: Schedule, ask: Ask) -> Iterator[Fault]:
    """Credit that a probe still hot from the lot before could earn."""
    earning = (DwellTableLimit, IntegratedLimit, ReheatingLimit, ReachWithin)
    if schedule.product.begins_mc is None and any(
        isinstance(one, earning) and one.channel == "core" for one in schedule.limits
    ):
        found = (
            "nothing says how warm the product begins, so a core probe still hot from "
            "the lot before may earn heat that the product never had"
        )
        right = "add a line: begins: at most 15 degC; or: hot, where it begins hot"
        yield ask(("product",), found, right)


def heating(schedule: Schedule) -> list[int]:
    """The numbers of the stages that cook."""
    return [
        i
        for i, (stage, way) in enumerate(
            zip(schedule.stages, schedule.ways, strict=True)
        )
        if way is Way.RISES or (stage.chamber and stage.chamber.low_mc >= HEATS_MC)
    ]


def _lacking(schedule: Schedule, ask: Ask) -> Iterator[Fault]:
    """A limit that a cook of this shape has, and this one has not."""
    hot = heating(schedule)
    kinds = [limit for limit in schedule.limits if limit.grade == "critical"]
    if not schedule.approved_by:
        right = "add a line: approved by: initials and date"
        yield ask(("schedule",), "nobody is named who approved it", right)
    if not hot:
        return
    at = ("stages", hot[-1], "stage")
    name = schedule.stages[hot[-1]].name
    if not any(isinstance(one, CoolingLimit) for one in kinds):
        found = f"stage {name!r} cooks, and no critical limit says how it is cooled"
        yield ask(at, found, "add a limit of kind: cooling option")
    if not any(_come_up(one) or isinstance(one, ReheatingLimit) for one in kinds):
        found = f"stage {name!r} cooks, and no critical limit holds its come-up time"
        right = "add a limit of kind: time between (50 to 130 degF, at most 6 h)"
        yield ask(at, found, right)
    if schedule.product.cooked == "partially":
        return
    lethal = (DwellTableLimit, IntegratedLimit, HoldLimit)
    cores = [one for one in kinds if isinstance(one, lethal) and one.channel == "core"]
    if not cores:
        found = f"stage {name!r} cooks, and no critical limit asks for its lethality"
        yield ask(at, found, "add a limit of kind: dwell table")
    elif not any(getattr(one, "kind", "") == "humidity" for one in kinds):
        if schedule.product.casing in EXEMPT and not dried(schedule):
            return
        found = (
            "core time and temperature are not lethality alone: FSIS-GD-2021-14 also "
            "asks for surface humidity, and no limit here shows it"
        )
        place = next(i for i, one in enumerate(schedule.limits) if one is cores[0])
        right = (
            "add a limit of kind: humidity, or name the product's casing where it is "
            "not dried before it is cooked, or show the humidity in your plan"
        )
        yield ask(("limits", place, "limit"), found, right)


def _gaps(schedule: Schedule, ask: Ask) -> Iterator[Fault]:
    """Come-up runs from loading to the end of the heat, in every stage between.

    What chills before a recook is the cooling's time.
    """
    before_the_end = range(max(heating(schedule), default=-1) + 1)
    for i, limit in enumerate(schedule.limits):
        if not _come_up(limit):
            continue
        chills = {n for n, way in enumerate(schedule.ways) if way is Way.FALLS}
        for n in {*before_the_end} - {*schedule.during(limit)} - chills:
            found = (
                f"limit {limit.name!r} does not count in stage "
                f"{schedule.stages[n].name!r}, which comes before the heat ends"
            )
            yield ask(("limits", i, "during"), found, "name the stage as well")


def _come_up(limit: Limit) -> bool:
    return isinstance(limit, TimeBetween) and limit.channel == "core"


def _warm_and_uncured(schedule: Schedule, ask: Ask) -> Iterator[Fault]:
    """Uncured product that is smoked warm for hours."""
    if schedule.product.cured == "yes":
        return
    warm_ms = 0
    for i, stage in enumerate(schedule.stages):
        band = stage.chamber
        if band and GROWS_MC < band.high_mc <= HEATS_MC:
            before_ms, warm_ms = warm_ms, warm_ms + stage.ends.ms
            if before_ms < WARM_MS <= warm_ms:
                found = (
                    f"uncured product has been at {say_mc(band.high_mc)} or below for "
                    f"{say_ms(warm_ms)} when this stage ends"
                )
                right = "cure it, smoke it hotter, or ask a process authority"
                yield ask(("stages", i, "stage"), found, right)


def _untold(schedule: Schedule, ask: Ask) -> Iterator[Fault]:
    """A critical limit whose loss nobody is told of."""
    asked = {word for alert in schedule.alerts for word in alert.when}
    critical = [
        (i, one) for i, one in enumerate(schedule.limits) if one.grade == "critical"
    ]
    if critical and not asked:
        right = "add a part 'alerts' with whom to tell, and when"
        yield ask(("schedule",), "nobody is told of anything", right)
    elif critical and not (asked & ASKED_BY[Standing.MISSED]):
        found = "nobody is told when a critical limit is missed"
        yield ask(("alerts",), found, "add to 'when': deviation")
    for i, limit in critical:
        if limit.warn_ms and asked and "at risk" not in asked:
            found = (
                f"limit {limit.name!r} warns before, and nobody is told of 'at risk'"
            )
            yield ask(("limits", i, "warn"), found, "add to 'when': at risk")
        if not limit.if_missed:
            found = f"limit {limit.name!r} does not say what to do when it is missed"
            right = "add a line: if missed: [...]; 9 CFR 417.3 asks for it"
            yield ask(("limits", i, "limit"), found, right)


def _support(i: int, limit: Limit, ask: Ask) -> Iterator[Fault]:
    """Where a limit's figures come from, and whether that may be cited."""
    key = {DwellTableLimit: "table", CoolingLimit: "option"}.get(type(limit), "source")
    at = ("limits", i, key)
    if isinstance(limit, CoolingLimit) and limit.option.edition == "1999":
        found = f"{limit.option.name!r} is the edition of 1999, which {WITHDRAWN}"
        yield ask(at, found, "name an option of an edition that may be cited")
    elif cited := EDITION.search(limit.source):
        found = (
            f"limit {limit.name!r} cites an edition of {cited[2]}, which {WITHDRAWN}"
        )
        yield ask(("limits", i, "source"), found, "cite support that holds today")
    if FROM_MEMORY in limit.sources:
        found = f"limit {limit.name!r} uses figures that are {FROM_MEMORY}"
        yield ask(at, found, _of_memory(limit.sources))
    if not limit.sources and not isinstance(limit, BandLimit):
        found = f"limit {limit.name!r} names no source for its figures"
        yield ask(("limits", i, "limit"), found, "add a line: source: ...")


def _of_memory(sources: str) -> str:
    """The sentences of a source line that hold the mark."""
    sentences = re.split(r"(?<=[.;]) ", sources)
    held = [one.strip(" .;") for one in sentences if FROM_MEMORY in one]
    return "check it in the original: " + "; ".join(held)


def _claim(i: int, limit: Limit, schedule: Schedule, ask: Ask) -> Iterator[Fault]:
    """A cooling option that asks something of the product."""
    if isinstance(limit, PredictedGrowth) and (
        lacks := lacking(limit.model.name, schedule.product.facts)
    ):
        right = "write it under 'product', or begin each cook with --sheet"
        yield ask(("limits", i, "model"), f"nothing is predicted: {lacks}", right)
    if not isinstance(limit, CoolingLimit) or not limit.option.conditions:
        return
    may, why = qualifies(limit.option, schedule.product.facts)
    at = ("limits", i, "option")
    if may is False:
        right = "name an option that this product may claim"
        yield ask(at, f"no lot of this product may be cooled so: {why}", right)
    elif may is None:
        right = "begin each cook with --sheet and its lot sheet"
        yield ask(at, f"without a lot sheet this is unproven: {why}", right)
    else:
        found = f"this rests on what the schedule says of the product: {why}"
        yield ask(at, found, "begin each cook with --sheet and its lot sheet")
