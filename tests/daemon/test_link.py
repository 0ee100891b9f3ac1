"""The link to the broker against real servers: what is said, and what recovers.

The servers are a mosquitto, or a few bytes on a socket where no broker would send
them.  Reason codes are those of MQTT 3.1.1 and 5.0 (OASIS Standards).
"""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from daemon.clock import Clock
from daemon.mqtt import Subscriber
from daemon.secrets import Secret
from daemon.settings import Broker, Version
from tests.daemon.subscribers import (
    TOPIC,
    VERSIONS,
    at,
    connected,
    running,
    said,
    taken,
)
from tests.servers import certificates, mosquitto, wait_for


@VERSIONS
@pytest.mark.parametrize(
    ("user", "password"), [("fumarium", "bark"), ("nobody", "moss"), ("", "")]
)
def test_a_wrong_password_is_said(
    tmp_path: Path, version: Version, user: str, password: str
) -> None:
    with mosquitto(tmp_path, users={"fumarium": "moss"}) as server:
        broker = replace(at(server, version), user=user, password=Secret(password))
        with running(broker) as subscriber:
            said(subscriber, "refused: wrong user name or password")
            assert not subscriber.state.connected
            assert "bark" not in repr(subscriber.state)
    with mosquitto(tmp_path / "2", users={"fumarium": "moss"}) as server:
        broker = replace(at(server, version), user="fumarium", password=Secret("moss"))
        with running(broker) as subscriber:
            connected(subscriber)


def test_nobody_at_the_port_is_said_until_somebody_is(tmp_path: Path) -> None:
    with (
        mosquitto(tmp_path, start=False) as server,
        running(at(server)) as subscriber,
    ):
        said(subscriber, f"nobody answers at 127.0.0.1:{server.port}")
        since_ms = subscriber.state.since_ms
        server.start()
        connected(subscriber)
        assert subscriber.state.why == ""
        assert subscriber.state.since_ms >= since_ms


def test_a_name_without_an_address_is_said() -> None:
    with running(Broker(host="nowhere.invalid")) as subscriber:
        # RFC 6761, section 6.4: no name under .invalid has an address.
        said(subscriber, "the name in nowhere.invalid:1883 has no address")


@contextmanager
def answering(answer: bytes, port: int = 0) -> Iterator[int]:
    """A server that is no broker: it answers everybody the same, and hangs up."""
    with socket.create_server(("127.0.0.1", port)) as listener:
        listener.settimeout(0.1)
        over = threading.Event()

        def serve() -> None:
            while not over.is_set():
                try:
                    peer, _ = listener.accept()
                except TimeoutError:
                    continue
                with peer:
                    peer.recv(1000)
                    peer.sendall(answer)

        thread = threading.Thread(target=serve)
        thread.start()
        try:
            yield listener.getsockname()[1]
        finally:
            over.set()
            thread.join()


@VERSIONS
@pytest.mark.parametrize("answer", [b"", b"HTTP/1.1 400 Bad Request\r\n\r\n", b"\x20"])
def test_something_that_is_no_broker_is_said(version: Version, answer: bytes) -> None:
    with (
        answering(answer) as port,
        running(Broker(port=port, version=version)) as subscriber,
    ):
        said(subscriber, f"127.0.0.1:{port} closed the connection without an answer")


# What a broker could say by MQTT 3.1.1 and 5.0, broken: a code that does not exist,
# a message whose topic is longer than the message, a topic that is not UTF-8.
GARBAGE = [
    b"\x20\x02\x00\xee",
    b"\x20\x02\x00\x00" + b"\x30\x02\xff\xff",
    b"\x20\x03\x00\x00\x00" + b"\x32\x03\x00\x09\xff",
    b"\x20\x02\x00\x00" + b"\x30\x05\x00\x02\xff\xff\x00",
    b"\x20\x03\x00\x00\x00" + b"\x30\x06\x00\x02\xff\xff\x00\x00",
]


@VERSIONS
@pytest.mark.parametrize("garbage", GARBAGE)
def test_garbage_from_the_network_ends_nothing(
    tmp_path: Path, version: Version, garbage: bytes
) -> None:
    with mosquitto(tmp_path, start=False) as server:
        with answering(garbage, server.port):
            subscriber = Subscriber(at(server, version), [TOPIC], Clock())
            subscriber.start()
            wait_for(
                lambda: "connecting" not in subscriber.state.why,
                "an answer",
                lambda: subscriber.state,
            )
        server.start()
        connected(subscriber)
        server.publish(TOPIC, ["live"])
        taken(subscriber, 1)
        subscriber.stop()


# The thread ends of an exception on purpose, and paho leaves the sockets that wake
# it to the garbage collector.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_a_network_thread_that_ended_is_started_again() -> None:
    # The settings refuse this name; in here it makes the library raise what it
    # does not expect: ``UnicodeError`` is no ``OSError``.
    with running(Broker(host="a..b")) as subscriber:
        words = "the network thread had ended by an error of its own; started again"

        def restarted() -> bool:
            subscriber.pulse()
            return subscriber.state.why == words

        wait_for(restarted, words, lambda: subscriber.state)
        assert subscriber.troubles()[0].why == words


def test_a_broker_that_says_so_is_believed() -> None:
    # MQTT 5.0, 3.14: DISCONNECT with reason code 0x8E, session taken over.
    taken_over = b"\x20\x03\x00\x00\x00" + b"\xe0\x02\x8e\x00"
    with (
        answering(taken_over) as port,
        running(Broker(port=port, version="5")) as subscriber,
    ):
        said(subscriber, "lost: another client uses the id 'fumarium'")


@VERSIONS
def test_tls_with_an_authority_of_our_own(tmp_path: Path, version: Version) -> None:
    ours = certificates(tmp_path / "ours")
    theirs = certificates(tmp_path / "theirs")
    other_name = certificates(tmp_path / "other", "smokehouse.invalid")
    expired = certificates(tmp_path / "expired", days=-1)
    with mosquitto(tmp_path, tls=ours) as server:
        with running(replace(at(server, version), ca=ours.authority)) as subscriber:
            connected(subscriber)
            server.publish(TOPIC, ["sealed"], options=["--cafile", str(ours.authority)])
            assert [one.arrival.payload for one in taken(subscriber, 1)] == [b"sealed"]
        with running(replace(at(server, version), ca=theirs.authority)) as subscriber:
            said(
                subscriber,
                f"TLS: the certificate of 127.0.0.1:{server.port} is not trusted by "
                f"{theirs.authority}: ",
            )
        with running(at(server, version)) as subscriber:
            said(subscriber, "does it want TLS, or is it none?")
    with mosquitto(tmp_path / "other name", tls=other_name) as server:
        broker = replace(at(server, version), ca=other_name.authority)
        with running(broker) as subscriber:
            said(subscriber, "IP address mismatch, certificate is not valid for")
    with mosquitto(tmp_path / "too late", tls=expired) as server:
        broker = replace(at(server, version), ca=expired.authority)
        with running(broker) as subscriber:
            said(subscriber, "certificate has expired; is this board's clock right?")
    with (
        mosquitto(tmp_path / "plain") as server,
        running(replace(at(server, version), ca=ours.authority)) as subscriber,
    ):
        said(subscriber, f"TLS failed with 127.0.0.1:{server.port}: ")
