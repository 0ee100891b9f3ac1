"""The lots as the page lists them: read from a real journal and real records.

The row that turns is the one of ``test_addendum``: 147 degF for 134 s, 140 degF for
12 min (FSIS Appendix A, June 1999, meat, 6.5-log10).
"""

import json
from pathlib import Path

import pytest

from daemon import lots as listing
from daemon.journal import Cook, Journal
from daemon.lots import Lots, NoLotError, lots_as_json
from rules.facts import Verdict
from tests.daemon.test_addendum import (
    BEGUN_MS,
    LOT,
    MIN,
    PROBE_HIGH,
    SCHEDULE,
    Yard,
    channel,
)


@pytest.fixture
def yard(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Yard:
    return Yard(tmp_path, capsys, 5 * 60)


def lots(yard: Yard) -> Lots:
    return Lots(yard.folder / "journal.db", yard.folder / "records")


def begin(yard: Yard, lot: str, begun_ms: int, house: str = "south") -> None:
    journal = Journal(yard.folder / "journal.db")
    cook = Cook(lot, house, SCHEDULE, "one.yaml", (channel(),), begun_ms, "RT")
    journal.begin(cook, begun_ms)
    journal.close()


def test_a_lot_with_its_record(yard: Yard) -> None:
    (found,) = lots(yard).listed(1).lots
    assert (found.lot, found.title, found.smokehouse) == (
        LOT,
        "One core (invented)",
        "north",
    )
    assert not found.goes_on and not found.on_hold and found.trouble == ""
    # Five minutes cold, five hot, and the rest of 30 min after the first hot reading.
    assert found.finished_ms == BEGUN_MS + 35 * MIN
    assert [(one.limit, one.verdict) for one in found.limits] == [("lethality", "met")]
    assert found.files == ("record.pdf", "record.jsonl", "public.pem")


def test_an_addendum_says_what_it_turned(yard: Yard) -> None:
    yard.type("addendum", LOT, *PROBE_HIGH, code=1)
    yard.type("addendum", LOT, "lot thrown away", "--who", "MO", "--corrective")
    found = lots(yard).whole(LOT)
    assert found.lot.on_hold
    assert [(one.limit, one.verdict) for one in found.lot.limits] == [
        ("lethality", "missed")
    ]
    first, second = found.lot.addenda
    assert (first.what, first.who, first.on_hold) == ("correction", "RT", True)
    assert first.turned == (("lethality", Verdict.MET, Verdict.MISSED),)
    assert first.files == ("addendum-1.pdf", "addendum-1.jsonl")
    assert (second.number, second.text, second.turned) == (2, "lot thrown away", ())
    assert [stage.name for stage in found.stages] == ["cook", "rest"]


def test_what_people_wrote_stands_with_the_lot(yard: Yard) -> None:
    yard.type("note", LOT, "casings were damp", "--who", "RT")
    (wrote,) = lots(yard).whole(LOT).entries
    assert (wrote.kind, wrote.who, wrote.text) == ("note", "RT", "casings were damp")


def test_newest_first_a_page_at_a_time(yard: Yard) -> None:
    names = [f"B-{number:02}" for number in range(24)]
    for number, name in enumerate(names):
        begin(yard, name, BEGUN_MS + (number + 1) * MIN, f"house {number}")
    first, second, beyond = (lots(yard).listed(page) for page in (1, 2, 99))
    assert (first.total, first.pages, second.page) == (25, 2, 2)
    shown = [one.lot for one in (*first.lots, *second.lots)]
    assert shown == [*reversed(names), LOT]
    assert len(first.lots) == 20
    assert beyond == second
    assert [one.lot for one in lots(yard).listed(1, "b-1").lots] == [
        f"B-{number}" for number in range(19, 9, -1)
    ]


def test_without_a_record_nothing_is_met(yard: Yard) -> None:
    begin(yard, "B-1", BEGUN_MS + MIN)
    found = lots(yard).whole("B-1").lot
    assert found.goes_on and found.on_hold
    assert (found.limits, found.files, found.finished_ms) == ((), (), 0)


def test_a_damaged_record_shows_no_verdict(yard: Yard) -> None:
    path = yard.file(f"{LOT}.record.jsonl")
    good = path.read_bytes()
    for bad in (
        b"",
        good[: len(good) // 2],
        good.replace(b'"on_hold":false', b'"on_hold":"no"'),
        good.replace(b'"verdict":"met"', b'"verdict":"fine"'),
    ):
        path.write_bytes(bad)
        (found,) = lots(yard).listed(1).lots
        assert found.limits == () and found.on_hold
        assert found.trouble == f"{path.name} is damaged; bring it back from a copy"


def test_the_end_of_a_record_is_found_in_however_small_steps(
    yard: Yard, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = yard.file(f"{LOT}.record.jsonl")
    at_once = listing.end_of(path)
    monkeypatch.setattr(listing, "CHUNK_BYTES", 97)
    assert listing.end_of(path) == at_once
    assert at_once.closing.counts["verdict"] == len(at_once.judged) == 1


def test_no_other_file_is_given(yard: Yard) -> None:
    assert lots(yard).file(LOT, "record.pdf").name == f"{LOT}.record.pdf"
    for lot, name in (
        (LOT, "../settings.yaml"),
        (LOT, "record.pdf\n"),
        (LOT, "addendum-1.pdf"),
        ("../A-001", "record.pdf"),
        ("B-9", "record.pdf"),
    ):
        with pytest.raises(NoLotError):
            lots(yard).file(lot, name)


def test_what_the_page_gets_names_every_member(yard: Yard) -> None:
    tree = json.loads(lots_as_json(lots(yard).listed(1)))
    assert tree["lots"][0]["limits"][0]["verdict"] == "met"
    assert tree["lots"][0]["title"] == "One core (invented)"
