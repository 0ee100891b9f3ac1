"""The journal keeps what it says it kept, once, and says why when it cannot."""

import re
import sqlite3
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from daemon.journal import Cook, Counts, Delivery, Journal, JournalError, Trouble
from daemon.journal_schema import APPEND_ONLY
from probes.contract import Refusal
from rules.channels import Channel, Role
from rules.facts import Entry, EntryKind, Event, Quality, Reading, Subject

CORE = Channel("core-1", Role.CORE, 10_000, 120_000, 500, "28-0316a2795e1c")
CHAMBER = Channel("chamber", Role.CHAMBER, 10_000, 120_000, 1_000)
COOK = Cook(
    "L-7", "north", "schedule: links\n", "links.yaml", (CORE, CHAMBER), 90, "MB"
)
AT_MS = 1_714_543_200_250  # 2024-05-01T06:00:00.250Z, by `date -u -d @1714543200`
WARM = Reading("core-1", AT_MS, 3_750, 500, Quality.GOOD, AT_MS + 40)


def event(at_ms: int, now: str, why: str = "because") -> Event:
    return Event(at_ms, Subject.LIMIT, "chill", "core-1", "within", now, why)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.db"


@pytest.fixture
def journal(path: Path) -> Iterator[Journal]:
    opened = Journal(path)
    yield opened
    opened.close()


# Readings


def test_a_reading_comes_back_as_it_was(journal: Journal) -> None:
    unknown = WARM._replace(at_ms=7, quality=Quality.AGE_UNKNOWN, received_ms=0)
    assert journal.append([WARM, unknown], []) == [unknown, WARM]
    assert list(journal.readings({"core-1"}, 0, AT_MS)) == [unknown, WARM]
    assert journal.latest() == {"core-1": WARM}


def test_both_ends_of_the_span_are_included(journal: Journal) -> None:
    readings = [Reading("core-1", at_ms, 1, 1) for at_ms in (9, 10, 11, 12)]
    journal.append(readings, [])
    assert list(journal.readings(["core-1"], 10, 11)) == readings[1:3]


def test_readings_come_by_time_and_then_by_the_name_of_the_channel(
    journal: Journal,
) -> None:
    """Whatever order the channels were first heard in."""
    for name in ("smoke", "chamber", "core-2"):
        journal.append([Reading(name, at_ms, 1, 1) for at_ms in (20, 10)], [])
    found = journal.readings(["smoke", "core-2", "chamber", "nobody"], 0, 99)
    names = ["chamber", "core-2", "smoke"]
    assert [(one.at_ms, one.channel) for one in found] == [
        *[(10, name) for name in names],
        *[(20, name) for name in names],
    ]


def test_a_channel_nobody_named_is_not_answered(journal: Journal) -> None:
    journal.append([WARM], [])
    assert list(journal.readings([], 0, AT_MS)) == []
    assert list(journal.readings(["chamber"], 0, AT_MS)) == []


@pytest.mark.parametrize("together", [True, False], ids=["one group", "two groups"])
def test_a_reading_sent_again_counts_once(journal: Journal, together: bool) -> None:
    again = WARM._replace(received_ms=AT_MS + 9_000)
    if together:
        assert journal.append([WARM, again], []) == [WARM]
    else:
        assert journal.append([WARM], []) == [WARM]
        assert journal.append([again], []) == []
    assert journal.counts().readings == 1
    assert journal.refusals() == []
    assert list(journal.readings(["core-1"], 0, AT_MS)) == [WARM]


@pytest.mark.parametrize("together", [True, False], ids=["one group", "two groups"])
def test_another_value_at_the_same_time_is_refused_with_both(
    journal: Journal, together: bool
) -> None:
    other = WARM._replace(value_mc=-4_125, received_ms=AT_MS + 9_000)
    if together:
        assert journal.append([WARM, other], []) == [WARM]
    else:
        assert journal.append([WARM], []) == [WARM]
        assert journal.append([other], []) == []
    why = (
        "two values at 2024-05-01T06:00:00.250Z: 3.750 is in the journal,"
        " -4.125 came later and was not used"
    )
    refusal = Refusal("", "core-1", AT_MS + 9_000, why, b"")
    assert journal.refusals() == [(1, refusal)]
    assert list(journal.readings(["core-1"], 0, AT_MS)) == [WARM]


