"""A rehearsal as a drawing: every stage, limit and event is on it, no word on another.

Outside the project: expat reads the SVG, Pillow the PNG, and DejaVu Sans says how wide
words are.
"""

import itertools
from pathlib import Path
from xml.etree import ElementTree

import pytest
from PIL import Image, ImageFont

from daemon import cli, plot
from daemon.chart import Scene, Words
from daemon.sheet import DEJAVU, FACES
from rules.rehearsal import (
    RehearsalFile,
    channels_of,
    read_rehearsals,
    readings_of,
    run,
)
from rules.schedule import Schedule, read_schedule

LIBRARY = Path(__file__).parents[2] / "rules" / "library"
LINKS = LIBRARY / "cured_links.rehearsal.yaml"


def scenes(path: Path) -> list[tuple[str, Scene]]:
    """Every day of a shipped rehearsal file, drawn."""
    file = read_rehearsals(str(path), path.read_text())
    assert isinstance(file, RehearsalFile)
    name = path.parent / file.schedule
    schedule = read_schedule(
        str(name), name.read_text(), lambda other: (path.parent / other).read_text()
    )
    assert isinstance(schedule, Schedule)
    found = []
    for one in file.rehearsals:
        outcome = run(schedule, one)
        head = (one.title, schedule, channels_of(one), readings_of(one))
        found.append((one.title, plot.draw(plot.Day(*head, outcome))))
    return found


def box(words: Words) -> tuple[float, float, float, float]:
    """Where words stand, by the font that a PNG is drawn with."""
    face = ImageFont.truetype(DEJAVU / FACES["B" if words.bold else ""], 100)
    wide = face.getlength(words.text) * words.size * 0.92 / 100
    left = words.x - {"start": 0.0, "middle": 0.5, "end": 1.0}[words.anchor] * wide
    return left, words.y - words.size * 0.7, left + wide, words.y


@pytest.mark.parametrize("name", ["cured_links", "snack_sticks"])
def test_no_word_stands_on_another_or_beside_the_paper(name: str) -> None:
    for title, scene in scenes(LIBRARY / f"{name}.rehearsal.yaml"):
        told = [one for one in scene.marks if isinstance(one, Words)]
        for one, other in itertools.combinations(told, 2):
            a, b = box(one), box(other)
            apart = a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
            assert apart, (title, one.text, other.text)
        for one in told:
            left, top, right, bottom = box(one)
            inside = left >= 0 and top >= 0 and right <= scene.width
            assert inside and bottom <= scene.height, (title, one.text)


def test_stages_limits_and_events_are_named() -> None:
    (_, scene), *_ = [one for one in scenes(LINKS) if "stalls" in one[0]]
    told = {one.text for one in scene.marks if isinstance(one, Words)}
    assert {"dry", "smoke", "cook", "since the start", "UTC", "°C", "°F"} <= told
    assert {"come-up 50.0 °F", "come-up, lethality 130.0 °F"} <= told
    assert "come-up missed, 6 h 12 min" in told
    assert {"1 h", "07:00", "chamber", "core"} <= told


def test_a_file_is_written_in_either_form(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ["rehearse", str(LINKS), "--day", "stalls", "--plot"]
    assert cli.main([*asked, str(tmp_path / "d.svg")]) == cli.GOOD
    root = ElementTree.parse(tmp_path / "d.svg").getroot()
    texts = [one.text for one in root.iter("{http://www.w3.org/2000/svg}text")]
    assert "come-up missed, 6 h 12 min" in texts
    assert cli.main([*asked, str(tmp_path / "d.png")]) == cli.GOOD
    with Image.open(tmp_path / "d.png") as image:
        colours = image.convert("RGB").getcolors(1 << 20)
        assert image.format == "PNG" and image.width == 2 * plot.WIDTH
    assert colours and (0x9C, 0x00, 0x1A) in {colour for _, colour in colours}
    assert f"drawn: {tmp_path / 'd.png'}\n" in capsys.readouterr().out


def test_one_day_is_drawn_and_a_form_that_we_have(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ["rehearse", str(LINKS), "--plot"]
    assert cli.main([*asked, str(tmp_path / "d.svg")]) == cli.BAD_COMMAND
    assert "--day: give words that are in one of these titles\n  an ordinary day\n" in (
        capsys.readouterr().err
    )
    assert cli.main([*asked, str(tmp_path / "d.gif")]) == cli.BAD_COMMAND
    assert "ends in .svg or .png" in capsys.readouterr().err
    gone = str(tmp_path / "gone" / "d.svg")
    assert cli.main([*asked, gone, "--day", "stalls"]) == cli.BAD_FILE
    assert f"{gone}: cannot be written: No such file or directory" in (
        capsys.readouterr().err
    )


def test_a_limit_without_a_temperature_is_named_all_the_same() -> None:
    """The sticks' humidity has no line to be drawn at; all of the links' have."""
    for name, words in (
        ("snack_sticks", ["judged too, by no one temperature: humidity"]),
        ("cured_links", []),
    ):
        _, scene = scenes(LIBRARY / f"{name}.rehearsal.yaml")[0]
        told = [one.text for one in scene.marks if isinstance(one, Words)]
        assert [one for one in told if one.startswith("judged too")] == words
