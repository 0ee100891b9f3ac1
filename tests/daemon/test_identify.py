"""``fumarium probes identify`` with real messages through a real broker."""

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from daemon.cli import CHECK_FAILED, GOOD, CommandError
from daemon.identify import identify
from daemon.settings import Settings, read_settings
from tests.servers import Mosquitto, mosquitto, unused_port

SETTINGS = """\
site: Juniper Yard
journal: journal.db
records: records
key: device-key.pem
broker: {{port: {port}}}
channels:
  - {{channel: core-1, smokehouse: north, role: core, topic: yard/one,
     payload: number, unit: degC, every: 1 s, quiet after: 10 s, accuracy: 0.5 K,
     probe: A7}}
  - {{channel: core-2, smokehouse: north, role: core, topic: yard/two,
     payload: number, unit: degF, every: 1 s, quiet after: 10 s, accuracy: 0.5 K}}
"""


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    """A broker without passwords."""
    with mosquitto(tmp_path) as running:
        yield running


def settings(port: int) -> Settings:
    """Two invented probes on one broker."""
    found = read_settings(Path("s.yaml"), SETTINGS.format(port=port), {})
    assert isinstance(found, Settings), found
    return found


class Ear:
    """What is said to the person; it acts on the words as a person would."""

    def __init__(self, broker: Mosquitto, first: str, second: str) -> None:
        """What the second probe says while the first is held."""
        self.said: list[str] = []
        self.broker, self.first, self.second = broker, first, second

    def __call__(self, words: str) -> None:
        """Publish when asked: the still values first, then the warm ones."""
        self.said.append(words)
        if words.startswith("listening"):
            threading.Timer(0.5, self.still).start()
        if words.startswith("now warm ONE"):
            for second in (self.second, self.second):
                self.broker.publish("yard/two", [second])
                self.broker.publish("yard/one", [self.first])

    def still(self) -> None:
        """Say how both lie, again and again until they were surely heard."""
        for _ in range(3):
            self.broker.publish("yard/two", ["68.0"])
            self.broker.publish("yard/one", ["20.0"])


def test_the_one_that_rises_by_itself_is_named(broker: Mosquitto) -> None:
    ear = Ear(broker, "27.5", "68.2")
    assert identify(settings(broker.port), 30.0, ear) == GOOD
    assert ear.said[1:] == [
        "heard: core-1 20.0 degC, core-2 20.0 degC",
        "now warm ONE probe in your hand; the others stay where they are",
        "it is core-1 (probe A7): up 7.5 K by itself",
    ]


def test_two_that_rise_together_are_not_told_apart(broker: Mosquitto) -> None:
    ear = Ear(broker, "27.5", "80.0")
    assert identify(settings(broker.port), 2.0, ear) == CHECK_FAILED
    assert ear.said[-1] == (
        "core-1 and core-2 rise together: warm one, and let the rest cool"
    )


def test_none_that_rises_is_named_nobody(broker: Mosquitto) -> None:
    ear = Ear(broker, "20.2", "68.2")
    assert identify(settings(broker.port), 2.0, ear) == CHECK_FAILED
    assert ear.said[-1] == "none rose by itself: hold the tip, not the cable"


def test_one_that_is_heard_too_seldom_is_said(broker: Mosquitto) -> None:
    """It might be rising too: nobody is named, and the person is told why."""
    said: list[str] = []

    def ear(words: str) -> None:
        said.append(words)
        if words.startswith("listening"):
            threading.Timer(0.5, speak).start()

    def speak() -> None:
        broker.publish("yard/two", ["68.0"])
        broker.publish("yard/one", ["20.0", "20.0", "20.0", "27.5", "27.5"])

    assert identify(settings(broker.port), 2.0, ear) == CHECK_FAILED
    assert said[-1] == (
        "too seldom heard to tell: core-2; give it longer with --seconds"
    )


def test_nobody_speaks(broker: Mosquitto) -> None:
    said: list[str] = []
    assert identify(settings(broker.port), 0.3, said.append) == CHECK_FAILED
    assert said[-1] == (
        "no channel was heard: do the probes publish, and to these topics?"
    )


def test_no_broker_is_said_in_words() -> None:
    with pytest.raises(CommandError, match="nobody answers"):
        identify(settings(unused_port()), 1.0, print)


def test_a_broker_that_wants_a_password_is_said_in_words(tmp_path: Path) -> None:
    with (
        mosquitto(tmp_path, users={"yard": "secret"}) as locked,
        pytest.raises(CommandError, match="user"),
    ):
        identify(settings(locked.port), 10.0, print)


def test_it_keeps_no_session_at_the_broker(broker: Mosquitto) -> None:
    identify(settings(broker.port), 0.5, lambda _: None)
    broker.stop()
    store = (broker.folder / "store").glob("*.db")
    assert not any(b"identify" in path.read_bytes() for path in store)
