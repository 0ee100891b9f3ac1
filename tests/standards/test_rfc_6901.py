"""probes/pointer.py against RFC 6901, JavaScript Object Notation (JSON) Pointer.

Source: RFC 6901 section 5, the example document and its twelve pointers, typed from
        memory, to be verified; sections 3, 4 and 7 for the syntax and the errors.
"""

from decimal import Decimal

import pytest

from probes.json_text import read_json
from probes.pointer import NothingThereError, fault_in_pointer, find, pointer_to, steps

DOCUMENT = rb"""
{
   "foo": ["bar", "baz"],
   "": 0,
   "a/b": 1,
   "c%d": 2,
   "e^f": 3,
   "g|h": 4,
   "i\\j": 5,
   "k\"l": 6,
   " ": 7,
   "m~n": 8
}
"""

SECTION_5: list[tuple[str, object]] = [
    ("", read_json(DOCUMENT)),
    ("/foo", ["bar", "baz"]),
    ("/foo/0", "bar"),
    ("/", Decimal(0)),
    ("/a~1b", Decimal(1)),
    ("/c%d", Decimal(2)),
    ("/e^f", Decimal(3)),
    ("/g|h", Decimal(4)),
    ("/i\\j", Decimal(5)),
    ('/k"l', Decimal(6)),
    ("/ ", Decimal(7)),
    ("/m~0n", Decimal(8)),
]


@pytest.mark.parametrize(("pointer", "value"), SECTION_5)
def test_the_examples_of_section_5(pointer: str, value: object) -> None:
    assert find(read_json(DOCUMENT), pointer) == value


def test_no_row_was_lost() -> None:
    assert len(SECTION_5) == 12


def test_tilde_one_is_turned_before_tilde_zero() -> None:
    """Section 4: "~01" must become "~1" and not "/"."""
    assert steps("/~01") == ("~1",)


@pytest.mark.parametrize(
    "pointer",
    [
        "/foo/2",  # no such member of the list
        "/foo/-",  # section 4: the member after the last, which never exists
        "/foo/00",  # section 4: an index has no leading zero
        "/foo/01",
        "/foo/+1",
        "/foo/1e0",
        "/foo/\u0661",  # a digit, but not one of 0 to 9
        "/foo/99999999999999999999",
        "/foo/bar",
        "/foo/0/0",  # through a text
        "/bar",
        "/a/b",
        "//",
    ],
)
def test_what_is_not_there_is_an_error(pointer: str) -> None:
    with pytest.raises(NothingThereError):
        find(read_json(DOCUMENT), pointer)


@pytest.mark.parametrize(
    ("pointer", "fault"),
    [
        ("", ""),
        ("/foo/0", ""),
        ("foo", "'foo' does not begin with /"),
        ("#/foo", "'#/foo' does not begin with /"),
        ("/a~b", "'/a~b' has a ~ that is not ~0 (for ~) or ~1 (for /)"),
        ("/a~", "'/a~' has a ~ that is not ~0 (for ~) or ~1 (for /)"),
        ("/a~2", "'/a~2' has a ~ that is not ~0 (for ~) or ~1 (for /)"),
    ],
)
def test_what_is_no_pointer_is_said(pointer: str, fault: str) -> None:
    """Section 3, the syntax."""
    assert fault_in_pointer(pointer) == fault
    if fault:
        with pytest.raises(ValueError, match=r"~|begin"):
            find({}, pointer)


@pytest.mark.parametrize("name", ["", "foo", "a/b", "m~n", "~1", "/", "~0/~1"])
def test_a_pointer_to_a_name_finds_it(name: str) -> None:
    assert find({name: 1}, pointer_to(name)) == 1
