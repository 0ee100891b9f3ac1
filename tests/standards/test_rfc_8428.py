"""probes/forms/senml.py against RFC 8428, Sensor Measurement Lists (SenML).

Source: the example packs, and their resolved forms, of the working group's
        repository core-wg/senml-spec, whose text became RFC 8428 section 5.  They
        show the last draft's version, bver 5; the RFC's own is 10.
Rows:   typed from them, thirteen packs, twelve with a resolved form.  The resolved
        form of pack 7 leaves out its last record, the data value; here it is added.
        Each is read from JSON and, its fields numbered by table 4 and its data as
        bytes, from CBOR (section 6).  XML and EXI (sections 7, 8) are not read here.

Which section of the RFC an example stands in, and the sections beside the rules, are
from memory, to be verified: 5.1.1 is pack 1; 5.1.2 packs 2 and 3; 5.1.3 pack 5; 5.1.4
what pack 3 means; 5.1.5 pack 7; 5.1.6 pack 6; 5.1.7 pack 12 and the one that fades.
"""

import base64
import json
from decimal import Decimal
from typing import NamedTuple

import cbor2
import pytest

from probes.forms.senml import Record, resolve
from probes.forms.senml_cbor import read_cbor
from probes.json_text import Unusable, read_json
from tests.standards.rows_rfc_8428 import TABLE_4


class Pack(NamedTuple):
    """One example: now in seconds, what was sent, and what it means."""

    number: int
    now_s: int  # where a time is relative; 0 where none is
    sent: str
    means: list[tuple[str, str, str, str]]  # name, unit, time, value as written


