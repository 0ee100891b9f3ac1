"""A probe that is found to have been 7 degF high after the record was sealed.

Rows: FSIS Appendix A (June 1999), meat, 6.5-log10: 147 degF for 134 s, 140 degF for
12 min (``tests.standards.rows_appendix_a``, typed from the source).  A core that said
147 degF for five minutes met the first row; one that was at 140 degF missed the second.
"""

import json
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from daemon import addendum, cli
from daemon.addendum import Correction
from daemon.dossier import Dossier
from daemon.journal import Cook, Journal
from daemon.outbox import Outbox
from daemon.pdf import WORDS
from daemon.seal import digest, seal
from daemon.tampering import Kind
from daemon.verify_addendum import opened, verify_addendum
from rules.channels import Channel, Point, Role
from rules.facts import EntryKind, Reading, Verdict
from rules.replay import replay
from rules.schedule import Schedule, read_schedule
from rules.units import fahrenheit_mc
from tests.daemon import invented
from tests.daemon.records import KEY, PEM, edited, resealed
from tests.daemon.test_pdf import text_of
from tests.daemon.test_settings import LEAST
from tests.standards.rows_appendix_a import SIX_AND_A_HALF

LOT = "A-001"
BEGUN_MS = 1_768_021_200_000  # 2026-01-10T05:00:00Z
S, MIN = 1_000, 60_000
ASKED_S = dict(SIX_AND_A_HALF)
SCHEDULE = """\
schedule: One core (invented)
revision: 1
product: {meat: pork, form: comminuted, cured: yes}
stages:
  - stage: cook
    ends: when every core rises to 147 degF
  - stage: rest
    ends: after 30 min
limits:
  - limit: lethality
    control point: CCP-2
    kind: dwell table
    channel: core
    table: FSIS Appendix A, meat, 6.5-log10
alerts:
  - tell: operator
    when: deviation
"""
PROBE_HIGH = [
    *("probe read 7 degF high against the reference", "--who", "RT"),
    *("--channel", "core-1", "--point", "said 147 degF at 140 degF within 0 K"),
]


def channel(every_ms: int = 10 * S) -> Channel:
    return Channel("core-1", Role.CORE, every_ms, MIN, 0)


def said_f(seconds: int, at_f: int = 147) -> list[Reading]:
    """Five minutes cold, so long at a temperature, then cold again."""
    rows = []
    for past_s in range(0, 40 * 60, 10):
        hot = 300 <= past_s <= 300 + seconds
        value_mc = fahrenheit_mc(at_f if hot else 40)  # type: ignore[arg-type]
        rows.append(Reading("core-1", BEGUN_MS + past_s * S, value_mc, 0))
    return rows


class Yard:
    """A settings file, a journal with one cook in it, and the commands typed there."""

    def __init__(
        self, folder: Path, capsys: pytest.CaptureFixture[str], hot_s: int
    ) -> None:
        self.folder, self._capsys = folder, capsys
        self.settings = folder / "settings.yaml"
        self.settings.write_text(LEAST)
        journal = Journal(folder / "journal.db")
        cook = Cook(LOT, "north", SCHEDULE, "one.yaml", (channel(),), BEGUN_MS, "RT")
        journal.begin(cook, BEGUN_MS)
        said = said_f(hot_s)
        journal.append(said, [])
        schedule = read_schedule("one.yaml", SCHEDULE)
        assert isinstance(schedule, Schedule)
        until_ms = said[-1].at_ms + MIN
        found = replay(schedule, cook.channels, BEGUN_MS, said, [], until_ms)
        journal.add_events(LOT, found.events, until_ms, until_ms)
        journal.close()
        self.type("key", "create")
        self.type("record", LOT)

    def type(self, *words: str, code: int = 0) -> str:
        """What a command says; it must end with the exit code."""
        assert cli.main([*words, "--settings", str(self.settings)]) == code
        said = self._capsys.readouterr()
        return said.out + said.err

    def verify(self, name: str, code: int = 0) -> str:
        """What verifying a file among the records says."""
        key = self.file(f"{LOT}.public.pem")
        assert cli.main(["verify", str(self.file(name)), "--key", str(key)]) == code
        return self._capsys.readouterr().out

    def file(self, name: str) -> Path:
        """A file beside the record."""
        return self.folder / "records" / name

    def killed(self, where: str, *words: str) -> None:
        """Type a command that is killed where it comes to call something."""
        code = (
            "import os, signal, daemon.cli, daemon.addenda, daemon.journal\n"
            f"{where} = lambda *_: os.kill(os.getpid(), signal.SIGKILL)\n"
            f"daemon.cli.main({[*words, '--settings', str(self.settings)]!r})\n"
        )
        done = subprocess.run([sys.executable, "-c", code], check=False)
        assert done.returncode == -signal.SIGKILL


