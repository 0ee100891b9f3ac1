"""``fumarium rehearse`` as a person runs it: what it says, and how it exits.

What is expected stands here as it is printed, each word of it.
"""

import subprocess
import sys
from pathlib import Path

import pytest

from daemon.rehearse import rehearse_file

HERE = Path(__file__).parent / "rehearse"
ROOT = Path(__file__).parents[2]
BEGINS = "2026-01-10T05:00:00Z"


def rehearse(
    *words: str, folder: Path = HERE, zone: str = "UTC"
) -> tuple[int, str, str]:
    """Run the command in a folder; its exit, what it printed, what it complained."""
    run = subprocess.run(
        [sys.executable, "-m", "daemon.cli", "rehearse", *words],
        cwd=folder,
        env={"PYTHONPATH": str(ROOT), "PYTHONUTF8": "1", "TZ": zone},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    return run.returncode, run.stdout, run.stderr


MET = """\
readings every 20 s (the trace's own: the middle one of its periods); \
farther apart than 30 s is a hole; accuracy 0.5 K

events
  2026-01-10 05:00:00Z channel core: reporting (heard for the first time)
  2026-01-10 05:00:00Z stage hold: begun (Held warm for a minute, revision 1)
  2026-01-10 05:01:00Z warm: within -> met \
(core at or above 60.0 degC: longest outside 0 s; 10 s allowed)
  2026-01-10 05:01:00Z stage hold: ended (after 1 min)
  2026-01-10 05:01:00Z cook Held warm for a minute: finished (its last stage is over)

what the readings show
  met       warm [core] since 2026-01-10 05:01:00Z: \
at or above 60.0 degC: longest outside 0 s; 10 s allowed

verdicts
  met       warm: core: at or above 60.0 degC: longest outside 0 s; 10 s allowed
every critical limit is met by the readings; release is a person's decision
"""


def test_lethality_is_never_printed_alone(capsys: pytest.CaptureFixture[str]) -> None:
    told = ROOT / "rules" / "library" / "cured_links.rehearsal.yaml"
    assert rehearse_file(told, events=True, day="an ordinary day") == 0
    lines = capsys.readouterr().out.split("\n")
    lethal = [one for one in lines if "lethality" in one and "source:" not in one]
    assert len(lethal) >= 6
    assert all(one.rstrip(")").endswith("no humidity evidence") for one in lethal)


def test_a_cook_that_meets_its_limits() -> None:
    assert rehearse("held.yaml", "held.csv", "--begins", BEGINS) == (0, MET, "")


def test_an_hour_that_a_local_clock_has_twice_is_two_hours() -> None:
    """The local clock goes from 02:59:59 back to 02:00:00 in the middle of the minute.

    Europe/Berlin, 25 October 2026, 01:00 UTC (Directive 2000/84/EC: the last Sunday of
    October, 1.00 a.m. Greenwich Mean Time).
    """
    right = MET.replace("2026-01-10 05:00:00", "2026-10-25 00:59:30")
    right = right.replace("2026-01-10 05:01:00", "2026-10-25 01:00:30")
    asked = ("held.yaml", "held.csv", "--begins", "2026-10-25T00:59:30Z")
    assert rehearse(*asked, zone="Europe/Berlin") == (0, right, "")


def test_a_trace_is_screened_as_the_daemon_does_it(tmp_path: Path) -> None:
    """A broken wire reads 0 degC in the middle of what was held warm."""
    rows = ["time [s],core [degC]"]
    rows += [
        f"{s},{0 if 80 <= s < 120 else 61 + s % 60 / 100}" for s in range(0, 200, 20)
    ]
    (tmp_path / "it.csv").write_text("\n".join(rows))
    words = (str(HERE / "held.yaml"), "it.csv", "--begins", BEGINS)
    code, said, _ = rehearse(*words, folder=tmp_path)
    assert (
        "2026-01-10 05:01:20Z channel core: dead zero (exactly 0.0 degC after 61.0 degC"
        in said
    )
    assert "2026-01-10 05:02:00Z channel core: reporting (back at 61.0 degC" in said
    assert code == 0


def test_a_lot_on_hold_fails_the_check() -> None:
    """With 2 K of doubt nothing shows 60 degC: not met, and not missed."""
    words = ("--begins", BEGINS, "--accuracy", "2 K")
    code, said, complained = rehearse("held.yaml", "held.csv", *words)
    assert (code, complained) == (1, "")
    assert said.endswith(
        "  unproven  warm: core: at or above 60.0 degC: "
        "longest outside between 0 s and 1 min; 10 s allowed\n"
        "the lot is on hold: a critical limit is missed or unproven\n"
    )


def test_a_period_that_was_asked_makes_holes() -> None:
    words = ("--begins", BEGINS, "--every", "10 s")
    code, said, _ = rehearse("held.yaml", "held.csv", *words)
    assert code == 1
    assert said.startswith(
        "readings every 10 s (as asked); farther apart than 15 s is a hole"
    )
    assert "  unproven  warm: core: " in said


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("water.yaml trace.bad.csv", "trace.bad.txt"),
        ("water.yaml role.bad.csv", "role.bad.txt"),
        ("schedule.bad.yaml held.csv", "schedule.bad.txt"),
    ],
)
def test_every_fault_of_a_file_is_shown_at_once(words: str, expected: str) -> None:
    text = (HERE / expected).read_text(encoding="utf-8")
    assert rehearse(*words.split()) == (3, "", text)


