"""Contrast of every text and mark, by day and by night.

Source: WCAG 2.2, relative luminance and contrast ratio (the definitions of its
glossary); success criterion 1.4.3 asks 4.5 of text, 1.4.11 asks 3 of a mark that
carries a meaning.  That #767676 on white gives 4.54 is widely quoted: from memory,
to be verified.
"""

import re

import pytest

from tests.browser.conftest import OpenTab, Yard
from tests.test_layers import ROOT

STYLE = (ROOT / "daemon" / "page" / "style.css").read_text(encoding="utf-8")
DAY, NIGHT = (
    dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", block))
    for block in re.findall(r":root \{(.*?)\}", STYLE, re.DOTALL)
)
TEXT, MARK = 4.5, 3.0
PAIRS = [  # what stands on what, and how much it must stand out
    *[(name, "paper", TEXT) for name in ("ink", "soft", "good", "warn", "bad")],
    ("doubt", "paper", TEXT),
    ("ink", "wash", TEXT),
    ("soft", "wash", TEXT),
    ("paper", "ink", TEXT),
    ("on-mark", "bad", TEXT),
    ("line", "paper", MARK),
]


def luminance(colour: str) -> float:
    """The relative luminance of ``#rrggbb``."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4
        for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """The contrast ratio of two colours, from 1 to 21."""
    dark, light = sorted([luminance(one), luminance(other)])
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize(
    ("one", "other", "ratio"),
    [("#000000", "#ffffff", 21.0), ("#767676", "#ffffff", 4.54)],
)
def test_the_ratio_is_worked_out_as_published(
    one: str, other: str, ratio: float
) -> None:
    assert contrast(one, other) == pytest.approx(ratio, abs=0.005)


def test_day_and_night_name_the_same_colours() -> None:
    assert set(DAY) == set(NIGHT)
    assert len(DAY) == 10


@pytest.mark.parametrize("colours", [DAY, NIGHT], ids=["day", "night"])
@pytest.mark.parametrize(("front", "back", "least"), PAIRS)
def test_what_carries_a_meaning_stands_out(
    colours: dict[str, str], front: str, back: str, least: float
) -> None:
    assert contrast(colours[front], colours[back]) >= least


@pytest.mark.parametrize("colours", [DAY, NIGHT], ids=["day", "night"])
def test_running_text_can_be_read_in_sunlight(colours: dict[str, str]) -> None:
    """WCAG 1.4.6 asks 7 for the enhanced level."""
    assert contrast(colours["ink"], colours["paper"]) >= 7
    assert contrast(colours["soft"], colours["paper"]) >= 7


def test_no_colour_is_written_outside_the_variables() -> None:
    rules = STYLE[STYLE.index("* { box-sizing") :]
    assert re.findall(r"#[0-9a-f]{3,8}\b(?!-)", rules) == []


# Every element with text of its own: its colour, and the first background behind it.
SEEN = """() => {
  const hex = (css) => {
    const [r, g, b, a = 1] = css.match(/[\\d.]+/g).map(Number);
    if (a === 0) return null;
    return '#' + [r, g, b].map((n) => n.toString(16).padStart(2, '0')).join('');
  };
  const behind = (node) => {
    for (let one = node; one; one = one.parentElement) {
      const found = hex(getComputedStyle(one).backgroundColor);
      if (found) return found;
    }
    return '#ffffff';
  };
  const texts = [...document.querySelectorAll('body *')].filter((one) =>
    one.getClientRects().length && !one.closest('.unseen, svg') &&
    [...one.childNodes].some((n) => n.nodeType === 3 && n.data.trim()));
  return texts.map((one) => [one.textContent.slice(0, 40),
    hex(getComputedStyle(one).color), behind(one)]);
}"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_text_on_the_page_stands_out(
    open_tab: OpenTab, served: Yard, scheme: str
) -> None:
    served.show(pace=60)
    tab = open_tab(color_scheme=scheme).tab
    tab.get_by_text("Write a note or a corrective action").click()
    seen = tab.evaluate(SEEN)
    assert len(seen) > 50
    assert [
        (words, front, back)
        for words, front, back in seen
        if contrast(front, back) < TEXT
    ] == []
    backs = {back for _, _, back in seen}
    paper = (DAY if scheme == "light" else NIGHT)["paper"]
    assert paper in backs
