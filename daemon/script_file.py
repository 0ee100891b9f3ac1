"""The script of a simulated day as a person writes it: YAML text into a ``Script``.

Form::

    script: A day on which the fire dies (invented)
    begins: 2026-01-10T05:00:00Z
    every: 30 s
    outside: 8 degC               # and `outside later`, twelve hours on
    pieces:
      - piece: thin
        diameter: 32 mm
        starts: 11 degC
        load: 12 kg               # the sausages for which it stands
    probes:
      - {channel: chamber, shows: chamber}
      - {channel: core-1, shows: core, piece: thin}
    steps:
      - {step: smoke, in: chamber, at: 60 degC, lasts: 3 h}
      - {step: cook, in: chamber, at: 79 degC, until every core: 70 degC}
      - {step: chill, in: ice bath, until every core: 4 degC}
    happens:
      - {what: fire out, from: 2 h, to: 160 min}
      - {what: ice added, ice: 15 kg, in step: chill, from: 30 min, to: 31 min}
      - {what: probe quiet, channel: core-1, from: 190 min, to: 202 min}

Times of what happens count from the beginning, or of the step that is named.  All
faults of the file come at once.
"""

from collections.abc import Callable, Iterator
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, model_validator

from daemon.settings import Moment, Part, Text, period, whole_number
from probes.script import (
    Around,
    Bath,
    Happening,
    House,
    Piece,
    Probe,
    Script,
    Shows,
    Step,
    What,
)
from rules.faults import Fault
from rules.reader import Marked, choice, marked_tree, validated
from rules.units import NUMBER, Duration, difference, refused, temperature
from rules.weights import share, weight

MILLIMETRE = 0.001
NEEDED = {  # what befalls a probe names its channel, and so on
    "channel": {one for one in What if one.startswith("probe")},
    "with": {What.SWAPPED},
    "shows": {What.STUCK},
    "ice": {What.ICE_ADDED},
}


def read_script(path: str, text: str) -> Script | list[Fault]:
    """The script in this text, or everything that is wrong with it."""
    marked = marked_tree(path, text)
    if isinstance(marked, list):
        return marked
    file = validated(marked, ScriptFile)
    faults = {*(file if isinstance(file, list) else []), *_checks(marked)}
    if isinstance(file, list) or faults:
        return sorted(faults)
    return file.script_value()


def _number(unit: str, what: str, least: float, most: float) -> BeforeValidator:
    """Read a number that carries one unit, within what can be."""
    right = f"write a number from {least:g} to {most:g} and its unit: {unit}"

    def read(value: object) -> float:
        found = NUMBER.match(value) if isinstance(value, str) else None
        if not found or found[2] != unit or not least <= float(found[1]) <= most:
            raise refused(f"{value!r} is not {what}", right)
        return float(found[1])

    return BeforeValidator(read)


def _word(words: type[Around] | type[Shows] | type[What]) -> BeforeValidator:
    known = [str(one) for one in words]

    def read(value: object) -> str:
        if value not in known:
            raise refused(f"{value!r} is no word here", choice(str(value), known))
        return words(str(value))

    return BeforeValidator(read)


def _of(reader: Callable[[object], Any], scale: float = 1.0) -> BeforeValidator:
    """Read with a reader of ``rules`` into a float of the physics."""
    return BeforeValidator(lambda value: float(reader(value)) * scale)


Degrees = Annotated[float, _of(temperature, 0.001)]
Kelvins = Annotated[float, _of(difference, 0.001)]
Kilograms = Annotated[float, _of(weight, 0.001)]
Seconds = Annotated[float, BeforeValidator(lambda value: period(value) / 1000)]
Share = Annotated[float, _of(share)]
Seed = Annotated[int, BeforeValidator(whole_number(0, 1_000_000))]
Every = Annotated[int, BeforeValidator(period)]


class _Piece(Part):
    piece: Text
    diameter: Annotated[float, _number("mm", "a diameter", 8, 200)]
    starts: Degrees
    load: Kilograms = 8.0
    moist: Share = 0.07
    starts_moist: Share = Field(1.0, alias="starts moist")

    def value(self) -> Piece:
        return Piece(
            name=self.piece,
            diameter_m=self.diameter * MILLIMETRE,
            starts_c=self.starts,
            load_kg=self.load,
            moist=self.moist,
            starts_moist=self.starts_moist,
        )


class _Probe(Part):
    channel: Annotated[str, Field(pattern=r"^[^\[\],\"]*[^\[\],\" ]$")]
    shows: Annotated[Shows, _word(Shows)]
    piece: Text = ""
    depth: Share = Field(0.0, alias="off centre")
    lag: Seconds = 12.0
    noise: Kelvins = 0.06
    off: Kelvins = 0.0
    resolution: Kelvins = 0.01

    def value(self) -> Probe:
        return Probe(
            channel=self.channel,
            shows=self.shows,
            piece=self.piece,
            depth=self.depth,
            lag_s=self.lag,
            noise_c=self.noise,
            off_c=self.off,
            resolution_c=self.resolution,
        )


class _Step(Part):
    step: Text
    around: Annotated[Around, _word(Around)] = Field(alias="in")
    at: Degrees = 0.0
    lasts: Duration = 0
    until: Degrees | None = Field(None, alias="until every core")
    damper: Share = 0.5

    def value(self) -> Step:
        return Step(
            name=self.step,
            around=self.around,
            target_c=self.at,
            lasts_ms=self.lasts,
            until_c=self.until,
            damper=self.damper,
        )


