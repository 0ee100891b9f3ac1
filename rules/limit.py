"""A limit: what every kind of limit has, and what the engine asks of each.

One file a kind.  A kind is a frozen pydantic model of what its author writes,
with four answers that the engine asks for on behalf of one channel:

* ``opened``: its state when the limit comes into force;
* ``step``: its state after one piece of evidence, and how its standing moved;
* ``over``: the same, when the stages it is judged during are over;
* ``findings``: what the evidence shows so far, part by part.

A kind may say by ``marks`` which readings it cannot tell apart; ``rules.stretch``
is fast by that.

A state is a ``NamedTuple`` of integers, texts and tuples.  A move carries the time
at which it became true, whenever it was noticed.
"""

from collections.abc import Collection, Sequence
from datetime import UTC, datetime
from typing import Annotated, Any, ClassVar, Literal, NamedTuple, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PrivateAttr,
    ValidationInfo,
    model_validator,
)

from rules.channels import Role
from rules.evidence import Piece, Span
from rules.facts import Standing, Verdict
from rules.integral import Sum
from rules.remarks import choice
from rules.standards.cooling import ProductFacts
from rules.units import Duration, at_some_time, degree, refused

State = Any  # each kind's own NamedTuple


class Grown(NamedTuple):
    """What is predicted to have grown before, in thousandths of a decade."""

    known: bool
    most: int = 0
    least: int = 0


UNKNOWN_GROWTH = Grown(known=False)


class Opening(NamedTuple):
    """What a limit is told when it comes into force."""

    at_ms: int
    heat_ended_ms: int  # when the last heating stage ended; 0 where none has
    facts: ProductFacts  # of the product, as far as they are known
    hot_ms: int = 0  # when it was last surely at its start, ``watched_mc``; 0: never
    grown: Grown = UNKNOWN_GROWTH  # by the limit that it ``follows``


class Move(NamedTuple):
    """A limit passed from one standing to another for one channel."""

    at_ms: int
    part: str
    was: Standing
    now: Standing
    why: str


class Shown(NamedTuple):
    """What one channel's evidence shows of one part of a limit."""

    part: str
    standing: Standing
    verdict: Verdict
    since_ms: int
    unit: str
    required: int
    least: int
    most: int
    why: str
    lose_ms: int = 0


class Goal(NamedTuple):
    """Where a channel has to come to, and the clock that runs until then."""

    part: str
    rises: bool  # it comes there from below
    to_mc: int
    from_mc: int = 0  # its clock runs from here on
    left_ms: int | None = None  # of the clock; None where there is none
    runs_ms: int = 0  # the clock runs, and was read then; 0: it has not begun
    hold_ms: int = 0  # the channel is then to be held there for so long
    held_ms: int = 0  # and has been there since; 0: it is not there
    sum: Sum | None = None  # or the heat that it has to have, wherever it is then
    asks: str = ""  # that heat, in words


def listed(names: Collection[str], what: str) -> AfterValidator:
    """Refuse a name that is none of ours, and offer the nearest."""

    def known(name: str) -> str:
        if name not in names:
            raise refused(f"{name!r} is not a {what} we have", choice(name, [*names]))
        return name

    return AfterValidator(known)


def words(text: object) -> object:
    """Split ``dry, smoke, cook`` at its commas; a list stays one."""
    if not isinstance(text, str):
        return text
    found = [word.strip() for word in text.split(",") if word.strip()]
    if not found:
        right = "write the names of stages, or take the line out for every stage"
        raise refused("no stage is named here", right)
    return found


def before(text: object) -> int:
    """Read ``45 min before`` into milliseconds; ``never`` is 0."""
    if text == "never":
        return 0
    if not isinstance(text, str) or not text.endswith(" before"):
        right = "write a length of time and 'before', for example: 45 min before"
        raise refused(f"{text!r} does not say how long before", right)
    return at_some_time(text.removesuffix(" before"))


def of_edition(wanted: str, edition: str) -> None:
    """Refuse a published text of another edition than its author wants, if any."""
    if wanted and wanted != edition:
        right = f"write edition: {edition!r} once it is approved, or take the line out"
        raise refused(f"edition {wanted!r} is not the one we have: {edition!r}", right)


Words = Annotated[tuple[str, ...], BeforeValidator(words)]
Before = Annotated[int, BeforeValidator(before)]


