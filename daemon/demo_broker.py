"""An embedded broker for the demonstration, where no mosquitto is installed.

It keeps nothing on disk and asks nobody for a password: good enough to watch, not to
rely on.  Real use and the tests take mosquitto.
"""

import asyncio
import sys


async def serve(port: int) -> None:
    """Serve on this machine until the process is ended."""
    from amqtt.broker import Broker

    config = {
        "listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{port}"}},
        "plugins": {
            "amqtt.plugins.authentication.AnonymousAuthPlugin": {
                "allow_anonymous": True
            }
        },
    }
    broker = Broker(config)
    await broker.start()
    await asyncio.Event().wait()


if __name__ == "__main__":
    asyncio.run(serve(int(sys.argv[1])))
