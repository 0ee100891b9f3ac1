"""The device key: what makes a record this board's and no other's.

One P-256 key a board, in a file that only its owner can read.  It signs by
ES256 with the nonce taken from key and message (RFC 6979), so that the same
record has the same bytes whenever it is made.  The key never leaves its file;
its public half goes with every record.

A detached signature is ``header..signature``: the header says the algorithm,
that the payload stands as it is (``b64`` false) and which key signed.

Source: RFC 7515 (JWS; appendix F, detached), RFC 7518 section 3.4 (ES256), RFC
7638 (thumbprint), RFC 7797 (payload as it is), RFC 6979 (the nonce).
"""

import base64
import hashlib
import os
import stat
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from daemon.canonical import Value, encode

if TYPE_CHECKING:  # costs 50 ms, and only a record needs it
    from cryptography.hazmat.primitives.asymmetric import ec

HALF = 32  # bytes of each of the two numbers of a P-256 signature
CREATE = "fumarium key create"


class DeviceKeyError(Exception):
    """The device key cannot be made, read or used; says what to do."""


@dataclass(frozen=True, slots=True)
class PublicKey:
    """The half of a device key that everybody may have."""

    public: "ec.EllipticCurvePublicKey"

    def pem(self) -> bytes:
        """Give the key in the form that openssl reads."""
        from cryptography.hazmat.primitives import serialization

        return self.public.public_bytes(
            serialization.Encoding.PEM,
            serialization.PublicFormat.SubjectPublicKeyInfo,
        )

    def thumbprint(self) -> str:
        """Give the name of the key that anyone can work out from it."""
        point = self.public.public_numbers()
        x, y = (number.to_bytes(HALF) for number in (point.x, point.y))
        return thumbprint(
            {"crv": "P-256", "kty": "EC", "x": base64url(x), "y": base64url(y)}
        )

    def verifies(self, message: bytes, signature: bytes) -> bool:
        """Say whether the other half of this key signed exactly this message."""
        from cryptography.hazmat.primitives.asymmetric import utils

        if len(signature) != 2 * HALF:
            return False
        r, s = (int.from_bytes(signature[i : i + HALF]) for i in (0, HALF))
        return self.verifies_der(message, utils.encode_dss_signature(r, s))

    def verifies_der(self, message: bytes, signature: bytes) -> bool:
        """Say the same of a signature in the form that certificates carry."""
        from cryptography.exceptions import InvalidSignature
        from cryptography.hazmat.primitives import hashes
        from cryptography.hazmat.primitives.asymmetric import ec

        try:
            self.public.verify(signature, message, ec.ECDSA(hashes.SHA256()))
        except InvalidSignature:
            return False
        return True


@dataclass(frozen=True, slots=True)
class DeviceKey:
    """Both halves; what it holds is never shown."""

    private: "ec.EllipticCurvePrivateKey"

    def public(self) -> PublicKey:
        """Give the half that everybody may have."""
        return PublicKey(self.private.public_key())

    def sign(self, message: bytes) -> bytes:
        """Give the 64 bytes of an ES256 signature, the same ones every time."""
        from cryptography.hazmat.primitives.asymmetric import utils

        r, s = utils.decode_dss_signature(self.sign_der(message))
        return r.to_bytes(HALF) + s.to_bytes(HALF)

    def sign_der(self, message: bytes) -> bytes:
        """Give the same signature in the form that certificates and PDF carry."""
        from cryptography.hazmat.primitives import hashes
        from cryptography.hazmat.primitives.asymmetric import ec

        by = ec.ECDSA(hashes.SHA256(), deterministic_signing=True)
        return self.private.sign(message, by)


def create(path: Path) -> DeviceKey:
    """Make a new key and leave it, durable and private, at ``path``.

    Raises:
        DeviceKeyError: A file is there already, or the directory is missing,
            open to others' writing, or refuses.
    """
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    _check_directory(path.parent)
    private = ec.generate_private_key(ec.SECP256R1())
    pem = private.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    try:
        _write_once(path, pem)
    except FileExistsError:
        raise DeviceKeyError(
            f"{path}: there is a file already, and it stays\n"
            "  records made before are verified with the key that signed them; "
            "to begin a new key, move the old one away first"
        ) from None
    except OSError as error:
        raise DeviceKeyError(f"{path}: {error.strerror}") from error
    return DeviceKey(private)


def load(path: Path) -> DeviceKey:
    """Read the key at ``path``.

    Raises:
        DeviceKeyError: It is missing, others could read it, or it is no P-256 key.
    """
    from cryptography.hazmat.primitives import serialization

    pem = _read_private(path)
    try:
        private = serialization.load_pem_private_key(pem, password=None)
    except TypeError:
        raise DeviceKeyError(
            f"{path}: the key is locked by a password, which nobody can type at night\n"
            f"  make a key of its own for this board: {CREATE}"
        ) from None
    except ValueError as error:
        raise DeviceKeyError(
            f"{path}: this is not a private key in PEM form\n"
            f"  give the file that was made by: {CREATE}"
        ) from error
    return DeviceKey(_p256_private(path, private))


