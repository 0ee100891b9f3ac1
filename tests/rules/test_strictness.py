"""What counts as weaker than a base: every figure of every kind, both ways."""

import pytest
from pydantic import TypeAdapter

from rules.limit import Limit
from rules.schedule import AnyLimit
from rules.strictness import STRICT, weaker

LIMIT: TypeAdapter[Limit] = TypeAdapter(AnyLimit)
MEAT = "FSIS Appendix A, meat, 6.5-log10"
SEVEN = "FSIS Appendix A, meat, 7-log10"

WHOLE = {  # one limit of each kind, as its author writes it
    "band": {"within": "50 degC to 60 degC", "settle": "10 min", "grace": "10 min"},
    "hold above": {"at or above": "60 degC", "settle": "10 min", "grace": "10 min"},
    "hold below": {"at or below": "4 degC"},
    "time between": {
        "between": "50 degF and 130 degF",
        "at most": "6 h",
        "begins anew after": MEAT,
    },
    "reach within above": {"at or above": "74 degC", "for": "15 s", "at most": "2 h"},
    "reach within below": {"at or below": "7 degC", "at most": "2 h"},
    "silence": {"at most": "10 min", "settle": "5 min"},
    "rate up": {
        "rises at most": "6 K",
        "over": "30 min",
        "between": "10 degC and 60 degC",
    },
    "rate down": {"falls at most": "6 K", "over": "30 min"},
    "rate no less up": {"rises at least": "6 K", "over": "30 min"},
    "rate no less down": {"falls at least": "6 K", "over": "30 min"},
    "integrated lethality": {
        "D": "60 s",
        "z": "10 K",
        "reference": "60 degC",
        "target": "6.5-log10",
        "after growth": "2-log10",
    },
    "reheating": {"option": "FDA Food Code 3-403.11(A)"},
}
KINDS = ("time between", "reach within", "integrated lethality")

CHANGES = [  # of which limit, which field, what is stricter, what is weaker
    ("band", "within", "51 degC to 60 degC", "50 degC to 61 degC"),
    ("band", "settle", "9 min", "11 min"),
    ("band", "grace", "9 min", "11 min"),
    ("hold above", "at or above", "61 degC", "59 degC"),
    ("hold above", "settle", "9 min", "11 min"),
    ("hold above", "grace", "9 min", "11 min"),
    ("hold below", "at or below", "3 degC", "5 degC"),
    ("time between", "between", "49 degF and 130 degF", "51 degF and 130 degF"),
    ("time between", "at most", "5 h", "7 h"),
    ("time between", "begins anew after", SEVEN, None),
    ("reach within above", "at or above", "75 degC", "73 degC"),
    ("reach within above", "for", "16 s", "14 s"),
    ("reach within above", "at most", "1 h", "3 h"),
    ("reach within below", "at or below", "6 degC", "8 degC"),
    ("silence", "at most", "9 min", "11 min"),
    ("silence", "settle", "4 min", "6 min"),
    ("rate up", "rises at most", "5 K", "7 K"),
    ("rate up", "between", "9 degC and 60 degC", "10 degC and 59 degC"),
    ("rate down", "falls at most", "5 K", "7 K"),
    ("rate no less up", "rises at least", "7 K", "5 K"),
    ("rate no less down", "falls at least", "7 K", "5 K"),
    ("integrated lethality", "D", "70 s", "50 s"),
    ("integrated lethality", "target", "7-log10", "6-log10"),
    ("integrated lethality", "after growth", "3-log10", "1-log10"),
]


def written(of: str, **keys: str) -> Limit:
    kind = next((one for one in KINDS if of.startswith(one)), of.split()[0])
    head = {"limit": "it", "kind": kind, "channel": "core"}
    return LIMIT.validate_python({**head, **WHOLE[of], **keys})


@pytest.mark.parametrize(("of", "field", "stricter", "milder"), CHANGES)
def test_a_figure_may_be_stricter_and_not_weaker(
    of: str, field: str, stricter: str, milder: str | None
) -> None:
    base = written(of)
    assert weaker(base, base) == []
    assert weaker(base, written(of, **{field: stricter})) == []
    if milder is not None:
        assert weaker(base, written(of, **{field: milder})) == [field]


def test_growth_of_a_model_is_stricter_than_none_only() -> None:
    named = written("integrated lethality", **{"after growth": "growth"})
    other = written("integrated lethality", **{"after growth": "other"})
    none = named.model_copy(update={"after_growth": 0})
    two = written("integrated lethality")
    assert weaker(none, named) == []
    for base, own in ((two, named), (named, two), (named, other), (named, none)):
        assert weaker(base, own) == ["after growth"]


def test_a_table_that_ends_a_count_sooner_is_weaker() -> None:
    never = written("time between").model_copy(update={"lethal": None})
    assert weaker(never, written("time between")) == ["begins anew after"]
    assert weaker(written("time between"), never) == []
    sooner = written("time between", **{"begins anew after": SEVEN})
    assert weaker(sooner, written("time between")) == ["begins anew after"]


@pytest.mark.parametrize(
    ("of", "more", "found"),
    [
        ("band", "smoke, cook", []),
        ("silence", "smoke, cook", []),
        ("rate up", "smoke, cook", []),
        ("reach within above", "smoke, cook", ["during"]),
        ("reheating", "smoke, cook", ["during"]),
        ("time between", "smoke, cook", ["during"]),  # a lethality in one stage more
        ("integrated lethality", "smoke, cook", ["during"]),
        ("band", "cook", ["during"]),
    ],
)
def test_a_count_over_more_stages_is_stricter_and_a_chance_is_not(
    of: str, more: str, found: list[str]
) -> None:
    assert weaker(written(of, during="smoke"), written(of, during=more)) == found


def test_what_is_not_known_to_be_as_strict_is_weaker() -> None:
    since = written("reach within below", **{"since leaving": "57 degC"})
    assert weaker(written("reach within below"), since) == ["since leaving"]
    other = written("reheating", option="FDA Food Code 3-403.11(C)")
    assert weaker(written("reheating"), other) == ["option"]
    assert weaker(written("band"), written("hold above")) == ["kind"]


def test_no_figure_was_left_out() -> None:
    tried = set()
    for of, key, *_ in CHANGES:
        fields = type(written(of)).model_fields
        name = next(name for name, one in fields.items() if key in (one.alias, name))
        tried.add((str(getattr(written(of), "kind", "")), name))
    assert tried == set(STRICT)
