"""The record: what is in it, that it can be read back, and that nothing moves it."""

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from hypothesis import given
from hypothesis import strategies as st

from daemon import record
from daemon.dossier import Dossier, gather, judge_again
from daemon.keys import DeviceKey
from daemon.record import CAUTIONS, KINDS, FormError, held
from daemon.seal import ORIGIN, digest, seal, split
from probes.contract import Refusal
from rules.facts import Entry, EntryKind, Quality, Reading, Standing, Verdict
from rules.verdicts import Judged
from tests.daemon import invented

KEY = DeviceKey(ec.derive_private_key(0xF0_0D, ec.SECP256R1()))

Lines = list[dict[str, Any]]


@pytest.fixture(scope="module")
def dossier(tmp_path_factory: pytest.TempPathFactory) -> Dossier:
    return invented.dossier(tmp_path_factory.mktemp("yard"), invented.BAD)


@pytest.fixture(scope="module")
def octets(dossier: Dossier) -> bytes:
    return record.write(dossier, KEY)


def lines_of(octets: bytes) -> Lines:
    return [json.loads(line) for line in split(octets).body]


def of_kind(octets: bytes, kind: str) -> Lines:
    return [line for line in lines_of(octets) if line["kind"] == kind]


# One dossier, one record


def test_the_same_dossier_and_key_give_the_same_bytes(
    dossier: Dossier, octets: bytes
) -> None:
    assert record.write(dossier, KEY) == octets


def test_another_process_gives_the_same_bytes(tmp_path: Path) -> None:
    """Neither the order of sets nor the day has a part in it."""
    code = (
        "import hashlib, sys\n"
        "from pathlib import Path\n"
        "from tests.daemon import invented, test_record\n"
        "found = invented.dossier(Path(sys.argv[1]), invented.BRIEF)\n"
        "octets = test_record.record.write(found, test_record.KEY)\n"
        "print(hashlib.sha256(octets).hexdigest())\n"
    )

    def printed(seed: str) -> str:
        folder = tmp_path / seed
        folder.mkdir()
        command = [sys.executable, "-c", code, str(folder)]
        root = str(Path(__file__).parents[2])
        environment = {"PYTHONHASHSEED": seed, "PYTHONPATH": root, "TZ": f"UTC-{seed}"}
        return subprocess.run(
            command, env=environment, capture_output=True, text=True, check=True
        ).stdout

    assert printed("1") == printed("2") != ""


def test_a_record_reads_back_as_its_dossier(dossier: Dossier, octets: bytes) -> None:
    cut = tuple(
        one._replace(payload=one.payload[: record.PAYLOAD]) for one in dossier.refusals
    )
    assert record.read(lines_of(octets)) == replace(dossier, refusals=cut)


@given(
    st.lists(
        st.builds(
            Entry,
            kind=st.sampled_from(EntryKind),
            at_ms=st.integers(0, 1 << 43),
            entered_ms=st.integers(0, 1 << 43),
            who=st.text(max_size=9),
            text=st.text(),
            about=st.text(max_size=9),
        ),
        max_size=5,
    ),
    st.lists(
        st.builds(
            Reading,
            channel=st.sampled_from(["core-1", "chamber", "°"]),
            at_ms=st.integers(0, 1 << 43),
            value_mc=st.integers(-273_150, 1_000_000),
            uncertainty_mc=st.integers(0, 5_000),
            quality=st.sampled_from(Quality),
            received_ms=st.just(0),
        ),
        max_size=120,
    ),
    st.lists(
        st.builds(
            Refusal,
            topic=st.text(max_size=9),
            channel=st.text(max_size=9),
            received_ms=st.integers(0, 1 << 43),
            why=st.text(max_size=20),
            payload=st.binary(max_size=record.PAYLOAD),
        ),
        max_size=3,
    ),
)
def test_whatever_people_write_and_probes_say_comes_back(
    entries: list[Entry], readings: list[Reading], refusals: list[Refusal]
) -> None:
    """Reading back is the reverse of writing, for any text and any figures."""
    before = replace(
        EMPTY,
        entries=tuple(entries),
        readings=tuple(sorted(readings)),
        refusals=tuple(refusals),
    )
    assert record.read(lines_of(record.write(before, KEY))) == before


def _empty() -> Dossier:
    cook = invented.cook("L", invented.BRIEF)
    outcome = judge_again(invented.schedule(), cook, [], [], invented.at(1)).outcome
    none: tuple[()] = ()
    return Dossier(
        program="p",
        site="s",
        cook=cook,
        readings=none,
        refusals=none,
        entries=none,
        events=none,
        alerts=none,
        outcome=outcome._replace(events=none),
        measured=(None,) * len(outcome.findings),
        until_ms=1,
        closed_ms=2,
    )