class _Happening(Part):
    what: Annotated[What, _word(What)]
    begins: Duration = Field(alias="from")
    ends: Duration = Field(alias="to")
    in_step: Text = Field("", alias="in step")
    channel: Text = ""
    other: Text = Field("", alias="with")
    shows: Degrees = 0.0
    ice: Kilograms = 0.0

    @model_validator(mode="after")
    def _forward(self) -> "_Happening":
        if self.ends <= self.begins:
            raise refused("it ends before it begins", "write a later time after to:")
        return self

    def value(self) -> Happening:
        return Happening(
            what=self.what,
            from_ms=self.begins,
            to_ms=self.ends,
            step=self.in_step,
            channel=self.channel,
            other=self.other,
            shows_c=self.shows,
            ice_kg=self.ice,
        )


class _Bath(Part):
    water: Kilograms = 60.0
    ice: Kilograms = 60.0
    starts: Degrees = 4.0


class _House(Part):
    fire: Annotated[float, _number("W", "a power", 100, 100_000)] = 6_000.0
    wood: Kilograms = 2.0
    starts: Degrees = 18.0
    losses: Annotated[float, _number("W/K", "a loss of heat", 1, 1_000)] = 16.0
    gusts: Share = 0.12


class ScriptFile(Part):
    """The file as a person writes it."""

    script: Text
    begins: Moment
    every: Every
    seed: Seed = 1
    outside: Degrees = 8.0
    outside_later: Degrees | None = Field(None, alias="outside later")
    room: Degrees = 16.0
    house: _House = _House()
    bath: _Bath = _Bath()
    pieces: list[_Piece]
    probes: list[_Probe]
    steps: list[_Step]
    happens: tuple[_Happening, ...] = ()

    def script_value(self) -> Script:
        """What the simulator walks through."""
        later = self.outside if self.outside_later is None else self.outside_later
        return Script(
            begins_ms=self.begins,
            every_ms=self.every,
            pieces=tuple(one.value() for one in self.pieces),
            probes=tuple(one.value() for one in self.probes),
            steps=tuple(one.value() for one in self.steps),
            happenings=tuple(one.value() for one in self.happens),
            house=House(
                fire_w=self.house.fire,
                bed_kg=self.house.wood,
                starts_c=self.house.starts,
                outside_w_k=self.house.losses,
                gusts=self.house.gusts,
            ),
            bath=Bath(self.bath.water, self.bath.ice, self.bath.starts),
            outside_c=self.outside,
            outside_later_c=later,
            room_c=self.room,
            seed=self.seed,
        )


def _checks(marked: Marked) -> Iterator[Fault]:
    """What several values of the file say together."""
    tree = marked.tree if isinstance(marked.tree, dict) else {}
    known = {
        (part, key): [str(one.get(key)) for one in _rows(tree, part)]
        for part, key in (("pieces", "piece"), ("probes", "channel"), ("steps", "step"))
    }
    for (part, key), names in known.items():
        if part in tree and not names:
            yield marked.fault((part,), "nothing stands here", "write at least one")
        for i, name in enumerate(names):
            if names.index(name) != i:
                found = f"the name {name!r} stands twice"
                yield marked.fault((part, i, key), found, "rename one of them")
    named = [
        ("probes", "piece", known["pieces", "piece"]),
        ("happens", "channel", known["probes", "channel"]),
        ("happens", "with", known["probes", "channel"]),
        ("happens", "in step", known["steps", "step"]),
    ]
    for part, key, names in named:
        for i, row in enumerate(_rows(tree, part)):
            if key in row and str(row[key]) not in names:
                found = f"{row[key]!r} is not in this script"
                right = choice(str(row[key]), list(dict.fromkeys(names)))
                yield marked.fault((part, i, key), found, right)
    yield from _lacking(marked, tree)


def _lacking(marked: Marked, tree: dict[str, Any]) -> Iterator[Fault]:
    """What one word makes another necessary for."""
    for i, row in enumerate(_rows(tree, "probes")):
        if row.get("shows") == Shows.CORE and "piece" not in row:
            found, right = "a core is in no piece", "add a line: piece: ..."
            yield marked.fault(("probes", i, "shows"), found, right)
    for i, row in enumerate(_rows(tree, "steps")):
        if ("lasts" in row) == ("until every core" in row):
            found = "a step has one end"
            right = "write either lasts or until every core"
            yield marked.fault(("steps", i, "step"), found, right)
        if row.get("in") in (Around.CHAMBER, Around.COOLER) and "at" not in row:
            found, right = "it has no temperature", "add a line: at: 60 degC"
            yield marked.fault(("steps", i, "step"), found, right)
    for i, row in enumerate(_rows(tree, "happens")):
        what = row.get("what")
        if what not in list(What):
            continue
        wanted = {key for key, whats in NEEDED.items() if what in whats}
        for key in sorted(wanted - set(row)):
            found, right = f"{what!r} needs {key!r}", f"add a line: {key}: ..."
            yield marked.fault(("happens", i, "what"), found, right)
        for key in sorted((set(NEEDED) - wanted) & set(row)):
            found = f"{what!r} has no {key!r}"
            yield marked.fault(("happens", i, key), found, "take it out", on_key=True)


def _rows(tree: dict[str, Any], part: str) -> list[dict[str, Any]]:
    rows = tree.get(part)
    listed = rows if isinstance(rows, list) else []
    return [one if isinstance(one, dict) else {} for one in listed]
