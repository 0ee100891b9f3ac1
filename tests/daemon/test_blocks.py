"""A block gives back what went in, or says that it does not.

Outside the project: the form of a varint is that of Protocol Buffers, "Encoding",
sections "Base 128 Varints" and "Signed Integers" (150 is 96 01; zigzag of -1 is 1);
that of a column is RFC 1950, and the check that of gzip (RFC 1952, section 8).
"""

import gzip
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.blocks import BlockError, Row, is_packed, pack, unpack

AT_MS = 1_768_021_200_000
LARGEST = 1 << 53

rows_of_any_kind = st.lists(
    st.builds(
        Row,
        st.integers(0, 253_402_300_799_999),
        st.integers(0, 2),
        st.integers(-LARGEST, LARGEST),
        st.integers(0, LARGEST),
        st.none() | st.integers(-253_402_300_799_999, 253_402_300_799_999),
    ),
    min_size=1,
    max_size=60,
).map(lambda rows: sorted(rows, key=lambda row: row[:2]))


def hour(every_ms: int = 1_000) -> list[Row]:
    """An hour of a core probe that shows hundredths of a degree."""
    return [
        Row(
            AT_MS + n * every_ms, 0, 10 * (800 + n // 7 + n * 7919 % 5), 500, 12 + n % 9
        )
        for n in range(3_600_000 // every_ms)
    ]


@given(rows_of_any_kind)
def test_what_went_in_comes_out(rows: list[Row]) -> None:
    assert list(unpack(pack(rows))) == rows


def test_an_hour_of_readings_takes_few_bytes() -> None:
    packed = pack(hour())
    assert list(unpack(packed)) == hour()
    assert len(packed) < 3_600


def test_the_numbers_are_zigzag_varints_and_the_columns_zlib_streams() -> None:
    """The bytes of two rows, put together by hand from the rules above."""
    rows = [Row(75, 0, -1, 0, None), Row(80, 0, -2, 0, 3)]

    def column(*octets: int) -> bytes:
        stream = zlib.compress(bytes(octets), 9)
        return bytes([2 * len(stream)]) + stream

    # 75 is 150 in zigzag, 96 01; a step of 5; the unit 1; -1; 0; least 3.
    head = b"\x01" + b"\x96\x01" + b"\x0a" + b"\x02" + b"\x01" + b"\0" + b"\x06"
    columns = [column(0), column(1), column(0), column(0, 0), column(0, 2)]
    body = head + b"".join(columns)
    check = gzip.compress(body)[-8:-4][::-1]  # gzip writes its CRC-32 the other way
    assert pack(rows) == body + check


@pytest.mark.parametrize("place", range(-1, len(pack(hour(60_000))) - 1))
def test_a_changed_byte_is_found(place: int) -> None:
    packed = bytearray(pack(hour(60_000)))
    packed[place] ^= 0x55
    with pytest.raises(BlockError, match="a block has other bytes than were written"):
        unpack(bytes(packed))


def test_a_block_of_a_later_form_is_not_guessed_at() -> None:
    body = b"\x02" + pack(hour(60_000))[1:-4]
    packed = body + zlib.crc32(body).to_bytes(4)
    with pytest.raises(BlockError, match="has the form 02, which is not known"):
        unpack(packed)


def test_a_row_is_looked_up_as_a_whole() -> None:
    packed, row = pack(hour()), hour()[7]
    assert is_packed(packed, *row)
    assert not is_packed(packed, *row._replace(value_mc=row.value_mc + 10))
    assert not is_packed(packed, *row._replace(delay_ms=None))
