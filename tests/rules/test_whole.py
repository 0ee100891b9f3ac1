"""A schedule made of several files: what it becomes, and what is said of it.

``whole/NAME.txt`` holds the exact words for ``whole/NAME.yaml``.
"""

from collections.abc import Callable
from pathlib import Path

import pytest

from rules.faults import render_across
from rules.schedule import Schedule, WholeSchedule, read_schedule, read_whole

FOLDER = Path(__file__).parent / "whole"


def beside(name: str) -> str:
    """A file of the folder."""
    try:
        return (FOLDER / name).read_text(encoding="utf-8")
    except OSError:
        raise LookupError("it is not there") from None


def whole(name: str) -> WholeSchedule:
    """One schedule of the folder, with what it names."""
    return read_whole(name, beside(name), beside)


def made(own: str, base: str = "house.yaml") -> WholeSchedule:
    """A schedule over a base of the folder."""
    text = f"schedule: own\nrevision: 1\nextends: {base}\n{own}"
    return read_whole("own.yaml", text, beside)


def faults(found: WholeSchedule) -> list[str]:
    return [one.found for one in found.faults]


def test_every_fault_of_every_file_is_said_at_once() -> None:
    found = whole("together.bad.yaml")
    assert found.schedule is None
    assert render_across(found.faults, found.texts) == beside("together.bad.txt")


def test_every_difference_from_the_base_is_said() -> None:
    found = whole("mine.yaml")
    assert found.faults == ()
    assert render_across(found.differences, found.texts) == beside("mine.txt")


def test_what_is_written_here_stands_over_the_base() -> None:
    schedule = whole("mine.yaml").schedule
    assert schedule
    names = ["smoke", "cook", "rest", "chill"]
    assert [stage.name for stage in schedule.stages] == names
    assert schedule.stages[1].at_most_ms == 5 * 3_600_000
    assert schedule.stages[1].chamber == (74_000, 82_000)  # the base's
    assert [one.name for one in schedule.limits] == ["come-up", "lethality", "cooling"]
    assert schedule.limits[0].weakens.startswith("process authority")
    assert [rule.tell for rule in schedule.alert_rules] == ["operator"]
    assert schedule.product.meat == "pork"
    assert schedule.product.nitrite_ppm == 150
    assert schedule.approved_by == ""  # an approval is of one schedule only


def test_the_text_that_a_journal_keeps_needs_no_other_file() -> None:
    found = whole("mine.yaml")
    assert read_schedule("kept.yaml", found.text) == found.schedule
    assert "# limit 'colour' of house.yaml:29 is left out\n" in found.text


def test_a_schedule_of_one_file_keeps_its_own_text() -> None:
    assert whole("house.yaml").text == beside("house.yaml")


def test_what_names_a_file_is_refused_where_there_is_only_its_text() -> None:
    found = read_schedule("kept.yaml", beside("mine.yaml"))
    assert not isinstance(found, Schedule)
    assert [one.found for one in found] == [
        "house.yaml: only the schedule's own text is here"
    ]


@pytest.mark.parametrize(
    ("own", "weak"),
    [
        ("limits: [{limit: come-up, at most: 5 h}]", ""),
        ("limits: [{limit: come-up, at most: 361 min}]", "at most"),
        ("limits: [{limit: come-up, between: 49 degF and 130 degF}]", ""),
        ("limits: [{limit: come-up, between: 51 degF and 130 degF}]", "between"),
        ("limits: [{limit: come-up, between: 50 degF and 129 degF}]", "between"),
        ("limits: [{limit: come-up, during: 'smoke, cook, chill'}]", ""),
        ("limits: [{limit: come-up, during: cook}]", "during"),
        ("limits: [{limit: come-up, class: operating}]", "class"),
        ("limits: [{limit: come-up, warn: 5 min before}]", ""),
        ("limits: [{limit: lethality, during: cook}]", "during"),
        (
            "limits: [{limit: lethality, table: 'FSIS Appendix A, meat, 7-log10'}]",
            "",
        ),
        (
            "limits: [{limit: lethality, "
            "table: 'FDA Food Code 3-401.11, comminuted, 2013'}]",
            "table",
        ),
        (
            "limits: [{limit: cooling, option: 'FSIS Appendix B 2021, option 2'}]",
            "option",
        ),
        (
            "limits: [{limit: lethality, kind: hold, channel: core, "
            "at or above: 80 degC}]",
            "kind",
        ),
        ("limits: [{limit: cooling, left out: yes}]", "left out"),
        ("limits: [{limit: colour, within: 40 degC to 90 degC}]", ""),  # operating
        (
            "limits: [{limit: new, kind: hold, channel: core, at or above: 9 degC}]",
            "",
        ),
    ],
)
def test_a_critical_limit_is_not_weakened_without_a_reason(own: str, weak: str) -> None:
    found = made(own)
    assert len(found.faults) == bool(weak), found.faults
    if not weak:
        assert found.differences
        return
    assert weak in found.faults[0].found
    reasoned = made(own.replace("}]", ", weakens: because}]"))
    assert reasoned.faults == ()
    assert "because: because" in {one.remedy for one in reasoned.differences}


