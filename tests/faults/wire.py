"""The wire between probes, broker and daemon: cut, dead, or with a broker that goes.

``Wire`` is a real TCP relay on loopback.  ``cut`` ends every connection at once, as a
pulled plug does that is noticed; ``stall`` lets octets vanish in silence, as one that
is not noticed, and then ends them.
"""

import random
import select
import socket
import struct
import threading
import time
from contextlib import ExitStack, suppress
from pathlib import Path

from tests.faults import day
from tests.faults.row import Row

RESET = struct.pack("ii", 1, 0)  # SO_LINGER: close with a reset
OCTETS = 65_536


class Wire:
    """A relay to one port."""

    def __init__(self, to_port: int) -> None:
        """Listen on a free port, and pass everything on to ``to_port``."""
        self._to_port = to_port
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self._lock = threading.Lock()
        self._peers: dict[socket.socket, socket.socket] = {}
        self._up, self._stalled, self._over = True, False, False
        self._thread = threading.Thread(target=self._relay, daemon=True)
        self._thread.start()

    def cut(self, for_s: float) -> None:
        """End every connection, and let none through for a while."""
        self._up = False
        self._end_all()
        time.sleep(for_s)
        self._up = True

    def stall(self, for_s: float) -> None:
        """Lose every octet for a while, then end every connection."""
        self._stalled = True
        time.sleep(for_s)
        self._end_all()
        self._stalled = False

    def close(self) -> None:
        """End it."""
        self._over = True
        self._thread.join()
        self._end_all()
        self._listener.close()

    def _relay(self) -> None:
        while not self._over:
            with self._lock:
                watched = [self._listener, *self._peers]
            with suppress(OSError, ValueError):  # one was ended meanwhile
                for ready in select.select(watched, [], [], 0.02)[0]:
                    if ready is self._listener:
                        self._let_in()
                    else:
                        self._pass_on(ready)

    def _let_in(self) -> None:
        near, _ = self._listener.accept()
        if not self._up:
            _reset(near)
            return
        try:
            far = socket.create_connection(("127.0.0.1", self._to_port), 5)
        except OSError:
            _reset(near)
            return
        with self._lock:
            self._peers |= {near: far, far: near}

    def _pass_on(self, ready: socket.socket) -> None:
        with self._lock:
            to = self._peers.get(ready)
        if to is None:
            return
        try:
            octets = ready.recv(OCTETS)
            if octets and not self._stalled:
                to.sendall(octets)
        except OSError:
            octets = b""
        if not octets:
            self._end(ready)

    def _end_all(self) -> None:
        with self._lock:
            ends = list(self._peers)
        for one in ends:
            self._end(one)

    def _end(self, one: socket.socket) -> None:
        with self._lock:
            other = self._peers.pop(one, None)
            if other is not None:
                self._peers.pop(other, None)
        for end in (one, other):
            if end is not None:
                _reset(end)


def _reset(one: socket.socket) -> None:
    with suppress(OSError):
        one.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, RESET)
    one.close()


def network_cuts(folder: Path, times: int) -> Row:
    """The network to the broker is cut at random moments, for probes and daemon."""

    def cook(folder: Path, at_most: int, seed: int) -> Row:
        with ExitStack() as stack:
            wires: list[Wire] = []

            def through(port: int) -> int:
                wires.append(Wire(port))
                stack.callback(wires[0].close)
                return wires[0].port

            site = stack.enter_context(
                day.site(folder, shipped=day.QUICK, through=through)
            )
            chance = random.Random(seed)

            def cut() -> None:
                time.sleep(chance.uniform(0.2, 1.5))
                if chance.random() < 0.5:
                    wires[0].cut(chance.uniform(0.0, 0.5))
                else:
                    wires[0].stall(chance.uniform(0.1, 0.5))

            return day.disturbed("network cut", site, at_most, cut, seed)

    return day.cooks(folder, times, cook)


def broker_restarts(folder: Path, times: int) -> Row:
    """The broker, told what the shipped configuration tells it, is restarted."""

    def cook(folder: Path, at_most: int, seed: int) -> Row:
        chance = random.Random(seed)
        with day.site(folder) as site:

            def restart() -> None:
                time.sleep(chance.uniform(0.2, 1.5))
                site.running.stop()
                time.sleep(chance.uniform(0.0, 0.5))
                site.running.start()

            return day.disturbed("broker restarted", site, at_most, restart, seed)

    return day.cooks(folder, times, cook)
