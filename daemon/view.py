"""What a person may look at: one frozen value, replaced as a whole each second.

The road builds a ``View`` and hands it to the page; the page reads nothing else,
so that a person looking can never slow down or stop the recording.

Rule 1: a view says what is known and how old it is.  A value without its time, or
a limit without both bounds, has no place here.
Rule 2: only ``as_json`` and ``curves_as_json`` turn a view into bytes.

Units: ``_mc`` and ``_ms`` as in ``rules.facts``; a time of 0 means "not yet" or
"has no answer".
"""

import json
from dataclasses import asdict, dataclass, replace
from enum import StrEnum

from daemon.curve import CurveView
from rules.alerts import AlertState
from rules.channels import Role
from rules.facts import Quality, Standing, Verdict
from rules.schedule import Schedule
from rules.spots import Thermometer, standing_of


class Heard(StrEnum):
    """How a channel stands now."""

    HEARD = "heard"
    QUIET = "quiet"  # for longer than its settings allow
    WAITING = "waiting"  # it has given no reading that is evidence


@dataclass(frozen=True, slots=True)
class BrokerView:
    """The link to the broker, in words that say what is wrong with it."""

    connected: bool
    since_ms: int
    why: str = ""


@dataclass(frozen=True, slots=True)
class RecordingView:
    """Whether readings are being kept, in words that say why not."""

    recording: bool
    why: str = ""


@dataclass(frozen=True, slots=True)
class AheadView:
    """Where the slowest core is going, and when it is where something asks it to be.

    Times are 0 where they never come; the deadline also where there is none.
    """

    channel: str
    mark: str  # the temperature it is asked for, in the unit of the limit
    rises: bool
    hold_ms: int  # it has to be held there for so long, and the times are of its end
    deadline_ms: int
    earliest_ms: int
    likely_ms: int
    latest_ms: int
    around: str  # the channel that surrounds it
    around_mc: int
    asks: str = ""  # the heat that it has to have instead, in words


@dataclass(frozen=True, slots=True)
class SignView:
    """An early sign that a channel shows: advice, no standing."""

    channel: str
    sign: str
    since_ms: int


@dataclass(frozen=True, slots=True)
class SpotView:
    """The last set of temperatures that was taken by hand for one stage."""

    stage: str
    at_ms: int
    who: str
    pieces: int
    decides_mc: int  # of the piece that decides: the lowest; the highest where it falls
    falls: bool
    within_mc: int
    instrument: str
    standing: str  # whether it counts, in words
    means: str  # what it bears out and what not
    counts: bool
    doubts: bool  # by this set or one before, what probes have shown is unproven


@dataclass(frozen=True, slots=True)
class StageView:
    """One stage of a cook, whether it is past, running or still to come."""

    name: str
    from_ms: int = 0  # 0: has not begun
    to_ms: int = 0  # 0: has not ended
    ends: str = ""  # as the schedule's author wrote it
    due_ms: int = 0  # when it ends, where time alone says so; 0 where it does not
    low_mc: int | None = None  # of the chamber's band
    high_mc: int | None = None
    ahead: AheadView | None = None  # where a core ends it, and time what comes before


@dataclass(frozen=True, slots=True)
class LimitView:
    """How one limit (or one part of it) stands, on the channel that decides.

    A ``ceiling`` is something to use up (at most 6 h); any other limit is something
    to reach (at least 6.5 log10).
    """

    name: str
    part: str
    control_point: str
    critical: bool
    asks: str  # what it asks, in words
    standing: Standing
    verdict: Verdict
    since_ms: int
    channel: str
    ceiling: bool
    unit: str  # of the three figures, as in ``Finding``; "" where there are none
    required: int
    least: int
    most: int
    lose_ms: int
    why: str
    kind: str = ""
    ahead: AheadView | None = None


@dataclass(frozen=True, slots=True)
class CookView:
    """One cook: its stages, its limits and whether the lot is on hold."""

    lot: str
    smokehouse: str
    title: str
    begun_ms: int
    finished_ms: int  # 0 while it runs
    on_hold: bool
    stages: tuple[StageView, ...] = ()
    limits: tuple[LimitView, ...] = ()
    signs: tuple[SignView, ...] = ()
    spots: tuple[SpotView, ...] = ()

    @property
    def stage(self) -> StageView | None:
        """The stage that runs now, if one does."""
        running = (stage for stage in self.stages if stage.from_ms and not stage.to_ms)
        return None if self.finished_ms else next(running, None)


