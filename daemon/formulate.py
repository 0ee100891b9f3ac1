"""``fumarium formulate``: what was weighed into a lot, and what it may claim.

It also binds a sheet to a cook that begins: see ``rules.lot_claims``.
"""

from collections.abc import Iterator
from pathlib import Path

from daemon.cli import BAD_FILE, CHECK_FAILED, GOOD, CommandError
from daemon.files import text_at
from rules import poultry
from rules.faults import render_all
from rules.formulation import Span, say_ppm, strength_doubt
from rules.growth import lacking
from rules.lot_claims import bound, unknown
from rules.lot_sheet import PURE_FROM, LotSheet, claims, read_lot_sheet
from rules.predicted import ADVICE
from rules.schedule import Schedule, read_schedule
from rules.standards.growth import GROWTH_MODELS, MARK
from rules.standards.nitrite import FINISHED_NITRITE
from rules.weights import say_g, say_share

SUPPORTS = {True: "qualifies", False: "does not", None: "not known"}


def formulate(path: Path) -> int:
    """Print what the weights come to; 1 where a limit is not met."""
    sheet, _ = sheet_at(path)
    for line in told(sheet):
        print(line)
    return CHECK_FAILED if sheet.breached else GOOD


def sheet_at(path: Path) -> tuple[LotSheet, str]:
    """The lot sheet in a file, and its text.

    Raises:
        CommandError: It cannot be read, or there are faults in it.
    """
    text = text_at(path)
    sheet = read_lot_sheet(str(path), text)
    if isinstance(sheet, LotSheet):
        return sheet, text
    raise CommandError(render_all(sheet, text), BAD_FILE)


def bound_at(schedule_path: Path, text: str, path: Path) -> tuple[Schedule, str]:
    """The schedule with the lot's facts in it, and its text.

    Raises:
        CommandError: The sheet breaches a limit, or does not support the schedule.
    """
    sheet, kept = sheet_at(path)
    if sheet.breached:
        words = [*sheet.stops]
        words += [f.why for f in sheet.findings if f.verdict != "met"]
        raise CommandError("\n".join(f"{path}: {one}" for one in words), CHECK_FAILED)
    found = bound(str(schedule_path), text, sheet, kept)
    if isinstance(found, list):
        raise CommandError("\n".join(f"{path}: {one}" for one in found), CHECK_FAILED)
    schedule = read_schedule(str(schedule_path), found)
    if isinstance(schedule, list):
        raise CommandError(render_all(schedule, found), BAD_FILE)
    for words_of_one in unknown(schedule, schedule.product.facts):
        print(f"note: {words_of_one}: its conditions will be unproven")
    return schedule, found


def told(sheet: LotSheet) -> Iterator[str]:
    """What the weights come to, line by line."""
    yield f"{sheet.title}: {sheet.product}, green weight {say_g(sheet.meat_g)}"
    if sheet.poultry == "yes":
        yield f"poultry in it: lethality takes the poultry target ({poultry.SOURCE})"
    yield from sheet.stops
    if doubt := strength_doubt(sheet.ingoing):
        yield f"warning: {doubt}"
    yield ""
    ingoing = sheet.ingoing
    yield f"ingoing nitrite: {_span(ingoing.nitrite)} of green weight"
    yield from (f"  {line}" for line in sheet.workings)
    yield "  before it is held against a limit it is rounded to a hundredth of a ppm"
    yield f"ingoing nitrate: {_span(ingoing.nitrate)}"
    yield f"ingoing erythorbate or ascorbate: {_span(ingoing.erythorbate)}"
    yield from _water(sheet)
    yield ""
    yield "limits"
    for one in sheet.findings:
        yield f"  {one.verdict:<9} {one.why}"
        mark = "" if one.limit.verified else " (from memory, to be verified)"
        note = f"; {one.limit.note}" if one.limit.note else ""
        yield f"            source: {one.limit.source}{mark}{note}"
    if sheet.finished is None:
        yield f"  not judged nitrite in the finished product: {_unmeasured()}"
    yield ""
    yield "cooling options"
    for claim in claims(sheet.facts):
        mark = "" if claim.verified else " (from memory, to be verified)"
        yield f"  {SUPPORTS[claim.may]:<9} {claim.option}{mark}: {claim.why}"
    yield ""
    yield from _growth(sheet)
    yield from _caution(sheet)


def _unmeasured() -> str:
    one = FINISHED_NITRITE
    return (
        f"{one.bound} {say_ppm(one.ppm)} ({one.source}), which no weight shows; where "
        "it was analysed, write for example: "
        "finished nitrite: {measured: 30 ppm, report: laboratory, number and day}"
    )


def _caution(sheet: LotSheet) -> Iterator[str]:
    if any(cure.nitrite < PURE_FROM for cure in sheet.cures):
        yield _were_it_pure(sheet)
    if sheet.breached:
        yield "A limit is not met. Cooking does not mend a wrong dose."


def _were_it_pure(sheet: LotSheet) -> str:
    weights_g = sum(cure.weight_g for cure in sheet.cures)
    per_million = weights_g * 1_000_000
    if sheet.pickle:
        pure = per_million * sheet.pickle.taken_up / sheet.pickle.weight_g
    else:
        pure = per_million / sheet.meat_g
    return (
        f"Were the jar pure nitrite, the same weight would make {say_ppm(pure)}, which "
        "can kill: read the label of the jar in hand."
    )


def _water(sheet: LotSheet) -> Iterator[str]:
    if sheet.brine is None:
        yield "brine: not known; write the meat's moisture, for example: 60 %"
    else:
        yield (
            f"brine: {say_share(sheet.brine)}, as 100 x salt / (salt + water) of the "
            "mix (from memory, to be verified)"
        )
    yield (
        f"added water: {say_share(sheet.added_water)} of the mix (9 CFR 319.140: at "
        "most 3 % of an uncooked sausage's ingredients, 10 % of most finished cooked "
        "sausages)"
    )
    if sheet.salt is not None:
        words = "of the mix as it was weighed; drying raises it"
        yield f"salt: {say_share(sheet.salt)} {words}"
    if sheet.ph_milli is not None:
        yield f"pH: {sheet.ph_milli / 1000:g}, as it was measured"


def _growth(sheet: LotSheet) -> Iterator[str]:
    """Whether the lot's acidity and salt are known to the models that ask for them."""
    if sheet.salt is None and sheet.ph_milli is None:
        return
    yield f"predicted growth ({MARK}; {ADVICE})"
    for name, model in GROWTH_MODELS.items():
        if model.medium is not None:
            lacks = lacking(name, sheet.facts)
            yield f"  {'not known' if lacks else 'can be':<9} {name}" + (
                f": {lacks}" if lacks else ""
            )
    yield ""


def _span(span: Span) -> str:
    if span.least == span.most:
        return say_ppm(span.measured)
    return f"{say_ppm(span.measured)} ({say_ppm(span.least)} to {say_ppm(span.most)})"
