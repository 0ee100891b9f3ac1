"""A lot sheet: its faults in their words, its figures, and what it may claim.

The bad sheet stands beside the words that answer it.
"""

from fractions import Fraction
from pathlib import Path

import pytest
from pydantic_core import PydanticCustomError

from rules.facts import Verdict
from rules.faults import render_all
from rules.lot_claims import bound, unknown
from rules.lot_sheet import LotSheet, claims, read_lot_sheet
from rules.schedule import Schedule, read_schedule
from rules.standards.cooling import ProductFacts
from rules.units import activity_milli
from rules.weights import share, weight

BAD = Path(__file__).parent / "lot_sheets"

SHEET = """\
lot sheet: links (invented)
product class: comminuted
keep refrigerated: yes
cooked: fully
meat: 25 lb
meat moisture: 60 %
water: 1 lb
salt: 200 g
cures:
  - {cure: curing salt, weight: 1 oz, nitrite: 6.25 %, salt: 93.75 %}
accelerators:
  - {accelerator: sodium erythorbate, weight: 6 g}
"""

SCHEDULE = """\
schedule: links
revision: 1
product: {meat: pork, form: comminuted, cured: yes, nitrite: 1 ppm}
stages: [{stage: chill, ends: when every core falls to 4 degC}]
limits:
  - {limit: cooling, kind: cooling option, channel: core, option: NAME}
"""


@pytest.mark.parametrize(
    ("written", "both"),
    [
        ("6,25 %", "6.25 % or 625 %"),
        ("6,25%", "6.25% or 625%"),
        ("6, 25 %", "6.25 % or 625 %"),
    ],
)
def test_a_decimal_comma_inside_braces_shows_both_readings(
    written: str, both: str
) -> None:
    """YAML parts ``{nitrite: 6,25 %}`` at its comma, before anybody reads a number."""
    faults = read_lot_sheet("lot.yaml", SHEET.replace("6.25 %", written))
    assert isinstance(faults, list)
    assert any(f"it may mean {both}" in one.found for one in faults), faults
    assert not any("is not a key" in one.found for one in faults)


@pytest.mark.parametrize("key", ["25 %: 1", "colour: red", "25 %"])
def test_any_other_key_is_no_half_of_a_number(key: str) -> None:
    changed = SHEET.replace("nitrite: 6.25 %", f"nitrite: 6.25 %, {key}")
    faults = read_lot_sheet("lot.yaml", changed)
    assert isinstance(faults, list)
    assert any("is not a key here" in one.found for one in faults), faults


ANALYSED = SHEET + "finished nitrite: {measured: MEASURED, report: LAB-7}\n"


@pytest.mark.parametrize(
    ("measured", "verdict"),
    [
        # 9 CFR 424.21(c): not above 200 ppm in the finished product.
        ("0 ppm", "met"),
        ("200 ppm", "met"),
        ("201 ppm", "missed"),
        ("190 ppm, off by: 10 ppm", "met"),
        ("190 ppm, off by: 11 ppm", "unproven"),
        ("215 ppm, off by: 14 ppm", "missed"),
    ],
)
def test_the_finished_product_is_judged_by_its_analysis(
    measured: str, verdict: str
) -> None:
    found = read_lot_sheet("lot.yaml", ANALYSED.replace("MEASURED", measured))
    assert isinstance(found, LotSheet), found
    one = found.findings[-1]
    assert one.verdict == verdict
    assert "200 ppm in the finished product" in one.why
    assert one.why.endswith(", by LAB-7")
    assert found.breached is (verdict != "met")


def test_the_finished_product_is_never_inferred() -> None:
    found = read_lot_sheet("lot.yaml", SHEET)
    assert isinstance(found, LotSheet), found
    assert not any("finished" in one.limit.printed for one in found.findings)


BLOCK = """\
product:
  meat: pork
  form: comminuted
  cured: yes
  nitrite: 1 ppm"""
OPTION_3 = "FSIS Appendix B 2021, option 3"


def sheet(**changed: str) -> LotSheet:
    """The sheet with some pieces of its text changed."""
    text = SHEET
    for was, now in changed.items():
        key = was.replace("_", " ")
        assert f"{key}: " in text
        head, tail = text.split(f"{key}: ", 1)
        rest = tail[tail.index("\n") :]
        text = f"{head}{key}: {now}{rest}"
    found = read_lot_sheet("lot.yaml", text)
    assert isinstance(found, LotSheet), found
    return found


