"""The subscriber: MQTT in, messages out in groups, acknowledged when they are durable.

Rule 1: a QoS 1 message is acknowledged by ``acknowledge`` alone, and only on the
connection it came by: after a return the broker sends it again, and its packet id
may by then belong to another message.
Rule 2: the broker keeps our session while we are away (clean session off, or a
session that never expires), and every connection subscribes again, since a broker
that lost its store lets us in and would leave us deaf.
What it had kept for us is gone then, and that is told.
Rule 3: nothing ends ingest silently.  A fault in a callback is kept with its message
as a ``Trouble``; a network thread that ended is started again by ``pulse``.

The *pulse* is a message we publish to ourselves once a second.  The broker hands
out messages in the order in which it got them, so whatever arrives after a pulse
that left us a moment ago is no older than that moment.  A message that no such
pulse vouches for is marked ``waited``: it may have stood in the broker's queue.

The *status* is a retained message for whoever else looks at the broker: "online" and
since when, or "offline".  When we are lost the broker says that for us (our last
will), and cannot know since when.  Nothing here reads it: readings that come prove
more than any status.  It is said once the pulse is back, and no more where the broker
hangs up on it: mosquitto 2.0 does that to whom it refuses a message (MQTT 3.1.1 has
no other way to refuse one).  Where it is the pulse that it refuses, we are let in and
hung up on for ever, and the link has to say so in words.

A *flap* is a connection that ends soon after it began.  Two clients with one id end
each other's for ever, each at once after the other, and share out the readings.  So
after a few flaps we come back more slowly, and the link says what may be the matter
until a connection has stood for ``STOOD_MS``: a link that comes and goes is not well.

Units: ``_ms`` milliseconds, by the clock that was handed in; ``_s`` seconds.
"""

import json
import ssl
import sys
import threading
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from typing import Any, NamedTuple

from paho.mqtt.client import (
    Client,
    ConnectFlags,
    DisconnectFlags,
    MQTTMessage,
)
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from daemon import link
from daemon.clock import Clock
from daemon.link import Link
from daemon.settings import Broker
from probes.contract import Arrival

WILL = json.dumps({"status": "offline", "since_ms": None})
PROTOCOL = {"3.1.1": MQTTProtocolVersion.MQTTv311, "5": MQTTProtocolVersion.MQTTv5}
KEEP_ALIVE_S = 15
BACK_OFF_S = (1, 30)
NEVER_EXPIRES_S = 0xFFFFFFFF  # MQTT 5.0, 3.1.2.11.2

LARGEST_GROUP = 1000
ENOUGH = 8  # messages that are worth a group of their own
IDLE_MS = 20
SLICE_S = 0.1  # how long a full queue blocks before it looks whether to stop

LIVE_MS = 5_000  # a pulse that left longer ago vouches for nothing
OVERDUE_MS = 60_000
STOOD_MS = 60_000  # twice the longest back-off, or a slow fight would look like none
OFTEN = 3  # flaps in a row that look like two clients with one id
TROUBLES_KEPT = PULSES_KEPT = 1000
HANG_UPS, HANG_UP_MS = 2, 2_000


class Message(NamedTuple):
    """One message, and what it takes to acknowledge it."""

    arrival: Arrival
    packet: int
    qos: int
    duplicate: bool  # the broker says it may have sent it before
    connection: int  # which connection of this subscriber it came by


class Trouble(NamedTuple):
    """Something that went wrong on the way in, for the journal and the page."""

    at_ms: int
    why: str
    message: Message | None = None  # keep it, then acknowledge it like any other
    forgotten: bool = False  # the broker knew nothing of our session


class _ClosingSocket(ssl.SSLSocket):
    """A socket that does not stay open when it fails to agree; paho lets it."""

    def do_handshake(self, block: bool = False) -> None:
        try:
            super().do_handshake(block)
        except OSError:
            self.close()
            raise


def pulse_topic(client_id: str) -> str:
    """Where the daemon publishes its pulse."""
    return f"fumarium/{client_id}/pulse"


