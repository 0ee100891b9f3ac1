"""What every test may ask for: a free port.  Examples of laws are the same every run.

``pytest --hypothesis-profile=search`` looks for new ones instead.
"""

import pytest
from hypothesis import HealthCheck, settings

from tests.servers import unused_port

# A slow or busy machine is no reason to fail: no deadline, and no opinion on speed.
settings.register_profile(
    "same",
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    print_blob=True,
)
settings.register_profile(
    "search",
    max_examples=2_000,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    print_blob=True,
)


def pytest_configure(config: pytest.Config) -> None:
    """Take the same examples on every machine unless another profile was asked for."""
    settings.load_profile(config.getoption("--hypothesis-profile") or "same")


@pytest.fixture
def free_port() -> int:
    """A TCP port of loopback that nobody listens on."""
    return unused_port()