def test_the_same_time_on_two_channels_is_no_contradiction(journal: Journal) -> None:
    other = WARM._replace(channel="core-2", value_mc=9)
    assert journal.append([WARM, other], []) == [WARM, other]


def test_a_better_copy_of_a_reading_counts_instead(journal: Journal) -> None:
    """The retained copy overtook the message that waited in the queue."""
    retained = WARM._replace(quality=Quality.AGE_UNKNOWN)
    assert journal.append([retained], []) == [retained]
    assert journal.append([WARM], []) == [WARM]
    assert journal.append([retained, WARM], []) == []
    assert list(journal.readings(["core-1"], 0, AT_MS)) == [WARM]
    assert journal.latest() == {"core-1": WARM}
    assert journal.counts().readings == 1


@pytest.mark.parametrize(
    ("wrong", "shown"),
    [
        (WARM._replace(at_ms=-1), "at_ms = -1,"),
        (WARM._replace(at_ms=253_402_300_800_000), "= 253402300800000,"),  # year 10000
        (WARM._replace(at_ms=10**30), f"at_ms = {10**30},"),
        (WARM._replace(value_mc=1 << 53), "value_mc = 9007199254740992"),  # RFC 8785
    ],
)
def test_a_reading_too_large_to_keep_stops_nothing(
    journal: Journal, wrong: Reading, shown: str
) -> None:
    assert journal.append([wrong, WARM], []) == [WARM]
    [(_, refusal)] = journal.refusals()
    assert refusal.why.startswith("its time or its value is beyond what")
    assert shown in refusal.why


def test_a_group_with_nothing_in_it_writes_nothing(
    journal: Journal, path: Path
) -> None:
    before = path.with_name("journal.db-wal").stat().st_size
    assert journal.append([], []) == []
    assert path.with_name("journal.db-wal").stat().st_size == before


# Refusals and deliveries


def test_a_refusal_keeps_its_payload_byte_for_byte(journal: Journal) -> None:
    refusal = Refusal("yard/cores", "", 5, "not the agreed form", b"\x00\xff{")
    assert journal.append([], [refusal]) == []
    assert journal.refusals() == [(1, refusal)]


def test_a_large_payload_is_cut_and_its_size_is_said(journal: Journal) -> None:
    whole, over = b"x" * 65_536, b"x" * 65_537
    journal.append(
        [], [Refusal("t", "", 5, "too long", each) for each in (whole, over)]
    )
    (_, first), (_, second) = journal.refusals()
    assert (first.why, first.payload) == ("too long", whole)
    assert second.why == "too long (of 65537 bytes the first 65536 are kept)"
    assert second.payload == whole


def test_a_refusal_whose_words_have_no_bytes_is_kept(journal: Journal) -> None:
    """A JSON text can hold half of a surrogate pair, which UTF-8 cannot."""
    journal.append([], [Refusal("t", "", 5, "found \ud800 there", b"")])
    assert journal.refusals()[0][1].why == "found \\ud800 there"


def test_refusals_come_in_parts(journal: Journal) -> None:
    journal.append([], [Refusal("t", "", at, "why", b"") for at in range(5)])
    assert [number for number, _ in journal.refusals(after=1, limit=2)] == [2, 3]


def test_a_delivery_is_known_by_packet_and_digest(journal: Journal) -> None:
    journal.append([], [], [Delivery(1, b"one"), Delivery(65_535, b"last")])
    assert journal.was_delivered(Delivery(1, b"one"))
    assert journal.was_delivered(Delivery(65_535, b"last"))
    assert not journal.was_delivered(Delivery(1, b"other"))
    assert not journal.was_delivered(Delivery(2, b"one"))
    journal.append([], [], [Delivery(1, b"other")])
    assert not journal.was_delivered(Delivery(1, b"one"))
    assert journal.was_delivered(Delivery(1, b"other"))


