"""The seal of a record: numbered lines, chained by digest, signed at the end.

A sealed file is JSON Lines and one more line::

    {"before":"<64 zeros>","kind":...,"line":1,...}
    {"before":"<digest of line 1>","kind":...,"line":2,...}
    <header>..<signature>

Rule 1: every line is canonical JSON, says its own number, and holds the SHA-256
of the bytes of the line before it (without the line end).
Rule 2: the last line is a detached JWS over everything above it, line ends
included; its header holds their number and the digest of the last of them.
Rule 3: the same lines and key give the same bytes.

So a change shows where it was made, and ``head -n -1`` gives the signed bytes.
"""

import hashlib
from collections.abc import Iterable, Mapping
from typing import NamedTuple

from daemon.canonical import Value, encode
from daemon.keys import DeviceKey, base64url, header, signing_input

# Verifying with public tools alone: sh this FILE PUBLIC.pem (POSIX shell, coreutils,
# openssl).  The signature's two numbers are put into the form that openssl reads.
BY_OPENSSL = r"""set -e
tail -n 1 "$1" > signature
raw=$(cut -d. -f3 signature | tr -- '-_' '+/')==
hex=$(echo "$raw" | base64 -d | od -An -v -tx1 | tr -d ' \n')
half=$(printf %.64s "$hex")
printf 'asn1=SEQUENCE:s\n[s]\nr=INTEGER:0x%s\ns=INTEGER:0x%s\n' \
  "$half" "${hex#"$half"}" > numbers
openssl asn1parse -genconf numbers -out signature.der -noout
{ printf '%s.' "$(cut -d. -f1 signature)"; head -n -1 "$1"; } > signed
openssl dgst -sha256 -verify "$2" -signature signature.der signed
"""

ORIGIN = "0" * 64  # what the first line holds for the line before it

Line = Mapping[str, Value]


class Sealed(NamedTuple):
    """The lines of a sealed file, as they stand."""

    body: tuple[bytes, ...]
    signature: bytes  # b"" where there is none
    ended: bool  # the last line has its line end


def seal(lines: Iterable[Line], key: DeviceKey) -> bytes:
    """Number, chain and sign lines; answer the whole file.

    Raises:
        CanonicalError: A line holds what has no canonical bytes.
    """
    body = bytearray()
    before, number = ORIGIN, 0
    for number, line in enumerate(lines, 1):
        octets = encode({**line, "before": before, "line": number})
        before = digest(octets)
        body += octets + b"\n"
    protected = header(key.public().thumbprint(), number, before)
    signature = key.sign(signing_input(protected, bytes(body)))
    return bytes(body) + f"{protected}..{base64url(signature)}\n".encode()


def split(octets: bytes) -> Sealed:
    """Take a file apart into lines; a last line that opens a map is no signature."""
    ended = octets.endswith(b"\n")
    lines = (octets[:-1] if ended else octets).split(b"\n")
    signed = not (lines[-1].startswith(b"{") and lines[-1].endswith(b"}"))
    body = lines[:-1] if signed else lines
    return Sealed(tuple(body), lines[-1] if signed else b"", ended)


def digest(octets: bytes) -> str:
    """Give the SHA-256 of some bytes in hexadecimal."""
    return hashlib.sha256(octets).hexdigest()