@pytest.fixture
def yard(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Yard:
    return Yard(tmp_path, capsys, 5 * 60)


def verdicts(path: Path) -> list[tuple[str, str]]:
    """Before and after, of every limit of an addendum."""
    lines = [json.loads(line) for line in path.read_bytes().splitlines()[:-1]]
    shown = [line for line in lines if line["kind"] == "verdict"]
    return [(line["was"]["verdict"], line["now"]["verdict"]) for line in shown]


def test_a_probe_7_degf_high_turns_met_into_missed_and_wakes_people(yard: Yard) -> None:
    assert ASKED_S[147] < 5 * 60 < ASKED_S[140]  # the table, not our code
    sealed = yard.file(f"{LOT}.record.jsonl").read_bytes()
    said = yard.type("addendum", LOT, *PROBE_HIGH, code=1)
    assert "lethality: met -> missed\n" in said
    assert (
        "note: core-1 is corrected by more than 3.0 K: such a probe is broken" in said
    )
    assert "the lot is on hold by what is corrected\n" in said
    assert "told by the daemon: operator\n" in said
    assert yard.file(f"{LOT}.record.jsonl").read_bytes() == sealed
    assert verdicts(yard.file(f"{LOT}.addendum-1.jsonl")) == [("met", "missed")]
    journal = Journal(yard.folder / "journal.db")
    outbox = Outbox(journal, {"operator": "somewhere"})
    schedule = read_schedule("one.yaml", SCHEDULE)
    assert isinstance(schedule, Schedule)
    outbox.collect(lambda _: schedule.alert_rules, BEGUN_MS)
    told = outbox.due(BEGUN_MS)
    journal.close()
    (title,) = [one.title for one in told if "missed" in one.title]
    assert title == f"lethality missed: lot {LOT}, smokehouse north"
    (body,) = [one.body for one in told if "missed" in one.title]
    assert "addendum 1 by RT: met until now, corrected it is missed: core-1" in body


def test_a_lower_row_that_was_full_still_meets_the_limit(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    yard = Yard(tmp_path, capsys, ASKED_S[140])  # full to the second
    said = yard.type("addendum", LOT, *PROBE_HIGH)
    assert "->" not in said and "the lot is not on hold" in said
    assert verdicts(yard.file(f"{LOT}.addendum-1.jsonl")) == [("met", "met")]


def test_a_correction_from_a_time_on_leaves_what_came_before(yard: Yard) -> None:
    later = ["--from", "2026-01-10T05:10:10Z"]  # the core was hot until 05:10
    yard.type("addendum", LOT, *PROBE_HIGH, *later)
    assert verdicts(yard.file(f"{LOT}.addendum-1.jsonl")) == [("met", "met")]


def test_a_probe_left_out_is_no_evidence(yard: Yard) -> None:
    words = ["it had fallen out", "--who", "RT", "--channel", "core-1", "--left-out"]
    yard.type("addendum", LOT, *words, code=1)
    paper = text_of(yard.file(f"{LOT}.addendum-1.pdf").read_bytes(), yard.folder)
    assert paper.split().count(WORDS[Verdict.UNPROVEN]) == 2  # broken in neither table
    assert verdicts(yard.file(f"{LOT}.addendum-1.jsonl")) == [("met", "unproven")]


def test_addenda_stand_on_each_other_and_are_verified_with_the_record(
    yard: Yard,
) -> None:
    yard.type("addendum", LOT, *PROBE_HIGH, code=1)
    yard.type("addendum", LOT, "lot thrown away", "--who", "RT", "--corrective")
    yard.type("addendum", LOT, "read by me", "--who", "MO", "--review")
    said = yard.verify(f"{LOT}.addendum-1.jsonl")
    assert said == (
        f"addendum 1 to the record of lot {LOT} is as it was signed, and belongs to "
        "that record: lethality met -> missed; the lot is on hold; release is a "
        "person's decision; beside lethality, of the surface: no humidity evidence\n"
    )
    assert "addendum 3" in yard.verify(f"{LOT}.addendum-3.jsonl")
    assert verdicts(yard.file(f"{LOT}.addendum-3.jsonl")) == [("missed", "missed")]
    listed = yard.type("addendum", LOT)
    assert "2\tcorrective action\tRT\tlot thrown away\n" in listed
    assert "3\treview\tMO\tread by me\n" in listed
    assert "\t3 addenda\n" in yard.type("lots")
    yard.file(f"{LOT}.addendum-2.jsonl").unlink()
    said = yard.verify(f"{LOT}.addendum-3.jsonl", code=1)
    assert said.startswith("link: addendum 2 that it names, of SHA-256 ")
    yard.type("addendum", LOT)  # brings it back
    yard.verify(f"{LOT}.addendum-3.jsonl")


def test_a_record_with_addenda_is_not_written_again(yard: Yard) -> None:
    sealed = yard.file(f"{LOT}.record.jsonl").read_bytes()
    yard.type("addendum", LOT, "a remark", "--who", "RT")
    assert "has addenda and stays as it is" in yard.type("record", LOT, code=1)
    assert yard.file(f"{LOT}.record.jsonl").read_bytes() == sealed
    yard.file(f"{LOT}.record.jsonl").unlink()
    said = yard.type("addendum", LOT, "another", "--who", "RT", code=1)
    assert "bring the file back from a copy" in said


def test_the_document_shows_both_and_is_verified_alone(yard: Yard) -> None:
    yard.type("addendum", LOT, *PROBE_HIGH, code=1)
    path = yard.file(f"{LOT}.addendum-1.pdf")
    alone = yard.folder / "alone" / path.name
    alone.parent.mkdir()
    path.rename(alone)
    text = text_of(alone.read_bytes(), yard.folder)
    assert "ON HOLD" in text
    assert "said 63.9 degC at 60.0 degC" in text.replace("°C", "degC")
    assert WORDS[Verdict.MET] in text and WORDS[Verdict.MISSED] in text
    assert "surface: no humidity evidence" in text
    key = str(yard.file(f"{LOT}.public.pem"))
    assert cli.main(["verify", str(alone), "--key", key]) == 0
    octets = alone.read_bytes()
    alone.write_bytes(octets[:-40] + b"x" + octets[-39:])
    assert cli.main(["verify", str(alone), "--key", key]) == 1


@pytest.mark.parametrize(
    "where", ["daemon.journal.Journal._write_entry", "daemon.addenda.write_whole"]
)
def test_it_is_whole_or_not_there_after_a_kill(yard: Yard, where: str) -> None:
    yard.killed(where, "addendum", LOT, *PROBE_HIGH)
    kept = "_write_entry" not in where
    journal = Journal(yard.folder / "journal.db")
    entries = [one.entry.kind for one in journal.entries(LOT)]
    turned = [one for one in journal.events(LOT) if "addendum 1" in one.event.why]
    journal.close()
    assert entries.count(EntryKind.ADDENDUM) == len(turned) == kept
    assert not yard.file(f"{LOT}.addendum-1.jsonl").exists()
    said = yard.type("addendum", LOT)
    assert said.startswith("1\tcorrection\tRT\t" if kept else "no addenda")
    if kept:
        yard.verify(f"{LOT}.addendum-1.jsonl")
        yard.verify(f"{LOT}.addendum-1.pdf")


WRONG = [
    (["--who", "RT", "--channel", "core-9"], "the record has none 'core-9'"),
    (["--who", "RT", "--channel", "core-1"], "--point 'said 147 degF at 140 degF"),
    (["--who", "RT", "--point", "said 1 degC at 2 degC within 0 K"], "--channel"),
    (["--channel", "core-1", "--left-out"], "--who wrote it"),
    (
        ["--who", "RT", "--channel", "core-1", "--point", "7 degF high"],
        "'7 degF high' is not like 'said 147 degF",
    ),
    (
        [*PROBE_HIGH[1:5], "--point", "said 147 at 140 degF within 1 K"],
        "'147' has no unit: a temperature is wanted",
    ),
    ([*PROBE_HIGH[1:], "--from", "yesterday"], "'yesterday' is not a moment"),
    (
        [*PROBE_HIGH[1:], "--from", "2026-01-10T06:00Z"],
        "--from: core-1 said nothing from 2026-01-10T06:00Z on",
    ),
    (
        [*PROBE_HIGH[1:5], "--point", "said 140 degF at 1400 degF within 1 K"],
        "is off by more than 50.0 K; look at the figures again",
    ),
]


def test_what_cannot_be_meant_is_refused(yard: Yard) -> None:
    for words, said in WRONG:
        assert said in yard.type("addendum", LOT, "why", *words, code=2)
    for nothing in (), ("",):
        said = yard.type("addendum", LOT, *nothing, "--who", "RT", code=2)
        assert said == "an addendum has words, and --who wrote it\n"
    assert "no addenda" in yard.type("addendum", LOT)


def test_what_was_corrected_so_is_not_corrected_so_again(yard: Yard) -> None:
    yard.type("addendum", LOT, *PROBE_HIGH, code=1)
    said = yard.type("addendum", LOT, *PROBE_HIGH, code=2)
    assert said == "addendum 1 corrects core-1 so already\n"
    other = [*PROBE_HIGH[:-1], "said 143 degF at 140 degF within 0 K"]
    yard.type("addendum", LOT, *other)
    yard.type("addendum", LOT, *PROBE_HIGH, code=1)  # it was right after all
    assert "3\tcorrection" in yard.type("addendum", LOT)


# The value, without files


@pytest.fixture(scope="module")
def dossier(on_hold: bytes) -> Dossier:
    """A cook with holes, a stage that a core ended, and a lot that is on hold."""
    return opened([on_hold]).record


def test_a_correction_by_nothing_changes_nothing(dossier: Dossier) -> None:
    nothing = Correction("core-1", invented.BEGUN_MS, "RT", (Point(0, 0, 0),))
    found = addendum.judged(dossier, [nothing])
    assert found.outcome.findings == dossier.outcome.findings
    assert found.outcome.judged == dossier.outcome.judged
    assert found.outcome.stages == dossier.outcome.stages
    assert found.measured == dossier.measured


def test_the_stages_stay_as_they_were_lived_through(dossier: Dossier) -> None:
    cold = Correction("core-1", invented.BEGUN_MS, "RT", (Point(70_000, 60_000, 0),))
    found = addendum.judged(dossier, [cold])
    assert found.outcome.stages == dossier.outcome.stages
    assert found.outcome.judged != dossier.outcome.judged


def test_tampering_is_found(yard: Yard) -> None:
    yard.type("addendum", LOT, *PROBE_HIGH, code=1)
    sealed = yard.file(f"{LOT}.record.jsonl").read_bytes()
    octets = yard.file(f"{LOT}.addendum-1.jsonl").read_bytes()
    pem = yard.file(f"{LOT}.public.pem").read_bytes()
    assert verify_addendum(octets, pem, [sealed]).good
    other = edited(octets, 1, lambda line: line.update({"who": "XY"}))
    assert verify_addendum(other, pem, [sealed]).failures[0].kind is Kind.CHANGED
    changed = edited(sealed, 1, lambda line: line.update({"site": "Elsewhere"}))
    assert verify_addendum(octets, pem, [changed]).failures[0].kind is Kind.LINK
    assert verify_addendum(octets, PEM, [sealed]).failures[0].kind is Kind.OTHER_KEY


def test_whoever_holds_the_key_cannot_claim_what_the_readings_do_not_give(
    whole: bytes, on_hold: bytes
) -> None:
    dossier = opened([whole]).record
    opening = addendum.Opening(
        *(addendum.FORM, addendum.EDITION, "fumarium", "", dossier.cook.lot, 1),
        *(addendum.What.CORRECTION, "RT", BEGUN_MS, "why"),
        digest(whole),
        "",
        KEY.public().thumbprint(),
    )
    cold = Correction("core-1", invented.BEGUN_MS, "RT", (Point(70_000, 60_000, 0),))
    made = addendum.made(dossier, [], opening, [cold])
    right = seal(addendum.lines(made), KEY)
    assert verify_addendum(right, PEM, [whole]).good

    def flatter(body: list[dict[str, object]]) -> None:
        place = next(i for i, one in enumerate(body) if one["kind"] == "verdict")
        body[place] |= {"limit": "another"}

    report = verify_addendum(resealed(right, flatter), PEM, [whole])
    assert [one.kind for one in report.failures] == [Kind.VERDICTS]
    assert verify_addendum(right, PEM, [on_hold]).failures[0].kind is Kind.LINK