def test_a_reason_with_nothing_weaker_is_asked_about() -> None:
    found = made("limits: [{limit: come-up, at most: 5 h, weakens: why not}]")
    assert "nothing is weaker" in found.differences[-1].found
    assert found.differences[-1].severity == "warning"


def test_a_base_may_have_a_base() -> None:
    files = {
        "a.yaml": "schedule: a\nrevision: 1\nextends: sub/b.yaml\n",
        "sub/b.yaml": "extends: c.yaml\nlimits: [{limit: come-up, at most: 5 h}]\n",
        "sub/c.yaml": beside("house.yaml"),
    }
    found = read_whole("a.yaml", files["a.yaml"], files.__getitem__)
    assert found.schedule and list(found.texts) == list(files)
    assert "5 h" in found.schedule.limits[0].required_words


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("own.yaml", "'own.yaml' extends itself"),
        ("/etc/passwd", "'/etc/passwd' is no file that may be named here"),
        ("../house.yaml", "'../house.yaml' is no file that may be named here"),
        ("a\\\\b", "is no file that may be named here"),
        ("nowhere.yaml", "nowhere.yaml: it is not there"),
        ("[house.yaml]", "is no file that may be named here"),
        ("beef.csv", "is no schedule"),
    ],
)
def test_a_base_that_cannot_be_had(name: str, words: str) -> None:
    (said,) = faults(made("", name))
    assert words in said


TABLE = """\
table,Chicken links (invented for a test)
source,invented
approved by,AB
approved on,2026-03-01
for,poultry
temperature [degF],dwell [min]
150,1.5
165,0
"""
POULTRY = """\
schedule: poultry
revision: 1
product: {meat: poultry, form: comminuted, cured: no}
tables: [chicken.csv]
stages: [{stage: cook, ends: when every core rises to 74 degC}]
limits:
  - {limit: lethality, kind: dwell table, channel: core, table: NAME}
"""
NAME = "Chicken links (invented for a test)"


def poultry(edit: Callable[[str], str] = lambda text: text) -> WholeSchedule:
    text = POULTRY.replace("NAME", NAME)
    return read_whole("p.yaml", text, lambda _: edit(TABLE))


def test_poultry_is_judged_by_its_users_own_table() -> None:
    schedule = poultry().schedule
    assert schedule
    limit = schedule.limits[0]
    assert "approved by AB on 2026-03-01" in limit.sources
    rows = [(row.temp_mc, row.dwell_ms) for row in schedule.tables[0].table.rows]
    # 150 and 165 degF are 65.556 and 73.889 degC: (F - 32) / 1.8.
    assert rows == [(65_556, 90_000), (73_889, 0)]
    assert read_schedule("kept.yaml", poultry().text) == schedule


@pytest.mark.parametrize(
    ("was", "now", "words"),
    [
        ("approved by,AB", "approved by,", "nothing is written for 'approved by'"),
        ("approved by,AB\n", "", "'approved by' is missing"),
        ("source,invented", "source,", "nothing is written for 'source'"),
        ("2026-03-01", "2026-02-30", "'2026-02-30' is not a day"),
        ("for,poultry", "for,beef", "this table is for beef, and the meat is poultry"),
        ("for,poultry", "for,fowl", "'fowl' is not a word for 'for'"),
        ("[degF]", "[F]", "does not name two units"),
        ("[degF],dwell [min]", ",dwell", "does not name two units"),
        ("150,1.5", "150,1,5", "3 cells stand here, and 2 are wanted"),
        (
            "150,1.5",
            "166,1.5\n150,0.5",
            "is longer than at 165.0 degF, which is colder",
        ),
        ("150,1.5", "150,-1", "is not a length of time"),
        ("150,1.5\n165,0\n", "", "nothing is written for 'rows'"),
        ("for,poultry", "for,poultry\nfor,beef", "'for' stands twice"),
        (NAME, "FSIS Appendix A, meat, 7-log10", "is the name of a published table"),
    ],
)
def test_a_table_that_lacks_something_is_refused(
    was: str, now: str, words: str
) -> None:
    found = poultry(lambda text: text.replace(was, f'"{now}"' if was == NAME else now))
    assert any(words in said for said in faults(found)), faults(found)


