"""The signature inside a PDF: the device key, in the form that PDF readers check.

A reader that says "valid" wants a certificate.  The device makes two from its own
key: a root, which an inspector may choose to trust, and a leaf under it that signs.
Both hold nothing but the key's thumbprint, and both come out the same every time.

Rule 1: the signature covers the whole file; whatever is added afterwards shows.
Rule 2: what counts is the key, not the certificate: ``inspect`` compares it with
the public key at hand and asks for no authority.

Source: RFC 5280 (certificates; section 4.1.2.5 for an end that is not known),
ISO 32000-2 section 12.8 (signatures in PDF).
"""

import asyncio
import hashlib
import io
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from typing import Any

from daemon.keys import DeviceKey, PublicKey
from daemon.tampering import Failure, Kind

LOOSE = "its signature is not written as a device writes it"
FIELD = "DeviceSignature"
RECORD = ".record.jsonl"  # how the name of the attached record ends
FROM = datetime(2020, 1, 1, tzinfo=UTC)  # before any record; says nothing of the key
UNTIL = datetime(9999, 12, 31, 23, 59, 59, tzinfo=UTC)


def certificates(key: DeviceKey) -> tuple[bytes, bytes]:
    """Give the root and the leaf certificate of a device, in DER."""
    from cryptography.hazmat.primitives.serialization import Encoding

    root, leaf = (_certificate(key, leaf=leaf) for leaf in (False, True))
    return root.public_bytes(Encoding.DER), leaf.public_bytes(Encoding.DER)


