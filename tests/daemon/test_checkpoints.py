"""A restart from a checkpoint is the restart from the beginning, only sooner.

What it is compared with is the cook judged again from its first reading, which the
laws of ``tests/rules`` hold to.  That a state outlives JSON is a law there too
(``test_a_restart_changes_nothing``).  The cook and its people are invented.
"""

from collections.abc import Iterator
from pathlib import Path

import pytest

from daemon import checkpoints
from daemon.cooks import PAST_SHOWN, Cooks, Running
from daemon.journal import Journal
from rules import engine
from rules.facts import Entry, EntryKind, Reading
from tests.daemon import invented

LOT = "C-1"
HALF_HOUR = 30


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    opened = Journal(tmp_path / "journal.db")
    opened.begin(invented.cook(LOT, invented.BAD), invented.BEGUN_MS)
    yield opened
    opened.close()


def live(journal: Journal, cooks: Cooks, readings: list[Reading]) -> None:
    """Let readings come as the road does, a minute's group after another."""
    for i in range(0, len(readings), 4):
        group = readings[i : i + 4]
        for reading in journal.append(group, []):
            cooks.take(reading)
        pass_time(journal, cooks, group[-1].at_ms - 10_000)


def pass_time(journal: Journal, cooks: Cooks, horizon_ms: int) -> None:
    """Move the horizon, keep what became true, and how far it was judged."""
    for lot, events in cooks.advance(horizon_ms):
        journal.add_events(lot, events, horizon_ms, horizon_ms)
        cooks.kept(lot)
    cooks.keep_states(cooks.entries_seen)


def from_the_beginning(journal: Journal, until: Running) -> Running:
    """The cook of a lot judged anew, as far as another has judged it."""
    running = Running(until.cook)
    for reading in journal.readings(until.channels, until.cook.begun_ms, 1 << 62):
        running.take(reading)
    for kept in journal.entries(LOT):
        running.take(kept.entry)
    running.advance(until.horizon_ms)
    return running


def the(cooks: Cooks) -> Running:
    running = cooks.of(LOT)
    assert running is not None
    return running


@pytest.mark.parametrize("minutes", [29, 31, 230, 268, 640])
def test_it_comes_to_the_state_of_the_whole_cook(
    journal: Journal, minutes: int
) -> None:
    readings = invented.readings(invented.BAD)
    cut = next(i for i, one in enumerate(readings) if one.at_ms > invented.at(minutes))
    live(journal, Cooks(journal), readings[:cut])
    kept = checkpoints.last(journal, LOT, [])
    assert (kept is None) == (minutes < HALF_HOUR)
    again = Cooks(journal)  # the daemon starts anew
    whole = from_the_beginning(journal, the(again))
    assert engine.findings(the(again).plan, the(again).state) == engine.findings(
        whole.plan, whole.state
    )
    live(journal, again, readings[cut:])
    end_ms = readings[-1].at_ms + 1_200_000
    pass_time(journal, again, end_ms)
    whole = from_the_beginning(journal, the(again))
    assert the(again).state == whole.state
    told = {noticed.event for noticed in journal.events(LOT)}
    plain = Running(whole.cook)
    for reading in readings:
        plain.take(reading)
    assert told == set(plain.advance(end_ms))


def test_one_is_kept_every_half_hour_and_once_it_is_over(journal: Journal) -> None:
    cooks, at = Cooks(journal), set()
    for reading in invented.readings(invented.BAD):
        live(journal, cooks, [reading])
        if found := journal.checkpoint(LOT):
            at.add((found.horizon_ms - invented.BEGUN_MS) // 60_000)
        if the(cooks).settled:
            break
    assert sorted(at)[:4] == [30, 60, 90, 120]
    found = journal.checkpoint(LOT)
    assert found and found.horizon_ms == the(cooks).horizon_ms
    last = the(cooks).horizon_ms - invented.BEGUN_MS
    assert len(at) == last // 60_000 // HALF_HOUR + 1
    journal.settle(LOT)
    assert Cooks(journal).past[0].state == the(cooks).state


def test_what_is_not_durable_yet_is_in_none(journal: Journal) -> None:
    cooks = Cooks(journal)
    for reading in invented.readings(invented.BAD)[:400]:
        cooks.take(reading)
    assert cooks.advance(invented.at(90))  # and nobody has kept its events
    cooks.keep_states(cooks.entries_seen)
    assert journal.checkpoint(LOT) is None


def test_other_rules_or_another_text_are_not_believed(
    journal: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    live(journal, Cooks(journal), invented.readings(invented.BAD)[:400])
    assert checkpoints.last(journal, LOT, [])
    with monkeypatch.context() as patched:
        patched.setattr(checkpoints, "_rules", lambda: b"rules of last year")
        assert checkpoints.last(journal, LOT, []) is None
        assert the(Cooks(journal)).kept_ms == invented.BEGUN_MS
    with journal.writing() as connection:
        query = "UPDATE checkpoint SET state = replace(state, '1', '2')"
        connection.execute(query)
    assert checkpoints.last(journal, LOT, []) is None
    assert the(Cooks(journal)).kept_ms == invented.BEGUN_MS


def test_an_entry_that_was_not_read_by_then_makes_it_worthless(
    journal: Journal,
) -> None:
    cooks = Cooks(journal)
    live(journal, cooks, invented.readings(invented.BAD)[:400])
    end = Entry(EntryKind.END, invented.at(50), invented.at(50), "R. T.", "", "smoke")
    journal.add_entry(LOT, end)
    assert checkpoints.last(journal, LOT, journal.entries(LOT)) is None
    again = the(Cooks(journal))
    again.advance(invented.at(99))
    assert again.finished_ms == invented.at(50)


def test_those_that_nobody_looks_at_are_dropped(journal: Journal) -> None:
    cooks = Cooks(journal)
    for n in range(PAST_SHOWN + 2):
        lot = f"D-{n}"
        begun_ms = invented.at(1_000 * n)
        cook = invented.cook(lot, invented.BAD)
        cook = cook._replace(begun_ms=begun_ms, smokehouse=f"house {n}")
        number = journal.begin(cook, begun_ms)
        end = Entry(EntryKind.END, begun_ms + 1, begun_ms + 1, "R. T.", "", "dry")
        journal.add_entry(lot, end)
        cooks.notice(number + 1)
        pass_time(journal, cooks, begun_ms + 60_000_000)
        assert lot in cooks.settled()
        journal.settle(lot)
        cooks.let_go(lot)
    kept = [n for n in range(PAST_SHOWN + 2) if journal.checkpoint(f"D-{n}")]
    assert kept == [2, 3, 4]
