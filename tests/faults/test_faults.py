"""The short form of every fault: what was published is kept once, judged and told.

Nothing here depends on how fast the machine is: moments are chosen at random, waits
end by a condition, and the deadlines are for a machine that does nine other things.
A cook waits most of the time, so some go on at once, each on a site of its own.
``deploy/faults --long`` does the same hundreds of times.
"""

from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

import pytest

from rules.facts import Event, Reading, Subject
from tests.faults import around, clocks, disorder, power, wire
from tests.faults.row import Row, compared, events_against

SHORT: dict[str, tuple[Callable[[Path, int], Row], int]] = {
    "kills": (power.kills, 10),
    "power cuts, daemon": (power.cuts, 5),
    "power cuts, journal": (power.journal_cuts, 20),
    "broker restarts": (wire.broker_restarts, 5),
    "network cuts": (wire.network_cuts, 5),
    "disk full": (around.full_disk, 2),
    "alert address down": (around.deaf_telephone, 2),
    "mirror down": (around.mirror_away, 1),
    "clock steps": (clocks.steps, 1),
    "clock from 1970": (clocks.from_1970, 1),
    "disorder": (disorder.disorder, 1),
}
AT_ONCE = 3

Rows = Mapping[str, "Future[Row]"]


@pytest.fixture(scope="module")
def rows(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Rows]:
    """What comes of each fault that a test was asked for, some of them at once."""
    folder = tmp_path_factory.mktemp("faults")
    calls = (getattr(item, "callspec", None) for item in request.session.items)
    asked = {call.params["name"] for call in calls if call and "name" in call.params}
    with ThreadPoolExecutor(AT_ONCE) as pool:
        yield {
            name: pool.submit(run, folder / name.replace(" ", "-"), times)
            for name, (run, times) in SHORT.items()
            if name in asked
        }


@pytest.mark.timeout(600)
@pytest.mark.parametrize("name", SHORT)
def test_nothing_is_lost_doubled_misjudged_or_untold(rows: Rows, name: str) -> None:
    row = rows[name].result()
    assert row.good, row
    assert row.published > 0


def test_a_journal_that_does_not_wait_for_the_disk_is_found_out(tmp_path: Path) -> None:
    """The same cuts show a loss where there is one."""
    row = power.journal_cuts(tmp_path, 5, "--careless")
    assert not row.good
    assert row.lost > 0


def test_the_table_sees_what_is_lost_doubled_or_judged_otherwise() -> None:
    one, two = Reading("core-1", 1_000, 5, 1), Reading("core-1", 2_000, 5, 1)
    received = one._replace(received_ms=7)
    assert compared([one, two], [received, two]) == (2, 2, 0, 0)
    assert compared([one, two], [received]) == (2, 1, 0, 1)
    assert compared([one], [one, received]) == (1, 2, 1, 0)
    assert compared([one], [one._replace(value_mc=6)]) == (1, 1, 1, 1)
    event = Event(1, Subject.LIMIT, "lethality", "core-1", "within", "met", "")
    assert events_against([event], [event]) == "equal"
    assert events_against([], [event]).startswith("1 missing")
    assert not Row("x", 1, 2, 2, 0, 0, "equal", 2, 1).good
    assert not Row("x", 1, 2, 2, 0, 0, "equal", 1, 1, ("told nobody",)).good
    assert Row("x", 1, 2, 2, 0, 0, "equal", 1, 1).good
