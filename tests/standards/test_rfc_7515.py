"""daemon/keys.py against RFC 7515 (JWS), RFC 6979 and an independent verifier.

Source: RFC 7515 appendix A.3 (ES256); RFC 6979 appendix A.2.5 (P-256, SHA-256,
        messages "sample" and "test"); RFC 7515 appendix F with RFC 7797 for the
        detached form, checked by joserfc.
Rows:   from memory, verified by recomputation: each signature verifies with the
        published public key, and ours comes out the same to the last bit.
"""

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from joserfc import jws
from joserfc.errors import BadSignatureError
from joserfc.jwk import ECKey

from daemon.canonical import Value, encode
from daemon.keys import (
    DeviceKey,
    PublicKey,
    base64url,
    from_base64url,
    header,
    signing_input,
)

# RFC 7515 appendix A.3
A3_X = "f83OJ3D2xF1Bg8vub9tLe1gHMzV76e8Tus9uPHvRVEU"
A3_Y = "x_FEzRu9m36HLN_tue659LNpXW6pCyStikYjKIWI5a0"
A3_HEADER = "eyJhbGciOiJFUzI1NiJ9"
A3_PAYLOAD = (
    "eyJpc3MiOiJqb2UiLA0KICJleHAiOjEzMDA4MTkzODAsDQogImh0dHA6Ly9leGFt"
    "cGxlLmNvbS9pc19yb290Ijp0cnVlfQ"
)
A3_SIGNATURE = (
    "DtEhU3ljbEg8L38VWAfUAqOyKAM6-Xx-F4GawxaepmXFCgfTjDxw5djxLa8ISlSA"
    "pmWQxfKTUJqPP3-Kg6NU1Q"
)

# RFC 6979 appendix A.2.5
PRIVATE = 0xC9AFA9D845BA75166B5C215767B1D6934E50C3DB36E89B127B8A622B120F6721
PUBLIC_X = 0x60FED4BA255A9D31C961EB74C6356D68C049B8923B61FA6CE669622E60F29FB6
PUBLIC_Y = 0x7903FE1008B8BC99A41AE9E95628BC64F2F1B20C2D7E9F5177A3C294D4462299
SIGNATURES = [  # message, r, s
    (
        b"sample",
        "EFD48B2AACB6A8FD1140DD9CD45E81D69D2C877B56AAF991C34D0EA84EAF3716",
        "F7CB1C942D657C41D436C7A1B6E29F65F3E900DBB9AFF4064DC4AB2F843ACDA8",
    ),
    (
        b"test",
        "F1ABB023518351CD71D881567B1EA663ED3EFCF6C5132B354F28D3B0B7D38367",
        "019F4113742A2B14BD25926B49C649155F267E60D3814B4C0CC84250E46F0083",
    ),
]

KEY = DeviceKey(ec.derive_private_key(PRIVATE, ec.SECP256R1()))


def test_the_signature_of_appendix_a_3_verifies() -> None:
    x, y = (int.from_bytes(from_base64url(text)) for text in (A3_X, A3_Y))
    numbers = ec.EllipticCurvePublicNumbers(x, y, ec.SECP256R1())
    public = PublicKey(numbers.public_key())
    message = f"{A3_HEADER}.{A3_PAYLOAD}".encode()
    signature = from_base64url(A3_SIGNATURE)
    assert public.verifies(message, signature)
    assert not public.verifies(message + b"Q", signature)
    assert not public.verifies(message, signature[:-1] + b"\xd4")
    assert not public.verifies(message, signature[:-1])


def test_the_public_key_is_the_published_one() -> None:
    numbers = KEY.public().public.public_numbers()
    assert (numbers.x, numbers.y) == (PUBLIC_X, PUBLIC_Y)


@pytest.mark.parametrize(("message", "r", "s"), SIGNATURES)
def test_the_nonce_comes_from_key_and_message(message: bytes, r: str, s: str) -> None:
    published = bytes.fromhex(r + s)
    assert KEY.public().verifies(message, published)
    assert KEY.sign(message) == published


def test_no_row_was_lost() -> None:
    assert len(SIGNATURES) == 2


def detached(payload: bytes) -> str:
    protected = header(KEY.public().thumbprint(), 1, "0" * 64)
    signature = KEY.sign(signing_input(protected, payload))
    return f"{protected}..{base64url(signature)}"


@pytest.mark.parametrize("payload", [b"", b"one.line\n", "62.0 °C\n".encode() * 9])
def test_joserfc_verifies_our_detached_form(payload: bytes) -> None:
    public = ECKey.import_key(KEY.public().pem())
    assert public.thumbprint() == KEY.public().thumbprint()
    protected, _, signature = detached(payload).split(".")
    registry = jws.JWSRegistry(algorithms=["ES256"], strict_check_header=False)

    def read(text: str) -> bytes | None:
        return jws.deserialize_json(
            {"payload": text, "protected": protected, "signature": signature},
            public,
            registry=registry,
        ).payload

    assert read(payload.decode()) == payload
    with pytest.raises(BadSignatureError):
        read(payload.decode() + "!")


def test_the_header_is_canonical_and_says_everything() -> None:
    members: dict[str, Value] = {
        "alg": "ES256",
        "b64": False,
        "before": "d",
        "crit": ["b64"],
    }
    whole = {**members, "kid": "k", "lines": 7}
    assert from_base64url(header("k", 7, "d")) == encode(whole)


@pytest.mark.parametrize("text", ["QQ==", "QR", "Q", "Q!", "+/8", "QQ\n"])
def test_base64url_has_one_spelling(text: str) -> None:
    with pytest.raises(ValueError, match=r"base64"):
        from_base64url(text)
