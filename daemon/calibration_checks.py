"""What the calibrations in the settings say together with their channels.

A probe that is far off is not corrected but replaced: a large correction is more
often a slip of the pen, the other temperature scale or a dying sensor.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime

from rules.calibration import LARGEST_MC, beyond
from rules.channels import Point, Role
from rules.faults import Fault
from rules.reader import Marked, Path, Tree, choice
from rules.units import doubt, say_k, say_mc, temperature

Part = Mapping[str, Tree]

# Common practice, no source: a line through nearer points magnifies their errors.
APART_MC = 20_000
COLDEST_MC, HOTTEST_MC = 0, 100_000  # where a line may not correct by too much
ADVICE = "look for a slip of the pen or the other scale; replace a probe so far off"


def calibrations(
    marked: Marked,
    channels: Sequence[tuple[Path, Part]],
    checks: Sequence[tuple[Path, Part]],
) -> Iterator[Fault]:
    """Every fault in the dated checks of the probes."""
    roles = {str(one.get("channel")): one.get("role") for _, one in channels}
    latest: dict[str, tuple[datetime, int]] = {}
    for loc, check in checks:
        name = check.get("channel")
        if isinstance(name, str):
            yield from _channel(marked, loc, name, roles)
            yield from _order(marked, loc, check, latest)
        points = check.get("points")
        if isinstance(points, list):
            yield from _points(marked, (*loc, "points"), points)


def _channel(
    marked: Marked, loc: Path, name: str, roles: Mapping[str, Tree | None]
) -> Iterator[Fault]:
    if name not in roles:
        found = f"there is no channel {name!r}"
        yield marked.fault((*loc, "channel"), found, choice(name, list(roles)))
    elif roles[name] == Role.HUMIDITY:
        found = (
            f"{name!r} is a channel of humidity, and only temperatures are corrected"
        )
        yield marked.fault((*loc, "channel"), found, "take this calibration out")


def _order(
    marked: Marked, loc: Path, check: Part, latest: dict[str, tuple[datetime, int]]
) -> Iterator[Fault]:
    """A history is written onward: what is in it already stays as it is."""
    try:
        at, name = datetime.fromisoformat(str(check.get("at"))), str(check["channel"])
        before, line = latest.get(name, (None, 0))
        late = before is not None and at <= before
    except (TypeError, ValueError):
        return
    if late:
        found = f"this check of {name!r} is not later than that in line {line}"
        yield marked.fault(
            (*loc, "at"), found, "write a new check below the older ones"
        )
    latest[name] = at, marked.at((*loc, "at")).line


def _points(marked: Marked, loc: Path, points: Sequence[Tree]) -> Iterator[Fault]:
    if len(points) not in (1, 2):
        found = f"a check has one point or two, and here are {len(points)}"
        right = "keep the two that are nearest to the limits the channel is judged by"
        yield marked.fault(loc, found, right, on_key=True)
        return
    read = [_point(one) for one in points]
    if any(one is None for one in read):
        return
    both = sorted((one for one in read if one), key=lambda one: one.said_mc)
    for i, one in enumerate(read):
        if one and abs(one.correction_mc) > LARGEST_MC:
            found = f"a correction by {say_k(one.correction_mc)} is beyond 3 K"
            yield marked.fault((*loc, i, "said"), found, ADVICE)
            return
    if both[-1].said_mc - both[0].said_mc < APART_MC and len(both) == 2:
        found = f"its points are less than {say_k(APART_MC)} apart"
        yield marked.fault(loc, found, "keep the more telling one", on_key=True)
    elif far := beyond(both, COLDEST_MC, HOTTEST_MC):
        said_mc, by_mc = far
        found = (
            f"the line through its points corrects {say_mc(said_mc)} by {say_k(by_mc)}"
        )
        yield marked.fault(loc, found, ADVICE, on_key=True)


def _point(point: Tree) -> Point | None:
    """The point, where it can be read; its own faults are found elsewhere."""
    if not isinstance(point, dict):
        return None
    try:
        said, reference = (temperature(point.get(key)) for key in ("said", "reference"))
        return Point(said, reference, doubt(point.get("within")))
    except ValueError:
        return None
