"""``fumarium rehearse``: a schedule run with no daemon, on a trace or a told day.

A rehearsal file (``rules.rehearsal``) says what is expected of its days, and what does
not come true is shown beside what happened.  A trace is what was recorded: a column's
name begins with its role, as in ``core-1``, and the cook ends with it, if its last
stage has not ended before.  Both are folded as the daemon folds a cook; what a trace
says is screened as the daemon does it, what a person tells of a day is not.
"""

import argparse
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from textwrap import wrap

from pydantic_core import PydanticCustomError

from daemon.chart import svg
from daemon.cli import BAD_COMMAND, BAD_FILE, CHECK_FAILED, GOOD, CommandError
from daemon.files import schedule_at, text_at, whole_at
from daemon.plot import Day, draw
from daemon.zones import zone_named
from probes.company import company_of, fold
from probes.trace import Trace, median_period_ms, read
from rules import engine, surface
from rules.channels import Channel, Role
from rules.facts import Event, Finding, Reading, Subject, Verdict
from rules.faults import render_all
from rules.reader import Marked, marked_tree
from rules.rehearsal import (
    QUIET_PERIODS,
    Miss,
    channels_of,
    lacking,
    misses,
    read_rehearsals,
    readings_of,
    role_of,
    run,
    run_on,
)
from rules.replay import Outcome, in_order
from rules.units import difference, duration, say_ms
from rules.verdicts import on_hold

COLUMNS = 80
TELL = "tell of such a channel in this day: a line that begins with its role"
RATHER = "the trace's own: the middle one of its periods"


def rehearse(asked: argparse.Namespace) -> int:
    """Run a schedule on a trace, or a rehearsal file, and print what it comes to."""
    if asked.plot and asked.plot.suffix not in (".svg", ".png"):
        raise CommandError("--plot: name a file that ends in .svg or .png", BAD_COMMAND)
    if asked.trace is None:
        return rehearse_file(
            asked.schedule, events=asked.events, day=asked.day, plot=asked.plot
        )
    schedule, _ = schedule_at(asked.schedule)
    accuracy_mc = _quantity(difference, asked.accuracy, "--accuracy")
    trace = trace_at(asked.trace, accuracy_mc, asked.begins)
    if not trace.readings:
        raise CommandError(f"{asked.trace}: there is no reading in it", BAD_FILE)
    every_ms = median_period_ms(trace.readings)
    if asked.every:
        every_ms = _quantity(duration, asked.every, "--every")
    names = [column.name for column in trace.channels]
    channels = channels_in(asked.trace, names, max(every_ms, 1), accuracy_mc)
    if words := engine.lacking(engine.plan(schedule, channels)):
        raise CommandError("\n".join(f"{asked.trace}: {x}" for x in words), BAD_FILE)
    source = "as asked" if asked.every else RATHER
    print(f"readings every {say_ms(every_ms)} ({source}); farther apart than", end=" ")
    print(f"{say_ms(channels[0].joined_ms)} is a hole; accuracy {asked.accuracy}")
    thick_um = schedule.product.diameter_um
    readings, doubts = screened(channels, trace.readings, thick_um)
    outcome = run_on(schedule, channels, readings)
    outcome = outcome._replace(events=tuple(in_order([*outcome.events, *doubts])))
    for line in told(outcome):
        print(line)
    if asked.plot:
        title = asked.trace.name
        _plot(asked.plot, Day(title, schedule, channels, trace.readings, outcome))
    return CHECK_FAILED if on_hold(outcome.judged) else GOOD


def screened(
    channels: Sequence[Channel], readings: Iterable[Reading], diameter_um: int = 0
) -> tuple[list[Reading], list[Event]]:
    """The readings of a trace as the daemon would have kept them, and its doubts."""
    in_time = sorted(readings, key=lambda one: one.at_ms)
    folded = list(fold(company_of(channels, diameter_um), in_time))
    return [kept for kept, _ in folded], [e for _, told in folded for e in told]