@dataclass(frozen=True, slots=True)
class ChannelView:
    """The last reading of one channel, and the band it should be in."""

    name: str
    role: Role
    smokehouse: str
    unit: str  # "degC" or "%RH"; whatever a probe sends, people read these
    standing: Heard
    value_mc: int | None = None  # None: it has never spoken
    at_ms: int = 0
    uncertainty_mc: int = 0
    quality: Quality = Quality.GOOD
    low_mc: int | None = None
    high_mc: int | None = None


@dataclass(frozen=True, slots=True)
class ToldView:
    """One attempt to tell one contact, and what came of it."""

    contact: str
    outcome: str
    at_ms: int
    why: str = ""


@dataclass(frozen=True, slots=True)
class AlertView:
    """An alert, who was told of it, and who has acknowledged it."""

    number: int
    lot: str  # "" for the whole site
    title: str
    why: str
    since_ms: int
    state: AlertState
    answer: bool  # whether somebody has to acknowledge it
    acknowledged_by: str = ""
    acknowledged_ms: int = 0
    returned_ms: int = 0
    told: tuple[ToldView, ...] = ()

    @property
    def waits(self) -> bool:
        """Whether it waits for somebody to acknowledge it."""
        return self.answer and not self.acknowledged_ms


@dataclass(frozen=True, slots=True)
class NoticeView:
    """Something about the site or the program that a person should know."""

    at_ms: int
    words: str


@dataclass(frozen=True, slots=True)
class Figures:
    """What is counted for a monitoring system; no person looks at it here."""

    readings: int = 0  # journalled since the daemon's start
    refusals: int = 0  # in the journal
    journal_bytes: int = 0
    free_bytes: int = 0
    whole_bytes: int = 0


@dataclass(frozen=True, slots=True)
class View:
    """Everything the page shows at one moment."""

    site: str
    now_ms: int
    horizon_ms: int  # nothing from before this time is still to come
    broker: BrokerView
    recording: RecordingView
    cooks: tuple[CookView, ...] = ()
    channels: tuple[ChannelView, ...] = ()
    alerts: tuple[AlertView, ...] = ()
    notices: tuple[NoticeView, ...] = ()
    curves: tuple[CurveView, ...] = ()
    unjudged: tuple[str, ...] = ()  # lots that this version of the program cannot judge
    pace: int = 1  # above 1: an invented clock that runs so many times faster
    figures: Figures = Figures()
    thermometers: tuple[Thermometer, ...] = ()
    schedules: tuple[tuple[str, Schedule], ...] = ()  # of lots; the page gets none

    def same_but_time(self, other: "View") -> bool:
        """Whether the other view differs in nothing but the time of looking."""
        return self._untimed() == other._untimed()

    def _untimed(self) -> "View":
        still = replace(self, now_ms=0, horizon_ms=0, curves=(), schedules=())
        return replace(still, figures=Figures())


def as_json(view: View) -> bytes:
    """The view as UTF-8 JSON of integers, text and lists.

    It has no curves, no figures and no schedules.
    """
    plain = asdict(replace(view, curves=(), schedules=()))
    del plain["figures"], plain["schedules"]
    plain["thermometers"] = [
        {
            "name": one.name,
            "within_mc": one.within_mc,
            "standing": standing_of(one, view.now_ms),
        }
        for one in view.thermometers
    ]
    return _encoded(plain)


def curves_as_json(view: View, after_ms: int = 0) -> bytes:
    """The view's curves from the piece that holds ``after_ms``, as UTF-8 JSON."""
    return _encoded(
        {
            "now_ms": view.now_ms,
            "curves": [
                {
                    "channel": curve.channel,
                    "joined_ms": curve.joined_ms,
                    "pieces": [list(p) for p in curve.pieces if p.to_ms >= after_ms],
                }
                for curve in view.curves
            ],
        }
    )


def _encoded(plain: object) -> bytes:
    return json.dumps(plain, ensure_ascii=False, separators=(",", ":")).encode()
