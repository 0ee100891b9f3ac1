"""daemon/canonical.py against RFC 8785, JSON Canonicalization Scheme.

Source: the six files of the test data kept by the author of RFC 8785
        (cyberphone/json-canonicalization, testdata); ``values`` is the example of
        section 3.2.2, and the numbers are rows of appendix B.
Rows:   typed from them: the input as text, the output as its UTF-8 bytes in hex.

A record holds no fractions and no null, so those rows are put to the library
beneath our encoder, and our encoder must refuse them.
"""

import json
import struct
from fractions import Fraction

import pytest
import rfc8785

from daemon.canonical import CanonicalError, decode, encode

VALUES = (
    r'{"numbers": [333333333.33333329, 1E30, 4.50, 2e-3, '
    r"0.000000000000000000000000001], "
    r'"string": "\u20ac$\u000F\u000aA'
    r"'\u0042\u0022\u005c\\\"\/"
    r'", "literals": [null, true, false]}',
    "7b226c69746572616c73223a5b6e756c6c2c747275652c66616c73655d2c226e756d62"
    "657273223a5b3333333333333333332e333333333333332c31652b33302c342e352c30"
    "2e3030322c31652d32375d2c22737472696e67223a22e282ac245c75303030665c6e41"
    "27425c225c5c5c5c5c222f227d",
)
ARRAYS = (
    '[56, {"d": true, "10": null, "1": []}]',
    "5b35362c7b2231223a5b5d2c223130223a6e756c6c2c2264223a747275657d5d",
)
STRUCTURES = (
    r'{"1": {"f": {"f": "hi", "F": 5}, "\n": 56.0}, "10": {}, "": "empty", '
    r'"a": {}, "111": [{"e": "yes", "E": "no"}], "A": {}}',
    "7b22223a22656d707479222c2231223a7b225c6e223a35362c2266223a7b2246223a35"
    "2c2266223a226869227d7d2c223130223a7b7d2c22313131223a5b7b2245223a226e6f"
    "222c2265223a22796573227d5d2c2241223a7b7d2c2261223a7b7d7d",
)
WEIRD = (
    r'{"\u20ac": "Euro Sign", "\r": "Carriage Return", "\u000a": "Newline", '
    r'"1": "One", "\u0080": "Control\u007f", "\ud83d\ude02": "Smiley", '
    r'"\u00f6": "Latin Small Letter O With Diaeresis", '
    r'"\ufb33": "Hebrew Letter Dalet With Dagesh", '
    r'"</script>": "Browser Challenge"}',
    "7b225c6e223a224e65776c696e65222c225c72223a2243617272696167652052657475"
    "726e222c2231223a224f6e65222c223c2f7363726970743e223a2242726f7773657220"
    "4368616c6c656e6765222c22c280223a22436f6e74726f6c7f222c22c3b6223a224c61"
    "74696e20536d616c6c204c6574746572204f2057697468204469616572657369732"
    "22c22e282ac223a224575726f205369676e222c22f09f9882223a22536d696c6579222c"
    "22efacb3223a22486562726577204c65747465722044616c65742057697468204461676"
    "57368227d",
)
FRENCH = (
    r'{"peach": "This sorting order", '
    r'"p\u00e9ch\u00e9": "is wrong according to French", '
    r'"p\u00eache": "but canonicalization MUST", "sin": "ignore locale"}',
    "7b227065616368223a225468697320736f7274696e67206f72646572222c2270c3a963"
    "68c3a9223a2269732077726f6e67206163636f7264696e6720746f204672656e636822"
    "2c2270c3aa636865223a226275742063616e6f6e6963616c697a6174696f6e204d5553"
    "54222c2273696e223a2269676e6f7265206c6f63616c65227d",
)
UNICODE = (
    r'{"Unnormalized Unicode": "A\u030a"}',
    "7b22556e6e6f726d616c697a656420556e69636f6465223a2241cc8a227d",
)
OURS = [WEIRD, FRENCH, UNICODE]  # text and whole numbers only
NOT_OURS = [VALUES, ARRAYS, STRUCTURES]  # a fraction or a null in them

