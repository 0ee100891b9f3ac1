"""A signed record to tamper with, and the ways to do it."""

import json
from collections.abc import Callable
from typing import Any

from cryptography.hazmat.primitives.asymmetric import ec

from daemon.canonical import decode, encode
from daemon.keys import DeviceKey
from daemon.seal import seal
from daemon.tampering import Failure, Kind
from daemon.verify import Report, verify

KEY = DeviceKey(ec.derive_private_key(0xF0_0D, ec.SECP256R1()))
OTHER = DeviceKey(ec.derive_private_key(0xBAD, ec.SECP256R1()))
PEM = KEY.public().pem()

Line = dict[str, Any]


def rows(octets: bytes) -> list[bytes]:
    return octets.splitlines(keepends=True)


def kinds(report: Report) -> list[Kind]:
    return [failure.kind for failure in report.failures]


def first(octets: bytes, pem: bytes = PEM) -> Failure:
    report = verify(octets, pem)
    assert not report.good
    assert report.summary.startswith("do not rely on this record: ")
    return report.failures[0]


def number_of(octets: bytes, kind: str, nth: int = 0) -> int:
    """The number of the nth line of a kind."""
    found = [
        number
        for number, line in enumerate(rows(octets), 1)
        if f'"kind":"{kind}"'.encode() in line
    ]
    return found[nth]


def edited(octets: bytes, number: int, change: Callable[[Line], Any]) -> bytes:
    """The file with one line changed, still canonical, nothing else."""
    lines = rows(octets)
    line: Any = decode(lines[number - 1].rstrip(b"\n"))
    change(line)
    lines[number - 1] = encode(line) + b"\n"
    return b"".join(lines)


def resealed(
    octets: bytes, change: Callable[[list[Line]], Any], key: DeviceKey = KEY
) -> bytes:
    """What somebody who holds a key can make of the record."""
    body: list[Any] = [json.loads(line) for line in rows(octets)[:-1]]
    change(body)
    return seal(body, key)
