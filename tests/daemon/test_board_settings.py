"""daemon/board_settings.py: a right file, and the exact words about a wrong one."""

from pathlib import Path

from daemon.board_settings import Board, Wanted, load_board, read_board
from daemon.cli import main
from daemon.secrets import explain

EXAMPLE = Path(__file__).parents[2] / "deploy" / "example" / "board.yaml"

RIGHT = """\
board: north-board
topic: yard/north/board
buffer: board.db
broker: {port: 1884, user: board, password: invented-for-the-test}
probes:
  - probe: 28-0316a2795e1c
    every: 2 s
  - probe: tmp102:1-0048:temp1
"""

WRONG = """\
board: north board
topic: yard/+
broker: {client id: x, port: 99999, password: invented-for-the-test}
probes:
  - probe: 28-0316a2795e1c
    every: 0 s
  - probe: 28-0316a2795e1c
    evry: 10 s
"""

WORDS = """\
b.yaml:1:1: 'buffer' is missing
    1 | board: north board
      | ^^^^^
  add a line: buffer: ...

b.yaml:1:8: 'north board' is not a client id
    1 | board: north board
      |        ^^^^^^^^^^^
  write letters, digits, dots and dashes, for example: fumarium

b.yaml:2:8: 'yard/+' holds a wildcard
    2 | topic: yard/+
      |        ^^^^^^
  write the whole topic: one for each probe, without + and #

b.yaml:3:10: a board's client id is its own name
    3 | broker: {client id: x, port: 99999, password: *********************}
      |          ^^^^^^^^^
  take the line out

b.yaml:3:30: '99999' is outside 1 to 65535
    3 | broker: {client id: x, port: 99999, password: *********************}
      |                              ^^^^^
  write a whole number from 1 to 65535

b.yaml:6:12: '0 s' must be more than nothing
    6 |     every: 0 s
      |            ^^^
  for example: 10 s

b.yaml:7:12: the probe '28-0316a2795e1c' stands twice; the first is in line 5
    7 |   - probe: 28-0316a2795e1c
      |            ^^^^^^^^^^^^^^^
  keep one of them

b.yaml:8:5: 'evry' is not a key here
    8 |     evry: ** *
      |     ^^^^
  did you mean 'every'?
"""


def test_a_right_file_names_probes_and_periods() -> None:
    found = read_board(Path("yard/b.yaml"), RIGHT, {})
    assert isinstance(found, Board), found
    assert found.probes == (
        Wanted("28-0316a2795e1c", 2_000),
        Wanted("tmp102:1-0048:temp1", 10_000),
    )
    assert (found.buffer, found.sysfs) == (Path("yard/board.db"), Path("/sys"))
    assert (found.broker.client_id, found.broker.port) == ("north-board", 1884)
    assert found.at_most == 200_000


def test_all_faults_are_said_at_once_and_no_secret() -> None:
    found = read_board(Path("b.yaml"), WRONG, {})
    assert isinstance(found, list)
    assert explain(found, WRONG) == WORDS


def test_a_board_that_wants_nothing_is_a_fault() -> None:
    text = RIGHT[: RIGHT.index("probes:")] + "probes: []\n"
    found = read_board(Path("b.yaml"), text, {})
    assert isinstance(found, list)
    assert [one.found for one in found] == ["there is no probe"]


def test_half_a_second_is_too_fast() -> None:
    found = read_board(Path("b.yaml"), RIGHT.replace("2 s", "0.5 s"), {})
    assert isinstance(found, list)
    assert [one.found for one in found] == ["'0.5 s' is too fast for a probe"]


def test_the_check_command_knows_the_file_of_a_board(tmp_path: Path) -> None:
    (tmp_path / "right.yaml").write_text(RIGHT)
    (tmp_path / "wrong.yaml").write_text(WRONG)
    assert main(["check", str(tmp_path / "right.yaml")]) == 0
    assert main(["check", str(tmp_path / "wrong.yaml")]) == 3
    assert main(["probes", "publish", str(tmp_path / "wrong.yaml")]) == 3


def test_a_file_that_is_not_there_is_a_fault(tmp_path: Path) -> None:
    found = load_board(tmp_path / "none.yaml", {})
    assert isinstance(found, list)
    assert "cannot be read" in found[0].found


def test_the_example_has_no_fault(tmp_path: Path) -> None:
    text = EXAMPLE.read_text(encoding="utf-8")
    kept = tmp_path / "broker.password"
    kept.write_text("invented\n", encoding="utf-8")
    kept.chmod(0o600)
    text = text.replace("/etc/fumarium-probes/broker.password", str(kept))
    assert isinstance(read_board(EXAMPLE, text, {}), Board)