EMPTY = _empty()


# What is in it


def test_the_lines_are_numbered_and_chained(octets: bytes) -> None:
    sealed = split(octets)
    before = ORIGIN
    for number, line in enumerate(sealed.body, 1):
        found = json.loads(line)
        assert (found["line"], found["before"]) == (number, before)
        before = digest(line)
    assert sealed.signature.count(b"..") == 1


def test_it_opens_with_what_judges_the_cook(octets: bytes) -> None:
    opening = lines_of(octets)[0]
    assert opening["form"] == "fumarium record"
    assert opening["edition"] == 1
    assert opening["site"] == "Juniper Yard (invented)"
    assert opening["schedule"] == invented.SCHEDULE
    assert opening["schedule_sha256"] == digest(invented.SCHEDULE.encode())
    assert opening["key"] == KEY.public().thumbprint()
    assert opening["channels"][1] == {
        "name": "core-1",
        "role": "core",
        "every_ms": 60_000,
        "quiet_ms": 300_000,
        "accuracy_mc": 500,
        "probe": "28-0316a2795e1c",
        "step_mc": 0,
        "drift_mc": 0,
        "lag_mc": 0,
        "checks": [],
    }


def test_it_closes_with_counts_and_cautions(octets: bytes) -> None:
    lines = lines_of(octets)
    kinds = [line["kind"] for line in lines]
    closing = lines[-1]
    assert closing["kind"] == "closing"
    assert closing["on_hold"] is True
    assert closing["counts"] == {kind: kinds.count(kind) for kind in set(kinds)}
    assert closing["cautions"] == list(CAUTIONS)
    assert sorted(set(kinds), key=kinds.index) == list(KINDS)


def test_every_reading_is_in_it_and_at_most_100_a_line(
    dossier: Dossier, octets: bytes
) -> None:
    rows = [row for line in of_kind(octets, "readings") for row in line["rows"]]
    good = [one for one in dossier.readings if one.quality is Quality.GOOD]
    assert len(rows) == len(good)
    most = max(len(line["rows"]) for line in of_kind(octets, "readings"))
    assert most == 100


def test_what_is_no_evidence_stands_apart_with_its_reason(octets: bytes) -> None:
    (unused,) = of_kind(octets, "unused")
    assert unused["channel"] == "yard"
    assert unused["quality"] == "clock unset"


def test_a_reading_from_before_the_cook_is_not_in_it(dossier: Dossier) -> None:
    assert all(one.at_ms >= invented.BEGUN_MS for one in dossier.readings)


def test_refusals_are_in_it_with_the_head_of_their_message(octets: bytes) -> None:
    short, long = of_kind(octets, "refusal")
    assert short["why"] == "core-1: 85.0 after power-up"
    assert long["payload_bytes"] == 600
    assert len(long["payload"]) == 342  # 256 bytes in base64


def test_both_times_of_an_entry_are_in_it(octets: bytes) -> None:
    (action,) = (
        line
        for line in of_kind(octets, "entry")
        if line["entry"] == "corrective action"
    )
    assert action["at_ms"] == invented.at(176)
    assert action["entered_ms"] == invented.at(214)


def test_measured_stands_beside_both_bounds(octets: bytes) -> None:
    come_up = of_kind(octets, "finding")[0]
    assert come_up["limit"] == "come-up"
    # Between 50 and 130 degF: more doubt is more time at worst, and less at best.
    assert come_up["most"] < come_up["measured"] < come_up["least"]


def test_what_befell_the_site_meanwhile_is_in_it(octets: bytes) -> None:
    site = [line for line in of_kind(octets, "event") if line["lot"] == ""]
    assert [line["now"] for line in site] == ["away", "within"]


def test_alerts_are_in_it_with_every_attempt_and_the_answer(octets: bytes) -> None:
    alerts = of_kind(octets, "alert")
    (deviation,) = (a for a in alerts if a["standing"] == "deviation")
    assert deviation["acknowledged_by"] == "R. T."
    assert {one["outcome"] for one in deviation["attempts"]} == {"sent"}
    outcomes = {one["outcome"] for a in alerts for one in a["attempts"]}
    assert outcomes == {"sent", "failed"}


def test_no_number_in_it_is_a_fraction(octets: bytes) -> None:
    def no_fraction(text: str) -> None:
        pytest.fail(f"{text} in a record")

    for line in split(octets).body:
        json.loads(line, parse_float=no_fraction)


def test_it_never_says_that_food_is_safe(octets: bytes) -> None:
    assert b"safe" not in octets.lower()


# On hold


def judged(*verdicts: Verdict, critical: bool = True) -> list[Judged]:
    standing = Standing.WITHIN
    return [
        Judged("limit", critical, "CCP", standing, verdict, "core", 0, "why", "source")
        for verdict in verdicts
    ]


