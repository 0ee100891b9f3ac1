"""The chart: nothing is lost, nothing is drawn over a hole, and colour says nothing."""

import itertools
import re
import shutil
import subprocess
from pathlib import Path
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.chart import (
    Band,
    Box,
    Flag,
    Hole,
    Scene,
    Words,
    holes_of,
    scene,
    style,
    svg,
)
from daemon.chart import (
    Path as Line,
)
from rules.channels import Channel, Role
from rules.facts import Quality, Reading

BEGUN_MS = 1_768_021_200_000  # 2026-01-10T05:00:00Z
HOUR_MS = 3_600_000


def channel(name: str, role: Role = Role.CORE) -> Channel:
    return Channel(name, role, 60_000, 300_000, 500)


CORE = channel("core-1")
ALL = [
    channel("chamber", Role.CHAMBER),
    CORE,
    channel("core-2"),
    channel("core-3"),
    channel("core-4"),
    channel("yard", Role.AMBIENT),
    channel("damp", Role.HUMIDITY),
]


def said(*points: tuple[int, int], name: str = "core-1") -> list[Reading]:
    """Readings from (minute, degC) points."""
    return [
        Reading(name, BEGUN_MS + minute * 60_000, degrees * 1000, 500)
        for minute, degrees in points
    ]


def drawn(
    readings: list[Reading],
    channels: list[Channel] | None = None,
    bands: tuple[Band, ...] = (),
    flags: tuple[Flag, ...] = (),
    hours: int = 10,
    zone: str = "UTC",
) -> Scene:
    return scene(
        channels or [CORE],
        readings,
        bands,
        flags,
        from_ms=BEGUN_MS,
        to_ms=BEGUN_MS + hours * HOUR_MS,
        zone=ZoneInfo(zone),
    )


def curves(found: Scene, width: float = 1.2) -> list[Line]:
    marks = [mark for mark in found.marks if isinstance(mark, Line)]
    return [mark for mark in marks if mark.width == width and not mark.filled]


def words(found: Scene) -> list[str]:
    return [mark.text for mark in found.marks if isinstance(mark, Words)]


def test_a_spike_of_one_reading_is_drawn_however_coarse_the_chart() -> None:
    steady = [(minute / 60, 60) for minute in range(36_000)]
    readings = [
        Reading("core-1", BEGUN_MS + second * 1000, 60_000, 500)
        for second, _ in enumerate(steady)
    ]
    readings[17_003] = readings[17_003]._replace(value_mc=90_000)
    (line,) = curves(drawn(readings))
    heights = [y for _, y in line.points]
    assert len(line.points) < 4_000
    assert min(heights) < max(heights) - 30


def test_no_line_is_drawn_across_a_hole_and_the_hole_is_hatched() -> None:
    before = [(minute, 40) for minute in range(60)]
    after = [(minute, 40) for minute in range(90, 120)]
    found = drawn(said(*before, *after), hours=2)
    left, right = curves(found)
    assert left.points[-1][0] < right.points[0][0]
    hatch = [
        mark for mark in found.marks if isinstance(mark, Line) and mark.width == 0.35
    ]
    assert len(hatch) > 10
    inside = [x for mark in hatch for x, _ in mark.points]
    assert min(inside) >= left.points[-1][0] - 0.01
    assert "longest hole 31 min" in words(found)


def test_a_channel_without_holes_has_no_hatch() -> None:
    found = drawn(said(*((minute, 40) for minute in range(601))))
    assert "no hole" in words(found)
    assert not [
        mark for mark in found.marks if isinstance(mark, Line) and mark.width == 0.35
    ]


@pytest.mark.parametrize(
    ("minutes", "holes"),
    [
        ([], [(0, 10)]),
        ([0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10], []),
        ([0, 1, 2, 5, 6, 7, 8, 9, 10], [(2, 5)]),
        ([3, 4, 5, 6, 7], [(0, 3), (7, 10)]),
    ],
)
def test_where_the_holes_are(minutes: list[int], holes: list[tuple[int, int]]) -> None:
    found = holes_of(
        CORE,
        said(*((minute, 40) for minute in minutes)),
        BEGUN_MS,
        BEGUN_MS + 600_000,
    )
    assert found == [
        Hole(BEGUN_MS + first * 60_000, BEGUN_MS + last * 60_000)
        for first, last in holes
    ]


def test_one_reading_alone_still_shows() -> None:
    (line,) = curves(drawn(said((30, 40))))
    assert len(line.points) == 2


def test_lines_differ_without_colour() -> None:
    styles = [style(ALL, one) for one in ALL[:6]]
    assert len(set(styles)) == 6
    assert len({(width, dash) for width, dash, _ in styles}) == 6