class Written(BaseModel):
    """Anything a person writes in a file: no unknown keys, no change afterwards."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", validate_by_alias=True, validate_by_name=False
    )


class Limit(Written):
    """What every kind of limit has."""

    earned: ClassVar[bool] = False  # it credits what a piece has had, and no other
    ceiling: ClassVar[bool] = True  # its figure is used up; otherwise it is reached
    runs_through: ClassVar[bool] = False  # stages between those that it names count

    name: str = Field(alias="limit", min_length=1)
    control_point: str = Field(default="", alias="control point")
    grade: Literal["critical", "operating"] = Field(default="critical", alias="class")
    channel: Role
    during: Words = ()
    warn_ms: Before = Field(default=0, alias="warn")
    hazard: str = ""
    source: str = ""
    if_missed: tuple[str, ...] = Field(default=(), alias="if missed")
    weakens: str = ""  # why it is weaker than the limit of a base, and by whom
    notes: str = ""
    _degree: type[int] = PrivateAttr(default=int)  # in what a published option is said

    @model_validator(mode="after")
    def _said_in(self, info: ValidationInfo) -> Self:
        self._degree = degree(info.context)
        return self

    @property
    def counts_up(self) -> bool:
        """Whether its figure is used up; otherwise it is reached."""
        return self.ceiling

    @property
    def required_words(self) -> str:
        """What the limit asks, in words for a person."""
        raise NotImplementedError

    @property
    def sources(self) -> str:
        """Where its figures come from, with the mark of any not yet verified."""
        return self.source

    @property
    def levels_mc(self) -> tuple[int, ...]:
        """The temperatures that a drawing shows as lines of this limit."""
        return ()

    @property
    def watched_mc(self) -> int | None:
        """A temperature to watch for before the limit comes into force, if any."""
        return None

    @property
    def watched_below(self) -> bool:
        """Whether it is watched for at or below that, instead of at or above."""
        return False

    @property
    def beside(self) -> Role | None:
        """The role of the channels that its figure is worked out with, if any."""
        return None

    @property
    def alone(self) -> bool:
        """Whether it can be judged where there is no such channel."""
        return True

    @property
    def until(self) -> str:
        """The limit that it ends with, once that one is met; "" where it has none."""
        return ""

    @property
    def follows(self) -> str:
        """The limit whose growth counts when this one begins; "" where it has none."""
        return ""

    def grown(self, state: State) -> Grown:
        """What it predicts to have grown, once it is over."""
        return UNKNOWN_GROWTH

    def may_end(self, state: State, at_ms: int) -> State:
        """Hear that the limit it ends with may have been met as early as this."""
        return state

    def may_be_met_ms(self, state: State) -> int:
        """When it is met under the most favourable truth; 0 where it is not yet."""
        return 0

    def said(self, text: str) -> bool | None:
        """Whether a note about it says that it is kept from now on, or not; or nothing.

        Where a limit is shown by what people wrote, no reading counts for it.
        """
        return None

    @property
    def by_people(self) -> bool:
        """Whether what people wrote shows it."""
        return False

    def together(self, span: Span, other: Span) -> Span:
        """What its own channel and those beside it amount to while both are known."""
        raise NotImplementedError

    def opened(self, opening: Opening) -> State:
        """The state when the limit comes into force for a channel."""
        raise NotImplementedError

    def step(self, state: State, piece: Piece) -> tuple[State, list[Move]]:
        """Take one piece of evidence; answer the new state and the moves."""
        raise NotImplementedError

    def marks(self, state: State) -> tuple[int, ...] | None:
        """The values that ``step`` compares a reading's ends with, and no more.

        Spans that follow each other between the same marks may then be told as one.
        None where every reading counts by itself.
        """
        return None

    def steps(self, state: State, spans: Sequence[Span]) -> tuple[State, list[Move]]:
        """Take spans that follow each other, as ``step`` would one by one."""
        moves: list[Move] = []
        for span in spans:
            state, new = self.step(state, span)
            moves += new
        return state, moves

    def over(self, state: State, at_ms: int) -> tuple[State, list[Move]]:
        """Close the limit at the end of its stages."""
        raise NotImplementedError

    def ended(self, state: State, at_ms: int) -> tuple[State, list[Move]]:
        """Close the limit with the whole cook: nobody looks on after this."""
        return self.over(state, at_ms)

    def goals(self, state: State) -> list[Goal]:
        """Where the channel still has to come to; several of one part are choices."""
        return []

    def foreseen(
        self, state: State, at_ms: int, part: str, why: str
    ) -> tuple[State, list[Move]]:
        """Hear that a part is forecast to be lost, and why; "" where it is not."""
        return state, []

    def findings(self, state: State) -> list[Shown]:
        """What the evidence shows so far, one for every part."""
        raise NotImplementedError

    def waiting(self) -> list[Shown]:
        """What is shown before the limit has come into force."""
        word = "its stages have not begun"
        return [Shown("", Standing.WAITING, Verdict.RUNNING, 0, "ms", 0, 0, 0, word, 0)]


def verdict(standing: Standing, *, over: bool) -> Verdict:
    """The verdict that a standing amounts to; only a missed limit is final early."""
    if standing is Standing.MISSED:
        return Verdict.MISSED
    if over and standing in (Standing.MET, Standing.UNPROVEN):
        return Verdict(standing.value)
    return Verdict.RUNNING


def say_at(at_ms: int) -> str:
    """Say a time of day, with its zone: ``14:02 UTC``."""
    return f"{datetime.fromtimestamp(at_ms / 1000, UTC):%H:%M} UTC"


def say_day(at_ms: int) -> str:
    """Say a day in UTC: ``2026-01-10``."""
    return f"{datetime.fromtimestamp(at_ms / 1000, UTC):%Y-%m-%d}"


__all__ = ["Before", "Duration", "Goal", "Limit", "Move", "Opening", "Shown", "Written"]
__all__ += ["Words", "of_edition", "say_at", "say_day", "verdict", "words"]