MET, MISSED, UNPROVEN, RUNNING = Verdict


@pytest.mark.parametrize(
    ("found", "on_hold"),
    [
        (judged(MET), False),
        (judged(MET, MET), False),
        (judged(MET, MISSED), True),
        (judged(UNPROVEN, MET), True),
        (judged(MET, RUNNING), True),  # its stages never came
        (judged(MET) + judged(MISSED, critical=False), False),
        (judged(MET, critical=False), True),  # no critical limit proves nothing
        ([], True),
    ],
)
def test_a_lot_is_on_hold_unless_all_is_met(found: list[Judged], on_hold: bool) -> None:
    assert held(found) is on_hold


# Gathering


def words(place: invented.Yard, lot: str) -> str:
    found = gather(*place, lot, site="s", closed_ms=1)
    assert isinstance(found, list)
    return "\n".join(found)


def test_an_unknown_lot(tmp_path: Path) -> None:
    place = invented.yard(tmp_path)
    assert words(place, "L9") == (
        "no lot L9 in the journal; no cook was ever begun here"
    )
    place.journal.begin(invented.cook("L1", invented.BRIEF), 1)
    assert words(place, "L9") == "no lot L9 in the journal\n  the latest are: L1"


def test_a_cook_that_is_still_running(tmp_path: Path) -> None:
    place = invented.yard(tmp_path)
    place.journal.begin(invented.cook("L1", invented.BRIEF), invented.BEGUN_MS)
    assert words(place, "L1") == (
        "lot L1: the cook is still running; a record is made when it has ended\n"
        "  it ends with its last stage, or by: fumarium end L1"
    )


def test_a_cook_that_ended_by_hand_before_its_evidence_came_in(tmp_path: Path) -> None:
    """Until the horizon has passed the last readings, a verdict may still change."""
    place = invented.yard(tmp_path)
    cook = invented.cook("L1", invented.BRIEF)
    place.journal.begin(cook, invented.BEGUN_MS)
    said = [one for one in invented.readings(invented.BRIEF) if one.at_ms < END_MS]
    place.journal.append(said, [])
    place.journal.add_entry("L1", Entry(EntryKind.END, END_MS, END_MS, "R. T."))
    place.journal.add_events("L1", [], END_MS, END_MS)
    assert words(place, "L1") == (
        "lot L1: the cook has only just ended, and a reading that still counts may be "
        "on its way; ask again in a minute"
    )
    later_ms = END_MS + 60 * invented.MIN_MS
    place.journal.add_events("L1", [], later_ms, later_ms)
    found = gather(*place, "L1", site="s", closed_ms=later_ms)
    assert isinstance(found, Dossier)
    assert held(found.outcome.judged)


END_MS = invented.at(100)


def test_a_schedule_that_this_program_does_not_understand(tmp_path: Path) -> None:
    place = invented.yard(tmp_path)
    cook = invented.cook("L1", invented.BRIEF)
    place.journal.begin(cook._replace(schedule="stages: soup\n"), 1)
    told = words(place, "L1")
    assert told.startswith("lot L1: this program (fumarium ")
    assert "does not understand the schedule that the cook was begun with" in told
    assert "juniper.yaml:1:" in told


# Reading back what is not right


def body(octets: bytes) -> Lines:
    return lines_of(octets)


@pytest.mark.parametrize(
    ("order", "line", "why"),
    [
        ([], 1, "the record does not begin with its opening"),
        (["closing"], 1, "the record does not begin with its opening"),
        (["opening"], 1, "the record does not end with its closing"),
        (["opening", "opening", "closing"], 2, "a second opening"),
        (["opening", "closing", "closing"], 3, "a second closing"),
        (["opening", "finding", "event", "closing"], 3, "event stands after finding"),
        (["opening", "soup", "closing"], 2, "'soup' is no kind of line"),
    ],
)
def test_lines_out_of_place(
    octets: bytes, order: list[str], line: int, why: str
) -> None:
    known = {one["kind"]: one for one in body(octets)}
    lines = [known.get(kind, {"kind": kind}) for kind in order]
    with pytest.raises(FormError) as told:
        record.read(lines)
    assert (told.value.line, told.value.why) == (line, why)


def test_sealing_nothing_is_still_a_signed_file() -> None:
    assert split(seal([], KEY)).body == ()


def test_importing_it_costs_nothing_heavy() -> None:
    code = (
        "import sys, daemon.record, daemon.verify, daemon.tampering\n"
        "heavy = {'cryptography', 'pyhanko', 'fpdf', 'apprise'}\n"
        "print(sorted(heavy & set(sys.modules)))\n"
    )
    found = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert found.stdout == "[]\n"