def rehearse_file(
    path: Path, *, events: bool, day: str = "", plot: Path | None = None
) -> int:
    """Run the days of a rehearsal file; 1 where something expected is not so."""
    text = text_at(path)
    marked, file = marked_tree(str(path), text), read_rehearsals(str(path), text)
    if isinstance(file, list) or isinstance(marked, list):
        faults = file if isinstance(file, list) else []
        raise CommandError(render_all(faults, text), BAD_FILE)
    schedule_path = path.parent / file.schedule
    if not schedule_path.is_file():
        found = f"there is no file {file.schedule!r} in the folder of this one"
        away = marked.fault(("schedule",), found, "write its name as it stands there")
        raise CommandError(render_all([away], text), BAD_FILE)
    schedule, _ = schedule_at(schedule_path)
    at = _lines_of(schedule_path)
    good = True
    days = [
        (number, one)
        for number, one in enumerate(file.rehearsals)
        if day.lower() in one.title.lower()
    ]
    if not days or (plot and len(days) > 1):
        titles = "\n  ".join(one.title for one in file.rehearsals)
        right = f"--day: give words that are in one of these titles\n  {titles}"
        raise CommandError(right, BAD_COMMAND)
    for number, one in days:
        here = ("rehearsals", number, "rehearsal")
        if lacks := [marked.fault(here, x, TELL) for x in lacking(schedule, one)]:
            raise CommandError(render_all(lacks, text), BAD_FILE)
        outcome = run(schedule, one)
        missed = [*misses(schedule, one, outcome, number)]
        print(f"{path}: {one.title}: {'not ' if missed else ''}as expected")
        for miss in missed:
            print("\n".join(_side_by_side(marked, miss, at)))
        if events:
            print("\n".join(told(outcome)))
        if plot:
            readings = readings_of(one)
            _plot(plot, Day(one.title, schedule, channels_of(one), readings, outcome))
        good = good and not missed
    return GOOD if good else CHECK_FAILED


def _plot(path: Path, day: Day) -> None:
    scene = draw(day)
    if path.suffix == ".svg":
        octets = svg(scene).encode()
    else:
        from daemon.raster import png

        octets = png(scene)
    try:
        path.write_bytes(octets)
    except OSError as error:
        words = f"{path}: cannot be written: {error.strerror}"
        raise CommandError(words, BAD_FILE) from error
    print(f"drawn: {path}")


def _side_by_side(marked: Marked, miss: Miss, at: Mapping[str, str]) -> Iterator[str]:
    """What was expected, and below it what happened, with the schedule's line."""
    place = marked.at(miss.loc)
    yield f"{place.path}:{place.line}:{place.column}:"
    head = f"  {miss.when} expected: "
    where = f", {at[miss.about]}" if miss.about in at else ""
    for first, words in (head, miss.expected), ("but got: ", f"{miss.got}{where}"):
        yield from wrap(
            words,
            COLUMNS,
            initial_indent=f"{first:>{len(head)}}",
            subsequent_indent=" " * len(head),
            break_on_hyphens=False,
            break_long_words=False,
        )


def _lines_of(path: Path) -> dict[str, str]:
    """Where each stage, its chamber and each limit of a schedule stands, by name."""
    marked = whole_at(path, text_at(path)).marked
    tree = marked.tree if marked and isinstance(marked.tree, dict) else {}
    found = {}
    for part, key in (("stages", "stage"), ("limits", "limit")):
        items = tree.get(part)
        for i, item in enumerate(items if isinstance(items, list) else ()):
            if marked and isinstance(item, dict):
                name = str(item.get(key))
                for whose, where in ((name, key), (f"{name} chamber", "chamber")):
                    if where in item:
                        place = marked.at((part, i, where))
                        found[whose] = f"{Path(place.path).name}:{place.line}"
    return found


