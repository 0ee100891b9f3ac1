"""A publisher of its own process: so many SenML messages, as fast as they are taken."""

import sys
import time

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

IN_FLIGHT = 1000


def main(port: int, messages: int) -> None:
    """Publish at QoS 1; return when the broker has acknowledged every message."""
    client = Client(CallbackAPIVersion.VERSION2)
    client.max_inflight_messages_set(IN_FLIGHT)
    client.connect("127.0.0.1", port)
    client.loop_start()
    before_ms: dict[str, int] = {}
    for number in range(messages):
        name = "core-1" if number % 2 else "chamber"
        # A probe gives one value a millisecond at most.
        at_ms = max(time.time_ns() // 1_000_000, before_ms.get(name, 0) + 1)
        before_ms[name] = at_ms
        payload = f'[{{"n":"{name}","u":"Cel","bt":{at_ms / 1000:.3f},"v":61.5}}]'
        last = client.publish(f"bench/{name}", payload, qos=1)
    last.wait_for_publish(120)
    client.loop_stop()
    client.disconnect()


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