NUMBERS = [  # IEEE 754 double in hex, its only spelling
    ("4340000000000001", "9007199254740994"),
    ("4340000000000002", "9007199254740996"),
    ("444b1ae4d6e2ef50", "1e+21"),
    ("3eb0c6f7a0b5ed8d", "0.000001"),
    ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
    ("8000000000000000", "0"),
    ("0000000000000000", "0"),
]


@pytest.mark.parametrize(("text", "output"), OURS)
def test_our_encoder_gives_the_published_bytes(text: str, output: str) -> None:
    assert encode(json.loads(text)).hex() == output
    assert decode(bytes.fromhex(output)) == json.loads(text)


@pytest.mark.parametrize(("text", "output"), [*OURS, *NOT_OURS])
def test_the_library_gives_the_published_bytes(text: str, output: str) -> None:
    assert rfc8785.dumps(json.loads(text)).hex() == output


@pytest.mark.parametrize(("double", "text"), NUMBERS)
def test_the_library_spells_numbers_as_published(double: str, text: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(double))
    assert rfc8785.dumps(number) == text.encode()


@pytest.mark.parametrize(("text", "output"), NOT_OURS)
def test_a_fraction_or_a_null_is_refused(text: str, output: str) -> None:
    with pytest.raises(CanonicalError, match=r"333333333|None|56\.0"):
        encode(json.loads(text))


@pytest.mark.parametrize(("text", "output"), [VALUES, ARRAYS])
def test_they_are_refused_in_bytes_too(text: str, output: str) -> None:
    with pytest.raises(CanonicalError, match=r"333333333|None"):
        decode(bytes.fromhex(output))


def test_no_row_was_lost() -> None:
    assert (len(OURS), len(NOT_OURS), len(NUMBERS)) == (3, 3, 7)


# RFC 8785 section 3.2.2.3 and appendix D: integers are exact up to 2^53 - 1.
@pytest.mark.parametrize("sign", [1, -1])
def test_the_largest_integer(sign: int) -> None:
    largest = sign * (2**53 - 1)
    assert decode(encode(largest)) == largest
    with pytest.raises(CanonicalError, match="9007199254740992"):
        encode(sign * 2**53)
    with pytest.raises(CanonicalError, match="9007199254740992"):
        decode(str(sign * 2**53).encode())


@pytest.mark.parametrize(
    "value", [4.0, 4.5, float("nan"), None, {"a": [None]}, {1: 2}, b"bytes", {1, 2}]
)
def test_what_has_no_place_in_a_record_is_refused(value: object) -> None:
    with pytest.raises(CanonicalError):
        encode(value)  # type: ignore[arg-type]


def test_an_exact_fraction_is_no_integer_either() -> None:
    with pytest.raises(CanonicalError, match="Fraction"):
        encode({"value": Fraction(1, 2)})  # type: ignore[dict-item]


def test_half_a_character_is_no_text() -> None:
    with pytest.raises(CanonicalError, match="UTF-8"):
        encode("\ud800")


@pytest.mark.parametrize(
    "line",
    [
        b"",
        b"{",
        b'{"a": 1}',  # a space
        b'{"b":1,"a":1}',  # the order
        b'{"a":1,"a":1}',  # twice
        b'{"a":1.0}',
        b'{"a":1e3}',
        b'{"a":NaN}',
        b'{"a":-0}',
        b'{"a":01}',
        b'"\\u0041"',  # an escape that is not needed
        b"\xff",
        b"\xef\xbb\xbf1",  # a byte order mark
        b"[" * 100_000,
        b"9" * 5_000,
    ],
)
def test_another_spelling_is_refused(line: bytes) -> None:
    with pytest.raises(CanonicalError):
        decode(line)
