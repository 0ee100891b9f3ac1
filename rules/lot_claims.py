"""What a lot sheet makes of a schedule: its facts instead of the schedule's own.

The sheet's facts are written into the schedule's product, so that the text which the
journal keeps, the record signs and everything judges by is that of this very lot; the
whole sheet is kept below it as a comment.  A schedule that claims more than the sheet
shows is refused: no cook begins by a cooling option that its lot does not support.
"""

from rules.cooling import CoolingLimit
from rules.lot_sheet import LotSheet
from rules.poultry import POULTRY, SOURCE
from rules.reader import Marked, marked_tree
from rules.schedule import Product, Schedule, read_schedule
from rules.standards.cooling import ProductFacts, qualifies
from rules.standards.nitrite import ProductClass

GROUND = {ProductClass.COMMINUTED}
# Baby food may be either; it takes no nitrite at all.
EITHER = {ProductClass.INFANT}


def bound(path: str, text: str, sheet: LotSheet, kept: str) -> str | list[str]:
    """The schedule's text with the lot's facts in it, or what speaks against it.

    ``text`` is a schedule without a fault, ``kept`` the sheet's own text.
    """
    schedule, marked = read_schedule(path, text), marked_tree(path, text)
    if isinstance(schedule, list) or isinstance(marked, list):
        raise ValueError(f"{path} is no schedule without a fault")
    facts = sheet.facts
    if words := [*_unlike(schedule.product, sheet), *_unsupported(schedule, facts)]:
        return words
    comment = "".join(f"# {line}".rstrip() + "\n" for line in kept.splitlines())
    with_facts = _with_facts(text, marked, facts)
    if not with_facts.endswith("\n"):
        with_facts += "\n"
    return f"{with_facts}# the lot sheet that the product's facts are from:\n{comment}"


def unknown(schedule: Schedule, facts: ProductFacts) -> list[str]:
    """The cooling options of which it is not known whether the lot may use them."""
    return [
        f"limit {limit.name!r}: {limit.option.name}: {why}"
        for limit in schedule.limits
        if isinstance(limit, CoolingLimit)
        for may, why in [qualifies(limit.option, facts)]
        if may is None
    ]


def _unlike(product: Product, sheet: LotSheet) -> list[str]:
    """What the schedule says of its product, and the sheet does not show."""
    words = []
    facts, claimed = sheet.facts, product.facts
    if product.cured == "no":
        words.append("the schedule is for uncured product, and the lot holds a cure")
    if sheet.poultry == "yes" and product.meat not in POULTRY:
        words.append(
            f"the schedule is for {product.meat}, and there is poultry in the lot: its "
            f"lethality takes the poultry target ({SOURCE})"
        )
    ground = sheet.product in GROUND
    if sheet.product not in EITHER and ground != (product.form == "comminuted"):
        words.append(
            f"the schedule is for product of form {product.form}, and the lot is "
            f"{sheet.product}"
        )
    if claimed.fully_cooked and facts.fully_cooked is False:
        words.append("the schedule cooks fully, and the lot sheet says partially")
    for what, said, known in (
        ("brine", claimed.brine_percent_milli, facts.brine_percent_milli),
        ("water activity", claimed.water_activity_milli, facts.water_activity_milli),
        ("pH", claimed.ph_milli, facts.ph_milli),
        ("salt", claimed.salt_percent_milli, facts.salt_percent_milli),
    ):
        if said is not None and known is None:
            words.append(
                f"the schedule claims a {what}, which the lot sheet does not show"
            )
    return words


def _unsupported(schedule: Schedule, facts: ProductFacts) -> list[str]:
    return [
        f"limit {limit.name!r}: the lot may not be cooled by {limit.option.name}: {why}"
        for limit in schedule.limits
        if isinstance(limit, CoolingLimit)
        for may, why in [qualifies(limit.option, facts)]
        if may is False
    ]


def _written(facts: ProductFacts) -> dict[str, str]:
    """The facts as a schedule writes them; an unknown one is not written."""
    found: dict[str, str] = {}
    if facts.nitrite_ppm is not None:
        found["nitrite"] = f"{facts.nitrite_ppm} ppm"
    if facts.erythorbate_ppm is not None:
        found["erythorbate"] = f"{facts.erythorbate_ppm} ppm"
    if facts.brine_percent_milli is not None:
        found["brine"] = f"{_thousandths(facts.brine_percent_milli)} %"
    if facts.water_activity_milli is not None:
        found["water activity"] = _thousandths(facts.water_activity_milli)
    if facts.ph_milli is not None:
        found["pH"] = _thousandths(facts.ph_milli)
    if facts.salt_percent_milli is not None:
        found["salt"] = f"{_thousandths(facts.salt_percent_milli)} %"
    if facts.fully_cooked is not None:
        found["cooked"] = "fully" if facts.fully_cooked else "partially"
    return found


def _thousandths(milli: int) -> str:
    return f"{milli // 1000}.{milli % 1000:03}"


def _with_facts(text: str, marked: Marked, facts: ProductFacts) -> str:
    """Write every fact over the schedule's own, or before its product's first key."""
    rows = text.splitlines(keepends=True)
    head = marked.head(("product",))
    flow = marked.values[("product",)] != head
    apart = ", " if flow else "\n" + " " * (head.column - 1)
    new = ""
    edits = []  # line, column, width, text
    for key, words in _written(facts).items():
        if place := marked.values.get(("product", key)):
            edits.append((*place[:3], words))
        else:
            new += f"{key}: {words}{apart}"
    edits.append((head.line, head.column, 0, new))
    for line, column, width, words in sorted(edits, reverse=True):
        row = rows[line - 1]
        rows[line - 1] = row[: column - 1] + words + row[column - 1 + width :]
    return "".join(rows)
