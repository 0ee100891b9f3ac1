"""The reader of files that people write: places, and never an exception.

The words for each fault of a schedule are in ``test_schedule.py``.
"""

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from rules.faults import Fault
from rules.reader import Marked, marked_tree
from rules.remarks import choice, nearest
from rules.schedule import Schedule, read_schedule

WORDS = [
    *("schedule", "revision", "product", "stages", "limits", "alerts", "meat", "form"),
    *("cured", "stage", "ends", "chamber", "settle", "limit", "kind", "channel"),
    *("during", "between", "at most", "table", "option", "tell", "when", "warn"),
    *("then after 20 min tell", "then after soon tell", "again every", "if missed"),
    *("pork", "poultry", "yes", "core", "chill", "by hand", "after 3 h", "1:30"),
    *("band", "hold", "time between", "dwell table", "cooling option", "D", "z"),
    *("integrated lethality", "target", "²-log10", "60 degC to 70 degC", "6,5 degC"),
    *("when every core reaches 69 degC", "FSIS Appendix A, meat, 6.5-log10"),
    *("at risk, met", "45 min before", "", "{found}", "{remedy}", "~", "\u2028"),
]

scalars = st.one_of(st.sampled_from(WORDS), st.text(max_size=8))
trees = st.recursive(
    scalars,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(st.sampled_from(WORDS), inner, max_size=8),
    ),
    max_leaves=30,
)

# Half of a schedule is right, so that the faults lie deep in it.
parts = st.fixed_dictionaries(
    {
        "schedule": st.just("links"),
        "revision": st.just("1"),
        "product": st.one_of(
            st.just({"meat": "poultry", "form": "intact", "cured": "no"}), trees
        ),
        "stages": st.lists(
            st.fixed_dictionaries({"stage": scalars, "ends": scalars}), max_size=3
        ),
    },
    optional={
        "limits": st.lists(
            st.fixed_dictionaries(
                {"limit": scalars, "kind": scalars, "channel": scalars},
                optional={"during": trees, "table": scalars, "option": scalars},
            ),
            max_size=3,
        ),
        "alerts": st.lists(st.dictionaries(st.sampled_from(WORDS), trees), max_size=2),
        "notes": trees,
    },
)


def stands_in(text: str, fault: Fault) -> bool:
    """Whether a fault's mark lies in the text, or just behind the end of a line."""
    lines = text.splitlines() or [""]
    return (
        1 <= fault.line <= len(lines) + 1
        and fault.column >= 1
        and fault.width >= 1
        and bool(fault.found)
        and bool(fault.remedy)
    )


@given(st.text(max_size=200))
def test_no_text_at_all_upsets_the_reader(text: str) -> None:
    """Random text is a schedule or a list of faults, each with a place in the text."""
    found = read_schedule("a.yaml", text)
    assert isinstance(found, list)
    assert all(stands_in(text, fault) for fault in found)


@given(st.one_of(trees, parts))
def test_no_tree_at_all_upsets_the_reader(tree: object) -> None:
    """A random tree in YAML is a schedule or faults in file order, once each."""
    text = yaml.safe_dump(tree, allow_unicode=True, sort_keys=False)
    found = read_schedule("a.yaml", text)
    if isinstance(found, Schedule):
        return
    assert found == sorted(set(found))
    assert all(stands_in(text, fault) for fault in found)
    assert not any("Input should" in f.found or "Value error" in f.found for f in found)


@pytest.mark.parametrize(
    "text", ["[" * 100_000, "{a: " * 100_000, "- " * 100_000, "'" * 100_001, "\0"]
)
def test_a_hostile_file_is_a_fault(text: str) -> None:
    found = marked_tree("a.yaml", text)
    assert isinstance(found, list)
    assert len(found) == 1


def test_a_character_that_no_text_has_is_marked_where_it_stands() -> None:
    (fault,) = marked_tree("a.yaml", "schedule: links\nrevision: \x07\n")  # type: ignore[misc]
    assert isinstance(fault, Fault)
    assert (fault.line, fault.column) == (2, 11)
    assert fault.found == r"a character that no text has: '\x07'"


def test_every_scalar_keeps_the_spelling_of_its_author() -> None:
    marked = marked_tree("a.yaml", "a: 1:30\nb: yes\nc: 0x10\nd: 2026-01-09\ne: ~\n")
    assert isinstance(marked, Marked)
    assert marked.tree == {
        "a": "1:30",
        "b": "yes",
        "c": "0x10",
        "d": "2026-01-09",
        "e": "~",
    }


def test_every_piece_keeps_its_place() -> None:
    marked = marked_tree("a.yaml", "one:\n  - two: three\n")
    assert isinstance(marked, Marked)
    assert marked.at(("one", 0, "two")) == (2, 10, 5, "a.yaml")
    assert marked.at_key(("one", 0, "two")) == (2, 5, 3, "a.yaml")
    assert marked.at(("one", 0, "nowhere")) == (2, 5, 3, "a.yaml")


@pytest.mark.parametrize(
    ("word", "near"),
    [("cok", "cook"), ("COOK", "cook"), ("chil", "Chill"), ("packing", "")],
)
def test_the_nearest_word_is_offered_whatever_its_case(word: str, near: str) -> None:
    assert nearest(word, ["smoke", "cook", "Chill"]) == near


def test_where_no_word_is_near_all_are_offered() -> None:
    assert choice("packing", ["smoke", "cook"]) == "write one of: smoke, cook"


@pytest.mark.parametrize("bracket", ["{", "["])
def test_a_thousand_open_brackets_are_refused_at_the_first_too_many(
    bracket: str,
) -> None:
    """Twenty may stand open: the next one is refused, and nothing after it is read."""
    found = marked_tree("deep.yaml", "stages: " + 1_000 * bracket + "\n\t:")
    assert found == [
        Fault("deep.yaml", 1, 29, 1, "nested too deeply", "write it flatter")
    ]


@pytest.mark.parametrize(
    ("text", "line", "remedy"),
    [
        ('a: "b\nc: d\n', 1, "close the quote that is opened here"),
        ("a: b\n---\nc: d\n", 2, "keep one part, and take the line '---' out"),
        ("a: b: c\n", 1, "put a text with a colon in quotes, or check the indentation"),
    ],
)
def test_a_slip_in_the_yaml_is_shown_where_it_was_made(
    text: str, line: int, remedy: str
) -> None:
    found = marked_tree("x.yaml", text)
    assert isinstance(found, list)
    assert [(one.line, one.remedy) for one in found] == [(line, remedy)]


def test_a_list_in_braces_wants_quotes() -> None:
    """``during: smoke, cook`` is two keys there; on lines of their own they stay so."""
    text = (
        "schedule: a\nrevision: 1\n"
        "product: {meat: pork, form: comminuted, cured: yes}\n"
        "stages: [{stage: smoke, ends: by hand}, {stage: cook, ends: by hand}]\n"
        "limits:\n  - {limit: heard, kind: silence, channel: core, at most: 1 h,\n"
        "     during: smoke, cook}\n"
    )
    found = read_schedule("a.yaml", text)
    assert isinstance(found, list)
    assert [(one.line, one.found, one.remedy) for one in found] == [
        (
            7,
            "a text is cut in two by its comma here",
            "put the whole text in quotes",
        )
    ]
    mended = text.replace("smoke, cook}", "'smoke, cook'}")
    assert isinstance(read_schedule("a.yaml", mended), Schedule)
    apart = read_schedule("a.yaml", text.replace("smoke, cook}", "smoke,\n     cook}"))
    assert isinstance(apart, list)
    assert [one.found for one in apart] == ["'cook' is not a key here"]