def status_topic(client_id: str) -> str:
    """Where the daemon's status is kept."""
    return f"fumarium/{client_id}/status"


def admit(client: Client, broker: Broker) -> None:
    """Give a client what lets it in at the broker.

    Raises:
        OSError: The certificate authority's file cannot be read.
    """
    if broker.user:
        password = broker.password.reveal() if broker.password else None
        client.username_pw_set(broker.user, password)
    if broker.ca:
        context = ssl.create_default_context(cafile=str(broker.ca))
        context.sslsocket_class = _ClosingSocket
        client.tls_set_context(context)


class Subscriber:
    """The daemon's one connection to its broker."""

    state: Link

    def __init__(
        self,
        broker: Broker,
        topics: Sequence[str],
        clock: Clock,
        queue_size: int = 5000,
        known: bool = False,
    ) -> None:
        """Make ready; nothing is sent before ``start``.

        ``known`` says that a broker has kept a session for us before.

        Raises:
            OSError: The certificate authority's file cannot be read.
        """
        self._broker = broker
        self._place = f"{broker.host}:{broker.port}"
        self._pulse_topic = pulse_topic(broker.client_id)
        self._status_topic = status_topic(broker.client_id)
        self._topics = (*dict.fromkeys(topics), self._pulse_topic)
        self._clock = clock
        self._size = queue_size
        self._known = known
        self._at_most = max(1, min(broker.in_flight, LARGEST_GROUP) * 3 // 4)

        # Never publish while holding this: paho holds its own lock in callbacks.
        self._changed = threading.Condition()
        self._queue: deque[Message] = deque()
        self._connection = 0
        self._stopping = False
        self._grouped_ms = 0

        self._pulses: dict[bytes, int] = {}  # stamp to when it left, if not back
        self._vouched_ms: int | None = None  # when the last one that is back left
        self._overdue_told = False
        self._unheard_ms: int | None = None  # when the last connection's left in vain
        self._unheard = 0  # connections in a row that were lost right after it

        self._online_ms: int | None = None  # when this connection said that it is
        self._hung_up = 0  # on us, right after we had said so
        self._answer = ""  # what the broker said to this attempt to connect
        self._deaf = ""  # why messages do not reach us, until the next connection
        self._mute = ""  # why a pulse does not come back, until one does
        self._mute_said = ""  # the same, once the link was lost of it
        self._connected_ms = 0  # monotonic: when the last connection began
        self._flaps = 0  # connections in a row that did not stand
        self._shaky = ""  # what may be the matter, until one has stood
        self._troubles: deque[Trouble] = deque(maxlen=TROUBLES_KEPT)
        self.trouble_count = 0
        self.state = Link(False, clock.now_ms(), "not started")
        self._client = self._new_client()

    def start(self) -> None:
        """Connect, and stay connected until ``stop``; returns at once."""
        self._stand(False, f"connecting to {self._place}")
        properties = None
        if self._broker.version == "5":
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            properties.SessionExpiryInterval = NEVER_EXPIRES_S
            properties.ReceiveMaximum = self._broker.in_flight
        self._client.connect_async(
            self._broker.host,
            self._broker.port,
            KEEP_ALIVE_S,
            clean_start=False,
            properties=properties,
        )
        self._client.loop_start()

    def stop(self) -> None:
        """Send what was acknowledged, then leave; the broker keeps our session."""
        with self._changed:
            self._stopping = True
            self._changed.notify_all()
        if self.state.connected and self._online_ms is not None:
            self._say_status("offline", self._clock.now_ms())
        self._client.disconnect()
        self._client.loop_stop()
        # paho leaves the sockets that wake its thread to the garbage collector.
        self._client._reset_sockets()
        self._stand(False, "stopped")

    def take(self, at_most: int = 0, wait_s: float = 1.0) -> list[Message]:
        """A group of messages in order of arrival, empty after ``wait_s`` of none.

        A full group (``at_most``, or three quarters of what the broker sends
        without acknowledgement) comes at once, a large one as soon as no more
        follow; small ones come at most once in ``wait_s``.
        """
        at_most = at_most or self._at_most
        wait_ms = round(wait_s * 1000)
        end_ms = self._clock.monotonic_ms() + wait_ms
        group: list[Message] = []
        with self._changed:
            while not self._stopping:
                while self._queue and len(group) < at_most:
                    group.append(self._queue.popleft())
                self._changed.notify_all()
                now_ms = self._clock.monotonic_ms()
                patience_ms = end_ms - now_ms
                if group:
                    due_ms = self._grouped_ms + wait_ms
                    soon = len(group) >= ENOUGH or now_ms >= due_ms
                    more_ms = IDLE_MS if soon else due_ms - now_ms
                    patience_ms = min(patience_ms, more_ms)
                if len(group) >= at_most or patience_ms <= 0:
                    break
                if not self._changed.wait_for(self._anything, patience_ms / 1000):
                    break
        if group:
            self._grouped_ms = self._clock.monotonic_ms()
        return group

    def acknowledge(self, messages: Iterable[Message]) -> None:
        """Tell the broker that these are durable here and need not come again."""
        with self._changed:
            for one in messages:
                if one.qos and one.connection == self._connection:
                    self._client.ack(one.packet, one.qos)

    def publish(
        self, topic: str, payload: str | bytes, qos: int = 1, retain: bool = False
    ) -> None:
        """Send a message; at QoS 1 it is kept until a broker has it."""
        self._client.publish(topic, payload, qos, retain)

    def pulse(self) -> None:
        """Send the clock's stamp to ourselves, and see that the link is alive."""
        if self._client.loop_start() is MQTTErrorCode.MQTT_ERR_SUCCESS:
            why = "the network thread had ended by an error of its own; started again"
            self._stand(False, why)
            self._trouble(why)
        if not self.state.connected:
            return
        stamp = b"%d" % self._clock.now_ms()
        now_ms = self._clock.monotonic_ms()
        if self._shaky and now_ms - self._connected_ms >= STOOD_MS:
            self._shaky = ""
            self._stand(True, self._why())
        with self._changed:
            first_ms = next(iter(self._pulses.values()), now_ms)
            overdue = now_ms - first_ms > OVERDUE_MS and not self._overdue_told
            leaves = len(self._pulses) < PULSES_KEPT and stamp not in self._pulses
            if leaves:
                self._pulses[stamp] = now_ms
            self._overdue_told |= overdue
        if overdue:
            self._mute = self._overdue()
            self._stand(self.state.connected, self._mute)
            self._trouble(self._mute)
        if leaves:  # each is kept until the broker has it, which may wait for us
            self._client.publish(self._pulse_topic, stamp, qos=1)

    def troubles(self) -> list[Trouble]:
        """What went wrong since the last call."""
        found: list[Trouble] = []
        while self._troubles:
            found.append(self._troubles.popleft())
        return found

    # What follows runs in the network thread.

    def _new_client(self) -> Client:
        broker, three = self._broker, self._broker.version == "3.1.1"
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=broker.client_id,
            clean_session=False if three else None,
            protocol=PROTOCOL[broker.version],
            manual_ack=True,
        )
        admit(client, broker)
        client.reconnect_delay_set(*BACK_OFF_S)
        client.on_pre_connect = self._kept(self._on_pre_connect)
        client.on_connect = self._kept(self._on_connect)
        client.on_connect_fail = self._kept(self._on_connect_fail)
        client.on_disconnect = self._kept(self._on_disconnect)
        client.on_socket_close = self._kept(self._on_socket_close)
        client.on_subscribe = self._kept(self._on_subscribe)
        client.on_publish = self._kept(self._on_publish)
        client.on_message = self._on_message
        return client

    def _kept(self, callback: Callable[..., None]) -> Callable[..., None]:
        """The callback, with what it raises kept instead of ending the thread."""

        def called(*arguments: Any) -> None:
            try:
                callback(*arguments[2:])  # paho's client and userdata come first
            except Exception as error:
                self._trouble(f"{callback.__name__}: {error!r}")

        return called

    def _say_status(self, status: str, since_ms: int) -> None:
        text = json.dumps({"status": status, "since_ms": since_ms})
        self._client.publish(self._status_topic, text, qos=1, retain=True)

    def _count_hang_up(self, now_ms: int) -> None:
        """See whether it was the status that the broker would not have."""
        online_ms, self._online_ms = self._online_ms, None
        if online_ms is None:
            return
        self._hung_up = self._hung_up + 1 if now_ms - online_ms < HANG_UP_MS else 0
        if self._hung_up == HANG_UPS:
            self._trouble(
                f"the broker hangs up on the status on {self._status_topic!r}, so it "
                f"is said no more: {self._who()} write it?"
            )

    def _count_unheard(self, now_ms: int) -> None:
        """See whether it was the pulse that the broker would not have."""
        left_ms = self._unheard_ms
        if left_ms is None:  # none left on it, or it was one of an earlier connection
            return
        self._unheard = self._unheard + 1 if now_ms - left_ms < HANG_UP_MS else 0
        if self._unheard >= HANG_UPS:
            self._mute = (
                f"the broker hangs up on the pulse on {self._pulse_topic!r}: "
                f"{self._who()} write and read it?"
            )

    def _count_flap(self, now_ms: int) -> None:
        """See whether the connection stood, and how long to wait with the next one."""
        stood = now_ms - self._connected_ms >= STOOD_MS
        self._flaps = 0 if stood else self._flaps + 1
        soonest_s, latest_s = BACK_OFF_S
        doubled = min(max(self._flaps - OFTEN + 1, 0), 5)
        self._client.reconnect_delay_set(
            min(soonest_s * 2**doubled, latest_s), latest_s
        )

    def _why(self) -> str:
        """What is wrong with a connection that stands."""
        return self._mute or self._deaf or self._shaky

    def _who(self) -> str:
        return f"may {self._broker.user!r}" if self._broker.user else "may we"

    def _on_pre_connect(self) -> None:
        self._answer = ""
        self._client.will_set(self._status_topic, WILL, qos=1, retain=True)

    def _on_socket_close(self, _socket: object) -> None:
        # Before paho forgets what it had to send: no acknowledgement that is
        # queued after this can reach the next connection.
        with self._changed:
            self._connection += 1
            left_ms = next(iter(self._pulses.values()), None)
            self._unheard_ms = left_ms if self._vouched_ms is None else None
            self._pulses.clear()
            self._vouched_ms = None
            self._overdue_told = False

    def _on_connect(
        self, flags: ConnectFlags, reason: ReasonCode, _properties: Properties
    ) -> None:
        if reason.is_failure:
            self._answer = "refused"
            self._stand(False, link.refused(reason.value, reason.getName()))
            return
        self._answer = "accepted"
        self._deaf = ""
        self._connected_ms = self._clock.monotonic_ms()
        if self._known and not flags.session_present:
            why = link.forgotten(self._place, self._broker.client_id)
            self._trouble(why, forgotten=True)
        self._known = True
        self._client.subscribe([(topic, 1) for topic in self._topics])
        self._stand(True, self._why())

    def _on_connect_fail(self) -> None:
        # paho calls this from inside its ``except OSError`` and hands over nothing.
        error = sys.exc_info()[1]
        self._stand(
            False, link.unreachable(error, self._place, str(self._broker.ca or ""))
        )

    def _on_disconnect(
        self, _flags: DisconnectFlags, reason: ReasonCode, _properties: Properties
    ) -> None:
        answer, self._answer = self._answer, "over"
        if self._stopping or answer in ("refused", "over"):
            return
        if not answer:
            self._stand(False, link.unanswered(self._place, bool(self._broker.ca)))
            return
        now_ms = self._clock.monotonic_ms()
        self._count_hang_up(now_ms)
        self._count_unheard(now_ms)
        self._count_flap(now_ms)
        # MQTT 3.1.1 has no reason code for a second client, and with MQTT 5
        # mosquitto 2.0.11 sends none either: they only hang up.
        often = self._flaps >= OFTEN
        why = link.lost(reason.value, self._place, self._broker.client_id, often)
        self._shaky = why if often else ""
        if self._mute:  # some brokers hang up on whom they refuse a message
            why = f"lost: {self._mute}"
        self._stand(False, why)
        if not self._mute or self._mute != self._mute_said:  # it is so every second
            self._trouble(why)
        self._mute_said = self._mute

    def _on_subscribe(
        self, _mid: int, reasons: list[ReasonCode], _properties: Properties
    ) -> None:
        for topic, reason in zip(self._topics, reasons, strict=True):
            if reason.is_failure:
                self._deaf = f"the broker refuses the subscription to {topic!r}"
                self._stand(True, self._deaf)
                self._trouble(self._deaf)

    def _on_publish(
        self, _mid: int, reason: ReasonCode, _properties: Properties
    ) -> None:
        if reason.is_failure:
            said = reason.getName().lower()
            self._mute = f"the broker refuses what we publish: {said}"
            self._stand(True, self._mute)
            self._trouble(self._mute)

    def _on_message(self, _client: Client, _userdata: Any, raw: MQTTMessage) -> None:
        try:
            self._put(self._message(raw, self._clock.now_ms()))
        except Exception as error:
            self._trouble(f"a message could not be taken in: {error!r}", raw)

    def _message(self, raw: MQTTMessage, received_ms: int) -> Message:
        if raw._topic == self._pulse_topic.encode():
            self._vouch(bytes(raw.payload))
        now_ms = self._clock.monotonic_ms()
        waited = self._vouched_ms is None or now_ms - self._vouched_ms > LIVE_MS
        return _message(raw, received_ms, waited, self._connection)

    def _vouch(self, stamp: bytes) -> None:
        with self._changed:
            left_ms = self._pulses.pop(stamp, None)
            if left_ms is None:  # one of an earlier connection
                return
            self._vouched_ms = left_ms
            for other in [s for s, at_ms in self._pulses.items() if at_ms < left_ms]:
                del self._pulses[other]
        self._unheard = 0
        if self._mute:
            self._mute = ""
            self._stand(True, self._why())
        if self._online_ms is None and self._hung_up < HANG_UPS:
            self._online_ms = self._clock.monotonic_ms()
            self._say_status("online", self.state.since_ms)

    def _put(self, message: Message) -> None:
        """Queue it; while the queue is full the broker has to wait, and so do we."""
        with self._changed:
            while len(self._queue) >= self._size and not self._stopping:
                self._changed.wait(SLICE_S)
            if not self._stopping:  # else the broker sends it again next time
                self._queue.append(message)
                self._changed.notify_all()

    def _anything(self) -> bool:
        return bool(self._queue) or self._stopping

    def _stand(self, connected: bool, why: str) -> None:
        was = self.state
        since_ms = was.since_ms
        if was.connected != connected:
            since_ms = self._clock.now_ms()
        self.state = Link(connected, since_ms, why)

    def _overdue(self) -> str:
        who = f" and may {self._broker.user!r} write and read it?"
        return (
            f"the pulse on {self._pulse_topic!r} has not come back for "
            f"{OVERDUE_MS // 1000} s: is the broker working off a long queue,"
            f"{who if self._broker.user else ' or is it not allowed?'}"
        )

    def _trouble(
        self, why: str, raw: MQTTMessage | None = None, *, forgotten: bool = False
    ) -> None:
        self.trouble_count += 1
        try:
            at_ms = self._clock.now_ms()
        except Exception:  # the clock itself may be what is broken
            at_ms = 0
        message = _message(raw, at_ms, True, self._connection) if raw else None
        self._troubles.append(Trouble(at_ms, why, message, forgotten))


def _message(raw: MQTTMessage, at_ms: int, waited: bool, connection: int) -> Message:
    # Not ``raw.topic``: that raises where a topic is not UTF-8.
    topic = raw._topic.decode("utf-8", "backslashreplace")
    arrival = Arrival(topic, bytes(raw.payload), at_ms, bool(raw.retain), waited)
    return Message(arrival, raw.mid, raw.qos, bool(raw.dup), connection)