# Cooks, entries, events


def test_a_cook_comes_back_with_the_entry_that_began_it(journal: Journal) -> None:
    assert journal.begin(COOK, entered_ms=95) == 1
    assert journal.cook("L-7") == COOK
    assert journal.cooks() == [COOK]
    [kept] = journal.entries("L-7")
    assert (kept.number, kept.lot) == (1, "L-7")
    assert kept.entry == Entry(EntryKind.BEGIN, 90, 95, "MB")


def test_a_lot_is_begun_once(journal: Journal) -> None:
    journal.begin(COOK, 95)
    with pytest.raises(JournalError, match="lot L-7 was begun before") as caught:
        journal.begin(COOK._replace(who="JK"), 99)
    assert caught.value.trouble is Trouble.LOT
    assert journal.cooks() == [COOK]
    assert len(journal.entries()) == 1


@pytest.mark.parametrize(
    ("second", "words"),
    [
        pytest.param(COOK, "lot L-7 was begun before", id="one lot"),
        pytest.param(
            COOK._replace(lot="L-8"),
            "lot L-[78] is still going on; end it first",
            id="one smokehouse",
        ),
    ],
)
def test_of_two_begun_at_one_moment_one_wins_and_the_other_is_told(
    tmp_path: Path, second: Cook, words: str
) -> None:
    """Each in a thread with a journal of its own, let loose together, many times."""
    for turn in range(8):
        path, gate = tmp_path / f"{turn}.db", threading.Barrier(2)
        Journal(path).close()

        def begin(cook: Cook, path: Path = path, gate: threading.Barrier = gate) -> str:
            journal = Journal(path)
            try:
                gate.wait(timeout=10)
                journal.begin(cook, 95)
            except JournalError as error:
                return str(error)
            finally:
                journal.close()
            return ""

        with ThreadPoolExecutor(2) as threads:
            said = sorted(threads.map(begin, [COOK, second]))
        assert said[0] == ""
        assert re.search(words, said[1])
        journal = Journal(path)
        assert (len(journal.cooks()), len(journal.entries())) == (1, 1)
        journal.close()


def test_a_cook_without_a_lot_is_not_begun(journal: Journal) -> None:
    with pytest.raises(JournalError, match="needs the name of its lot"):
        journal.begin(COOK._replace(lot=""), 95)


def test_what_is_about_an_unknown_lot_is_not_kept(journal: Journal) -> None:
    note = Entry(EntryKind.NOTE, 1, 2, "MB", "ice added")
    with pytest.raises(JournalError, match="there is no lot L-8 in the journal"):
        journal.add_entry("L-8", note)
    with pytest.raises(JournalError, match="there is no lot L-8 in the journal"):
        journal.add_events("L-8", [event(1, "at risk")], 2, 3)
    assert journal.cook("L-8") is None
    assert journal.counts() == Counts(0, 0, 0, 0, 0)


def test_entries_of_a_lot_of_the_site_and_after_a_number(journal: Journal) -> None:
    journal.begin(COOK, 95)
    ice = Entry(EntryKind.CORRECTIVE_ACTION, 96, 97, "MB", "more ice", "chill")
    site = Entry(EntryKind.NOTE, 98, 98, "MB", "power was away")
    assert journal.add_entry("L-7", ice) == 2
    assert journal.add_entry("", site) == 3
    assert [kept.entry for kept in journal.entries("L-7", after=1)] == [ice]
    assert [kept.entry for kept in journal.entries("")] == [site]
    assert [kept.number for kept in journal.entries()] == [1, 2, 3]


