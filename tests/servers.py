"""A real broker for the tests: mosquitto on a free port of loopback.

It runs with the settings of the configuration that is shipped, keeps its store over
``restart`` and ``kill``, and is ready once something answers at its port.  Tests that
publish do it with mosquitto's own program, which shares no code with ours.
"""

import os
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

from tests.tools import tool

DEADLINE_S = 20.0

# 10,000 to 29,999, from somewhere on and around once.
_FIRST = os.getpid() * 997 % 20_000
_PORTS = (10_000 + (_FIRST + i) % 20_000 for i in range(20_000))

SHIPPED = """\
persistence true
autosave_on_changes true
autosave_interval 1
max_queued_messages 0
max_inflight_messages 1000
"""


@dataclass(frozen=True)
class Certificates:
    """Who signed, and what a server shows: paths of PEM files."""

    authority: Path
    certificate: Path
    key: Path


@dataclass
class Mosquitto:
    """One broker; its configuration, store and log lie in ``folder``."""

    folder: Path
    port: int
    secure: bool = False
    _process: subprocess.Popen[bytes] | None = field(default=None, repr=False)

    def start(self) -> None:
        """Start it; returns when it answers at its port."""
        with (self.folder / "log").open("ab") as log:
            self._process = subprocess.Popen(
                [tool("mosquitto"), "-c", str(self.folder / "mosquitto.conf")],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
            )
        wait_for(self._answers, f"mosquitto on port {self.port}")

    def stop(self) -> None:
        """End it as a system does that shuts down: it writes its store first."""
        self._end(signal.SIGTERM)

    def kill(self) -> None:
        """End it as a power cut does."""
        self._end(signal.SIGKILL)

    def restart(self) -> None:
        """Stop it and start it on the same port with what it has stored."""
        self.stop()
        self.start()

    def set_password(self, user: str, password: str) -> None:
        """Give a user another password, and have the running broker take it up."""
        _password(self.folder / "passwords", user, password)
        assert self._process is not None
        self._process.send_signal(signal.SIGHUP)

    def forget(self) -> None:
        """Take away the store of a broker that is not running."""
        for path in (self.folder / "store").iterdir():
            path.unlink()

    def log(self) -> str:
        """All that it has said."""
        return (self.folder / "log").read_text(encoding="utf-8", errors="replace")

    def publish(
        self,
        topic: str,
        payloads: Iterable[str | bytes],
        *,
        qos: int = 1,
        retain: bool = False,
        options: Iterable[str] = (),
    ) -> None:
        """Publish one message a payload; returns when the broker has them all."""
        lines = [one.encode() if isinstance(one, str) else one for one in payloads]
        command = [tool("mosquitto_pub"), "-h", "127.0.0.1", "-p", str(self.port)]
        command += ["-t", topic, "-q", str(qos), *(["-r"] if retain else []), *options]
        if len(lines) == 1:
            command, piped = [*command, "-s"], lines[0]
        else:
            command, piped = [*command, "-l"], b"".join(line + b"\n" for line in lines)
        subprocess.run(command, input=piped, check=True, timeout=60)

    def _end(self, how: signal.Signals) -> None:
        if self._process is not None:
            self._process.send_signal(how)
            self._process.wait(DEADLINE_S)
            self._process = None

    def _answers(self) -> bool:
        assert self._process is not None
        if self._process.poll() is not None:
            raise AssertionError(f"mosquitto ended:\n{self.log()}")
        with suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 1):
            return True
        return False


@contextmanager
def mosquitto(
    tmp_path: Path,
    users: Mapping[str, str] | None = None,
    acl: str = "",
    tls: Certificates | None = None,
    config_extra: str = "",
    shipped: str = SHIPPED,
    start: bool = True,
) -> Iterator[Mosquitto]:
    """A running broker that ends with the test.

    ``users`` are names with passwords; without them everybody is let in.  ``acl`` is
    the text of an access list, ``shipped`` what the broker is told of queues and store.
    """
    folder = tmp_path / "mosquitto"
    (folder / "store").mkdir(parents=True)
    server = Mosquitto(folder, unused_port(), tls is not None)
    parts = [
        f"listener {server.port} 127.0.0.1",
        f"persistence_location {folder / 'store'}/",
        "log_type all",
        f"allow_anonymous {'false' if users else 'true'}",
        *(["user root"] if os.geteuid() == 0 else []),
        shipped,
        config_extra,
    ]
    if users:
        passwords = folder / "passwords"
        passwords.touch(0o600)
        for name, password in users.items():
            _password(passwords, name, password)
        parts.append(f"password_file {passwords}")
    if acl:
        (folder / "acl").write_text(acl, encoding="utf-8")
        (folder / "acl").chmod(0o600)
        parts.append(f"acl_file {folder / 'acl'}")
    if tls:
        parts += [f"certfile {tls.certificate}", f"keyfile {tls.key}"]
    text = "\n".join(part for part in parts if part)
    (folder / "mosquitto.conf").write_text(f"{text}\n", encoding="utf-8")
    if start:
        server.start()
    try:
        yield server
    finally:
        server.kill()


def _password(path: Path, user: str, password: str) -> None:
    command = [tool("mosquitto_passwd"), "-b", str(path), user, password]
    subprocess.run(command, check=True, timeout=30, capture_output=True)


def certificates(folder: Path, name: str = "127.0.0.1", days: int = 2) -> Certificates:
    """An authority of our own and a certificate that it gave to a server ``name``.

    It is good for so many ``days``; where they are negative it has expired.
    """
    folder.mkdir(parents=True, exist_ok=True)
    curve = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes"]
    kind = "IP" if name[:1].isdigit() else "DNS"
    extensions = folder / "server.ext"
    extensions.write_text(f"subjectAltName={kind}:{name}\n", encoding="utf-8")

    def openssl(*arguments: str) -> None:
        command = [tool("openssl"), *arguments]
        subprocess.run(command, cwd=folder, check=True, capture_output=True, timeout=30)

    openssl("req", "-x509", *curve, "-days", "2", "-subj", "/CN=Invented authority",
            "-keyout", "ca.key", "-out", "ca.pem")  # fmt: skip
    openssl("req", *curve, "-subj", f"/CN={name}", "-keyout", "server.key",
            "-out", "server.csr")  # fmt: skip
    openssl("x509", "-req", "-in", "server.csr", "-CA", "ca.pem", "-CAkey", "ca.key",
            "-CAcreateserial", "-days", str(days), "-extfile", "server.ext",
            "-out", "server.pem")  # fmt: skip
    return Certificates(folder / "ca.pem", folder / "server.pem", folder / "server.key")


def unused_port() -> int:
    """A port of loopback that nobody listens on, and that this process gives once.

    It lies below those the kernel gives to outgoing connections, and every worker of
    a run begins elsewhere: what is free now is still free when a server starts.
    """
    for port in _PORTS:
        with socket.socket() as listener:
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            with suppress(OSError):
                listener.bind(("127.0.0.1", port))
                return port
    raise AssertionError("every port of the tests is taken")


def wait_for(
    true: Callable[[], object],
    what: str,
    seen: Callable[[], object] = str,
    deadline_s: float = DEADLINE_S,
) -> None:
    """Return once ``true`` says so; else fail, saying what was ``seen`` at the end."""
    end_s = time.monotonic() + deadline_s
    while not true():
        if time.monotonic() > end_s:
            words = f"waited {deadline_s:g} s in vain for {what}: {seen()}"
            raise AssertionError(words)
        time.sleep(0.01)
