"""daemon/keys.py against RFC 7638, JSON Web Key Thumbprint.

Source: RFC 7638 section 3.1 (an RSA key); RFC 8037 appendix A.3 (an Ed25519 key).
Rows:   typed from memory and verified by recomputation: a wrong digit in a key
        could not give the published thumbprint.
"""

import pytest

from daemon.keys import thumbprint

MODULUS = (
    "0vx7agoebGcQSuuPiLJXZptN9nndrQmbXEps2aiAFbWhM78LhWx4cbbfAAtVT86zwu1RK7aPFFxuhD"
    "R1L6tSoc_BJECPebWKRXjBZCiFV4n3oknjhMstn64tZ_2W-5JsGY4Hc5n9yBXArwl93lqt7_RN5w6C"
    "f0h4QyQ5v-65YGjQR0_FDW2QvzqY368QQMicAtaSqzs8KJZgnYb9c7d0zgdAZHzu6qMQvRL5hajrn1"
    "n91CbOpbISD08qNLyrdkt-bFTWhAI4vMQFh6WeZu0fM4lFd2NcRwr3XPksINHaQ-G_xBniIqbw0Ls1"
    "jF44-csFCur-kEgU8awapJzKnqDKgw"
)
ROWS = [  # members that the kind of key requires, thumbprint by SHA-256
    (
        {"kty": "RSA", "n": MODULUS, "e": "AQAB"},
        "NzbLsXh8uDCcd-6MNwXF4W_7noWXFZAfHkxZsRGC9Xs",
    ),
    (
        {
            "kty": "OKP",
            "crv": "Ed25519",
            "x": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo",
        },
        "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k",
    ),
]


@pytest.mark.parametrize(("members", "expected"), ROWS)
def test_the_published_thumbprint(members: dict[str, str], expected: str) -> None:
    assert thumbprint(members) == expected


def test_no_row_was_lost() -> None:
    assert len(ROWS) == 2