def test_only_new_events_are_noticed(journal: Journal) -> None:
    journal.begin(COOK, 95)
    risk, missed = event(100, "at risk"), event(200, "missed")
    first = journal.add_events("L-7", [risk, risk], 101, 101)
    assert [(one.number, one.event) for one in first] == [(1, risk)]
    reworded = risk._replace(why="told in other words", was="waiting")
    second = journal.add_events("L-7", [reworded, missed], 201, 201)
    assert [(one.event, one.noticed_ms) for one in second] == [(missed, 201)]
    assert journal.events("L-7") == first + second
    assert journal.events(after=1) == second
    assert journal.events("") == []


def test_the_same_event_of_two_lots_is_two_events(journal: Journal) -> None:
    journal.begin(COOK, 95)
    journal.begin(COOK._replace(lot="L-8", smokehouse="south"), 95)
    for lot in ("L-7", "L-8", ""):
        assert len(journal.add_events(lot, [event(100, "at risk")], 101, 101)) == 1
    assert [one.lot for one in journal.events()] == ["L-7", "L-8", ""]


def test_the_horizon_goes_forward_with_and_without_events(journal: Journal) -> None:
    journal.begin(COOK, 95)
    assert journal.horizon("L-7") == 0
    journal.add_events("L-7", [event(100, "at risk")], 150, 150)
    assert journal.horizon("L-7") == 150
    journal.add_events("L-7", [], 160, 160)
    assert journal.horizon("L-7") == 160
    journal.add_events("L-7", [event(90, "within")], 170, 155)
    assert journal.horizon("L-7") == 160


# The file


def test_a_restart_gives_the_same(journal: Journal, path: Path) -> None:
    def everything(opened: Journal) -> list[object]:
        return [
            opened.cooks(),
            opened.entries(),
            opened.events(),
            opened.horizon("L-7"),
            opened.refusals(),
            opened.latest(),
            opened.was_delivered(Delivery(9, b"d")),
            list(opened.readings({"core-1", "chamber"}, 0, AT_MS)),
            opened.counts(),
        ]

    journal.begin(COOK, 95)
    cold = Reading("chamber", 8, -1, 1, Quality.CLOCK_UNSET, 9)
    refusal = Refusal("t", "core-1", 1, "why", b"raw")
    journal.append([WARM, cold], [refusal], [Delivery(9, b"d")])
    journal.add_events("L-7", [event(100, "at risk")], 101, 102)
    before = everything(journal)
    journal.close()
    again = Journal(path, create=False, check=True)
    assert everything(again) == before
    assert again.counts() == Counts(2, 1, 1, 1, 1)
    assert again.integrity() == "ok"
    again.close()


@pytest.mark.parametrize("table", APPEND_ONLY)
@pytest.mark.parametrize("verb", ["UPDATE", "DELETE", "REPLACE"])
def test_what_is_kept_is_never_changed(
    journal: Journal, path: Path, table: str, verb: str
) -> None:
    """Not even by a program that is not ours."""
    journal.begin(COOK, 95)
    journal.append([WARM], [Refusal("t", "core-1", 1, "why", b"raw")])
    journal.add_events("L-7", [event(100, "at risk")], 101, 102)
    journal.connection.execute("INSERT INTO block VALUES (1, 1, 5, 6, 1, x'01')")
    other_span = "INSERT INTO pruned VALUES (1, 1, 6, 9, '', 1, 1, 9)"
    journal.connection.execute(other_span)
    stranger = sqlite3.connect(path)
    stranger.execute("PRAGMA recursive_triggers = ON")
    stranger.create_function("is_packed", 6, lambda *_: False)  # as in every journal
    (column,) = stranger.execute(
        f"SELECT name FROM pragma_table_info('{table}')"
    ).fetchone()
    statement = {
        "UPDATE": f"UPDATE {table} SET {column} = {column}",
        "DELETE": f"DELETE FROM {table}",
        "REPLACE": f"REPLACE INTO {table} SELECT * FROM {table}",
    }[verb]
    before = stranger.execute(f"SELECT * FROM {table}").fetchall()
    assert before
    with pytest.raises(sqlite3.IntegrityError, match="the journal only grows"):
        stranger.execute(statement)
    stranger.rollback()
    assert stranger.execute(f"SELECT * FROM {table}").fetchall() == before
    stranger.close()