@pytest.mark.parametrize(
    "name",
    ["FSIS Appendix A, meat, 7-log10", "FDA Food Code 3-401.11, comminuted, 2017"],
)
def test_no_published_table_is_for_poultry(name: str) -> None:
    """FSIS-GD-2021-14 has tables of its own for any product with poultry in it."""
    text = POULTRY.replace("NAME", f"'{name}'").replace("poultry, form", "mixed, form")
    found = read_whole("p.yaml", text, lambda _: TABLE)
    assert any("not for product with poultry" in said for said in faults(found))


def test_an_edition_that_was_not_approved_is_refused() -> None:
    own = "limits: [{limit: cooling, edition: '2017'}]"
    (said,) = faults(made(own))
    assert said == "edition '2017' is not the one we have: '2021'"
    assert made(own.replace("2017", "2021")).faults == ()


BY_FILE = """\
schedule: own
revision: 1
product: {meat: poultry, form: comminuted, cured: yes}
tables: [own.csv]
stages: [{stage: cook, ends: when every core rises to 72 degC}]
limits: [{limit: lethal, kind: dwell table, channel: core, table: Chicken links}]
"""
SHEET = """\
table,Chicken links
source,study 14
approved by,AB
approved on,2026-03-01
for,poultry
temperature [degF],dwell [s]
155,0
"""


def of_table(text: str) -> list[tuple[str, str]]:
    """What is said of a schedule that rests on a table with this text."""
    found = read_whole("x.yaml", BY_FILE, lambda _name: text)
    return [(one.found, one.remedy) for one in found.faults]


def test_a_table_may_come_from_a_spreadsheet() -> None:
    assert of_table(SHEET) == []
    assert of_table("\ufeff" + SHEET.replace("\n", "\r\n")) == []


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            SHEET.replace(",", ";"),
            [
                (
                    "its cells are parted by semicolons",
                    "part them by commas, and write numbers with a decimal point",
                )
            ],
        ),
        (
            SHEET.replace(",", "\t"),
            [
                (
                    "its cells are parted by tabs",
                    "part them by commas, and write numbers with a decimal point",
                )
            ],
        ),
        (
            SHEET.replace("155", '"155,5"'),
            [
                (
                    "'155,5 degF' is not a temperature: it may mean 155.5 or 1555",
                    "write a number in this cell",
                )
            ],
        ),
        (
            SHEET.replace("temperature [degF]", "Temp"),
            [
                (
                    "'Temp,dwell [s]' does not name two units",
                    "write for example: temperature [degF],dwell [s]",
                )
            ],
        ),
    ],
    ids=["semicolons", "tabs", "comma", "header"],
)
def test_a_slip_in_a_table_is_said_once(text: str, said: list[tuple[str, str]]) -> None:
    """One slip, one fault: nothing that only follows from it stands beside it."""
    assert of_table(text) == said


def test_a_table_that_is_no_text_is_to_be_saved_as_text() -> None:
    def beside(_name: str) -> str:
        raise LookupError("not UTF-8 text")

    found = read_whole("x.yaml", BY_FILE, beside)
    first, second = found.faults
    assert first.remedy == "save it as UTF-8 text"
    published = "write one of: FSIS Appendix A, meat, 6.5-log10; FSIS Appendix A, meat,"
    assert second.remedy.startswith(published)  # names that hold commas, told apart


def test_a_part_without_a_name_is_not_taken_for_another() -> None:
    """A stage that is called none in the base is not what nobody named."""
    base = beside("house.yaml").replace("stage: smoke", "stage: none")
    text = "schedule: own\nrevision: 1\nextends: house.yaml\nstages: [{chamber: 1}]\n"
    found = read_whole("own.yaml", text, lambda _name: base)
    assert "'stage' is missing" in faults(found)


@pytest.mark.parametrize(
    ("own", "found", "remedy"),
    [
        (
            "limits: [{limit: comeup, at most: 5 h}]\n",
            "the base has no limit 'comeup', and this says no 'kind'",
            "did you mean 'come-up'?",
        ),
        (
            "stages: [{stage: smok, chamber: 58 degC to 62 degC}]\n",
            "the base has no stage 'smok', and this says no 'ends'",
            "did you mean 'smoke'?",
        ),
    ],
)
def test_a_name_that_is_nearly_the_bases_is_said_once(
    own: str, found: str, remedy: str
) -> None:
    (fault,) = made(own).faults
    assert (fault.found, fault.remedy) == (found, remedy)
    right = remedy.split("'")[1]
    assert made(own.replace("comeup", right).replace("smok,", f"{right},")).schedule
