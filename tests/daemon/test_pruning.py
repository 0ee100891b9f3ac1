"""Which readings may leave the journal, and that no other ever does.

Outside the project: 9 CFR 417.5(e)(1), records are kept "for at least one year" for a
refrigerated product and "for at least two years" for one that is frozen, preserved or
shelf-stable.  The cook, its lot and its people are invented; it was begun on
10 January 2026 and ended on the same day.
"""

import shutil
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pytest
from freezegun import freeze_time

from daemon import cli, pruning
from daemon.compaction import compact
from daemon.journal import Counts, Journal, JournalError, Trouble
from rules.facts import Reading
from rules.standards.retention import RETENTION_DAYS, Storage
from tests.daemon import invented
from tests.daemon.test_settings import LEAST

LOT = "2026-01-10-N"
DAY_MS = 86_400_000
AFTER_ONE_YEAR, AFTER_TWO_YEARS = date(2027, 1, 13), date(2028, 1, 13)


class Yard:
    """A settings file in a folder, and the commands typed there on some day."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.settings, self._capsys = folder / "settings.yaml", capsys
        self.journal, self.records = folder / "journal.db", folder / "records"
        self.settings.write_text(LEAST)

    def type(self, on: date, *words: str, code: int = 0) -> list[str]:
        """What a command says on a day; it must end with the exit code."""
        with freeze_time(on):
            assert cli.main([*words, "--settings", str(self.settings)]) == code
        said = self._capsys.readouterr()
        return (said.out + said.err).splitlines()

    def remove(self, on: date) -> list[str]:
        """Remove what may go."""
        return self.type(on, "prune", "--remove", "--who", "R. T.")

    def held(self) -> Counts:
        """How many of each the journal holds."""
        journal = Journal(self.journal, create=False, check=True)
        assert journal.integrity() == "ok"
        counts = journal.counts()
        journal.close()
        return counts


@pytest.fixture(scope="module")
def cooks(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Folders of cooks that were lived through, recorded and packed, by storage."""
    made: dict[str, Path] = {}

    def folder(storage: str) -> Path:
        if storage not in made:
            made[storage] = tmp_path_factory.mktemp("cooked")
            _cook(made[storage], storage)
        return made[storage]

    return folder


def _cook(folder: Path, storage: str) -> None:
    said = "  diameter: 32 mm\n"
    text = invented.SCHEDULE.replace(said, f"{said}  storage: {storage}\n")
    place = invented.yard(folder)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(invented, "SCHEDULE", text if storage else invented.SCHEDULE)
        invented.live_through(place, LOT, invented.GOOD)
    place.journal.settle(LOT)
    compact(place.journal, invented.at(10_000), 0)
    place.journal.close()
    settings = folder / "settings.yaml"
    settings.write_text(LEAST)
    # Not on a frozen day: what signs a PDF would keep the frozen kind of date for good.
    for words in (["key", "create"], ["record", LOT]):
        assert cli.main([*words, "--settings", str(settings)]) == cli.GOOD


Cooked = Callable[[str], None]


@pytest.fixture
def cooked(
    yard: Yard, cooks: Callable[[str], Path], capsys: pytest.CaptureFixture[str]
) -> Cooked:
    """Makes of the yard one where a lot of some storage was cooked."""

    def copy(storage: str) -> None:
        shutil.copytree(cooks(storage), yard.journal.parent, dirs_exist_ok=True)
        capsys.readouterr()  # what the making of it said

    return copy


