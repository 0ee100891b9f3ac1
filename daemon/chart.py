"""The chart of a cook: a scene of simple marks, and the painters that draw it.

Rule 1: the extremes of every column are drawn, so that no spike is lost however
coarse the drawing; nothing is a mean.
Rule 2: across a hole no line is drawn; the hole is hatched, and named in the lane
of its channel.
Rule 3: it is read in black and white: channels differ by dash and width, and the
end of each line says its name.
Rule 4: a chart is for looking at.  No limit is judged by it.

Units: ``_mc`` and ``_ms`` as in ``rules.facts``; a scene is in points from its
upper left corner.
"""

import itertools
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime, tzinfo
from html import escape
from typing import NamedTuple

from rules.channels import Channel, Role
from rules.facts import Quality, Reading

BLACK, DARK, GREY, PALE, WHITE = 0, 70, 130, 225, 255
HOUR_MS = 3_600_000
LEFT, RIGHT, TOP, LANE = 34.0, 74.0, 26.0, 8.0
COLUMNS_A_POINT = 2

# How the line of a channel is drawn: width, dash, shade.
CORES = ((1.2, ()), (1.2, (5.0, 2.0)), (1.2, (1.2, 1.6)), (0.7, (5.0, 2.0)))
CHAMBER = (0.7, (), GREY)
OTHER = (0.6, (1.0, 2.0), GREY)


def degrees(text: str) -> str:
    """A text of the rules as paper sets it: °C and °F."""
    return text.replace("degC", "°C").replace("degF", "°F")


class Path(NamedTuple):
    """A line through points, or a filled shape where it has a fill."""

    points: tuple[tuple[float, float], ...]
    width: float
    dash: tuple[float, ...] = ()
    shade: int = BLACK
    filled: bool = False
    ink: str = ""  # a colour instead of the shade, where there is colour: "#9c001a"


class Box(NamedTuple):
    """A filled rectangle without an edge."""

    x: float
    y: float
    width: float
    height: float
    shade: int


class Words(NamedTuple):
    """A line of text; ``anchor`` is the end that stands at x: start, middle, end."""

    x: float
    y: float  # of the base line
    text: str
    size: float
    anchor: str = "start"
    bold: bool = False
    shade: int = BLACK
    ink: str = ""


Mark = Path | Box | Words


class Scene(NamedTuple):
    """Marks to be drawn one over the other."""

    width: float
    height: float
    marks: tuple[Mark, ...]


class Band(NamedTuple):
    """One stage on the chart, and the band its chamber should be in."""

    name: str
    from_ms: int
    to_ms: int
    low_mc: int | None = None
    high_mc: int | None = None


class Flag(NamedTuple):
    """Something that happened, with the number it has in the text beside it."""

    number: str
    at_ms: int


class Hole(NamedTuple):
    """Between these two readings of a channel at least one is missing."""

    from_ms: int
    to_ms: int


class Frame(NamedTuple):
    """Where the plot is in the scene, and what it spans."""

    from_ms: int
    to_ms: int
    low_mc: int
    high_mc: int
    right: float
    bottom: float
    left: float = LEFT
    top: float = TOP

    def x(self, at_ms: int) -> float:
        """Where a time stands."""
        part = (at_ms - self.from_ms) / (self.to_ms - self.from_ms)
        return self.left + part * (self.right - self.left)

    def y(self, value_mc: int) -> float:
        """Where a temperature stands."""
        part = (value_mc - self.low_mc) / (self.high_mc - self.low_mc)
        return self.bottom - part * (self.bottom - self.top)


def scene(
    channels: Sequence[Channel],
    readings: Iterable[Reading],
    bands: Sequence[Band],
    flags: Sequence[Flag],
    *,
    from_ms: int,
    to_ms: int,
    width: float = 515,
    height: float = 250,
    zone: tzinfo = UTC,
) -> Scene:
    """Lay out the chart of a cook from ``from_ms`` to ``to_ms``."""
    shown = [one for one in channels if one.role is not Role.HUMIDITY]
    curves = curves_of(shown, readings, from_ms, to_ms)
    bottom = height - 16 - LANE * len(shown)
    spread = _spread([*curves.values()], bands)
    frame = Frame(from_ms, max(to_ms, from_ms + 1), *spread, width - RIGHT, bottom)
    marks: list[Mark] = [*_stages(frame, bands), *_grid(frame, zone)]
    for channel in _core_last(shown):
        holes = holes_of(channel, curves[channel.name], from_ms, to_ms)
        if channel.role in (Role.CORE, Role.CHAMBER):
            marks += [mark for hole in holes for mark in hatched(frame, hole)]
    for channel in _core_last(shown):
        marks += line(frame, channel, style(shown, channel), curves[channel.name])
    marks += _names(frame, shown, curves)
    for row, channel in enumerate(shown):
        marks += _lane(frame, row, channel, curves[channel.name])
    marks += _flagged(frame, flags)
    return Scene(width, height, tuple(marks))