OW = "urn:dev:ow:10e2073a01080063"
HERE = "urn:dev:ow:10e2073a0108006"
PACKS = [
    Pack(
        1,
        1498780179,
        '[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]',
        [(OW, "Cel", "1498780179", "23.1")],
    ),
    Pack(
        2,
        1498780179,
        """[
        {"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","t":0,"u":"V","v":120.1},
        {"n":"current","t":0,"u":"A","v":1.2}
        ]""",
        [
            (f"{OW}:voltage", "V", "1498780179", "120.1"),
            (f"{OW}:current", "A", "1498780179", "1.2"),
        ],
    ),
    Pack(
        3,
        0,
        """[
        {"bn":"urn:dev:ow:10e2073a0108006:","bt":1276020076.001,"bu":"A","bver":5,
         "n":"voltage","u":"V","v":120.1},
        {"n":"current","t":-5,"v":1.2},
        {"n":"current","t":-4,"v":1.3},
        {"n":"current","t":-3,"v":1.4},
        {"n":"current","t":-2,"v":1.5},
        {"n":"current","t":-1,"v":1.6},
        {"n":"current","t":0,"v":1.7}
        ]""",
        [  # the resolved form is in the order of time (section 4.6)
            (f"{HERE}:current", "A", "1276020071.001", "1.2"),
            (f"{HERE}:current", "A", "1276020072.001", "1.3"),
            (f"{HERE}:current", "A", "1276020073.001", "1.4"),
            (f"{HERE}:current", "A", "1276020074.001", "1.5"),
            (f"{HERE}:current", "A", "1276020075.001", "1.6"),
            (f"{HERE}:voltage", "V", "1276020076.001", "120.1"),
            (f"{HERE}:current", "A", "1276020076.001", "1.7"),
        ],
    ),
    Pack(
        4,
        0,
        """[
        {"bn":"urn:dev:ow:10e2073a01080063","bt":1320067464,"bu":"%RH",
         "v":21.2,"t":0},
        {"v":21.3,"t":10},{"v":21.4,"t":20},{"v":21.4,"t":30},{"v":21.5,"t":40},
        {"v":21.5,"t":50},{"v":21.5,"t":60},{"v":21.6,"t":70},{"v":21.7,"t":80},
        {"v":21.5,"t":90},{"v":21.5,"t":91},{"v":21.5,"t":92}
        ]""",
        [
            (OW, "%RH", "1320067464", "21.2"),
            (OW, "%RH", "1320067474", "21.3"),
            (OW, "%RH", "1320067484", "21.4"),
            (OW, "%RH", "1320067494", "21.4"),
            (OW, "%RH", "1320067504", "21.5"),
            (OW, "%RH", "1320067514", "21.5"),
            (OW, "%RH", "1320067524", "21.5"),
            (OW, "%RH", "1320067534", "21.6"),
            (OW, "%RH", "1320067544", "21.7"),
            (OW, "%RH", "1320067554", "21.5"),
            (OW, "%RH", "1320067555", "21.5"),
            (OW, "%RH", "1320067556", "21.5"),
        ],
    ),
    Pack(
        5,
        0,
        """[
        {"bn":"urn:dev:ow:10e2073a01080063","bt":1320067464,"bu":"%RH",
         "v":20.0,"t":0},
        {"v":24.30621,"u":"lon","t":0},
        {"v":60.07965,"u":"lat","t":0},
        {"v":20.3,"t":60},
        {"v":24.30622,"u":"lon","t":60},
        {"v":60.07965,"u":"lat","t":60},
        {"v":20.7,"t":120},
        {"v":24.30623,"u":"lon","t":120},
        {"v":60.07966,"u":"lat","t":120},
        {"v":98.0,"u":"%EL","t":150},
        {"v":21.2,"t":180},
        {"v":24.30628,"u":"lon","t":180},
        {"v":60.07967,"u":"lat","t":180}
        ]""",
        [
            (OW, "%RH", "1320067464", "20"),
            (OW, "lon", "1320067464", "24.30621"),
            (OW, "lat", "1320067464", "60.07965"),
            (OW, "%RH", "1320067524", "20.3"),
            (OW, "lon", "1320067524", "24.30622"),
            (OW, "lat", "1320067524", "60.07965"),
            (OW, "%RH", "1320067584", "20.7"),
            (OW, "lon", "1320067584", "24.30623"),
            (OW, "lat", "1320067584", "60.07966"),
            (OW, "%EL", "1320067614", "98"),
            (OW, "%RH", "1320067644", "21.2"),
            (OW, "lon", "1320067644", "24.30628"),
            (OW, "lat", "1320067644", "60.07967"),
        ],
    ),
    Pack(
        6,
        0,
        """[
        {"bn":"2001:db8::2/","bt":1320078429,"n":"temperature","v":25.2,"u":"Cel"},
        {"n":"humidity","v":30,"u":"%RH"},
        {"bn":"2001:db8::1/","n":"temperature","v":12.3,"u":"Cel"},
        {"n":"humidity","v":67,"u":"%RH"}
        ]""",
        [
            ("2001:db8::2/temperature", "Cel", "1320078429", "25.2"),
            ("2001:db8::2/humidity", "%RH", "1320078429", "30"),
            ("2001:db8::1/temperature", "Cel", "1320078429", "12.3"),
            ("2001:db8::1/humidity", "%RH", "1320078429", "67"),
        ],
    ),
    Pack(
        7,
        1499109309,
        """[
        {"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
        {"n":"label","vs":"Machine Room"},
        {"n":"open","vb":false},
        {"n":"nfv-reader","vd":"aGkgCg"}
        ]""",
        [
            (f"{OW}:temp", "Cel", "1499109309", "23.1"),
            (f"{OW}:label", "", "1499109309", "Machine Room"),
            (f"{OW}:open", "", "1499109309", "False"),
            (f"{OW}:nfv-reader", "", "1499109309", "aGkgCg"),
        ],
    ),
    Pack(
        8,
        0,
        r"""[
        {"bn":"urn:dev:ow:10e2073a01080063:","bt":1320078429,
         "l":"[{\"href\":\"humidity\",\"foo\":\"bar\"}]",
         "n":"temperature","v":27.2,"u":"Cel"},
        {"n":"humidity","v":80,"u":"%RH"}
        ]""",
        [  # the links, a field we do not know, are ignored (section 4.4)
            (f"{OW}:temperature", "Cel", "1320078429", "27.2"),
            (f"{OW}:humidity", "%RH", "1320078429", "80"),
        ],
    ),
    Pack(
        9,
        1498780179,
        """[
        {"bn":"urn:dev:ow:10e2073a01080063:"},
        {"n":"temp","u":"Cel","v":23.1},
        {"n":"heat","u":"/","v":1},
        {"n":"fan","u":"/","v":0}
        ]""",
        [
            (f"{OW}:temp", "Cel", "1498780179", "23.1"),
            (f"{OW}:heat", "/", "1498780179", "1"),
            (f"{OW}:fan", "/", "1498780179", "0"),
        ],
    ),
    Pack(
        10,
        0,
        """[
        {"n":"urn:dev:ow:10e2073a01080063","t":1276020076,"v":23.5,"u":"Cel"},
        {"n":"urn:dev:ow:10e2073a01080063","t":1276020091,"v":23.6,"u":"Cel"}
        ]""",
        [(OW, "Cel", "1276020076", "23.5"), (OW, "Cel", "1276020091", "23.6")],
    ),
    Pack(
        11,
        0,
        """[
        {"bn":"urn:dev:ow:10e2073a01080063","t":1276020076,"v":23.5,"u":"Cel"},
        {"t":1276020091,"v":23.6,"u":"Cel"}
        ]""",
        [(OW, "Cel", "1276020076", "23.5"), (OW, "Cel", "1276020091", "23.6")],
    ),
    Pack(
        12,
        0,
        """[
        {"bt":1320078429.0,"bu":"/","n":"2001:db8::3","v":1},
        {"n":"2001:db8::4","v":1}
        ]""",
        [
            ("2001:db8::3", "/", "1320078429", "1"),
            ("2001:db8::4", "/", "1320078429", "1"),
        ],
    ),
]
FADING = """[
    {"bt":1320078429.0,"bu":"/","n":"2001:db8::3","v":0.5},
    {"n":"2001:db8::4","v":0.5},
    {"n":"2001:db8::3","t":0.1,"v":0},
    {"n":"2001:db8::4","t":0.1,"v":0}
]"""


