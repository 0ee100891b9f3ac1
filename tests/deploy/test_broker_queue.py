"""What the installed broker keeps for a daemon that is away, through a power cut.

Left to itself mosquitto keeps 1,000 messages for a client and writes them every
half hour (mosquitto.conf(5): max_queued_messages, autosave_interval).
"""

import time

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from tests.deploy.conftest import WAIT_S, Broker, Ear

COUNT = 1_500  # more than the broker would keep if left to itself
TOPIC = "yard/north/cores"


def test_a_long_queue_outlives_the_broker(broker: Broker) -> None:
    Ear(broker, "fumarium", "yard/#").leave()

    probe = mqtt.Client(CallbackAPIVersion.VERSION2)
    probe.username_pw_set("north-cores", broker.board.password("north-cores"))
    probe.connect("127.0.0.1", broker.port)
    probe.loop_start()
    sent = [probe.publish(TOPIC, f"reading {n}.", qos=1) for n in range(COUNT)]
    for one in sent:
        one.wait_for_publish(WAIT_S)
    probe.disconnect()
    probe.loop_stop()

    # On disk within a second of the last acknowledgement, by autosave_on_changes.
    kept, until = broker.queue / "mosquitto.db", time.monotonic() + WAIT_S
    while f"reading {COUNT - 1}.".encode() not in kept.read_bytes():
        assert time.monotonic() < until
        time.sleep(0.02)
    broker.kill()
    broker.start()

    ear = Ear(broker, "fumarium", "yard/#")
    assert ear.take(COUNT) == [f"{TOPIC} reading {n}." for n in range(COUNT)]
    ear.leave()
