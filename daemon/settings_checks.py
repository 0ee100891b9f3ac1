"""What two values of the settings say together.

The checks walk the file as its author wrote it, so that they speak even while other
values are still wrong: all faults come at once.  A value that cannot be read is no
business of theirs; its own fault is found elsewhere.
"""

from collections.abc import Callable, Iterator, Mapping

from daemon.calibration_checks import calibrations
from daemon.conversion_checks import CONVERSIONS, form_of
from probes import w1
from probes.contract import Unit
from probes.forms import FORMS, keys_of
from probes.identity import same
from rules.channels import Role
from rules.faults import Fault
from rules.reader import Marked, Path, Tree, is_one_of
from rules.units import duration, say_ms

Part = Mapping[str, Tree]

OW = "urn:dev:ow:"  # RFC 9039: the name of a 1-wire sensor


def checks(marked: Marked) -> Iterator[Fault]:
    """Every fault that shows only when two values are seen together."""
    if not isinstance(marked.tree, dict):
        return
    yield from _broker(marked)
    channels = _list(marked, "channels")
    for loc, channel in channels:
        for check in (_form, _identity, _unit, _accuracy, _quiet, *CONVERSIONS):
            yield from check(marked, loc, channel)
    yield from _names(marked, channels, "channel")
    yield from _names(marked, _list(marked, "contacts"), "contact")
    yield from _names(marked, _list(marked, "thermometers"), "thermometer")
    yield from _topics(marked, channels)
    yield from calibrations(marked, channels, _list(marked, "calibrations"))
    if marked.tree.get("channels") == []:
        yield marked.fault(
            ("channels",), "there is no channel", "describe at least one probe"
        )


def _broker(marked: Marked) -> Iterator[Fault]:
    tree = marked.tree
    broker = tree.get("broker") if isinstance(tree, dict) else None
    if isinstance(broker, dict) and "password" in broker and "user" not in broker:
        yield marked.fault(
            ("broker", "password"),
            "a password without a user",
            "add a line: user: ...",
            on_key=True,
        )


def _form(marked: Marked, loc: Path, channel: Part) -> Iterator[Fault]:
    form = form_of(channel)
    if form is None:
        return
    for key in keys_of(FORMS.values()):
        if key.word in channel and key not in form.keys:
            its_form = next(one.name for one in FORMS.values() if key in one.keys)
            yield marked.fault(
                (*loc, key.word),
                f"{key.word!r} goes with payload {its_form}, "
                f"and this one is {form.name}",
                f"take the line out, or write payload: {its_form}",
                on_key=True,
            )
    for key in form.keys:
        if key.needed and key.word not in channel:
            yield marked.fault(
                (*loc, "payload"),
                f"payload {form.name} does not say {key.says}",
                f"add a line with {key.what}, for example: {key.word}: {key.example}",
            )


def _identity(marked: Marked, loc: Path, channel: Part) -> Iterator[Fault]:
    """Whether the probe that a channel is bound to can be told, and is told once."""
    probe, record = channel.get("probe"), channel.get("record")
    if "probe at" in channel and "probe" not in channel:
        found = (
            "'probe at' says where a message names its probe, and none is named here"
        )
        right = "add a line: probe: ..., with the name that the message gives"
        yield marked.fault((*loc, "probe at"), found, right, on_key=True)
    if not isinstance(probe, str) or not w1.FOLDER.fullmatch(probe):
        return
    named = w1.record_of(probe)
    if isinstance(record, str) and record.startswith(OW) and not same(named, record):
        found = f"the record {record!r} is not of the 1-wire sensor {probe!r}"
        yield marked.fault((*loc, "record"), found, f"write record: {named}")


def _unit(marked: Marked, loc: Path, channel: Part) -> Iterator[Fault]:
    unit, role = channel.get("unit"), channel.get("role")
    if not is_one_of(unit, Unit) or not is_one_of(role, Role):
        return
    if role == Role.HUMIDITY and unit != Unit.PERCENT:
        yield marked.fault(
            (*loc, "unit"), f"{unit} is not a unit of humidity", "write unit: '%RH'"
        )
    if role != Role.HUMIDITY and unit == Unit.PERCENT:
        yield marked.fault(
            (*loc, "unit"),
            f"%RH is a unit of humidity, and the role is {role}",
            "write degC, degF or K, or role: humidity",
        )