@pytest.fixture
def yard(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Yard:
    return Yard(tmp_path, capsys)


@pytest.mark.parametrize(
    ("storage", "too_early", "late_enough"),
    [
        ("refrigerated", date(2027, 1, 10), AFTER_ONE_YEAR),
        ("frozen", date(2028, 1, 10), AFTER_TWO_YEARS),
    ],
)
def test_readings_go_after_their_class_s_time_and_not_before(
    yard: Yard, cooked: Cooked, storage: str, too_early: date, late_enough: date
) -> None:
    cooked(storage)
    before = yard.held()
    said = yard.remove(too_early)
    assert said[0].startswith(f"{LOT}: {storage}, to be kept to ")
    assert said[0].endswith("; kept: it is not old enough")
    assert said[1] == "no readings may go"
    assert yard.held() == before

    said = yard.type(late_enough, "prune")
    # 3 probes x 470 minutes: the block of the fourth holds a reading of the day before.
    assert said[0].endswith("; 1,410 readings may go")
    assert said[-2].startswith("nothing was removed")
    assert yard.held() == before

    yard.remove(late_enough)
    after = yard.held()
    assert before.readings - after.readings in (1_410, 1_410 + 472)
    assert after._replace(readings=0, events=0) == before._replace(readings=0, events=0)
    assert after.events > before.events


@pytest.mark.parametrize("storage", ["frozen", "preserved", "shelf-stable"])
def test_two_years_are_never_less_than_two_years(storage: str) -> None:
    """Two of which one is a leap year have 731 days (the calendar)."""
    assert RETENTION_DAYS[Storage(storage)] >= 731
    assert 366 <= RETENTION_DAYS[Storage.REFRIGERATED] < 731


def test_what_went_is_written_down_and_the_record_stays(
    yard: Yard, cooked: Cooked
) -> None:
    cooked("refrigerated")
    record = (yard.records / f"{LOT}.record.jsonl").read_bytes()
    yard.remove(AFTER_ONE_YEAR)
    journal = Journal(yard.journal)
    event = journal.events()[-1].event
    journal.close()
    assert (event.name, event.now) == (f"readings of lot {LOT}", "pruned")
    assert event.why.startswith("1410 readings in 3 blocks, by R. T.; refrigerated")
    [words] = yard.type(AFTER_ONE_YEAR, "record", LOT, code=1)
    assert "its readings were removed on 2027-01-13" in words
    assert (yard.records / f"{LOT}.record.jsonl").read_bytes() == record
    assert yard.remove(AFTER_ONE_YEAR)[0].endswith("; no packed readings are left")


def test_without_a_storage_class_nothing_of_a_lot_ever_goes(
    yard: Yard, cooked: Cooked
) -> None:
    cooked("")
    before = yard.held()
    said = yard.remove(date(2036, 1, 1))
    assert said[0] == (
        f"{LOT}: storage not said, to be kept without end; kept: its schedule does not"
        " say the storage of the product"
    )
    assert yard.held() == before


def _nothing(record: Path) -> None:
    record.unlink()


def _one_bit(record: Path) -> None:
    octets = bytearray(record.read_bytes())
    octets[2_000] ^= 1
    record.write_bytes(octets)


@pytest.mark.parametrize(
    ("spoil", "why"),
    [
        (_nothing, "its signed record is not there"),
        (_one_bit, "its record does not verify"),
    ],
)
def test_readings_stay_while_their_record_does_not_stand_for_them(
    yard: Yard, cooked: Cooked, spoil: Callable[[Path], None], why: str
) -> None:
    cooked("refrigerated")
    spoil(yard.records / f"{LOT}.record.jsonl")
    before = yard.held()
    assert f"kept: {why}" in yard.remove(AFTER_ONE_YEAR)[0]
    assert yard.held() == before


def test_a_lot_that_is_not_over_holds_what_it_shares(
    yard: Yard, cooked: Cooked
) -> None:
    cooked("refrigerated")
    journal = Journal(yard.journal)
    later = invented.cook("open", invented.GOOD)
    later = later._replace(begun_ms=invented.at(400), channels=later.channels[1:2])
    journal.begin(later, invented.at(400))
    journal.close()
    said = yard.remove(AFTER_ONE_YEAR)
    # core-1 has one block, from before minute 400 to after it: it stays whole.
    assert said[0].endswith("; 940 readings may go")
    assert said[1].endswith("; kept: it is not over, or a verdict may still change")


@pytest.fixture
def quiet(yard: Yard) -> Iterator[Journal]:
    """A journal of readings of no lot, in ten blocks."""
    journal = Journal(yard.journal)
    journal.append(
        [Reading("cooler", invented.at(n), 3_000 + n % 7, 500) for n in range(20_481)],
        [],
    )
    compact(journal, invented.at(100_000), 0)
    yield journal
    journal.close()


def test_readings_of_no_lot_go_after_the_longest_time(
    yard: Yard, quiet: Journal
) -> None:
    # The first reading is of 10 January, the last of 24 January 2026.
    assert yard.remove(date(2028, 1, 10))[0] == "no readings may go"
    said = yard.remove(date(2028, 1, 20))
    assert said[0].startswith("of no lot: ")
    some = quiet.counts().readings
    assert 1 < some < 20_481
    yard.remove(date(2028, 2, 1))
    assert quiet.counts().readings == 1


def test_an_end_in_the_middle_is_taken_up_again(
    quiet: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pruning, "CHUNK", 3)
    now_ms = invented.BEGUN_MS + 1_000 * DAY_MS
    [share] = pruning.shares(quiet, [], now_ms)
    assert (len(share.blocks), share.readings) == (10, 20_480)

    def stop(_: Journal) -> None:
        raise JournalError(Trouble.OTHER, "stopped here")

    with monkeypatch.context() as patched, pytest.raises(JournalError):
        patched.setattr(pruning, "give_back", stop)
        pruning.prune(quiet, share, now_ms, "stopped")
    [rest] = pruning.shares(quiet, [], now_ms)
    assert rest.blocks == share.blocks[3:]
    assert quiet.counts().readings == 20_481 - 3 * 2_048
    pruning.prune(quiet, rest, now_ms + 1, "taken up")
    assert quiet.counts().readings == 1
    assert quiet.integrity() == "ok"
    assert [one.event.why for one in quiet.events()] == ["stopped", "taken up"]
    query = "SELECT sum(blocks), sum(readings) FROM pruned"
    assert quiet.connection.execute(query).fetchone() == (10, 20_480)


def test_initials_are_asked_for(yard: Yard) -> None:
    assert yard.type(AFTER_ONE_YEAR, "prune", "--remove", code=2) == [
        "--who: give your initials"
    ]
