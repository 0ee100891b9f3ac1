"""The numbers of SenML's fields in CBOR.

Source: RFC 8428 section 6, table 4, typed from it.
"""

TABLE_4 = [
    ("bver", -1),
    ("bn", -2),
    ("bt", -3),
    ("bu", -4),
    ("bv", -5),
    ("bs", -6),
    ("n", 0),
    ("u", 1),
    ("v", 2),
    ("vs", 3),
    ("vb", 4),
    ("s", 5),
    ("t", 6),
    ("ut", 7),
    ("vd", 8),
]
