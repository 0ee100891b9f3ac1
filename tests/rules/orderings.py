"""How every kind of limit answers to more heat, more time, and more that is allowed.

Each law says of two courses, or of two limits, that the second is no better, or no
worse, for its maker than the first.  Where a kind is not ordered by temperature all
over, the law says on which temperatures it is: a band is entered from below and left
above, so that the hotter of two courses may be the better one.

``above_mc`` and ``below_mc`` bound where the whole course stays, its uncertainty
included; ``start_mc`` is where it is surely at first.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from enum import Enum
from typing import NamedTuple

from rules.cooling import CoolingLimit
from rules.dwell import TABLES, DwellTableLimit
from rules.facts import Reading, Verdict
from rules.growth import fastest_mc
from rules.limit import Limit, Shown
from rules.predicted import PredictedGrowth
from rules.standards.cooling import CoolingOption
from rules.standards.humidity import HumidityOption
from rules.standards.reheating import ReheatingOption
from rules.standards.tables import DWELL_TABLES
from tests.rules.strategies import (
    KINDS,
    OTHER_WAYS,
    CrossesLimit,
    HotAgainLimit,
    Kind,
    MoistLimit,
    RemainsLimit,
    cooling,
    hot_again,
    moist,
    written,
)

BY_NAME = {kind.name: kind for kind in (*KINDS, *OTHER_WAYS)}


class Way(Enum):
    """What more of it does."""

    HELPS = "never worse"
    HURTS = "never better"
    NOTHING = "neither"


HELPS, HURTS, NOTHING = Way
Change = Callable[[Sequence[Reading], Sequence[int]], list[Reading]]


def warmer(readings: Sequence[Reading], steps: Sequence[int]) -> list[Reading]:
    """Every reading higher by a step of its own, which may be none."""
    return [
        one._replace(value_mc=one.value_mc + step_mc)
        for one, step_mc in zip(readings, steps, strict=True)
    ]


def inward(readings: Sequence[Reading], steps: Sequence[int]) -> list[Reading]:
    """Every reading nearer to 62 degC, the middle of the band, and not beyond it."""
    return [
        one._replace(
            value_mc=max(one.value_mc - step_mc, 62_000)
            if one.value_mc > 62_000
            else min(one.value_mc + step_mc, 62_000)
        )
        for one, step_mc in zip(readings, steps, strict=True)
    ]


def steeper(readings: Sequence[Reading], steps: Sequence[int]) -> list[Reading]:
    """Every change two or three times as large, and every doubt with it."""
    by, first = 2 + sum(steps) % 2, readings[0].value_mc
    return [
        one._replace(
            value_mc=first + by * (one.value_mc - first),
            uncertainty_mc=by * one.uncertainty_mc,
        )
        for one in readings
    ]


class Hotter(NamedTuple):
    """What a hotter course does to a limit, and on which courses."""

    name: str
    way: Way
    above_mc: int | None = None
    below_mc: int | None = None
    start_mc: int | None = None
    part: int | None = None  # of several; None for all of them
    change: Change = warmer
    limit: Limit | None = None  # in place of the one of that name

    @property
    def kind(self) -> Kind:
        """The limit to try it on."""
        kind = BY_NAME[self.name]
        return kind._replace(limit=self.limit or kind.limit)


class Longer(NamedTuple):
    """What it does to a limit that the course stays where it is for a while.

    It holds for a stay between two temperatures, the uncertainty included.
    """

    name: str
    way: Way
    above_mc: int | None = None
    below_mc: int | None = None
    slope: int = 0  # of the whole course: 1 only rises, -1 only falls
    unheard: bool = False  # the stay is not shown
    limit: Limit | None = None

    @property
    def kind(self) -> Kind:
        """The limit to try it on."""
        kind = BY_NAME[self.name]
        return kind._replace(limit=self.limit or kind.limit)


_BAND = written(kind="band", within="60 degC to 64 degC", grace="25 s")
_FALLS = written(**{"kind": "rate", "falls at least": "2 K", "over": "40 s"})
_GROWTH = BY_NAME["predicted growth"].limit
assert isinstance(_GROWTH, PredictedGrowth)
_FASTEST_MC = fastest_mc(_GROWTH.name_of_model)

HOTTER = (
    Hotter("time between", HELPS, above_mc=60_000),
    Hotter("time between", HURTS, below_mc=64_000),
    Hotter("come-up", HELPS, above_mc=50_000),
    Hotter("dwell table", HELPS),
    Hotter("integrated", HELPS),
    Hotter("remains between", HURTS, below_mc=64_000, start_mc=66_000, part=0),
    Hotter("remains between", HURTS, below_mc=60_000, start_mc=66_000, part=1),
    Hotter("remains between", HURTS, start_mc=66_000, part=2),
    Hotter("since crossing", HURTS, below_mc=64_000, start_mc=66_000),
    Hotter("slow cooling", HURTS, below_mc=48_889, start_mc=51_000, part=0),
    Hotter("slow cooling", HURTS, start_mc=51_000, part=1),
    Hotter("band", HELPS, change=inward, limit=_BAND),
    Hotter("hold", HURTS),
    Hotter("reach above", HELPS),
    Hotter("reach below", HURTS, below_mc=64_000, start_mc=66_000),
    Hotter("reheating", HELPS, above_mc=60_000, start_mc=58_000),
    Hotter("rate", HURTS, change=steeper),
    Hotter("calm", HURTS, change=steeper),
    Hotter("rate of rise", HELPS, change=steeper),
    Hotter("rate of fall", HELPS, change=steeper, limit=_FALLS),
    Hotter("predicted growth", HURTS, below_mc=_FASTEST_MC + 1),
    Hotter("predicted growth", HELPS, above_mc=_FASTEST_MC - 1),
    Hotter("humidity", HELPS),
    Hotter("silence", NOTHING),
)
LONGER = (
    Longer("time between", HURTS),
    Longer("come-up", HURTS, below_mc=54_400),
    Longer("dwell table", HELPS),
    Longer("integrated", HELPS),
    Longer("remains between", HURTS),
    Longer("since crossing", HURTS),
    Longer("slow cooling", HURTS),
    Longer("band", HURTS, limit=_BAND),
    Longer("hold", HURTS),
    Longer("reach above", HURTS, below_mc=64_000),
    Longer("reach below", HURTS, above_mc=60_000),
    Longer("reheating", HURTS, below_mc=66_000),
    Longer("rate", HELPS, slope=1),
    Longer("calm", HELPS, slope=-1),
    Longer("rate of rise", HURTS, slope=1),
    Longer("rate of fall", HURTS, slope=-1, limit=_FALLS),
    Longer("predicted growth", HURTS),
    Longer("humidity", HELPS, above_mc=63_999),
    Longer("humidity", HURTS, below_mc=64_000),
    Longer("silence", HURTS, unheard=True),
)


def _slower(base: type[CoolingLimit]) -> type[CoolingLimit]:
    """Ten seconds more for every band, and for the start."""

    class Slower(base):  # type: ignore[misc, valid-type]
        @property
        def option(self) -> CoolingOption:
            option: CoolingOption = super().option
            more = [replace(b, at_most_ms=b.at_most_ms + 10_000) for b in option.bands]
            start_ms = option.start_within_ms and option.start_within_ms + 10_000
            return replace(option, bands=tuple(more), start_within_ms=start_ms)

    return Slower


class _LaterHot(HotAgainLimit):
    @property
    def option(self) -> ReheatingOption:
        return replace(super().option, at_most_ms=70_000, run_ms=9_000)


class _DrierLimit(MoistLimit):
    @property
    def option(self) -> HumidityOption:
        return replace(super().option, share_milli=400, least_ms=40_000)


_TABLE = "FSIS Appendix A, meat, 6.5-log10"
_EASIER = replace(
    DWELL_TABLES[_TABLE],
    name="easier",
    rows=tuple(
        replace(row, dwell_ms=row.dwell_ms * 3 // 4)
        for row in DWELL_TABLES[_TABLE].rows
    ),
)
_EASY = DwellTableLimit.model_validate(
    {"limit": "it", "channel": "core", "kind": "dwell table", "table": "easier"},
    context={TABLES: {"easier": _EASIER}},
)
_B = "FSIS Appendix B 1999, option 1"
# The same limits, with more time or a lower target.
EASIER = {
    "time between": written(
        kind="time between", between="60 degC and 64 degC", at_most="71 s"
    ),
    "come-up": written(
        **{"kind": "time between", "begins anew after": _TABLE},
        between="50 degC and 54.4 degC",
        at_most="71 s",
    ),
    "dwell table": _EASY,
    "integrated": written(
        kind="integrated lethality",
        D="10 s",
        z="10 K",
        reference="65 degC",
        target="1.7-log10",
    ),
    "remains between": cooling(_slower(RemainsLimit), _B),
    "since crossing": cooling(
        _slower(CrossesLimit), "FDA Food Code 3-501.14(A)", warn="15 s before"
    ),
    "slow cooling": cooling(
        _slower(CoolingLimit), "California 910.15, slow cooling", warn="2 h before"
    ),
    "band": written(
        kind="band", within="60 degC to 64 degC", grace="36 s", settle="3 min"
    ),
    "hold": written(**{"kind": "hold", "at or below": "60 degC", "grace": "11 s"}),
    "reach above": written(
        **{"kind": "reach within", "at or above": "64 degC", "for": "15 s"},
        at_most="101 s",
    ),
    "reach below": written(
        **{"kind": "reach within", "at or below": "60 degC"},
        **{"since leaving": "64 degC"},
        at_most="71 s",
    ),
    "reheating": hot_again(_LaterHot),
    "rate of fall": written(
        **{"kind": "rate", "falls at least": "1 K", "over": "40 s"},
        between="59 degC and 66 degC",
    ),
    "rate": written(**{"kind": "rate", "rises at most": "4 K", "over": "40 s"}),
    "calm": written(**{"kind": "rate", "falls at most": "4 K", "over": "40 s"}),
    "rate of rise": written(
        **{"kind": "rate", "rises at least": "1 K", "over": "40 s"}
    ),
    "humidity": moist("humidity", _DrierLimit),
    "silence": written(kind="silence", at_most="36 s"),
}
# Of the growth a model predicts nothing is asked.
NOTHING_ASKED = {"predicted growth"}
_ORDER = (Verdict.MISSED, Verdict.UNPROVEN, Verdict.MET)


def worse(before: Shown, after: Shown, *, counts_up: bool) -> list[str]:
    """In what ``after`` is worse than ``before``; nothing, where it is not."""
    faults = []
    if _ORDER.index(after.verdict) < _ORDER.index(before.verdict):
        faults.append(f"{before.verdict} became {after.verdict}")
    if after.required != before.required:
        return faults  # figures of two rows, or of two cooking times, do not compare
    for was, now in ((before.least, after.least), (before.most, after.most)):
        if counts_up and now > was:
            faults.append(f"used {was} became {now}")
        # What came after the target was reached is nobody's credit.
        if not counts_up and min(now, after.required) < min(was, before.required):
            faults.append(f"reached {was} became {now}")
    return faults