def named(option: str) -> str:
    return SCHEDULE.replace("NAME", f'"{option}"')


@pytest.mark.parametrize(
    "path", sorted(BAD.glob("*.bad.yaml")), ids=lambda path: path.name
)
def test_every_fault_is_said_at_once(path: Path) -> None:
    text = path.read_text()
    faults = read_lot_sheet(path.name, text)
    assert isinstance(faults, list)
    assert render_all(faults, text) == path.with_suffix(".txt").read_text()


@pytest.mark.parametrize(
    ("text", "grams"),
    [
        # An ounce and a pound are exact by definition: NIST Handbook 44, appendix C.
        ("1 oz", "28.349523125"),
        ("1/4 oz", "7.08738078125"),
        ("2 3/4 oz", "77.96118859375"),
        ("25 lb", "11339.80925"),
        ("1.25 kg", "1250"),
        ("0.75 g", "0.75"),
    ],
)
def test_a_weight_is_exact(text: str, grams: str) -> None:
    assert weight(text) == Fraction(grams)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("2 tsp", "'2 tsp' is a measure of volume"),
        ("1/2 tbsp", "'1/2 tbsp' is a measure of volume"),
        ("2 tablespoons", "is a measure of volume"),
        ("250 ml", "is a measure of volume"),
        ("2 level teaspoonfuls", "is a measure of volume"),
        ("\u00bd tsp", "is a measure of volume"),
        ("1tsp", "is a measure of volume"),
        ("2 fl. oz", "is a measure of volume"),
        ("a pinch", "is a measure of volume"),
        ("1 packet", "is not a weight"),
        ("1,250 g", "it may mean 1.250 or 1250"),
        (".05 lb", "may mean 0.05, or a digit may be missing before it"),
        ("0,5 lb", "it may mean 0.5 or 05"),
        ("5", "has no unit"),
        ("0 g", "weighs nothing"),
        ("5 pounds", "is not a weight"),
        ("-5 g", "is not a weight"),
        ("1/0 oz", "is not a weight"),
    ],
)
def test_what_is_no_weight_is_asked_about(text: str, words: str) -> None:
    with pytest.raises(PydanticCustomError) as caught:
        weight(text)
    assert words in str(caught.value)


@pytest.mark.parametrize("text", ["6.25", "101 %", ".6 %", "six %", "6.25 g"])
def test_what_is_no_share_is_refused(text: str) -> None:
    with pytest.raises(PydanticCustomError):
        share(text)


EVERYDAY = """\
lot sheet: a quarter of an ounce on a hundred pounds
product class: comminuted
keep refrigerated: yes
meat: 100 lb
cures: [{cure: CURE}]
"""


@pytest.mark.parametrize(
    ("cure", "words"),
    [
        # 9 CFR 424.21(c): 1/4 oz per 100 lb; 4 oz of a 6.25 % cure hold as much.
        ("nitrite, weight: 1/4 oz, nitrite: 100 %, checked by: AB", "exactly at"),
        ("batch 77, weight: 4 oz, nitrite: 6.25 %, salt: 93.75 %", "exactly at"),
        (
            "batch 77, weight: 113.4 g, nitrite: 6.25 %",
            "at the limit once both are rounded to 0.01",
        ),
    ],
)
def test_the_everyday_dose_is_at_the_limit_and_met(cure: str, words: str) -> None:
    found = read_lot_sheet("lot.yaml", EVERYDAY.replace("CURE", cure))
    assert isinstance(found, LotSheet), found
    assert not found.breached
    ceiling = found.findings[0]
    assert ceiling.verdict is Verdict.MET
    assert "asks at most 156.25 ppm (1/4 oz per 100 lb)" in ceiling.why
    assert f", {words}" in ceiling.why


@pytest.mark.parametrize(
    "words", ["0,92", "9.2e-1", "92/100", "1.2", "-0.92", "0.9999", "0_9"]
)
def test_what_is_no_water_activity_is_refused(words: str) -> None:
    with pytest.raises(PydanticCustomError):
        activity_milli(words)


def test_a_strength_is_never_taken_from_a_name() -> None:
    """Cures sold under one name differ (common practice, no source)."""
    text = SHEET.replace("curing salt", "cure no. 1").replace("nitrite: 6.25 %, ", "")
    faults = read_lot_sheet("lot.yaml", text)
    assert isinstance(faults, list)
    assert [fault.found for fault in faults] == ["'nitrite' is missing"]


