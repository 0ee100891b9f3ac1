"""A site for every end-to-end test, with parts that end with the test."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from tests.end_to_end.site import PASSWORD, Site
from tests.receivers import HttpReceiver
from tests.servers import mosquitto

# The shipped broker writes its store at every change, which is right for a few
# messages a second and too slow for a clock that goes a thousand times as fast.
QUICK = "max_queued_messages 0\nmax_inflight_messages 1000"

MakeSite = Callable[..., Site]


@pytest.fixture
def make_site(tmp_path: Path) -> Iterator[MakeSite]:
    """Make a site that runs so many times as fast as real time."""
    yield from _sites(tmp_path)


@pytest.fixture(scope="module")
def make_one_site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[MakeSite]:
    """The same, for a site that several tests look at."""
    yield from _sites(tmp_path_factory.mktemp("site"))


def _sites(folder: Path) -> Iterator[MakeSite]:
    with ExitStack() as parts:

        def make(times: int, **more: str) -> Site:
            users = {"fumarium": PASSWORD}
            broker = parts.enter_context(mosquitto(folder, users, shipped=QUICK))
            receiver = parts.enter_context(HttpReceiver())
            site = Site(folder, broker, receiver, times, **more)
            parts.callback(site.stop)
            return site

        yield make