def told(outcome: Outcome) -> list[str]:
    """Events, findings and verdicts as lines of text."""
    lines = ["", "events"]
    lines += [f"  {line_of(event)}" for event in outcome.events]
    lines += ["", "what the readings show"]
    lines += [f"  {finding_of(finding)}" for finding in outcome.findings]
    lines += ["", "verdicts"]
    for one in outcome.judged:
        grade = "" if one.critical else " (operating limit)"
        lines.append(f"  {one.verdict:<9} {one.limit}{grade}: {one.why}")
        if one.source:
            lines.append(f"            source: {one.source}")
    hold = on_hold(outcome.judged)
    critical = [one for one in outcome.judged if one.critical]
    if hold:
        lines.append("the lot is on hold: a critical limit is missed or unproven")
    elif all(one.verdict is Verdict.MET for one in critical):
        lines.append("every critical limit is met by the readings; release is")
        lines[-1] += " a person's decision"
    if humid := surface.summary(one.why for one in outcome.judged):
        lines.append(humid.removeprefix("; "))
    return lines


def line_of(event: Event) -> str:
    """One event in one line, its time in UTC."""
    if event.subject is Subject.LIMIT:
        move = f"{event.name}: {event.was} -> {event.now}"
        return f"{_at(event.at_ms)} {move} ({event.why})"
    words = f"{event.subject} {event.name}: {event.now} ({event.why})"
    return f"{_at(event.at_ms)} {words}"


def finding_of(finding: Finding) -> str:
    """One finding in one line, with the time since when it stands so."""
    part = f", {finding.part}" if finding.part else ""
    head = f"{finding.verdict:<9} {finding.limit}{part} [{finding.channel}]"
    since = f" since {_at(finding.since_ms)}" if finding.since_ms else ""
    return f"{head}{since}: {finding.why}"


def _at(at_ms: int) -> str:
    return f"{datetime.fromtimestamp(at_ms // 1000, UTC):%Y-%m-%d %H:%M:%S}Z"


def trace_at(path: Path, accuracy_mc: int, begins: str) -> Trace:
    """The trace in a file; ``begins`` where its times are counted, else empty.

    Raises:
        CommandError: The file cannot be read, or has faults; the message holds all.
    """
    text = text_at(path)
    found = read(str(path), text, _Same(accuracy_mc), _begins_ms(begins), zone_named)
    if isinstance(found, Trace):
        return found
    raise CommandError(render_all(found, text), BAD_FILE)


class _Same(Mapping[str, int]):
    """The same accuracy for whatever channel is asked for."""

    def __init__(self, accuracy_mc: int) -> None:
        self._accuracy_mc = accuracy_mc

    def __getitem__(self, _channel: str) -> int:
        return self._accuracy_mc

    def __iter__(self) -> Iterator[str]:
        return iter(())

    def __len__(self) -> int:
        return 0


def _begins_ms(text: str) -> int | None:
    if not text:
        return None
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise CommandError(f"--begins: {text!r} is not a moment", BAD_COMMAND) from None
    if at.tzinfo is None:
        raise CommandError("--begins: add its zone, such as Z", BAD_COMMAND)
    return round(at.timestamp() * 1000)


def channels_in(
    path: Path, names: Sequence[str], every_ms: int, accuracy_mc: int
) -> list[Channel]:
    """The channels of a trace, each of the role that its name begins with.

    Raises:
        CommandError: A name begins with none.
    """
    roles = {name: role_of(name) for name in names}
    if unknown := [name for name, role in roles.items() if role is None]:
        right = f"begin its name with a role: {', '.join(Role)}"
        words = [f"{path}: column {name!r} has no role; {right}" for name in unknown]
        raise CommandError("\n".join(words), BAD_FILE)
    quiet_ms = QUIET_PERIODS * every_ms
    return [
        Channel(name, role, every_ms, quiet_ms, accuracy_mc)
        for name, role in roles.items()
        if role is not None
    ]


def _quantity(read_one: Callable[[object], int], text: str, option: str) -> int:
    try:
        return read_one(text)
    except PydanticCustomError as error:
        right = (error.context or {}).get("remedy", "")
        words = f"{option}: {error.message()}; {right}"
        raise CommandError(words, BAD_COMMAND) from None
