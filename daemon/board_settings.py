"""What a board publishes: one YAML file, read into frozen values.

Form::

    board: north-board            # also the client id at the broker
    topic: yard/north/board
    buffer: /var/lib/fumarium/board.db
    at most: 200000               # samples kept while the broker is away
    broker: {host: 127.0.0.1, port: 1883}
    probes:
      - probe: 28-0316a2795e1c    # as `fumarium probes found` shows it
        every: 10 s

All faults of the file come at once.  A probe that is not named here is not read.

Units: ``_ms`` milliseconds.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from pydantic import BeforeValidator, Field

from daemon.settings import (
    Broker,
    BrokerPart,
    ClientId,
    Part,
    PathHere,
    Text,
    Topic,
    checked_file,
    period,
    text_of,
    whole_number,
)
from rules.faults import Fault
from rules.reader import Marked
from rules.units import refused

FASTEST_MS = 1_000  # a conversion of a 1-wire sensor takes three quarters of it

AtMost = Annotated[int, BeforeValidator(whole_number(100, 10_000_000))]


@dataclass(frozen=True, slots=True)
class Wanted:
    """One probe to publish, by the identity of its hardware."""

    probe: str
    every_ms: int


@dataclass(frozen=True, slots=True)
class Board:
    """All that the publisher must know before it starts."""

    topic: str
    buffer: Path
    at_most: int
    broker: Broker
    sysfs: Path
    probes: tuple[Wanted, ...]


def load_board(path: Path, environment: Mapping[str, str]) -> Board | list[Fault]:
    """Read the settings of a board, or say everything that is wrong with them."""
    source = text_of(path)
    if isinstance(source, Fault):
        return [source]
    return read_board(path, source, environment)


def read_board(
    path: Path, source: str, environment: Mapping[str, str]
) -> Board | list[Fault]:
    """Read them from their text, or say everything that is wrong with it."""
    file = checked_file(path, source, environment, BoardFile, _checks)
    return file if isinstance(file, list) else file.board_value()


def _checks(marked: Marked) -> Iterator[Fault]:
    """What two values of the file say together."""
    tree = marked.tree if isinstance(marked.tree, dict) else {}
    broker, probes = tree.get("broker"), tree.get("probes")
    if isinstance(broker, dict) and "client id" in broker:
        loc = ("broker", "client id")
        found = "a board's client id is its own name"
        yield marked.fault(loc, found, "take the line out", on_key=True)
    first: dict[str, int] = {}
    for i, one in enumerate(probes if isinstance(probes, list) else []):
        name = one.get("probe") if isinstance(one, dict) else None
        if isinstance(name, str) and first.setdefault(name, i) != i:
            line = marked.at(("probes", first[name], "probe")).line
            found = f"the probe {name!r} stands twice; the first is in line {line}"
            yield marked.fault(("probes", i, "probe"), found, "keep one of them")
    if probes == []:
        right = "name at least one; `fumarium probes found` shows them"
        yield marked.fault(("probes",), "there is no probe", right)


def _often(value: object) -> int:
    every_ms = period(value)
    if every_ms < FASTEST_MS:
        raise refused(f"{value!r} is too fast for a probe", "write 1 s or more")
    return every_ms


class _Wanted(Part):
    probe: Text
    every: Annotated[int, BeforeValidator(_often)] = 10_000


class BoardFile(Part):
    """The file as a person writes it."""

    board: ClientId
    topic: Topic
    buffer: PathHere
    at_most: AtMost = Field(200_000, alias="at most")
    broker: BrokerPart
    sysfs: PathHere = Path("/sys")
    probes: list[_Wanted]

    def board_value(self) -> Board:
        """The same as the publisher sees it."""
        return Board(
            topic=self.topic,
            buffer=self.buffer,
            at_most=self.at_most,
            broker=Broker(**{**dict(self.broker), "client_id": self.board}),
            sysfs=self.sysfs,
            probes=tuple(Wanted(one.probe, one.every) for one in self.probes),
        )