def test_every_line_says_its_name_at_its_end() -> None:
    readings = [
        one
        for channel in ALL
        for one in said(*((m, 40) for m in range(601)), name=channel.name)
    ]
    found = drawn(readings, ALL)
    ends = [mark for mark in found.marks if isinstance(mark, Words) and mark.x > 460]
    named = [mark for mark in ends if mark.bold]
    assert {mark.text for mark in named} == {one.name for one in ALL[:6]}
    heights = sorted(mark.y for mark in named)
    gaps = [after - before for before, after in itertools.pairwise(heights)]
    assert min(gaps) >= 7.4  # six lines end at one place, and their names do not touch


def test_what_is_no_evidence_is_not_drawn() -> None:
    readings = [one._replace(quality=Quality.AGE_UNKNOWN) for one in said((3, 40))]
    assert curves(drawn(readings)) == []


def test_stages_and_bands_are_named_and_boxed() -> None:
    bands = (
        Band("dry", BEGUN_MS, BEGUN_MS + HOUR_MS, 50_000, 60_000),
        Band("chill", BEGUN_MS + HOUR_MS, BEGUN_MS + 10 * HOUR_MS),
    )
    found = drawn(said((0, 20), (1, 21)), bands=bands)
    assert {"dry", "chill"} <= set(words(found))
    assert sum(isinstance(mark, Box) for mark in found.marks) >= 2


def test_flags_that_would_touch_share_their_number() -> None:
    flags = tuple(
        Flag(str(number), BEGUN_MS + minute * 60_000)
        for number, minute in enumerate((100, 103, 105, 400), 1)
    )
    found = words(drawn(said((0, 20)), flags=flags))
    assert "1-3" in found
    assert "4" in found


def test_both_scales_are_there() -> None:
    found = words(drawn(said((0, 0), (1, 100))))
    for celsius, fahrenheit in ((0, 32), (20, 68), (60, 140), (100, 212)):
        assert str(celsius) in found
        assert str(fahrenheit) in found


def test_hours_are_of_the_zone_and_one_comes_twice_in_autumn() -> None:
    """Central European time was put back on 26 October 2025 at 03:00."""
    begun_ms = 1_761_429_600_000  # 2025-10-26T00:00+02:00
    found = scene(
        [CORE],
        [],
        [],
        [],
        from_ms=begun_ms,
        to_ms=begun_ms + 6 * HOUR_MS,
        zone=ZoneInfo("Europe/Berlin"),
    )
    hours = [text for text in words(found) if re.fullmatch(r"\d\d:00", text)]
    assert hours == ["00:00", "01:00", "02:00", "02:00", "03:00", "04:00", "05:00"]


@given(
    st.lists(
        st.tuples(
            st.integers(-10, 700),
            st.integers(-273_150, 1_000_000),
            st.sampled_from([one.name for one in ALL]),
        ),
        max_size=40,
    ),
    st.integers(0, 100),
)
def test_everything_stays_on_the_paper(
    points: list[tuple[int, int, str]], hours: int
) -> None:
    """Whatever was read, no mark leaves the scene by more than a line's width."""
    readings = [
        Reading(name, BEGUN_MS + minute * 60_000, value_mc, 0)
        for minute, value_mc, name in points
    ]
    found = drawn(readings, ALL, hours=hours)
    for mark in found.marks:
        points_of = mark.points if isinstance(mark, Line) else [(mark.x, mark.y)]
        for x, y in points_of:
            assert -2 <= x <= found.width + 2
            assert -2 <= y <= found.height + 2


def test_the_svg_is_well_formed_and_draws(tmp_path: Path) -> None:
    chrome = shutil.which("chromium")
    assert chrome, "chromium is missing; install it: apt-get install chromium"
    bands = (Band("dry & <smoke>", BEGUN_MS, BEGUN_MS + 9 * HOUR_MS, 50_000, 60_000),)
    found = svg(drawn(said(*((m, m // 9) for m in range(600))), bands=bands))
    root = ElementTree.fromstring(found)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    texts = [text.text for text in root.iter("{http://www.w3.org/2000/svg}text")]
    assert "dry & <smoke>" in texts
    (tmp_path / "chart.svg").write_text(found)
    options = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic"]
    options += ["--no-first-run", "--disable-background-networking"]
    options += ["--disable-component-update", "--disable-sync"]
    profile = f"--user-data-dir={tmp_path / 'profile'}"
    shot = f"--screenshot={tmp_path / 'chart.png'}"
    subprocess.run(
        [chrome, *options, profile, shot, str(tmp_path / "chart.svg")],
        capture_output=True,
        check=True,
        timeout=60,
    )
    assert (tmp_path / "chart.png").read_bytes().startswith(b"\x89PNG")
