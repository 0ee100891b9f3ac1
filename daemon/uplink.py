"""The board's connection to its broker: packs out at QoS 1, acknowledgements back.

A pack is handed over with the places of its samples in the buffer, and these come
back from ``acknowledged`` once the broker has the pack.  What a broker refused
comes back from ``returned``.  What a lost connection took with it is sent again on
the next one; so a pack may arrive twice, and a reading of one time counts once.
"""

import sys
import threading
from collections.abc import Sequence
from typing import Any

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessageInfo
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from daemon import link
from daemon.clock import Clock
from daemon.link import Link
from daemon.mqtt import PROTOCOL, admit
from daemon.settings import Broker

KEEP_ALIVE_S = 15
BACK_OFF_S = (1, 5)
Places = tuple[int, ...]


class Uplink:
    """One connection that comes back by itself."""

    state: Link

    def __init__(self, broker: Broker, topic: str, clock: Clock) -> None:
        """Make ready; nothing is sent before ``start``."""
        self._broker, self._topic, self._clock = broker, topic, clock
        self._place = f"{broker.host}:{broker.port}"
        self._changed = threading.Lock()
        self._sent: dict[int, Places] = {}
        # Answered before ``send`` had noted them: whether the broker took them.
        self._early: dict[int, bool] = {}
        self._done: list[int] = []
        self._back: list[int] = []
        self._mute = ""  # why the broker takes nothing from us, until it does
        self.state = Link(False, clock.now_ms(), f"connecting to {self._place}")
        self._client = self._new_client()

    def start(self) -> None:
        """Connect, and stay connected until ``stop``; returns at once."""
        broker = self._broker
        self._client.connect_async(broker.host, broker.port, KEEP_ALIVE_S)
        self._client.loop_start()

    def stop(self) -> None:
        """Leave; what was not acknowledged is sent again next time."""
        self._client.disconnect()
        self._client.loop_stop()
        # paho leaves the sockets that wake its thread to the garbage collector.
        self._client._reset_sockets()

    def revive(self) -> None:
        """Start the network thread again where an error of its own has ended it."""
        self._client.loop_start()  # does nothing while it runs

    def room(self) -> int:
        """How many more packs may be on their way now; none while not connected."""
        with self._changed:
            return (
                self._broker.in_flight - len(self._sent) if self.state.connected else 0
            )

    def send(self, pack: str, places: Sequence[int]) -> None:
        """Send a pack of the samples at these places."""
        sent: MQTTMessageInfo = self._client.publish(self._topic, pack, qos=1)
        with self._changed:
            taken = self._early.pop(sent.mid, None)
            if taken is None:
                self._sent[sent.mid] = tuple(places)
            else:
                (self._done if taken else self._back).extend(places)

    def acknowledged(self) -> list[int]:
        """The places whose samples the broker has, since the last call."""
        with self._changed:
            done, self._done = self._done, []
        return done

    def returned(self) -> list[int]:
        """The places whose samples must be sent again, since the last call."""
        with self._changed:
            back, self._back = self._back, []
        return back

    # What follows runs in the network thread.

    def _new_client(self) -> Client:
        broker = self._broker
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=broker.client_id,
            protocol=PROTOCOL[broker.version],
        )
        admit(client, broker)
        client.reconnect_delay_set(*BACK_OFF_S)
        client.max_inflight_messages_set(broker.in_flight)
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_publish = self._on_publish
        return client

    def _on_connect(
        self,
        _client: Client,
        _userdata: Any,
        _flags: ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        why = self._mute
        if reason.is_failure:
            why = link.refused(reason.value, reason.getName())
        self._stand(not reason.is_failure, why)

    def _on_connect_fail(self, _client: Client, _userdata: Any) -> None:
        # paho calls this from inside its ``except OSError`` and hands over nothing.
        error, authority = sys.exc_info()[1], str(self._broker.ca or "")
        self._stand(False, link.unreachable(error, self._place, authority))

    def _on_disconnect(
        self,
        _client: Client,
        _userdata: Any,
        _flags: DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if self.state.connected:
            client_id = self._broker.client_id
            why = link.lost(reason.value, self._place, client_id, often=False)
            # Some brokers hang up on whom they refuse a message.
            self._stand(False, f"lost: {self._mute}" if self._mute else why)

    def _on_publish(
        self,
        _client: Client,
        _userdata: Any,
        mid: int,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        with self._changed:
            places = self._sent.pop(mid, None)
            if places is None:
                self._early[mid] = not reason.is_failure
            else:
                (self._back if reason.is_failure else self._done).extend(places)
        was, self._mute = self._mute, ""
        if reason.is_failure:
            said = reason.getName().lower()
            self._mute = f"the broker refuses what we publish: {said}"
        if self._mute != was:
            self._stand(True, self._mute)

    def _stand(self, connected: bool, why: str) -> None:
        was, since_ms = self.state, self.state.since_ms
        if was.connected != connected:
            since_ms = self._clock.now_ms()
        self.state = Link(connected, since_ms, why)