@pytest.mark.parametrize(
    ("accelerator", "weight", "verdicts"),
    [
        # 9 CFR 424.21(c): 7/8 oz of the salts per 100 lb, 3/4 oz of the acids.
        ("sodium ascorbate", "7/32 oz", {Verdict.MET}),
        ("ascorbic acid", "3/16 oz", {Verdict.MET}),
        ("erythorbic acid", "7/32 oz", {Verdict.MET, Verdict.MISSED}),
    ],
)
def test_an_acid_has_a_limit_of_its_own(
    accelerator: str, weight: str, verdicts: set[Verdict]
) -> None:
    was = "accelerator: sodium erythorbate, weight: 6 g"
    now = f"accelerator: {accelerator}, weight: {weight}"
    found = read_lot_sheet("lot.yaml", SHEET.replace(was, now))
    assert isinstance(found, LotSheet), found
    assert {one.verdict for one in found.findings} == verdicts
    salts = accelerator.startswith("sodium")
    assert (found.facts.erythorbate_ppm == 546) is salts
    assert (found.facts.erythorbate_ppm == 0) is not salts


def test_an_ounce_on_25_lb_is_at_the_limit_and_met() -> None:
    """1 oz of 6.25 % cure on 25 lb is 156.25 ppm, the ceiling of 9 CFR 424.21(c)."""
    ours = sheet()
    assert ours.ingoing.nitrite.measured == Fraction("156.25")
    assert {one.verdict for one in ours.findings} == {Verdict.MET}
    assert not ours.breached


@pytest.mark.parametrize(
    ("changed", "verdicts"),
    [
        ({"meat": "24 lb"}, {"met", "missed"}),  # 162.76 ppm, above the ceiling
        ({"meat": "33 lb"}, {"met", "missed"}),  # 118.37 ppm, below the floor
        ({"meat": "33 lb", "keep refrigerated": "no"}, {"met"}),
    ],
)
def test_ceiling_and_floor(changed: dict[str, str], verdicts: set[str]) -> None:
    ours = sheet(**changed)
    assert {str(one.verdict) for one in ours.findings} == verdicts
    assert ours.breached is ("missed" in verdicts)


def test_a_pickle_counts_by_what_is_taken_up() -> None:
    """148.6256 ppm is printed for 32 g of 5.88 % cure in 1266 g of pickle, at 10 %.

    Source: a worked example in a public forum of sausage makers, as quoted in
    ``tests/standards/test_cure_arithmetic.py``; half of its last digit either way.
    """
    text = """\
lot sheet: ham (invented)
product class: pumped, massaged or immersion cured
keep refrigerated: yes
meat: 5 kg
cures: [{cure: curing salt, weight: 32 g, nitrite: 5.88 %}]
pickle: {weight: 1266 g, taken up: 10 %}
"""
    found = read_lot_sheet("lot.yaml", text)
    assert isinstance(found, LotSheet)
    assert abs(found.ingoing.nitrite.measured - Fraction("148.6256")) < Fraction(
        "0.00005"
    )


def test_brine_and_added_water_by_hand() -> None:
    """11.339 80925 kg at 60 % and 453.592 37 g of water hold 7257.477 92 g of water.

    Salt is 200 g and 93.75 % of 28.349 523 125 g: 226.577 677 9 g.
    """
    ours = sheet()
    assert ours.brine is not None
    by_hand = Fraction("226.5776779296875") / (
        Fraction("226.5776779296875") + Fraction("7257.47792")
    )
    assert ours.brine == by_hand
    assert ours.facts == ProductFacts(156, 529, 3_027, None, True, None, 1_883)
    mix = Fraction("11339.80925") + Fraction("453.59237") + 200 + 6
    mix += Fraction("28.349523125")
    assert ours.added_water == Fraction("453.59237") / mix


def test_without_moisture_the_brine_is_unknown() -> None:
    found = read_lot_sheet("lot.yaml", SHEET.replace("meat moisture: 60 %\n", ""))
    assert isinstance(found, LotSheet)
    assert found.brine is None
    assert found.facts.brine_percent_milli is None


