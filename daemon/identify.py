"""``fumarium probes identify``: warm one probe in the hand, and hear its name.

It listens to the broker by itself, under a name of its own and with nothing kept for
it there, so it works with and without the daemon and takes no message away from it.
"""

import time
from collections.abc import Callable, Mapping
from queue import Empty, SimpleQueue
from typing import Any
from uuid import uuid4

from paho.mqtt.client import Client, ConnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from daemon import link
from daemon.cli import CHECK_FAILED, GOOD, MACHINE, CommandError
from daemon.clock import Clock
from daemon.mqtt import PROTOCOL, admit
from daemon.settings import Settings
from daemon.uplink import KEEP_ALIVE_S
from probes.contract import Arrival
from probes.decode import decode
from probes.identify import RISE_MC, Watch, heard, named
from rules.channels import Role
from rules.facts import Reading
from rules.units import say_k, say_mc

SAY_S = 5.0
Say = Callable[[str], None]


def identify(settings: Settings, seconds: float, say: Say) -> int:
    """Listen until one channel rises by itself, or until the time is over.

    Raises:
        CommandError: The broker cannot be reached or lets us not in.
        OSError: The certificate authority's file cannot be read.
    """
    arrivals: SimpleQueue[Arrival | str] = SimpleQueue()
    client = _client(settings, arrivals)
    broker = settings.broker
    try:
        client.connect(broker.host, broker.port, KEEP_ALIVE_S)
    except OSError as error:
        place = f"{broker.host}:{broker.port}"
        words = link.unreachable(error, place, str(broker.ca or ""))
        raise CommandError(words, MACHINE) from error
    client.loop_start()
    try:
        return _listened(settings, arrivals, seconds, say)
    finally:
        client.disconnect()
        client.loop_stop()


def _listened(
    settings: Settings, arrivals: "SimpleQueue[Arrival | str]", seconds: float, say: Say
) -> int:
    warm = [one.channel for one in settings.probes if one.role is not Role.HUMIDITY]
    watches = dict.fromkeys(warm, Watch())
    say("listening; leave the probes alone until each has been heard three times")
    end_s, told_s, asked = time.monotonic() + seconds, time.monotonic(), False
    while (now_s := time.monotonic()) < end_s:
        try:
            arrival = arrivals.get(timeout=min(end_s - now_s, SAY_S))
        except Empty:
            arrival = None
        if isinstance(arrival, str):
            raise CommandError(arrival, MACHINE)
        if arrival and not arrival.retained:
            _take(settings, watches, arrival)
        there = {name: one for name, one in watches.items() if one.base}
        if there and not asked and all(one.ready for one in there.values()):
            asked = True
            say(f"heard: {_list(there)}")
            say("now warm ONE probe in your hand; the others stay where they are")
        if name := named(there):
            up = f"up {say_k(there[name].rise_mc)} by itself"
            say(f"it is {name}{_hardware(settings, name)}: {up}")
            return GOOD
        if now_s - told_s >= SAY_S:
            told_s = now_s
            say(f"  {round(end_s - now_s)} s left: {_list(there) or 'nothing heard'}")
    say(_in_vain(watches))
    return CHECK_FAILED


def _hardware(settings: Settings, channel: str) -> str:
    """The probe that the settings bind to a channel; "" where they name none."""
    named = {probe.channel: probe.identity for probe in settings.probes}[channel]
    return f" (probe {named})" if named else ""


def _take(settings: Settings, watches: dict[str, Watch], arrival: Arrival) -> None:
    listening = [probe for probe in settings.probes if probe.topic == arrival.topic]
    for one in decode(listening, arrival):
        if isinstance(one, Reading) and one.channel in watches:
            watches[one.channel] = heard(watches[one.channel], one.value_mc)


def _list(watches: Mapping[str, Watch]) -> str:
    return ", ".join(
        f"{name} {say_mc(one.last_mc)}"
        + (f" (up {say_k(one.rise_mc)})" if one.rise_mc else "")
        for name, one in watches.items()
    )


def _in_vain(watches: Mapping[str, Watch]) -> str:
    """Why nobody was named, and what to do about it."""
    silent = [name for name, one in watches.items() if not one.base]
    rising = [name for name, one in watches.items() if one.rise_mc >= RISE_MC]
    if len(silent) == len(watches):
        return "no channel was heard: do the probes publish, and to these topics?"
    if len(rising) > 1:
        return f"{' and '.join(rising)} rise together: warm one, and let the rest cool"
    seldom = [name for name, one in watches.items() if one.base and not one.ready]
    if seldom:
        names = ", ".join(seldom)
        return f"too seldom heard to tell: {names}; give it longer with --seconds"
    words = "none rose by itself: hold the tip, not the cable"
    return f"{words}; never heard: {', '.join(silent)}" if silent else words


def _client(settings: Settings, arrivals: "SimpleQueue[Arrival | str]") -> Client:
    broker, clock = settings.broker, Clock()
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id=f"{broker.client_id[:40]}-identify-{uuid4().hex[:8]}",
        protocol=PROTOCOL[broker.version],
    )
    admit(client, broker)

    def on_connect(
        client: Client,
        _userdata: Any,
        _flags: ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if reason.is_failure:
            arrivals.put(link.refused(reason.value, reason.getName()))
        else:
            client.subscribe([(topic, 0) for topic in settings.topics])

    def on_message(_client: Client, _userdata: Any, message: MQTTMessage) -> None:
        told = (message.topic, bytes(message.payload), clock.now_ms(), message.retain)
        arrivals.put(Arrival(*told))

    client.on_connect = on_connect
    client.on_message = on_message
    return client
