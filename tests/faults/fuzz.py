"""Spoilt inputs for everything that reads what others wrote.

Right inputs are cut, joined, repeated and salted with what breaks readers; some are
mere chance.  Whatever comes, a decoder answers readings and refusals, and a reader of
files its value or its faults; none raises, takes a second of the processor or keeps
memory.  ``seed`` makes a run the same again.
"""

import random
import resource
import signal
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from types import FrameType
from typing import NamedTuple

from daemon.secrets import explain
from daemon.settings import Settings, read_settings
from probes import trace
from probes.contract import Arrival, Conversion, Law, Probe, Refusal, Unit
from probes.decode import decode
from probes.encode import encode
from probes.forms import FORMS
from rules.channels import Role
from rules.faults import render_all
from rules.schedule import Schedule, read_schedule
from tests.probes.forms import described

ROOT = Path(__file__).parents[2]
NOW_MS = 1_768_021_200_000
LONGEST_S = 1.0  # of the processor, for one input
LARGEST = 65_536  # bytes; the shipped broker lets no larger message through
GROWTH_MB = 64.0  # what a run may grow by once it is warm
FILES_EVERY = 50  # inputs of a decoder for one of a reader of files, which is slow

SALT = (
    *(b"", b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"\xed\xa0\x80", b"\xf4\x90\x80\x80"),
    *(b"-", b"NaN", b"-Infinity", b"1e999999", b"-0", b"0x1f", b"1_000", b"9" * 400),
    *(
        b"[" * 3000,
        b"{" * 3000,
        b'{"a":' * 1500,
        b"]" * 50,
        b'"',
        b"\\u0000",
        b"\\ud800",
    ),
    *(
        b"true",
        b"null",
        b"[]",
        b"{}",
        b",",
        b":",
        b"\n",
        b"\r\n",
        b"\t",
        b"  - ",
        b": ",
    ),
    *(
        b"&a ",
        b"*a",
        b"!!python/object:os.system ",
        b"<<: *a",
        b"|\n",
        b"%YAML 9",
        b"---",
    ),
    *(b"\x9f" * 200, b"\xbf" * 200, b"\x1b" + b"\xff" * 8, b"\xc4\x82\x3a", b"\xfb"),
    *("\u2028".encode(), "\u202e".encode(), "\u00e9".encode(), "\U0001f321".encode()),
    *(
        b"bt",
        b"bver",
        b'"n"',
        b"1768021200",
        b"2026-02-30T25:61:61Z",
        b"degC",
        b"15 min",
    ),
)


class Target(NamedTuple):
    """Something that reads: right inputs for it, and a check of what it answers."""

    name: str
    seeds: tuple[bytes, ...]
    read: Callable[[bytes], None]
    slow: bool = False


class Report(NamedTuple):
    """What a run came to."""

    inputs: int
    seconds: float
    warm_mb: float  # resident, at most, once every target has been tried
    peak_mb: float
    failures: tuple[str, ...]


