"""A rehearsal as a drawing: stages, bands, limits, readings and what became true.

Rule 1: it shows what the text beside it says, and judges nothing.
Rule 2: it is read in black and white; a shape and a word say it before a colour does.
Rule 3: no word stands on another.  What has no room is counted, never dropped unsaid.

Units: ``_mc`` and ``_ms`` as in ``rules.facts``; the drawing is in points.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime
from textwrap import wrap
from typing import NamedTuple

from daemon.chart import (
    DARK,
    GREY,
    PALE,
    Box,
    Frame,
    Hole,
    Mark,
    Path,
    Scene,
    Words,
    curves_of,
    degrees,
    fitting,
    hatched,
    holes_of,
    line,
    style,
)
from rules.channels import Channel, Role
from rules.facts import Event, Reading, Standing, Subject
from rules.limit import Limit
from rules.replay import Outcome
from rules.schedule import Schedule
from rules.units import say_mc, say_ms

WIDTH, LEFT, RIGHT = 1040.0, 48.0, 150.0
TITLE, STRIP, PLOT, AXIS = 44.0, 34.0, 400.0, 34.0
SMALL, TEXT, LARGE = 9.5, 11.0, 16.0
SIZES = (TEXT, SMALL, 7.5)  # of a stage's name: the largest that has room
LETTER = 0.58  # the width of an average letter, by its size
ROW, MOST_ROWS = 15.0, 12
HOUR_MS, MINUTE_MS = 3_600_000, 60_000
# As on the page (``daemon/page/style.css``), where the shape says the same.
GOOD, WARN, BAD, DOUBT = "#0a5426", "#703800", "#9c001a", "#472683"
INKS = {
    **dict.fromkeys((Standing.MET, Standing.WITHIN, "reporting"), GOOD),
    Standing.AT_RISK: WARN,
    **dict.fromkeys((Standing.DEVIATION, Standing.MISSED, "quiet", "overdue"), BAD),
    Standing.UNPROVEN: DOUBT,
}


class Day(NamedTuple):
    """What is drawn: a cook that was rehearsed."""

    title: str
    schedule: Schedule
    channels: Sequence[Channel]
    readings: Sequence[Reading]
    outcome: Outcome


class _Line(NamedTuple):
    """One temperature of a limit, over the stages in which it is judged."""

    mc: int
    words: str
    from_ms: int
    to_ms: int


def draw(day: Day) -> Scene:
    """Lay out the drawing of a day."""
    shown = [one for one in day.channels if one.role is not Role.HUMIDITY]
    begun_ms = day.outcome.stages[0].from_ms
    ended_ms = day.outcome.finished_ms or max(one.at_ms for one in day.readings)
    curves = curves_of(shown, day.readings, begun_ms, ended_ms)
    lines = _merged(_lines(day, ended_ms))
    values = [one.value_mc for curve in curves.values() for one in curve]
    values += [one.mc for one in lines] + [mc for b in _bands(day) for mc in b]
    low_mc = min(values, default=0) // 10_000 * 10_000
    high_mc = -(-(max(values, default=90_000) + 1) // 10_000) * 10_000
    top = TITLE + STRIP
    frame = Frame(
        *(begun_ms, max(ended_ms, begun_ms + 1), low_mc, high_mc, WIDTH - RIGHT),
        *(top + PLOT, LEFT, top),
    )
    marks: list[Mark] = [*_stages(day, frame), *_grid(frame)]
    for channel in shown:
        for hole in holes_of(channel, curves[channel.name], begun_ms, ended_ms):
            marks += [*hatched(frame, hole), *_hole_words(frame, channel, hole)]
    for channel in sorted(shown, key=lambda one: one.role is Role.CORE):
        width, dash, shade = style(shown, channel)
        drawn = (width * 1.6, tuple(part * 1.6 for part in dash), shade)
        marks += line(frame, channel, drawn, curves[channel.name])
    marks += [*_limits(frame, lines, curves.values()), *_names(frame, curves)]
    events, height = _events(frame, _told(day))
    marks += events
    whole = top + PLOT + AXIS + height + 10
    for words in _undrawn(day):
        marks.append(Words(LEFT, whole, words, SMALL, shade=DARK))
        whole += ROW
    paper = Box(0, 0, WIDTH, whole, 255)
    return Scene(WIDTH, whole, (paper, *_title(day, begun_ms), *marks))


def _title(day: Day, begun_ms: int) -> Iterator[Mark]:
    begun = datetime.fromtimestamp(begun_ms // 1000, UTC)
    yield Words(LEFT, 22, day.title, LARGE, bold=True)
    words = f"{day.schedule.title}, revision {day.schedule.revision}"
    yield Words(LEFT, 37, f"{words}; begins {begun:%Y-%m-%d %H:%M} UTC", TEXT)


# Stages and axes


def _bands(day: Day) -> Iterator[tuple[int, int]]:
    yield from (one.chamber for one in day.schedule.stages if one.chamber)


def _stages(day: Day, frame: Frame) -> Iterator[Mark]:
    """A strip for every stage, with its name and how long it lasted."""
    wanted = {stage.name: stage for stage in day.schedule.stages}
    for number, span in enumerate(day.outcome.stages):
        to_ms = span.to_ms or frame.to_ms
        left, right = frame.x(span.from_ms), frame.x(to_ms)
        top, middle, room = TITLE + 2, (left + right) / 2, right - left - 4
        yield Box(left, top, right - left, STRIP - 4, PALE if number % 2 == 0 else 245)
        name, lasted = span.name, say_ms(to_ms - span.from_ms)
        size = next((s for s in SIZES if _wide(name, s) <= room), SIZES[-1])
        name = fitting(name, room + 4, size)
        yield Words(middle, top + 13, name, size, "middle", bold=True)
        if _wide(lasted, SMALL) <= room:
            yield Words(middle, top + 25, lasted, SMALL, "middle", shade=DARK)
        if band := wanted[span.name].chamber:
            upper, lower = frame.y(band.high_mc), frame.y(band.low_mc)
            yield Box(left, upper, right - left, lower - upper, 236)
        if number:
            yield Path(((left, top), (left, frame.bottom)), 0.8, (3, 3), GREY)


def _grid(frame: Frame) -> Iterator[Mark]:
    for value_mc in range(frame.low_mc, frame.high_mc + 1, 10_000):
        y, degrees = frame.y(value_mc), value_mc // 1000
        yield Path(((LEFT, y), (frame.right, y)), 0.4, (), 215)
        if degrees % 20 == 0:
            yield Words(LEFT - 6, y + 3.5, str(degrees), SMALL, "end", shade=DARK)
            fahrenheit = str(round(degrees * 9 / 5 + 32))
            yield Words(frame.right + 5, y + 3.5, fahrenheit, SMALL, shade=DARK)
    yield Words(LEFT - 6, frame.top - 6, "°C", SMALL, "end", shade=DARK)
    yield Words(frame.right + 5, frame.top - 6, "°F", SMALL, shade=DARK)
    for at_ms, past in _ticks(frame):
        x, at = frame.x(at_ms), datetime.fromtimestamp(at_ms // 1000, UTC)
        yield Path(((x, frame.top), (x, frame.bottom + 4)), 0.4, (), 215)
        yield Words(x, frame.bottom + 14, past, SMALL, "middle", bold=True)
        clock = f"{at:%H:%M}"
        yield Words(x, frame.bottom + 25, clock, SMALL, "middle", shade=DARK)
    yield Words(frame.right + 24, frame.bottom + 14, "since the start", SMALL)
    yield Words(frame.right + 24, frame.bottom + 25, "UTC", SMALL, shade=DARK)
    corners = ((LEFT, frame.top), (LEFT, frame.bottom), (frame.right, frame.bottom))
    yield Path((*corners, (frame.right, frame.top), (LEFT, frame.top)), 0.8)


def _ticks(frame: Frame) -> Iterator[tuple[int, str]]:
    """Whole parts of the time since the start, a dozen at the most."""
    whole_ms = frame.to_ms - frame.from_ms
    steps = (1, 2, 5, 10, 15, 30, 60, 120, 180, 360, 720, 1440, 1 << 40)
    step_ms = next(m for m in steps if whole_ms <= 14 * m * MINUTE_MS) * MINUTE_MS
    for at_ms in range(frame.from_ms, frame.to_ms + 1, step_ms):
        past_ms = at_ms - frame.from_ms
        yield at_ms, say_ms(past_ms) if past_ms else "0"


def _hole_words(frame: Frame, channel: Channel, hole: Hole) -> Iterator[Mark]:
    left, right = frame.x(hole.from_ms), frame.x(hole.to_ms)
    words = f"no {channel.name}"
    if _wide(words, SMALL) < right - left:
        x = (left + right) / 2
        yield Words(x, frame.bottom - 6, words, SMALL, "middle", bold=True)


# Limits


def _lines(day: Day, ended_ms: int) -> Iterator[_Line]:
    """The temperatures of every written limit, where it is judged."""
    spans = {one.name: one for one in day.outcome.stages}
    names = [stage.name for stage in day.schedule.stages]
    for limit in day.schedule.limits:
        during = [names[i] for i in day.schedule.during(limit)]
        there = [spans[name] for name in during if name in spans]
        for mc in limit.levels_mc if there and _is_hot(limit) else ():
            to_ms = there[-1].to_ms or ended_ms
            yield _Line(mc, limit.name, there[0].from_ms, to_ms)


def _undrawn(day: Day) -> list[str]:
    """The limits that are judged by no temperature of their own, in lines of text."""
    names = [
        one.name for one in day.schedule.limits if not (one.levels_mc and _is_hot(one))
    ]
    words = f"judged too, by no one temperature: {', '.join(names)}"
    return wrap(words, round((WIDTH - LEFT) / SMALL / LETTER)) if names else []


def _is_hot(limit: Limit) -> bool:
    """Whether its levels are temperatures."""
    return limit.channel is not Role.HUMIDITY


def _merged(lines: Iterator[_Line]) -> list[_Line]:
    """One line for limits that share a temperature, with all of their names."""
    found: dict[int, _Line] = {}
    for one in lines:
        if same := found.get(one.mc):
            words = same.words
            if one.words not in words.split(", "):
                words = f"{words}, {one.words}"
            ends = (min(one.from_ms, same.from_ms), max(one.to_ms, same.to_ms))
            one = _Line(same.mc, words, *ends)
        found[one.mc] = one
    return [found[mc] for mc in sorted(found, reverse=True)]


def _limits(
    frame: Frame, lines: Sequence[_Line], curves: Iterable[Sequence[Reading]]
) -> Iterator[Mark]:
    """A line each, named where no curve runs; names that would touch stand apart."""
    last = frame.top - 4
    drawn = [(frame.x(r.at_ms), frame.y(r.value_mc)) for c in curves for r in c]
    for one in lines:
        y, left, right = frame.y(one.mc), frame.x(one.from_ms), frame.x(one.to_ms)
        yield Path(((left, y), (right, y)), 1.0, (6, 3), DARK)
        words = f"{one.words} {degrees(say_mc(one.mc))}"
        wide = _wide(words, SMALL)
        base = max(y - 3, last + SMALL + 1.5)
        last = base
        first, most = left + 4, max(right - wide - 4, left + 4)
        places = [first + (most - first) * part / 12 for part in range(13)]
        x = min(places, key=lambda at: _covered(drawn, at, at + wide, base))
        x = min(x, frame.right - wide - 4)
        yield Box(x - 1.5, base - SMALL + 1, wide + 2, SMALL + 1, 255)
        yield Words(x, base, words, SMALL, shade=DARK)


def _covered(
    drawn: Sequence[tuple[float, float]], left: float, right: float, base: float
) -> int:
    """How many readings a name there would stand on."""
    near = (base - SMALL - 2, base + 5)
    return sum(left <= x <= right and near[0] <= y <= near[1] for x, y in drawn)


# Channels and events


def _names(frame: Frame, curves: dict[str, list[Reading]]) -> Iterator[Mark]:
    ends = sorted((frame.y(c[-1].value_mc), name) for name, c in curves.items() if c)
    x, last = frame.right + 40, frame.top
    for number, (y, name) in enumerate(ends, 1):
        least = frame.bottom - 13 * (len(ends) - number)
        last = max(last + 13, min(y + 4, least))
        yield Path(((frame.right + 30, y), (x - 3, last - 4)), 0.7, (), GREY)
        yield Words(x, last, fitting(name, RIGHT - 44, TEXT), TEXT, bold=True)


def _told(day: Day) -> list[Event]:
    """What became true of limits and channels, and of stages that last too long.

    What became true of several channels at one moment is told once, with all of them.
    """
    end_ms = day.outcome.finished_ms or 1 << 62
    roles = Counter(channel.role for channel in day.channels)
    alone = {one.name for one in day.channels if roles[one.role] == 1}
    found: dict[tuple[int, str, str], Event] = {}
    for one in _worth(day, end_ms):
        channel = "" if one.channel in alone else one.channel
        key = (one.at_ms, one.name, one.now)
        others = found[key].channel if key in found else ""
        of = ", ".join(filter(None, (others, channel)))
        found[key] = one._replace(channel=of)
    return [*found.values()]


def _worth(day: Day, end_ms: int) -> list[Event]:
    return [
        one
        for one in day.outcome.events
        if one.at_ms <= end_ms
        and (one.subject is Subject.LIMIT or one.now in ("quiet", "overdue"))
        and not (one.was == Standing.WAITING and one.now == Standing.WITHIN)
    ]


def _events(frame: Frame, events: Sequence[Event]) -> tuple[list[Mark], float]:
    """Words in rows below the axis, each under the tick of its moment."""
    marks: list[Mark] = []
    ticks: list[Mark] = []  # below all words
    free: list[float] = []  # of each row: from where on it is
    left_out = 0
    first = frame.bottom + AXIS
    for one in events:
        words, x = _short(frame, one), frame.x(one.at_ms)
        wide = _wide(words, SMALL) + 12
        right = min(x + wide, WIDTH - 4)
        start = right - wide
        row = next((i for i, at in enumerate(free) if at <= start - 6), len(free))
        if row == MOST_ROWS:
            left_out += 1
            continue
        if row == len(free):
            free.append(0.0)
        free[row] = right
        y, ink = first + ROW * row + 10, INKS.get(one.now, "")
        ticks.append(Path(((x, frame.top), (x, y - 8)), 0.6, (1.5, 2.5), 165))
        marks.append(Box(start - 1, y - SMALL, wide + 2, SMALL + 3, 255))
        marks += _shape(start + 4, y - 3.5, ink)
        marks.append(Words(start + 11, y, words, SMALL, ink=ink))
    if left_out:
        words = f"and {left_out} more, told by --events"
        marks.append(Words(LEFT, first + ROW * len(free) + 10, words, SMALL))
    return [*ticks, *marks], ROW * (len(free) + bool(left_out)) + 6


def _short(frame: Frame, event: Event) -> str:
    of = f" ({event.channel})" if event.channel and event.channel != event.name else ""
    past = say_ms((event.at_ms - frame.from_ms) // MINUTE_MS * MINUTE_MS)
    name = degrees(event.name)
    return f"{name} {event.now}{of}, {past}"


def _shape(x: float, y: float, ink: str) -> Iterator[Mark]:
    """A square for what is well, a triangle for a warning, on its point for worse."""
    points: tuple[tuple[float, float], ...]
    if ink in (BAD, DOUBT):
        points = ((x - 4, y - 4), (x + 4, y - 4), (x, y + 4))
    elif ink == WARN:
        points = ((x - 4, y + 4), (x + 4, y + 4), (x, y - 4))
    else:
        points = ((x - 3, y - 3), (x + 3, y - 3), (x + 3, y + 3), (x - 3, y + 3))
    yield Path(points, 0, filled=True, ink=ink)


def _wide(text: str, size: float) -> float:
    return len(text) * size * LETTER