def read_public(pem: bytes) -> PublicKey:
    """Read a public key that came with a record.

    Raises:
        DeviceKeyError: It is not a P-256 public key in PEM form.
    """
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    try:
        public = serialization.load_pem_public_key(pem)
    except (ValueError, UnsupportedAlgorithm) as error:
        raise DeviceKeyError(
            "the public key is not in PEM form\n"
            "  it begins with the line: -----BEGIN PUBLIC KEY-----"
        ) from error
    if not (
        isinstance(public, ec.EllipticCurvePublicKey)
        and isinstance(public.curve, ec.SECP256R1)
    ):
        raise DeviceKeyError(
            f"the public key is {_kind(public)}, and records are signed by P-256\n"
            "  give the public key of the board that made the record"
        )
    return PublicKey(public)


def thumbprint(members: Mapping[str, Value]) -> str:
    """Give the thumbprint of a key from the members its kind requires."""
    return base64url(hashlib.sha256(encode(members)).digest())


def base64url(octets: bytes) -> str:
    """Write octets in the alphabet of JWS, without padding."""
    return base64.urlsafe_b64encode(octets).rstrip(b"=").decode()


def from_base64url(text: str) -> bytes:
    """Read octets back, where they are spelled in the only right way.

    Raises:
        ValueError: The text is not what ``base64url`` would write.
    """
    octets = base64.b64decode(text + "=" * (-len(text) % 4), b"-_", validate=True)
    if base64url(octets) != text:  # loose last bits would leave two spellings
        raise ValueError(f"{text!r} is not base64url without padding")
    return octets


def header(kid: str, lines: int, before: str) -> str:
    """Give the protected header of a record's signature, ready to be signed.

    It holds how many lines were signed, and the digest of the last of them, as
    every line of a record holds the digest of the one before it.
    """
    members: Mapping[str, Value] = {
        "alg": "ES256",
        "b64": False,
        "before": before,
        "crit": ["b64"],
        "kid": kid,
        "lines": lines,
    }
    return base64url(encode(members))


def signing_input(protected: str, payload: bytes) -> bytes:
    """Give the bytes that a detached signature is made over."""
    return protected.encode() + b"." + payload


def _check_directory(folder: Path) -> None:
    try:
        mode = folder.stat().st_mode
    except OSError:
        raise DeviceKeyError(
            f"{folder}: there is no such directory\n"
            f"  make it, for the daemon's user only: install -d -m 700 {folder}"
        ) from None
    if mode & (stat.S_IWGRP | stat.S_IWOTH) and not mode & stat.S_ISVTX:
        raise DeviceKeyError(
            f"{folder}: others may write here (mode {stat.S_IMODE(mode):04o}), "
            "and could put their own key in place of yours\n"
            f"  mend it: chmod go-w {folder}"
        )


def _write_once(path: Path, pem: bytes) -> None:
    number = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(number, "wb") as file:
            file.write(pem)
            file.flush()
            os.fsync(file.fileno())
    except OSError:
        path.unlink()  # half a key is worse than none
        raise
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


def _read_private(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            mode = stat.S_IMODE(os.fstat(file.fileno()).st_mode)
            pem = file.read()
    except FileNotFoundError:
        raise DeviceKeyError(
            f"{path}: there is no device key\n  make one: {CREATE}"
        ) from None
    except OSError as error:
        raise DeviceKeyError(f"{path}: {error.strerror}") from error
    if mode & 0o077:
        raise DeviceKeyError(
            f"{path}: others may read the device key (mode {mode:04o})\n"
            f"  mend it: chmod 600 {path}"
        )
    return pem


def _p256_private(path: Path, private: object) -> "ec.EllipticCurvePrivateKey":
    from cryptography.hazmat.primitives.asymmetric import ec

    if isinstance(private, ec.EllipticCurvePrivateKey) and isinstance(
        private.curve, ec.SECP256R1
    ):
        return private
    raise DeviceKeyError(
        f"{path}: this is {_kind(private)}, and records are signed by P-256\n"
        f"  give the file that was made by: {CREATE}"
    )


def _kind(key: object) -> str:
    from cryptography.hazmat.primitives.asymmetric import ec, ed25519, rsa

    if isinstance(key, ec.EllipticCurvePrivateKey | ec.EllipticCurvePublicKey):
        return f"a key on the curve {key.curve.name}"
    if isinstance(key, rsa.RSAPrivateKey | rsa.RSAPublicKey):
        return "an RSA key"
    if isinstance(key, ed25519.Ed25519PrivateKey | ed25519.Ed25519PublicKey):
        return "an Ed25519 key"
    return "a key of another kind"
