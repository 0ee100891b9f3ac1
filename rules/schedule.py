"""A schedule: the file that says what a cook must do and who is told.

``read_schedule`` answers a ``Schedule`` or every fault in the file; ``read_whole``
also reads the files that it names, and says in what it differs from its base.  What
cannot be seen in one value (a stage that a limit names and nobody wrote, two stages
of one name) is ``rules.crosscheck``'s.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, Literal

from pydantic import (
    BeforeValidator,
    Field,
    TypeAdapter,
    ValidationError,
    model_validator,
)

from rules.alerts import WHEN, AlertRule
from rules.band import GRACE_MS, BandLimit
from rules.channels import Role
from rules.cooling import CHILLING, CoolingLimit
from rules.crosscheck import crossed
from rules.differences import differing
from rules.dwell import TABLES, DwellTableLimit
from rules.faults import Fault, Severity
from rules.hold import HoldLimit
from rules.humidity import HumidityLimit
from rules.integrated import IntegratedLimit
from rules.limit import Limit, Written
from rules.predicted import PredictedGrowth
from rules.rate import RateLimit
from rules.reach import ReachWithin
from rules.reader import Marked, Tree, validated
from rules.reheating import ReheatingLimit
from rules.remarks import choice
from rules.silence import SilenceLimit
from rules.stages import Stage, Way, directed
from rules.standards.cooling import ProductFacts
from rules.standards.humidity import Casing
from rules.standards.retention import Storage
from rules.standards.tables import DwellTable
from rules.time_between import TimeBetween
from rules.units import (
    DEGREE,
    ActivityMilli,
    AtSomeTime,
    Fahrenheit,
    PercentMilli,
    PhMilli,
    Ppm,
    at_some_time,
    no_comma,
    refused,
    temperature,
)
from rules.user_table import UserTable
from rules.whole import EXTENDS, Beside, Files, absent, gathered, written

# One or two temperatures, as limits and stages have them; words around others are text.
TEMPERATURES = re.compile(
    r"(when every core (reaches|rises to|falls to) )?"
    r"\S+ *deg[CF]( (to|and) \S+ *deg[CF])?"
)

AnyLimit = Annotated[
    BandLimit
    | TimeBetween
    | DwellTableLimit
    | IntegratedLimit
    | CoolingLimit
    | HoldLimit
    | ReachWithin
    | ReheatingLimit
    | SilenceLimit
    | HumidityLimit
    | PredictedGrowth
    | RateLimit,
    Field(discriminator="kind"),
]

MILLIMETRES = re.compile(r"^\d{1,3}(\.\d)? mm$")
REVISION = re.compile(r"^\d{1,6}$")
THEN = re.compile(r"^then after (.+) tell$")


def _matched(pattern: re.Pattern[str], what: str, right: str) -> BeforeValidator:
    def read(text: object) -> str:
        no_comma(text, what)
        if not isinstance(text, str) or not pattern.match(text):
            raise refused(f"{text!r} is not {what}", right)
        return text

    return BeforeValidator(read)


ANY_MC = 1 << 40  # no core is hotter
COLDER = "at most "


def _begins(text: object) -> int:
    """How warm the product is at most when a cook begins; ``ANY_MC`` where hot."""
    if text == "hot":
        return ANY_MC
    if not isinstance(text, str) or not text.startswith(COLDER):
        right = f"write for example: {COLDER}15 degC; or: hot"
        raise refused(f"{text!r} does not say how warm it begins", right)
    return temperature(text.removeprefix(COLDER))


Begins = Annotated[int | None, BeforeValidator(_begins)]


class Product(Written):
    """What is made: it picks the targets, and the cooling options it may claim.

    Brine is salt as a part of salt and water, salt a part of the whole.
    """

    meat: Literal["pork", "beef", "poultry", "mixed"]
    form: Literal["comminuted", "intact"]
    cured: Literal["yes", "no"]
    cooked: Literal["fully", "partially"] | None = None
    diameter: Annotated[
        str,
        _matched(MILLIMETRES, "a diameter", "write for example: 32 mm"),
    ] = ""
    nitrite_ppm: Ppm | None = Field(default=None, alias="nitrite")
    erythorbate_ppm: Ppm | None = Field(default=None, alias="erythorbate")
    brine_percent_milli: PercentMilli | None = Field(default=None, alias="brine")
    water_activity_milli: ActivityMilli | None = Field(
        default=None, alias="water activity"
    )
    ph_milli: PhMilli | None = Field(default=None, alias="pH")
    salt_percent_milli: PercentMilli | None = Field(default=None, alias="salt")
    casing: Casing | None = None  # what holds the moisture, or nothing
    begins_mc: Begins = Field(default=None, alias="begins")
    storage: Storage | None = None  # how long its records are kept hangs on it

    @property
    def diameter_um(self) -> int:
        """Its diameter in thousandths of a millimetre; 0 where it is not told."""
        return round(float(self.diameter.removesuffix(" mm") or 0) * 1_000)

    @property
    def facts(self) -> ProductFacts:
        """What a cooling option may ask of it."""
        return ProductFacts(
            nitrite_ppm=0 if self.cured == "no" else self.nitrite_ppm,
            erythorbate_ppm=self.erythorbate_ppm,
            brine_percent_milli=self.brine_percent_milli,
            water_activity_milli=self.water_activity_milli,
            fully_cooked=None if self.cooked is None else self.cooked == "fully",
            ph_milli=self.ph_milli,
            salt_percent_milli=self.salt_percent_milli,
        )


class Then(Written):
    """Who is told when nobody answers."""

    after_ms: AtSomeTime = Field(alias="after")
    tell: str


def _when(words: object) -> object:
    if isinstance(words, str):
        words = [word.strip() for word in words.split(",") if word.strip()]
    for word in words if isinstance(words, list) else ():
        if isinstance(word, str) and word not in WHEN:
            raise refused(
                f"{word!r} is nothing to be told of", choice(str(word), sorted(WHEN))
            )
    return words


def _until_acknowledged(text: object) -> int:
    if text == "never":
        return 0
    if not isinstance(text, str) or not text.endswith(" until acknowledged"):
        right = "write for example: 10 min until acknowledged"
        raise refused(f"{text!r} does not say until when", right)
    return at_some_time(text.removesuffix(" until acknowledged"))


class AlertWritten(Written):
    """Who is told of what, how often, and who then."""

    tell: str
    when: Annotated[tuple[str, ...], BeforeValidator(_when)] = Field(min_length=1)
    again_ms: Annotated[int, BeforeValidator(_until_acknowledged)] = Field(
        default=0, alias="again every"
    )
    then: Then | None = None

    @model_validator(mode="before")
    @classmethod
    def _then_key(cls, tree: Any) -> Any:
        """Take the one key that holds a length of time apart."""
        if not isinstance(tree, dict):
            return tree
        found = {key: THEN.match(key) for key in tree}
        rest = {key: value for key, value in tree.items() if not found[key]}
        for key, match in found.items():
            if match:
                rest["then"] = {"after": match[1], "tell": tree[key]}
        return rest

    @property
    def rule(self) -> AlertRule:
        """The rule as the outbox follows it."""
        return AlertRule(
            tell=self.tell,
            when=frozenset(self.when),
            again_ms=self.again_ms,
            then_ms=self.then.after_ms if self.then else 0,
            then_tell=self.then.tell if self.then else "",
        )


class Schedule(Written):
    """Product, stages, limits, and who is told."""

    KEYS_BESIDE: ClassVar[tuple[str, ...]] = (EXTENDS,)  # read before all others

    title: str = Field(alias="schedule", min_length=1)
    revision: Annotated[
        str, _matched(REVISION, "a revision", "write a whole number, for example: 4")
    ]
    approved_by: str = Field(default="", alias="approved by")
    notes: str = ""
    product: Product
    tables: tuple[UserTable, ...] = ()
    stages: tuple[Stage, ...] = Field(min_length=1)
    limits: tuple[AnyLimit, ...] = ()
    alerts: tuple[AlertWritten, ...] = ()

    @property
    def ways(self) -> tuple[Way | None, ...]:
        """Which way every stage ends."""
        return tuple(directed(self.stages))

    @property
    def judged(self) -> tuple[Limit, ...]:
        """Every limit: those written, and the chamber band of each stage."""
        return (*self.limits, *(b for s in self.stages if (b := _chamber(s))))

    @property
    def alert_rules(self) -> tuple[AlertRule, ...]:
        """Who is told of what."""
        return tuple(alert.rule for alert in self.alerts)

    def during(self, limit: Limit) -> tuple[int, ...]:
        """The numbers of the stages that a limit is judged during."""
        cools = isinstance(limit, CoolingLimit)
        names = limit.during or (CHILLING if cools else ())
        found = [i for i, stage in enumerate(self.stages) if stage.name in names]
        if limit.runs_through and found:
            found = list(range(found[0], found[-1] + 1))
        return tuple(found) if names else tuple(range(len(self.stages)))


def _chamber(stage: Stage) -> BandLimit | None:
    if stage.chamber is None:
        return None
    grace_ms = GRACE_MS if stage.grace_ms is None else stage.grace_ms
    return BandLimit.model_construct(
        kind="band",
        name=f"{stage.name} chamber",
        grade="operating",
        channel=Role.CHAMBER,
        during=(stage.name,),
        within=stage.chamber,
        settle_ms=stage.settle_ms,
        grace_ms=grace_ms,
    )


@dataclass(frozen=True, slots=True)
class WholeSchedule:
    """A schedule, the files that it was made of, and what is to be said of it."""

    schedule: Schedule | None  # None where there are faults
    marked: Marked | None
    faults: tuple[Fault, ...]
    differences: tuple[Fault, ...]  # from its base
    texts: Mapping[str, str]  # every file that was read, by path
    text: str  # all of it in one: what a journal keeps


def read_schedule(
    path: str, text: str, beside: Beside = absent
) -> Schedule | list[Fault]:
    """Read a schedule, or say everything that is wrong with it."""
    found = read_whole(path, text, beside)
    return found.schedule or [*found.faults]


def read_whole(path: str, text: str, beside: Beside = absent) -> WholeSchedule:
    """Read a schedule and every file that it names, which ``beside`` gives by name."""
    files = Files()
    marked = gathered(files, path, text, beside)
    if marked is None:
        faults = tuple(sorted({*files.faults}))
        return WholeSchedule(None, None, faults, (), files.texts, text)
    context = {TABLES: _tables(marked), DEGREE: _degree(marked.tree)}
    schedule = validated(marked, Schedule, context)
    wrong = schedule if isinstance(schedule, list) else []
    said = [
        one
        for change in files.changes
        for one in differing(change, lambda tree: _limit(tree, context))
    ]
    refused_ones = {one for one in said if one.severity is Severity.FAULT}
    faults = tuple(sorted({*files.faults, *wrong, *crossed(marked), *refused_ones}))
    differences = tuple(sorted({*said} - refused_ones))
    kept = text
    if len(files.texts) > 1:
        kept = written(marked, [_in_words(one) for one in differences])
    whole = None if faults or isinstance(schedule, list) else schedule
    return WholeSchedule(whole, marked, faults, differences, files.texts, kept)


def _in_words(difference: Fault) -> str:
    because = f" ({difference.remedy})" if difference.remedy else ""
    return f"{difference.found}{because}"


def _tables(marked: Marked) -> dict[str, DwellTable]:
    """The user's own tables, by name; without rows where there is a fault in one."""
    tree = marked.tree.get("tables") if isinstance(marked.tree, dict) else None
    tables = {}
    for one in tree if isinstance(tree, list) else ():
        name = str(one.get("table", "")) if isinstance(one, dict) else ""
        if not name:
            continue
        try:
            tables[name] = UserTable.model_validate(one).table
        except ValidationError:  # it is there, and its faults are told by themselves
            tables[name] = DwellTable(name, "", "", "", False, ())
    return tables


def _degree(tree: Tree) -> type[int]:
    """In what published figures are said: degF where nothing is written in degC."""
    parts = tree if isinstance(tree, dict) else {}
    both: Tree = [parts.get("stages", []), parts.get("limits", [])]
    texts = [one for one in _scalars(both) if TEMPERATURES.fullmatch(one)]
    fahrenheit = texts and not any("degC" in one for one in texts)
    return Fahrenheit if fahrenheit else int


def _scalars(tree: Tree) -> Iterator[str]:
    """Every value in a part of a file."""
    if isinstance(tree, str):
        yield tree
        return
    for one in tree.values() if isinstance(tree, dict) else tree:
        yield from _scalars(one)


_LIMIT: TypeAdapter[Limit] = TypeAdapter(AnyLimit)


def _limit(tree: Tree, context: dict[str, object]) -> Limit | None:
    """One limit, or None where it has a fault."""
    try:
        return _LIMIT.validate_python(tree, context=context)
    except ValidationError:
        return None