def holes_of(
    channel: Channel, readings: Sequence[Reading], from_ms: int, to_ms: int
) -> list[Hole]:
    """Find where a channel's evidence has holes between two times."""
    times = [from_ms, *(reading.at_ms for reading in readings), to_ms]
    return [
        Hole(before, after)
        for before, after in itertools.pairwise(times)
        if after - before > channel.joined_ms
    ]


def style(
    channels: Sequence[Channel], channel: Channel
) -> tuple[float, tuple[float, ...], int]:
    """Give the width, dash and shade of a channel's line."""
    if channel.role is Role.CHAMBER:
        return CHAMBER
    if channel.role is not Role.CORE:
        return OTHER
    cores = [one.name for one in channels if one.role is Role.CORE]
    return (*CORES[cores.index(channel.name) % len(CORES)], BLACK)


def svg(drawing: Scene) -> str:
    """Draw a scene as SVG."""
    head = (
        '<svg xmlns="http://www.w3.org/2000/svg" '
        f'viewBox="0 0 {drawing.width:g} {drawing.height:g}" '
        'font-family="sans-serif">'
    )
    return head + "".join(map(_svg, drawing.marks)) + "</svg>"


def _svg(mark: Mark) -> str:
    grey = f"rgb({mark.shade},{mark.shade},{mark.shade})"
    if not isinstance(mark, Box) and mark.ink:
        grey = mark.ink
    if isinstance(mark, Words):
        weight = ' font-weight="bold"' if mark.bold else ""
        return (
            f'<text x="{mark.x:.1f}" y="{mark.y:.1f}" font-size="{mark.size:g}" '
            f'text-anchor="{mark.anchor}" fill="{grey}"{weight}>'
            f"{escape(mark.text)}</text>"
        )
    if isinstance(mark, Box):
        return (
            f'<rect x="{mark.x:.1f}" y="{mark.y:.1f}" width="{mark.width:.1f}" '
            f'height="{mark.height:.1f}" fill="{grey}"/>'
        )
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in mark.points)
    if mark.filled:
        return f'<polygon points="{points}" fill="{grey}"/>'
    dash = " ".join(f"{part:g}" for part in mark.dash)
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<polyline points="{points}" fill="none" stroke="{grey}" '
        f'stroke-width="{mark.width:g}" stroke-linejoin="round"{dashed}/>'
    )


# Laying out


def curves_of(
    channels: Sequence[Channel], readings: Iterable[Reading], from_ms: int, to_ms: int
) -> dict[str, list[Reading]]:
    """Give the good readings of each channel between two times, in their order."""
    curves: dict[str, list[Reading]] = {channel.name: [] for channel in channels}
    for one in readings:
        inside = from_ms <= one.at_ms <= to_ms and one.quality is Quality.GOOD
        if inside and one.channel in curves:
            curves[one.channel].append(one)
    for curve in curves.values():
        curve.sort(key=lambda one: one.at_ms)
    return curves


def _spread(curves: Sequence[list[Reading]], bands: Sequence[Band]) -> tuple[int, int]:
    """The temperatures to show, from one whole ten to another."""
    values = [reading.value_mc for curve in curves for reading in curve]
    values += [one.high_mc for one in bands if one.high_mc is not None]
    low_mc, high_mc = min(values, default=0), max(values, default=100_000)
    return low_mc // 10_000 * 10_000, -(-(high_mc + 1) // 10_000) * 10_000


def _core_last(channels: Sequence[Channel]) -> list[Channel]:
    return sorted(channels, key=lambda one: (one.role is Role.CORE, one.role))


