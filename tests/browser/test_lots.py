"""The lots there were, in a real browser: list, one lot, and the record's file.

Source: WCAG 2.2, success criteria 1.4.10 (no scrolling sideways at 320 CSS pixels)
and 1.4.3 (contrast 4.5, see ``test_contrast``).
"""

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import OpenTab, Yard
from tests.browser.test_contrast import SEEN, TEXT, contrast
from tests.daemon import test_addendum as corrected
from tests.daemon.test_addendum import LOT

SIDEWAYS = "document.documentElement.scrollWidth - innerWidth"


@pytest.fixture
def turned(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A lot whose lethality an addendum has turned."""

    def make() -> None:
        place = corrected.Yard(tmp_path, capsys, 5 * 60)
        place.type("addendum", LOT, *corrected.PROBE_HIGH, code=1)

    with ThreadPoolExecutor(1) as other:  # the browser's event loop is in this thread
        other.submit(make).result()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.usefixtures("turned")
def test_a_lot_is_found_read_and_kept(
    open_tab: OpenTab, served: Yard, scheme: str
) -> None:
    watched = open_tab(viewport={"width": 320, "height": 700}, color_scheme=scheme)
    tab = watched.tab
    tab.get_by_role("link", name="All lots").click()
    row = tab.get_by_role("listitem").filter(has_text="One core (invented)")
    expect(row).to_contain_text("■ ON HOLD")
    expect(row).to_contain_text("correction by RT")
    expect(row).to_contain_text("✕ lethality: met, now missed")
    assert tab.evaluate(SIDEWAYS) <= 0
    with tab.expect_download() as kept:
        row.get_by_role("link", name=f"Record of {LOT} (PDF)").click()
    assert kept.value.suggested_filename == f"{LOT}.record.pdf"
    assert kept.value.path().read_bytes().startswith(b"%PDF")
    row.get_by_role("link", name=LOT, exact=True).click()
    expect(tab.get_by_role("heading", name=f"Lot {LOT}")).to_be_visible()
    expect(tab.locator(".limits")).to_contain_text("✕ lethality, CCP-2: missed")
    expect(tab.get_by_role("link", name="Addendum 1 (PDF)")).to_be_visible()
    assert tab.evaluate(SIDEWAYS) <= 0
    seen = tab.evaluate(SEEN)
    assert len(seen) > 15
    assert [one for one in seen if contrast(one[1], one[2]) < TEXT] == []
    assert watched.said == []


@pytest.mark.usefixtures("turned")
def test_a_lot_that_is_not_there_is_said(open_tab: OpenTab, served: Yard) -> None:
    tab = open_tab().tab
    tab.goto(f"http://127.0.0.1:{served.page.port}/lots.html?find=none")
    expect(tab.locator("#count")).to_contain_text("There is no lot whose name holds")
    tab.goto(f"http://127.0.0.1:{served.page.port}/lots.html?lot=X-1")
    expect(tab.locator("#state")).to_have_text("✕ there is no lot 'X-1' in the journal")