def resolved(sent: str, now_s: int = 0) -> list[Record]:
    records = resolve(read_json(sent.encode()), Decimal(now_s))
    assert not isinstance(records, Unusable), records
    return records


def in_cbor(sent: str) -> bytes:
    """The pack as section 6 spells it, by the reference library alone."""
    numbers = dict(TABLE_4)
    records = json.loads(sent)
    for record in records:
        if "vd" in record:  # "aGkgCg" is what section 5.1.5 says in base64url
            record["vd"] = base64.urlsafe_b64decode(record["vd"] + "==")
    return cbor2.dumps(
        [{numbers.get(name, name): one[name] for name in one} for one in records]
    )


def value(written: str, field: str) -> object:
    """A row's value, which the table writes as text, as the kind of its field."""
    if field == "vb":
        return written == "True"
    return Decimal(written) if field == "v" else written


@pytest.mark.parametrize("spelling", ["JSON", "CBOR"])
@pytest.mark.parametrize("pack", PACKS, ids=lambda pack: str(pack.number))
def test_an_example_pack_resolves_as_published(pack: Pack, spelling: str) -> None:
    if spelling == "JSON":
        records = resolved(pack.sent, pack.now_s)
    else:
        read = resolve(read_cbor(in_cbor(pack.sent)), Decimal(pack.now_s))
        assert not isinstance(read, Unusable)
        records = read
    assert [(r.name, r.unit, r.at_s, r.value) for r in records] == [
        (name, unit, Decimal(at_s), value(written, record.field))
        for (name, unit, at_s, written), record in zip(pack.means, records, strict=True)
    ]
    relative = pack.now_s != 0
    assert all(record.own_time is not relative for record in records)


def test_the_thirteenth_pack_which_has_no_published_resolved_form() -> None:
    assert [(r.name, r.at_s, r.value) for r in resolved(FADING)] == [
        ("2001:db8::3", Decimal("1320078429.0"), Decimal("0.5")),
        ("2001:db8::4", Decimal("1320078429.0"), Decimal("0.5")),
        ("2001:db8::3", Decimal("1320078429.1"), Decimal(0)),
        ("2001:db8::4", Decimal("1320078429.1"), Decimal(0)),
    ]


def test_no_row_was_lost() -> None:
    assert [pack.number for pack in PACKS] == list(range(1, 13))
    assert sum(len(pack.means) for pack in PACKS) == 54


@pytest.mark.parametrize(
    ("t", "at_s", "own_time"),
    [
        ("-1", 1_768_021_199, False),
        ("0", 1_768_021_200, False),
        ("268435455", 2_036_456_655, False),
        ("268435456", 268_435_456, True),  # 2**28 is absolute
    ],
)
def test_times_below_2_to_the_28_are_relative(
    t: str, at_s: int, own_time: bool
) -> None:
    """Section 4.5.3."""
    (record,) = resolved(f'[{{"n":"a","t":{t},"v":1}}]', now_s=1_768_021_200)
    assert record.at_s == at_s
    assert record.own_time is own_time