def _accuracy(marked: Marked, loc: Path, channel: Part) -> Iterator[Fault]:
    accuracy, role = channel.get("accuracy"), channel.get("role")
    if not isinstance(accuracy, str) or not is_one_of(role, Role):
        return
    example = "2 %RH" if role == Role.HUMIDITY else "0.5 K"
    right = example.split()[1]
    if accuracy.endswith(("K", "%RH")) and not accuracy.endswith(right):
        yield marked.fault(
            (*loc, "accuracy"),
            f"{accuracy!r} is no accuracy of a probe with the role {role}",
            f"write it in {right}, for example: {example}",
        )


def _quiet(marked: Marked, loc: Path, channel: Part) -> Iterator[Fault]:
    try:
        every_ms = duration(channel.get("every"))
        quiet_ms = duration(channel.get("quiet after"))
    except ValueError:
        return
    if every_ms and quiet_ms * 2 <= every_ms * 3:
        yield marked.fault(
            (*loc, "quiet after"),
            f"quiet after {say_ms(quiet_ms)} is too soon for a probe that "
            f"reports every {say_ms(every_ms)}",
            f"write more than {say_ms(every_ms * 3 // 2)}, "
            f"better {say_ms(every_ms * 5)}",
        )


def _names(marked: Marked, parts: list[tuple[Path, Part]], key: str) -> Iterator[Fault]:
    yield from _twice(
        marked,
        parts,
        lambda part: part.get(key),
        lambda part, line: (
            key,
            f"the {key} {part[key]!r} stands twice; the first is in line {line}",
            f"give every {key} a name of its own",
        ),
    )


def _topics(marked: Marked, channels: list[tuple[Path, Part]]) -> Iterator[Fault]:
    first: dict[Tree | None, tuple[Path, Part]] = {}
    for loc, channel in channels:
        topic, form = channel.get("topic"), form_of(channel)
        if not isinstance(topic, str) or form is None:
            continue
        there, other = first.setdefault(topic, (loc, channel))
        if there == loc:
            continue
        line = marked.at((*there, "topic")).line
        if form.name != other.get("payload"):
            found = f"the topic {topic!r} carries {other.get('payload')} in line {line}"
            remedy = f"write payload: {other.get('payload')}, or another topic"
            yield marked.fault((*loc, "payload"), found, remedy)
        elif not form.apart:
            found = f"the topic {topic!r} carries one {form.name}, taken in line {line}"
            yield marked.fault(
                (*loc, "topic"), found, "give every probe a topic of its own"
            )
    yield from _twice(marked, channels, _source, _same_source)


def _source(channel: Part) -> tuple[Tree | None, ...] | None:
    """What a channel reads: two channels must not read the same."""
    form = form_of(channel)
    key = form.key(form.apart) if form else None
    if key is None or (key.needed and key.word not in channel):
        return None
    return (channel.get("topic"), channel.get(key.word, ""))


def _same_source(channel: Part, line: int) -> tuple[str, str, str]:
    form = form_of(channel)
    key = form.apart if form else ""
    what = f"{key} {channel[key]!r}" if key in channel else f"the only {key}"
    return (
        key if key in channel else "topic",
        f"{what} of the topic {channel['topic']!r} is taken in line {line}",
        f"write the {key} of this probe",
    )


def _twice(
    marked: Marked,
    parts: list[tuple[Path, Part]],
    identity: Callable[[Part], object],
    words: Callable[[Part, int], tuple[str, str, str]],
) -> Iterator[Fault]:
    """A fault for every part that is what an earlier one is already."""
    first: dict[str, Path] = {}
    for loc, part in parts:
        same = identity(part)
        if same is None:
            continue
        there = first.setdefault(repr(same), loc)
        if there != loc:
            key, found, remedy = words(part, marked.at(there).line)
            yield marked.fault((*loc, key), found, remedy)


def _list(marked: Marked, key: str) -> list[tuple[Path, Part]]:
    """The parts of a list of the file, with where each stands."""
    parts = marked.tree.get(key) if isinstance(marked.tree, dict) else None
    if not isinstance(parts, list):
        return []
    return [((key, i), one) for i, one in enumerate(parts) if isinstance(one, dict)]