def fuzz(inputs: int, seed: int, say: Callable[[str], object] = str) -> Report:
    """Give every target its share of the inputs; report what went wrong."""
    chance = random.Random(seed)
    every = list(targets())
    quick = [one for one in every if not one.slow]
    slow = [one for one in every if one.slow]
    failures: list[str] = []
    began_s, warm_mb, warm_at = time.monotonic(), 0.0, max(1, inputs // 10)
    for number in range(inputs):
        some = slow if slow and number % FILES_EVERY == 0 else quick
        target = chance.choice(some)
        spoilt = spoil(chance, target.seeds)
        if wrong := tried(target, spoilt):
            failures.append(f"{wrong}; input {number}: {spoilt[:200]!r}")
        if number + 1 == warm_at:
            warm_mb = _peak_mb()
        if (number + 1) % 100_000 == 0:
            rate = (number + 1) / (time.monotonic() - began_s)
            say(f"{number + 1:,} inputs, {rate:,.0f}/s, at most {_peak_mb():.0f} MB")
    peak_mb = _peak_mb()
    if peak_mb - warm_mb > GROWTH_MB:
        failures.append(f"memory grew from {warm_mb:.0f} to {peak_mb:.0f} MB")
    seconds = time.monotonic() - began_s
    return Report(inputs, seconds, warm_mb, peak_mb, tuple(failures))


def spoil(chance: random.Random, seeds: Sequence[bytes]) -> bytes:
    """A spoilt input."""
    if chance.random() < 0.05:
        return chance.randbytes(chance.randint(0, 300))
    spoilt = bytearray(chance.choice(seeds))
    for _ in range(chance.choice((1, 1, 1, 2, 3, 6))):
        at = chance.randint(0, len(spoilt))
        end = min(len(spoilt), at + chance.randint(0, 20))
        match chance.randint(0, 7):
            case 0 if spoilt:
                spoilt[min(at, len(spoilt) - 1)] ^= 1 << chance.randint(0, 7)
            case 1:
                del spoilt[at:end]
            case 2:
                spoilt[at:end] = chance.choice(SALT)
            case 3:
                spoilt[at:at] = spoilt[at:end] * chance.randint(2, 50)
            case 4:
                other = chance.choice(seeds)
                cut = chance.randint(0, len(other))
                spoilt[at:] = other[cut:]
            case 5:
                spoilt[at:at] = chance.randbytes(chance.randint(1, 8))
            case 6:
                digits = str(chance.choice([chance.getrandbits(80), -1, 0, 10**400]))
                spoilt[at:end] = digits[:300].encode()
            case _:
                del spoilt[at:]
    return bytes(spoilt[:LARGEST])


def tried(target: Target, spoilt: bytes) -> str:
    """What was wrong with how a target read an input; nothing, most of the time."""
    try:
        with _bounded():
            target.read(spoilt)
    except Exception as error:
        return f"{target.name}: {error!r}"[:500]
    return ""


class TooLongError(Exception):
    """A reader took longer than it may."""


@contextmanager
def _bounded() -> Iterator[None]:
    """Raise inside a block that takes too much of the processor, however busy it is."""

    def late(_number: int, _frame: FrameType | None) -> None:
        raise TooLongError(f"more than {LONGEST_S} s of the processor")

    before = signal.signal(signal.SIGVTALRM, late)
    signal.setitimer(signal.ITIMER_VIRTUAL, LONGEST_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        signal.signal(signal.SIGVTALRM, before)


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def targets() -> Iterator[Target]:
    """Everything that reads what others wrote."""
    for form in FORMS:
        for unit in Unit:
            yield decoder(form, unit)
    for law in Law:
        yield _raw(law)
    yield _file("schedule", ("deploy/example", "tests/end_to_end"), _read_schedule)
    yield _file("settings", ("deploy/example/settings.yaml",), _read_settings)
    yield Target("trace", _traces(), _read_trace, slow=True)


def probes_of(form: str, unit: Unit) -> list[Probe]:
    """The probes that hear one form, the first of which may also be encoded."""
    plain = Probe(
        *("core-1", "north", Role.CORE, "yard", form, unit, 10_000, 120_000, 500)
    )
    if form == "json":
        plain = replace(plain, pointer="/core", time_pointer="/t")
        second = replace(plain, channel="core-2", pointer="/cores/0", time_pointer="")
        return [plain, second]
    if form in ("senml", "senml-cbor"):
        plain = replace(plain, record="core-1")
        return [plain, replace(plain, channel="core-2", record="core-11")]
    return [described(plain, FORMS[form])]


def decoder(form: str, unit: Unit) -> Target:
    """The decoder of one form and unit."""
    probes = probes_of(form, unit)
    value_mc = 55_000 if unit is Unit.PERCENT else 61_500
    seeds: tuple[bytes, ...] = (FORMS[form].example,)
    if FORMS[form].encode:
        seeds += tuple(encode(probes[0], NOW_MS + n, value_mc + n) for n in range(3))
    if form == "senml":
        seeds += (
            b'[{"bn":"core-","bt":1768021200,"bu":"Cel","n":"1","v":61.5},{"n":"11",'
            b'"t":-5,"bv":1,"v":60}]',
            b'[{"bver":10,"n":"core-1","vs":"warm"},{"n":"x","vb":true,"s":1e3}]',
        )
    if form == "json":
        seeds += (b'{"t":1768021200.5,"cores":[61.5,{"0":1}]}', b'[{"t":"x"},2,[3]]')
    return Target(f"{form} {unit}", seeds, _decoding(probes))


def _raw(law: Law) -> Target:
    coefficients = ("0.0011", "0.00023", "0.0000001")
    conversion = Conversion(
        law,
        tuple(map(Decimal, coefficients)) if law is Law.STEINHART_HART else (),
        "/cold" if law is Law.TYPE_K else "",
    )
    probe = Probe(
        *("core-1", "north", Role.CORE, "yard", "json", Unit.CELSIUS),
        *(10_000, 120_000, 500),
        pointer="/v",
        conversion=conversion,
    )
    seeds = (b'{"v": 109.7, "cold": 21.5}', b'{"v": 1.25e3, "cold": -3}', b'{"v": 2.4}')
    return Target(f"raw {law}", seeds, _decoding([probe]))


def _decoding(probes: Sequence[Probe]) -> Callable[[bytes], None]:
    names = {"", *(probe.channel for probe in probes)}

    def read(payload: bytes) -> None:
        found = decode(probes, Arrival("yard", payload, NOW_MS))
        assert found or any(probe.form == "json" for probe in probes)
        for one in found:
            assert one.channel in names
            if isinstance(one, Refusal):
                assert one.why and one.payload == payload
                one.why.encode(errors="backslashreplace")
            else:
                assert type(one.value_mc) is int
                assert -200_500 <= one.value_mc <= 850_000
                assert 0 <= one.at_ms <= NOW_MS + 24 * 3_600_000

    return read


def _file(name: str, places: Sequence[str], read: Callable[[bytes], None]) -> Target:
    seeds = []
    for place in places:
        path = ROOT / place
        paths = [path] if path.is_file() else sorted(path.glob("*.yaml"))
        seeds += [one.read_bytes() for one in paths if one.name != "settings.yaml"]
        seeds += [path.read_bytes()] if path.is_file() else []
    return Target(name, tuple(seeds), read, slow=True)


def _read_schedule(octets: bytes) -> None:
    text = octets.decode(errors="replace")
    found = read_schedule("fuzz.yaml", text)
    if not isinstance(found, Schedule):
        assert found and render_all(found, text)


def _read_settings(octets: bytes) -> None:
    text = octets.decode(errors="replace")
    found = read_settings(Path("/nowhere/fuzz.yaml"), text, {})
    if not isinstance(found, Settings):
        assert found and explain(found, text)


def _traces() -> tuple[bytes, ...]:
    return (
        b"time,chamber [degC],core-1 [degF]\n2026-01-10T05:00:00Z,55.0,111.0\n"
        b"2026-01-10T05:00:10Z,,111.1\n",
        b'min,"core-1 [degC]"\n0,11.0\n1.5,12.25\n',
    )


def _read_trace(octets: bytes) -> None:
    text = octets.decode(errors="replace")
    found = trace.read("fuzz.csv", text, {"core-1": 500}, NOW_MS)
    if isinstance(found, list):
        assert found and render_all(found, text)