def test_it_is_the_sum_of_base_time_and_time_that_decides() -> None:
    """Section 4.5.3."""
    (record,) = resolved('[{"n":"a","bt":268435457,"t":-2,"v":1}]', now_s=1_000)
    assert record.at_s == 268_436_455
    assert not record.own_time


@pytest.mark.parametrize(
    ("sent", "values"),
    [
        ('[{"n":"a","bv":20,"v":1.5}]', ["21.5"]),
        ('[{"n":"a","bv":20}]', ["20"]),  # a missing value counts as zero
        ('[{"bn":"a","bv":20},{"v":1},{"bv":10,"v":1},{"v":2}]', ["21", "11", "12"]),
        ('[{"n":"a","v":1.5}]', ["1.5"]),
    ],
)
def test_the_base_value_is_added(sent: str, values: list[str]) -> None:
    """Sections 4.1 and 4.5.4: it counts for its record and the later ones."""
    assert [record.value for record in resolved(sent)] == list(map(Decimal, values))


@pytest.mark.parametrize(
    ("sent", "why"),
    [
        (
            '[{"bver":11,"n":"a","v":1}]',  # section 4.4
            "bver = 11 is newer than 10, the version known here",
        ),
        (
            '[{"bver":10,"n":"a","v":1},{"bver":5,"n":"b","v":1}]',
            "bver = 5 after 10: two versions",
        ),
        (
            '[{"n":"a","v":1,"future_":2}]',  # section 4.4: an error MUST be generated
            "the pack must not be used without knowing 'future_'",
        ),
        ('{"n":"a","v":1}', "not a SenML pack: an object is not a list of records"),
        ('[{"n":"a","v":1},7]', "not a SenML pack: record 2 is 7"),
    ],
)
def test_a_pack_that_must_not_be_used(sent: str, why: str) -> None:
    assert resolve(read_json(sent.encode()), Decimal(0)) == Unusable(why)


def test_version_ten_and_unknown_fields_are_fine() -> None:
    """Section 4.4: fields that are not known MUST be ignored."""
    assert resolved('[{"bver":10,"n":"a","v":1,"future":2}]')[0].value == 1


@pytest.mark.parametrize(
    "fields",
    [
        '"bs":100,"s":2,"v":1',  # sections 4.1 and 4.2: a sum beside a value
        '"ut":60,"v":1',  # the longest until the next value
        '"bver":10,"v":1',
        '"bu":"Cel","v":1',
        '"v":1,"l":"a link"',
    ],
)
def test_a_field_that_says_nothing_of_the_value_leaves_it(fields: str) -> None:
    """Sections 4.1, 4.2 and 4.4."""
    (record,) = resolved(f'[{{"n":"a",{fields}}}]')
    assert (record.name, record.value) == ("a", 1)


def test_a_unit_of_its_own_goes_before_the_base_unit() -> None:
    """Section 4.1: the base unit is that of records without one."""
    records = resolved('[{"bn":"a","bu":"Cel","v":1},{"u":"K","v":2},{"v":3}]')
    assert [record.unit for record in records] == ["Cel", "K", "Cel"]


def test_a_base_name_is_put_in_front_until_the_next() -> None:
    """Section 4.5.1."""
    records = resolved(
        '[{"bn":"a","n":"1","v":1},{"v":2},{"bn":"b","v":3},{"n":"2","v":4}]'
    )
    assert [record.name for record in records] == ["a1", "a", "b", "b2"]


@pytest.mark.parametrize(
    ("record", "why"),
    [
        ('"v":1', "it has no name"),
        ('"n":"-a","v":1', "'-a' is not a SenML name"),
        ('"n":"a b","v":1', "'a b' is not a SenML name"),
        ('"n":"\\u00e5","v":1', "'å' is not a SenML name"),
        ('"n":7,"v":1', "its name is not a text"),
        ('"n":"a"', "it carries no value"),
        ('"n":"a","s":7', "it carries a sum (s), not a value"),
        ('"n":"a","v":1,"vs":"x"', "it carries v and vs, not one value"),
        ('"n":"a","vb":1', "vb = 1 is of the wrong kind"),
        ('"n":"a","v":"1"', "v = '1', a text, is not a number"),
    ],
)
def test_a_record_that_breaks_the_rules_spares_its_neighbour(
    record: str, why: str
) -> None:
    """Sections 4.2 (fields), 4.5.1 (names) and 4.5.4 (values)."""
    bad, good = resolved(f'[{{{record}}},{{"n":"good","v":3}}]')
    assert bad.value == Unusable(why)
    assert good.value == 3
