"""``fumarium simulate``, and the traces that are shipped: same days, same bytes.

What each trace tells is what its day says in words; the days are invented.
"""

from pathlib import Path

import pytest

from daemon.cli import CommandError, main
from daemon.simulate import trace_of
from probes.trace import Trace, read

EXAMPLE = Path(__file__).parents[2] / "deploy" / "example"
DAYS = sorted((EXAMPLE / "days").glob("*.yaml"))
HERE = Path(__file__).parent / "scripts"
CHANNELS = ("chamber", "core-1", "core-2", "wet-bulb", "bath", "cooler", "ambient")


def shipped(name: str) -> Path:
    """The trace that is shipped of a day."""
    return EXAMPLE / "traces" / f"{name}.csv"


def course(name: str, channel: str) -> list[float]:
    """What a channel of a shipped trace shows, minute by minute, in degrees."""
    text = shipped(name).read_text(encoding="utf-8")
    trace = read(name, text, dict.fromkeys(CHANNELS, 500))
    assert isinstance(trace, Trace)
    begins_ms = trace.readings[0].at_ms
    return [
        one.value_mc / 1_000
        for one in trace.readings
        if one.channel == channel and (one.at_ms - begins_ms) % 60_000 == 0
    ]


@pytest.mark.parametrize("day", DAYS, ids=lambda day: str(day.stem))
def test_a_day_gives_the_bytes_that_are_shipped(day: Path) -> None:
    octets = shipped(day.stem).read_bytes()
    assert trace_of(day).encode() == octets
    assert octets.startswith(b"# Invented and simulated")
    assert len(octets) <= 60_000


def test_every_day_is_shipped() -> None:
    names = [path.stem for path in sorted((EXAMPLE / "traces").glob("*"))]
    assert names == [day.stem for day in DAYS]
    assert len(names) == 7


@pytest.mark.parametrize("name", [day.stem for day in DAYS])
def test_every_trace_goes_from_cold_over_cooked_to_cold(name: str) -> None:
    for channel in ("core-1", "core-2"):
        core_c = course(name, channel)
        assert core_c[0] < 13 and max(core_c) > 67 and core_c[-1] < 4.5


def test_the_thick_core_stalls_while_the_chamber_holds() -> None:
    core_c, chamber_c = course("stall", "core-2"), course("stall", "chamber")
    rises = [
        core_c[i + 120] - core_c[i]
        for i in range(len(core_c) - 120)
        if core_c[i] > 55 and min(chamber_c[i : i + 120]) > 77
    ]
    assert 0 < min(rises) < 2.5  # kelvins in two hours, 17 K below the chamber


def test_the_fire_dies_and_burns_again() -> None:
    chamber_c = course("dying-fire", "chamber")
    lowest = min(range(90, 190), key=lambda minute: chamber_c[minute])
    assert chamber_c[lowest] < 45
    assert max(chamber_c[60:lowest]) > 74 and max(chamber_c[lowest:]) > 74
    core_c = course("dying-fire", "core-1")
    assert max(core_c[:lowest]) - min(core_c[lowest : lowest + 30]) > 5


def test_the_door_dips_the_chamber_and_hardly_the_core() -> None:
    chamber_c, core_c = (
        course("opened-door", "chamber"),
        course("opened-door", "core-1"),
    )
    for minute in (45 + 40, 45 + 90 + 35):
        assert chamber_c[minute] - min(chamber_c[minute : minute + 10]) > 15
        assert max(chamber_c[minute + 10 : minute + 25]) > 60  # it is back soon
        assert core_c[minute] - min(core_c[minute : minute + 15]) < 5


def test_the_bath_warms_and_is_iced_late() -> None:
    bath_c, core_c = course("warming-bath", "bath"), course("warming-bath", "core-2")
    warm = max(range(250, 330), key=lambda minute: bath_c[minute])
    assert bath_c[warm] > 22 and min(bath_c[warm:]) < 3
    assert core_c[warm] > bath_c[warm]  # nothing chills below what is around it


def test_the_frost_makes_every_stage_late() -> None:
    cold_c, plain_c = course("cold-day", "chamber"), course("steady", "chamber")
    assert plain_c[30] > 53
    assert max(cold_c[:40]) < 45


def test_every_fault_of_a_script_is_shown_at_once(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(HERE)
    assert main(["simulate", "together.bad.yaml"]) == 3
    said = capsys.readouterr()
    words = (HERE / "together.bad.txt").read_text(encoding="utf-8")
    assert (said.out, said.err.strip()) == ("", words.strip())


def test_it_prints_a_trace_with_as_many_digits_as_asked(
    capsys: pytest.CaptureFixture[str],
) -> None:
    day = EXAMPLE / "days" / "fast-links.yaml"
    assert main(["simulate", str(day), "--digits", "0"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[1].startswith("time,chamber [degC],core-1 [degC]")
    cells = [cell for line in lines[2:] for cell in line.split(",")[1:]]
    assert cells and all(cell.endswith(".000") for cell in cells)


def test_a_step_that_never_ends_is_said_with_its_file(tmp_path: Path) -> None:
    text = (EXAMPLE / "days" / "fast-links.yaml").read_text(encoding="utf-8")
    never = tmp_path / "never.yaml"
    never.write_text(text.replace("every core: 70 degC", "every core: 90 degC"))
    with pytest.raises(CommandError, match=r"never.yaml: the step 'cook' is not over"):
        trace_of(never)