def sign(
    pdf: bytes,
    key: DeviceKey,
    at_ms: int,
    reason: str = "the record of a cook, as this device made it",
) -> bytes:
    """Give the same PDF with the device's signature over all of it."""
    from pyhanko.pdf_utils.generic import ByteStringObject
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
    from pyhanko.sign import signers

    at = datetime.fromtimestamp(at_ms // 1000, UTC)

    class Writer(IncrementalPdfFileWriter):
        """Takes no number from chance and no time from the machine."""

        def _update_meta(self) -> None:
            """Leave alone what the document says of itself already."""

        @classmethod
        def _handle_id(cls, prev: Any) -> Any:
            ids = super()._handle_id(prev)  # type: ignore[no-untyped-call]
            ids[1] = ByteStringObject(key.sign(pdf)[:16])
            return ids

    class Signer(signers.PdfSigner):
        """Takes the time it is given."""

        def init_signing_session(self, *arguments: Any, **named: Any) -> Any:
            session = super().init_signing_session(*arguments, **named)
            session.system_time = at
            return session

    signer = Signer(
        signers.PdfSignatureMetadata(
            field_name=FIELD,
            md_algorithm="sha256",
            name=f"Fumarium device {key.public().thumbprint()}",
            reason=reason,
        ),
        signer=_device(key),
    )
    signed: io.BytesIO = signer.sign_pdf(Writer(io.BytesIO(pdf), strict=False))
    return signed.getvalue()


def inspect(pdf: bytes, public: PublicKey) -> list[Failure]:
    """Say what is wrong with the signature of a PDF; nothing if all is well."""
    from pyhanko.pdf_utils.reader import PdfFileReader

    try:
        signatures = list(PdfFileReader(io.BytesIO(pdf)).embedded_signatures)
        if len(signatures) != 1:
            return [_failure(f"it has {len(signatures)} signatures, and one is wanted")]
        return _inspected(pdf, signatures[0], public)
    except Exception as error:  # it parses what anyone may have written
        return [_failure(f"it cannot be read as a signed PDF: {error}")]


def opened(pdf: bytes, public: PublicKey) -> tuple[bytes, tuple[Failure, ...]]:
    """Take the record out of a PDF; b"" where none is in it, with the reason."""
    files, failures = inside(pdf, public)
    found = [octets for name, octets in files if name.endswith(RECORD)]
    if len(found) != 1:
        words = f"it has {len(found)} records attached, and one is wanted"
        return b"", (*failures, _failure(words))
    return found[0], failures


def inside(
    pdf: bytes, public: PublicKey
) -> tuple[list[tuple[str, bytes]], tuple[Failure, ...]]:
    """Give what is attached to a PDF, by name, and what is wrong with the PDF."""
    failures = inspect(pdf, public)
    try:
        return list(_attached(pdf)), tuple(failures)
    except Exception as error:  # it parses what anyone may have written
        failures.append(_failure(f"what is attached to it cannot be read: {error}"))
        return [], tuple(failures)


def _attached(pdf: bytes) -> Iterator[tuple[str, bytes]]:
    from pyhanko.pdf_utils.reader import PdfFileReader

    root = PdfFileReader(io.BytesIO(pdf)).root
    names = root["/Names"]["/EmbeddedFiles"]["/Names"]
    for place in range(0, len(names), 2):
        file = names[place + 1]
        yield str(file["/UF"]), file["/EF"]["/F"].data


def _inspected(pdf: bytes, signature: Any, public: PublicKey) -> list[Failure]:
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
    from pyhanko.sign.validation import validate_pdf_signature
    from pyhanko.sign.validation.status import SignatureCoverageLevel
    from pyhanko_certvalidator import ValidationContext

    certificate = signature.signer_cert
    mine = public.public.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    if certificate.public_key.dump() != mine:
        name = certificate.subject.human_friendly
        return [_failure(f"another key signed it: {name}", Kind.OTHER_KEY)]
    context = ValidationContext(trust_roots=[certificate], allow_fetching=False)
    status = validate_pdf_signature(signature, context, skip_diff=True)
    if not status.intact:
        return [_failure("it was changed after it was signed")]
    if not status.valid:
        return [_failure("its signature does not verify")]
    if status.coverage is not SignatureCoverageLevel.ENTIRE_FILE:
        return [_failure("something was added to it after it was signed")]
    return [] if _as_written(pdf, signature, public) else [_failure(LOOSE)]


def _as_written(pdf: bytes, signature: Any, public: PublicKey) -> bool:
    """Whether the signature is, to the last digit, the one that a device writes.

    A signature cannot cover itself.  What a reader overlooks in it (the case of a
    digit, the filling behind it, a certificate) is written again and compared.
    """
    from pyhanko.sign import signers

    leaf, others = signature.signer_cert, signature.other_embedded_certs
    (signed,) = signature.signed_data["signer_infos"]
    device = signers.ExternalSigner(
        leaf, _store(others), signed["signature"].native, _mechanism()
    )
    written = asyncio.run(
        device.async_sign_prescribed_attributes("sha256", signed["signed_attrs"])
    )
    _, begins, ends, _ = signature.byte_range
    digits = written.dump().hex().ljust(ends - begins - 2, "0")
    either = [f"<{digits}>".encode(), f"<{digits.upper()}>".encode()]
    same = pdf[begins:ends] in either
    return same and all(_made_by(public, one) for one in (leaf, *others))


def _made_by(public: PublicKey, certificate: Any) -> bool:
    """Whether the key itself signed a certificate."""
    said = certificate["tbs_certificate"]["signature"].dump()
    tbs, signature = certificate["tbs_certificate"], certificate["signature_value"]
    same = said == certificate["signature_algorithm"].dump()
    return same and public.verifies_der(tbs.dump(), signature.native)


def _failure(words: str, kind: Kind = Kind.PDF) -> Failure:
    return Failure(kind, 0, f"the PDF: {words}")


def _device(key: DeviceKey) -> Any:
    """The device as a signer of CMS."""
    from asn1crypto.x509 import Certificate  # type: ignore[import-untyped]
    from pyhanko.sign import signers

    class Device(signers.Signer):
        """Signs with the device key, the same bytes every time."""

        async def async_sign_raw(
            self, data: bytes, digest_algorithm: str, dry_run: bool = False
        ) -> bytes:
            assert digest_algorithm == "sha256", digest_algorithm
            return key.sign_der(data)

    root, leaf = map(Certificate.load, certificates(key))
    return Device(
        signing_cert=leaf,
        cert_registry=_store([root]),
        signature_mechanism=_mechanism(),
    )


def _store(certificates: Iterable[Any]) -> Any:
    from pyhanko_certvalidator.registry import SimpleCertificateStore

    store = SimpleCertificateStore()  # type: ignore[no-untyped-call]
    for certificate in certificates:
        store.register(certificate)
    return store


def _mechanism() -> Any:
    from asn1crypto import algos  # type: ignore[import-untyped]

    return algos.SignedDigestAlgorithm({"algorithm": "sha256_ecdsa"})


def _certificate(key: DeviceKey, *, leaf: bool) -> Any:
    """The leaf that signs, or the root above it."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.x509.oid import NameOID

    def named(what: str) -> x509.Name:
        name = f"Fumarium {what} {key.public().thumbprint()}"
        return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])

    what = "device" if leaf else "root"
    serial = key.public().thumbprint().encode() + what.encode()
    usage = {
        name: False
        for name in (
            *("key_encipherment", "data_encipherment", "key_agreement"),
            *("encipher_only", "decipher_only"),
        )
    }
    builder = (
        x509.CertificateBuilder()
        .subject_name(named(what))
        .issuer_name(named("root"))
        .public_key(key.public().public)
        .serial_number(int.from_bytes(hashlib.sha256(serial).digest()[:16]) | 1)
        .not_valid_before(FROM)
        .not_valid_after(UNTIL)
        .add_extension(
            x509.BasicConstraints(ca=not leaf, path_length=None if leaf else 0),
            critical=True,
        )
        .add_extension(
            x509.KeyUsage(
                digital_signature=leaf,
                content_commitment=leaf,
                key_cert_sign=not leaf,
                crl_sign=False,
                **usage,
            ),
            critical=True,
        )
    )
    identity = x509.SubjectKeyIdentifier.from_public_key(key.public().public)
    above = x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(identity)
    builder = builder.add_extension(identity, critical=False)
    if leaf:
        builder = builder.add_extension(above, critical=False)
    return builder.sign(key.private, hashes.SHA256(), ecdsa_deterministic=True)
