"""Two signed records of invented cooks: one as it should be, one of a lot on hold."""

import pytest

from daemon import record
from tests.daemon import invented
from tests.daemon.records import KEY


@pytest.fixture(scope="session")
def whole(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The record of a cook in which every critical limit is met."""
    folder = tmp_path_factory.mktemp("yard")
    return record.write(invented.dossier(folder, invented.BRIEF), KEY)


@pytest.fixture(scope="session")
def on_hold(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The record of a cook that went wrong."""
    folder = tmp_path_factory.mktemp("yard")
    return record.write(invented.dossier(folder, invented.BAD), KEY)
