"""probes/forms/senml_cbor.py against RFC 8428 section 6, SenML in CBOR.

Source: the bytes of section 6, which are the second pack of section 5.1.2 (the third
        example), from memory, to be verified; the meaning is that of the JSON pack,
        held in ``test_rfc_8428.py``.  The numbers of the fields are table 4's.
Rows:   fifteen numbers, one pack of seven records.
"""

from decimal import Decimal

from probes.forms.senml import Record, resolve
from probes.forms.senml_cbor import FIELDS, read_cbor
from tests.standards.rows_rfc_8428 import TABLE_4

NAME = "urn:dev:ow:10e2073a0108006:"
PACK = bytes.fromhex(
    "87 a7 21 78 1b 75 72 6e 3a 64 65 76 3a 6f 77 3a"
    "31 30 65 32 30 37 33 61 30 31 30 38 30 30 36 3a"
    "22 fb 41 d3 03 a1 5b 00 10 62 23 61 41 20 05 00"
    "67 76 6f 6c 74 61 67 65 01 61 56 02 fb 40 5e 06"
    "66 66 66 66 66 a3 00 67 63 75 72 72 65 6e 74 06"
    "24 02 fb 3f f3 33 33 33 33 33 33 a3 00 67 63 75"
    "72 72 65 6e 74 06 23 02 fb 3f f4 cc cc cc cc cc"
    "cd a3 00 67 63 75 72 72 65 6e 74 06 22 02 fb 3f"
    "f6 66 66 66 66 66 66 a3 00 67 63 75 72 72 65 6e"
    "74 06 21 02 f9 3e 00 a3 00 67 63 75 72 72 65 6e"
    "74 06 20 02 fb 3f f9 99 99 99 99 99 9a a3 00 67"
    "63 75 72 72 65 6e 74 06 00 02 fb 3f fb 33 33 33"
    "33 33 33"
)
MEANS = [
    ("current", "A", "1276020071.001", "1.2"),
    ("current", "A", "1276020072.001", "1.3"),
    ("current", "A", "1276020073.001", "1.4"),
    ("current", "A", "1276020074.001", "1.5"),
    ("current", "A", "1276020075.001", "1.6"),
    ("voltage", "V", "1276020076.001", "120.1"),
    ("current", "A", "1276020076.001", "1.7"),
]


def test_the_bytes_of_section_6() -> None:
    records = resolve(read_cbor(PACK), Decimal(0))
    assert records == [
        Record(NAME + name, unit, Decimal(at_s), True, "v", Decimal(value))
        for name, unit, at_s, value in MEANS
    ]
    assert len(MEANS) == 7


def test_the_numbers_of_table_4() -> None:
    assert {number: name for name, number in TABLE_4} == FIELDS
    assert len(TABLE_4) == 15