def _stages(frame: Frame, bands: Sequence[Band]) -> Iterator[Mark]:
    for number, band in enumerate(bands):
        left, right = frame.x(band.from_ms), frame.x(band.to_ms)
        if number % 2 == 0:
            yield Box(left, TOP - 12, right - left, 12, PALE)
        name = fitting(band.name, right - left, 7)
        yield Words((left + right) / 2, TOP - 3.5, name, 7, "middle", bold=True)
        if band.low_mc is not None and band.high_mc is not None:
            top, bottom = frame.y(band.high_mc), frame.y(band.low_mc)
            yield Box(left, top, right - left, bottom - top, PALE + 12)
        if number:
            ends = ((left, TOP - 12), (left, frame.bottom))
            yield Path(ends, 0.5, (2.0, 2.0), DARK)


def _grid(frame: Frame, zone: tzinfo) -> Iterator[Mark]:
    for value_mc in range(frame.low_mc, frame.high_mc + 1, 10_000):
        y = frame.y(value_mc)
        yield Path(((LEFT, y), (frame.right, y)), 0.25, (), 200)
        degrees = value_mc // 1000
        if degrees % 20 == 0:
            yield Words(LEFT - 4, y + 2.3, str(degrees), 6.5, "end", shade=DARK)
            fahrenheit = str(round(degrees * 9 / 5 + 32))
            yield Words(frame.right + 4, y + 2.3, fahrenheit, 6.5, shade=DARK)
    yield Words(LEFT - 4, TOP - 4, "°C", 6.5, "end", shade=DARK)
    yield Words(frame.right + 4, TOP - 4, "°F", 6.5, shade=DARK)
    for at_ms, text in _hours(frame, zone):
        x = frame.x(at_ms)
        yield Path(((x, TOP), (x, frame.bottom)), 0.25, (), 200)
        yield Words(x, frame.bottom + 8, text, 6.5, "middle", shade=DARK)
    corners = ((LEFT, TOP), (LEFT, frame.bottom), (frame.right, frame.bottom))
    yield Path((*corners, (frame.right, TOP), (LEFT, TOP)), 0.6)


