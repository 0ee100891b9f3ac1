"""The installed broker configuration, kept by a real mosquitto.

"Nothing came" is certain without waiting: the broker hands messages over in order,
so what it had for a client comes before its answer to that client's next request.

Source: mosquitto.conf(5) and, for the codes, MQTT 3.1.1 (OASIS, 2014), 3.2.2.3: 4 bad
user name or password, 5 not authorized; mosquitto answers 5 to both.
"""

import subprocess

import pytest

from tests.deploy.conftest import WAIT_S, Broker, Ear
from tests.tools import tool

NOT_AUTHORIZED = 5


def publish(
    broker: Broker, topic: str, text: str, *who: str
) -> subprocess.CompletedProcess[str]:
    """Publish one message at QoS 1 with Debian's client."""
    port = str(broker.port)
    return subprocess.run(
        [
            *(tool("mosquitto_pub"), "-h", "127.0.0.1", "-p", port, "-q", "1"),
            *("-t", topic, "-m", text, *who),
        ],
        capture_output=True,
        text=True,
        timeout=WAIT_S,
    )


def as_user(broker: Broker, name: str) -> list[str]:
    """The words that make Debian's client log in as a user of the board."""
    return ["-u", name, "-P", broker.board.password(name)]


def test_a_probe_writes_its_own_topic_and_no_other(broker: Broker) -> None:
    ear = Ear(broker, "fumarium", "yard/#")
    cores = as_user(broker, "north-cores")
    for topic, text in [
        ("yard/north/cores", "first"),
        ("yard/north/chamber", "for another"),
        ("yard/north/cores/more", "below its own"),
        ("yard/cooler", "for another"),
        ("yard/north/cores", "last"),
    ]:
        assert publish(broker, topic, text, *cores).returncode == 0
    assert ear.heard_by_now() == ["yard/north/cores first", "yard/north/cores last"]


def test_a_probe_cannot_speak_for_the_daemon(broker: Broker) -> None:
    ear = Ear(broker, "fumarium", "fumarium/#")
    topic, daemon = "fumarium/fumarium/pulse", as_user(broker, "fumarium")
    publish(broker, topic, "1", *daemon)
    publish(broker, topic, "2", *as_user(broker, "cooler"))
    publish(broker, topic, "3", *daemon)
    assert ear.heard_by_now() == [f"{topic} 1", f"{topic} 3"]


def test_a_probe_reads_nothing(broker: Broker) -> None:
    spy, ear = Ear(broker, "north-chamber", "#"), Ear(broker, "fumarium", "yard/#")
    for name, topic in [
        ("north-cores", "yard/north/cores"),
        ("north-chamber", "yard/north/chamber"),  # not even its own
    ]:
        publish(broker, topic, "20.5", *as_user(broker, name))
    assert ear.heard_by_now() == ["yard/north/cores 20.5", "yard/north/chamber 20.5"]
    assert spy.heard_by_now() == []


@pytest.mark.parametrize(
    "who",
    [
        pytest.param([], id="nobody"),
        pytest.param(["-u", "cooler", "-P", "wrong"], id="wrong password"),
        pytest.param(["-u", "stranger", "-P", "any"], id="unknown name"),
    ],
)
def test_who_cannot_show_a_password_is_refused(broker: Broker, who: list[str]) -> None:
    ran = publish(broker, "yard/cooler", "4.0", *who)
    assert ran.returncode == NOT_AUTHORIZED
    assert "not authorised" in ran.stderr