def test_pure_nitrite_stops_everything_until_a_second_person_has_looked() -> None:
    pure = SHEET.replace(
        "weight: 1 oz, nitrite: 6.25 %, salt: 93.75 %", "weight: 1.75 g, nitrite: 99 %"
    )
    found = read_lot_sheet("lot.yaml", pure)
    assert isinstance(found, LotSheet)
    assert found.breached
    assert found.stops[0].startswith("STOP: curing salt is 99 % nitrite")
    looked = read_lot_sheet("lot.yaml", pure.replace("99 %", "99 %, checked by: AB"))
    assert isinstance(looked, LotSheet)
    assert not looked.stops
    assert not looked.breached


def test_what_may_be_claimed() -> None:
    by_name = {one.option: one.may for one in claims(sheet().facts)}
    assert by_name["FSIS Appendix B, option 1"] is True
    assert by_name[OPTION_3] is True
    assert by_name["California 910.15, slow cooling"] is None
    none = read_lot_sheet("lot.yaml", SHEET[: SHEET.index("accelerators")])
    assert isinstance(none, LotSheet)
    assert {one.option: one.may for one in claims(none.facts)}[OPTION_3] is False


@pytest.mark.parametrize("block", [False, True])
def test_the_lots_facts_are_written_over_the_schedules(block: bool) -> None:
    text = named(OPTION_3)
    if block:
        text = text.replace(text.splitlines()[2], BLOCK)
    ours = sheet()
    found = bound("links.yaml", text, ours, SHEET)
    assert isinstance(found, str), found
    schedule = read_schedule("links.yaml", found)
    assert isinstance(schedule, Schedule), schedule
    assert schedule.product.facts == ours.facts
    assert found.endswith(
        "# the lot sheet that the product's facts are from:\n"
        + "".join(f"# {line}\n" for line in SHEET.splitlines())
    )


@pytest.mark.parametrize(
    ("was", "now", "words"),
    [
        ("cured: yes, nitrite: 1 ppm", "cured: no", "the lot holds a cure"),
        ("form: comminuted", "form: intact", "of form intact, and the lot is"),
        ("nitrite: 1 ppm", "water activity: 0.91", "does not show"),
        ("nitrite: 1 ppm", "pH: 5.8", "claims a pH, which the lot sheet does not show"),
    ],
)
def test_a_schedule_that_claims_more_is_refused(was: str, now: str, words: str) -> None:
    text = named("FSIS Appendix B, option 1").replace(was, now)
    found = bound("links.yaml", text, sheet(), SHEET)
    assert isinstance(found, list)
    assert words in found[0]


def test_a_measured_ph_and_the_salt_weighed_are_those_of_the_lot() -> None:
    """200 g and 93.75 % of an ounce in 12027.7 g of mix are 1.8838 %, rounded down."""
    text = SHEET + "pH: 5.9\n"
    ours = read_lot_sheet("lot.yaml", text)
    assert isinstance(ours, LotSheet)
    told = named("FSIS Appendix B, option 1").replace("nitrite: 1 ppm", "pH: 6.1")
    found = bound("links.yaml", told, ours, text)
    assert isinstance(found, str), found
    schedule = read_schedule("links.yaml", found)
    assert isinstance(schedule, Schedule), schedule
    facts = schedule.product.facts
    assert (facts.ph_milli, facts.salt_percent_milli) == (5_900, 1_883)


def test_no_salt_written_is_not_no_salt() -> None:
    ours = read_lot_sheet("lot.yaml", SHEET.replace("salt: 200 g\n", ""))
    assert isinstance(ours, LotSheet)
    assert ours.facts.salt_percent_milli is None


def test_an_option_that_the_lot_does_not_support_is_refused() -> None:
    text = SHEET[: SHEET.index("accelerators")]
    ours = read_lot_sheet("lot.yaml", text)
    assert isinstance(ours, LotSheet)
    assert bound("links.yaml", named(OPTION_3), ours, text) == [
        "limit 'cooling': the lot may not be cooled by FSIS Appendix B 2021, option 3: "
        "ingoing erythorbate or ascorbate is 0 ppm, at least 250 ppm is asked"
    ]


def test_an_option_of_which_it_is_not_known_is_said() -> None:
    schedule = read_schedule("links.yaml", named("California 910.15, slow cooling"))
    assert isinstance(schedule, Schedule)
    (words,) = unknown(schedule, sheet().facts)
    assert words.endswith("water activity is not known, at most 0.92 is asked")