@pytest.mark.parametrize(
    ("octets", "words"),
    [
        (None, "it.csv: cannot be read: No such file or directory\n"),
        (b"\xff\xfe\x00", "it.csv: not UTF-8 text\n"),
        (b"time,core [degC]\n", "it.csv: there is no reading in it\n"),
        (
            b"time,chamber [degC]\n2026-01-10T05:00:00Z,20\n",
            "it.csv: limit 'two stages' needs a channel of role core\n"
            "it.csv: limit 'cured' needs a channel of role core\n"
            "it.csv: stage 'chill' ends by a core, and no channel is one\n",
        ),
        (
            b"time [min],core [degC]\n0,20\n",
            "it.csv:1:1: times are counted in min, but from when is not known\n"
            "    1 | time [min],core [degC]\n"
            "      | ^^^^^^^^^^\n"
            "  say when the trace begins, with date and zone\n\n",
        ),
    ],
    ids=["away", "no text", "no reading", "no core", "no beginning"],
)
def test_a_trace_that_cannot_be_used(
    octets: bytes | None, words: str, tmp_path: Path
) -> None:
    if octets is not None:
        (tmp_path / "it.csv").write_bytes(octets)
    told = rehearse(str(HERE / "water.yaml"), "it.csv", folder=tmp_path)
    assert told == (3, "", words)


def test_a_schedule_that_cannot_be_read() -> None:
    words = "none.yaml: cannot be read: No such file or directory\n"
    assert rehearse("none.yaml", "held.csv") == (3, "", words)


@pytest.mark.parametrize(
    ("option", "value", "words"),
    [
        (
            "--begins",
            "2026-01-10T05:00:00",
            "--begins: add its zone, such as Z\n",
        ),
        ("--begins", "at five", "--begins: 'at five' is not a moment\n"),
        (
            "--accuracy",
            "1 degC",
            "--accuracy: '1 degC' is not a difference of temperature; "
            "write a number and K, for example: 0.5 K\n",
        ),
        (
            "--every",
            "10",
            "--every: '10' has no unit: a length of time is wanted; "
            "write a whole number and s, min or h, for example: 15 min\n",
        ),
    ],
)
def test_a_command_that_cannot_be_followed(option: str, value: str, words: str) -> None:
    beginning = () if option == "--begins" else ("--begins", BEGINS)
    told = rehearse("held.yaml", "held.csv", *beginning, option, value)
    assert told == (2, "", words)
