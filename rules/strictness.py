"""Whether a limit is at least as strict as the limit that it stands in place of.

What cannot be shown to be as strict counts as weaker: nothing here guesses.  Of the
words that judge nothing (a hazard, a source, what to do) none is weaker.
"""

from collections.abc import Callable, Mapping
from typing import Any

from rules.dwell import DwellTableLimit
from rules.limit import Limit
from rules.standards.tables import DwellTable, needed
from rules.time_between import Band

# These judge nothing.  A warning that comes later is told as a difference.
WORDS = {
    *("name", "control_point", "warn_ms", "hazard", "source", "if_missed"),
    *("weakens", "notes", "edition"),
}

Strict = Callable[[Any, Any], bool]


def _at_most(before: int, after: int) -> bool:
    return after <= before


def _at_least(before: int | None, after: int | None) -> bool:
    return before is None or (after is not None and after >= before)


def _no_higher(before: int | None, after: int | None) -> bool:
    return before is None or (after is not None and after <= before)


def _within(before: tuple[int, int], after: tuple[int, int]) -> bool:
    return before[0] <= after[0] and after[1] <= before[1]


def _around(before: tuple[int, int], after: tuple[int, int]) -> bool:
    return _within(after, before)


def _counts_more(before: Band | None, after: Band | None) -> bool:
    """Whether windows count that did not; with no band, all do."""
    return after is None or (before is not None and _around(before, after))


def _begins_less(before: DwellTable | None, after: DwellTable | None) -> bool:
    """Whether a count begins anew no sooner; with no table, it never does."""
    return after is None or (before is not None and _needs_as_much(before, after))


def _no_less_growth(before: int | str, after: int | str) -> bool:
    """Whether no less growth is added; what a model will predict is not known."""
    if isinstance(before, int):
        return before == 0 or (isinstance(after, int) and after >= before)
    return before == after


# By kind and field: what has to hold between the base's figure and the new one.
STRICT: Mapping[tuple[str, str], Strict] = {
    ("band", "within"): _within,
    ("band", "settle_ms"): _at_most,
    ("band", "grace_ms"): _at_most,
    ("hold", "at_or_above_mc"): _at_least,
    ("hold", "at_or_below_mc"): _no_higher,
    ("hold", "settle_ms"): _at_most,
    ("hold", "grace_ms"): _at_most,
    ("time between", "between"): _around,
    ("time between", "at_most_ms"): _at_most,
    ("time between", "lethal"): _begins_less,
    ("reach within", "at_or_above_mc"): _at_least,
    ("reach within", "at_or_below_mc"): _no_higher,
    ("reach within", "run_ms"): _at_least,
    ("reach within", "at_most_ms"): _at_most,
    ("silence", "settle_ms"): _at_most,
    ("silence", "grace_ms"): _at_most,
    ("rate", "rises_at_most_mc"): _no_higher,
    ("rate", "falls_at_most_mc"): _no_higher,
    ("rate", "rises_at_least_mc"): _at_least,
    ("rate", "falls_at_least_mc"): _at_least,
    ("rate", "between"): _counts_more,
    ("integrated lethality", "d_ms"): _at_least,
    ("integrated lethality", "target_mlog10"): _at_least,
    ("integrated lethality", "after_growth"): _no_less_growth,
}
# A count over more stages is stricter, a chance in more of them is not.
COUNTED = {"band", "hold", "rate", "silence", "time between"}


def weaker(base: Limit, own: Limit) -> list[str]:
    """The fields in which ``own`` is not shown to be as strict as ``base``."""
    if type(base) is not type(own):
        return ["kind"]
    kind = str(getattr(base, "kind", ""))
    found = []
    for field in type(base).model_fields:
        before, after = getattr(base, field), getattr(own, field)
        if field in WORDS or before == after:
            continue
        if field == "grade":
            strict = after == "critical"
        elif field == "during":
            # In one stage more it may be hot enough for a count to begin anew.
            anew = getattr(own, "lethal", None) is not None
            strict = _more(kind, before, after) and not anew
        elif field == "table" and isinstance(base, DwellTableLimit):
            strict = _needs_as_much(before, after)
        else:
            rule = STRICT.get((kind, field))
            strict = rule is not None and rule(before, after)
        if not strict:
            found.append(type(base).model_fields[field].alias or field)
    return found


def _more(kind: str, before: tuple[str, ...], after: tuple[str, ...]) -> bool:
    """Whether the stages named make it stricter; none named are all of them."""
    if kind in COUNTED:
        return not after or (bool(before) and {*before} <= {*after})
    return False


def _needs_as_much(before: DwellTable, after: DwellTable) -> bool:
    """Whether a table asks as much as another wherever either has a row."""
    for row in (*before.rows, *after.rows):
        asked, now = needed(before, row.temp_mc), needed(after, row.temp_mc)
        if now is not None and (asked is None or now < asked):
            return False
    return True
