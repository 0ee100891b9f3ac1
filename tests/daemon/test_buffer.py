"""daemon/buffer.py: samples on disk, numbered, bounded, and gone when acknowledged."""

from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.buffer import Buffer, BufferFileError
from probes.pack import Sample


def sample(record: str, at_ms: int) -> Sample:
    """One value that has no number yet."""
    return Sample(record, at_ms, "71.25", "Cel", "", 0)


def numbers(buffer: Buffer) -> list[tuple[str, int]]:
    """What waits: whose it is, and its number."""
    return [(one.sample.record, one.sample.number) for one in buffer.after(0, 10_000)]


def test_each_probe_is_numbered_by_itself_over_a_restart(tmp_path: Path) -> None:
    path = tmp_path / "board" / "buffer.db"
    first = Buffer(path, 100)
    assert first.add([sample("a", 1), sample("b", 1), sample("a", 2)]) == 0
    first.close()
    again = Buffer(path, 100)
    again.add([sample("a", 3)])
    assert numbers(again) == [("a", 1), ("b", 1), ("a", 2), ("a", 3)]
    again.close()


def test_what_is_acknowledged_is_forgotten_and_its_number_is_not(
    tmp_path: Path,
) -> None:
    buffer = Buffer(tmp_path / "buffer.db", 100)
    buffer.add([sample("a", at_ms) for at_ms in range(3)])
    buffer.drop([one.place for one in buffer.after(0, 2)])
    assert numbers(buffer) == [("a", 3)]
    buffer.drop([one.place for one in buffer.after(0, 9)])
    assert buffer.count() == 0
    buffer.close()
    again = Buffer(tmp_path / "buffer.db", 100)
    again.add([sample("a", 9)])
    assert numbers(again) == [("a", 4)]
    again.close()


def test_the_oldest_go_where_more_wait_than_may(tmp_path: Path) -> None:
    buffer = Buffer(tmp_path / "buffer.db", 100)
    assert buffer.add([sample("a", at_ms) for at_ms in range(95)]) == 0
    assert buffer.add([sample("a", at_ms) for at_ms in range(95, 112)]) == 12
    assert numbers(buffer) == [("a", number) for number in range(13, 113)]
    buffer.close()


def test_what_was_missed_leaves_its_numbers_out(tmp_path: Path) -> None:
    buffer = Buffer(tmp_path / "buffer.db", 100)
    buffer.add([sample("a", 1)], {"a": 3})
    buffer.add([sample("a", 2), sample("b", 2)], {"a": 5})
    assert numbers(buffer) == [("a", 4), ("a", 10), ("b", 1)]
    buffer.close()


def test_samples_are_taken_up_where_sending_stopped(tmp_path: Path) -> None:
    buffer = Buffer(tmp_path / "buffer.db", 100)
    buffer.add([sample("a", at_ms) for at_ms in range(5)])
    first = buffer.after(0, 2)
    rest = buffer.after(first[-1].place, 100)
    assert [one.sample.at_ms for one in (*first, *rest)] == [0, 1, 2, 3, 4]
    buffer.close()


def test_a_disk_that_is_full_takes_all_of_a_group_or_none(tmp_path: Path) -> None:
    """SQLite's own limit on pages stands for the disk: it fails in the same way."""
    buffer = Buffer(tmp_path / "buffer.db", 1_000_000)
    buffer.add([sample("a", 0)])
    buffer._db.execute("pragma max_page_count = 1")  # raised to what is in use
    with pytest.raises(BufferFileError, match="database or disk is full"):
        buffer.add([sample("a", at_ms) for at_ms in range(1, 2_000)])
    assert numbers(buffer) == [("a", 1)]
    buffer._db.execute("pragma max_page_count = 100000")
    buffer.add([sample("a", 1)])
    assert numbers(buffer) == [("a", 1), ("a", 2)]
    buffer.close()


def test_a_file_that_is_no_buffer_is_said_to_be_none(tmp_path: Path) -> None:
    path = tmp_path / "buffer.db"
    path.write_text("not a database at all " * 50)
    with pytest.raises(BufferFileError, match="not a database"):
        Buffer(path, 100)


TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)


@settings(max_examples=12)  # each makes a file durable
@given(
    st.lists(
        st.builds(
            Sample, TEXTS, st.integers(0, 2**53), TEXTS, TEXTS, TEXTS, st.just(0)
        ),
        max_size=8,
    )
)
def test_what_is_kept_comes_back_as_it_was(samples: list[Sample]) -> None:
    """Whatever its texts hold; its number is the buffer's to give."""
    with TemporaryDirectory() as folder:
        buffer = Buffer(Path(folder, "buffer.db"), 100)
        buffer.add(samples)
        buffer.close()
        again = Buffer(Path(folder, "buffer.db"), 100)
        kept = [one.sample._replace(number=0) for one in again.after(0, 100)]
        again.close()
    assert kept == samples