def _hours(frame: Frame, zone: tzinfo) -> Iterator[tuple[int, str]]:
    """Whole hours of the zone's clock, not more than about a dozen."""
    hours = (frame.to_ms - frame.from_ms) // HOUR_MS
    every = next(step for step in (1, 2, 3, 6, 12, 24, 1 << 40) if hours <= 12 * step)
    begun = datetime.fromtimestamp(frame.from_ms // 1000, zone)
    whole = begun.replace(minute=0, second=0)
    at_ms = round(whole.timestamp()) * 1000
    while at_ms <= frame.to_ms:
        here = datetime.fromtimestamp(at_ms // 1000, zone)
        if at_ms >= frame.from_ms and here.hour % min(every, 24) == 0:
            yield at_ms, f"{here:%H:%M}"
        at_ms += HOUR_MS


def line(
    frame: Frame,
    channel: Channel,
    drawn: tuple[float, tuple[float, ...], int],
    curve: Sequence[Reading],
) -> Iterator[Mark]:
    """Draw a channel's readings, with no line across a hole."""
    width, dash, shade = drawn
    for run in _joined(channel, curve):
        points = tuple(
            (frame.x(one.at_ms), frame.y(one.value_mc)) for one in _thin(frame, run)
        )
        if len(points) == 1:  # one reading alone still shows
            (x, y), *_ = points
            points = ((x - 0.6, y), (x + 0.6, y))
        yield Path(points, width, dash, shade)


def _joined(channel: Channel, curve: Sequence[Reading]) -> Iterator[list[Reading]]:
    run: list[Reading] = []
    for one in curve:
        if run and one.at_ms - run[-1].at_ms > channel.joined_ms:
            yield run
            run = []
        run.append(one)
    if run:
        yield run


def _thin(frame: Frame, run: Sequence[Reading]) -> list[Reading]:
    """Of each column the first, the lowest, the highest and the last reading."""
    columns: dict[int, list[Reading]] = {}
    for one in run:
        columns.setdefault(int(frame.x(one.at_ms) * COLUMNS_A_POINT), []).append(one)
    kept: list[Reading] = []
    for column in columns.values():
        low = min(column, key=lambda one: one.value_mc)
        high = max(column, key=lambda one: one.value_mc)
        four = {one.at_ms: one for one in (column[0], low, high, column[-1])}
        kept += [four[at_ms] for at_ms in sorted(four)]
    return kept


def _names(
    frame: Frame, channels: Sequence[Channel], curves: dict[str, list[Reading]]
) -> Iterator[Mark]:
    """The name of each line at its end, moved apart where they would touch."""
    ends = sorted(
        (frame.y(curves[channel.name][-1].value_mc), channel.name)
        for channel in channels
        if curves[channel.name]
    )
    x, last = frame.right + 24, TOP - 8
    room = frame.bottom - 7.5 * len(ends)
    for number, (y, name) in enumerate(ends, 1):
        last = max(last + 7.5, min(y, room + 7.5 * number))
        yield Path(((frame.right + 18, last - 2), (x - 2, last - 2)), 0.4, (), GREY)
        yield Words(x, last, fitting(name, RIGHT - 24, 6.5), 6.5, bold=True)


def _lane(
    frame: Frame, row: int, channel: Channel, curve: Sequence[Reading]
) -> Iterator[Mark]:
    """Under the plot: where the channel was heard, and its holes."""
    y = frame.bottom + 15 + row * LANE
    yield Words(LEFT - 4, y + 2, fitting(channel.name, LEFT - 4, 5.5), 5.5, "end")
    for run in _joined(channel, curve):
        left, right = frame.x(run[0].at_ms), frame.x(run[-1].at_ms)
        yield Box(left, y - 1, max(right - left, 0.8), 2, DARK)
    last = frame.right + 4
    longest = max(
        (
            hole.to_ms - hole.from_ms
            for hole in holes_of(channel, curve, frame.from_ms, frame.to_ms)
        ),
        default=0,
    )
    minutes = f"longest hole {_say_minutes(longest)}" if longest else "no hole"
    yield Words(last, y + 2, minutes, 5.5, shade=DARK)


def hatched(frame: Frame, hole: Hole) -> Iterator[Mark]:
    """Draw slanted lines over the hole, cut at its edges."""
    left, right = frame.x(hole.from_ms), frame.x(hole.to_ms)
    if right - left < 0.8:
        right = left + 0.8
    height = frame.bottom - frame.top
    start = left - height
    while start < right:
        # Each line rises by one point a point, from the bottom at x = start.
        low, high = max(left, start), min(right, start + height)
        if low < high:
            ends = (
                (low, frame.bottom - (low - start)),
                (high, frame.bottom - (high - start)),
            )
            yield Path(ends, 0.35, (), GREY)
        start += 5
    for x in (left, right):
        yield Path(((x, frame.top), (x, frame.bottom)), 0.35, (), GREY)


def _flagged(frame: Frame, flags: Sequence[Flag]) -> Iterator[Mark]:
    """A flag each; where numbers would touch, they share one: 5-8."""
    groups: list[list[Flag]] = []
    for flag in sorted(flags, key=lambda one: one.at_ms):
        if groups and frame.x(flag.at_ms) - frame.x(groups[-1][-1].at_ms) < 9:
            groups[-1].append(flag)
        else:
            groups.append([flag])
    y = TOP - 13
    for group in groups:
        for flag in group:
            x = frame.x(flag.at_ms)
            # From the plot on: the names of the stages above it stay readable.
            yield Path(((x, TOP), (x, frame.bottom)), 0.5, (0.8, 1.6), BLACK)
            yield Path(((x - 3, y - 4), (x + 3, y - 4), (x, y + 1)), 0, filled=True)
        first, last = group[0], group[-1]
        middle = (frame.x(first.at_ms) + frame.x(last.at_ms)) / 2
        numbers = first.number if first is last else f"{first.number}-{last.number}"
        yield Words(middle, y - 5.5, numbers, 6.5, "middle", bold=True)


def fitting(text: str, room: float, size: float) -> str:
    """Give as much of a text as fits, by the width of an average letter."""
    most = int(room / (size * 0.56))
    return text if len(text) <= most else text[: max(most - 1, 0)] + "…" * (most > 1)


def _say_minutes(ms: int) -> str:
    minutes = -(-ms // 60_000)
    if minutes < 60:
        return f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60} min"
