"""How the link to the broker stands, in words for the person who must mend it.

Pure: reasons in, words out.  A sentence names the place (``host:port``), never a
password, and where the cause can only be guessed it asks instead of asserting.

Source: MQTT 5.0 (OASIS Standard, 2019), section 2.4, table 2-6 for the reason codes.
"""

import socket
import ssl
from typing import NamedTuple

BAD_USER_OR_PASSWORD = 0x86
NOT_AUTHORIZED = 0x87
SERVER_SHUTTING_DOWN = 0x8B
KEEP_ALIVE_TIMEOUT = 0x8D
SESSION_TAKEN_OVER = 0x8E

BY_TIME = (9, 10)  # not yet valid, expired; OpenSSL's X509_V_ERR_ codes

REFUSED = {
    0x84: "it does not speak this version of MQTT",
    0x85: "it does not accept this client id",
    BAD_USER_OR_PASSWORD: "wrong user name or password",
    NOT_AUTHORIZED: "wrong user name or password, or no right to connect",
    0x88: "it is not available",
    0x89: "it is busy",
    0x8A: "this client is banned",
    0x9F: "too many connections at once",
}


class Link(NamedTuple):
    """How the connection to the broker stands, since when, and why."""

    connected: bool
    since_ms: int
    why: str  # "" while all is well


def refused(code: int, name: str) -> str:
    """Why the broker would not let us in."""
    return f"refused: {REFUSED.get(code, name.lower())}"


def unreachable(error: BaseException | None, place: str, authority: str) -> str:
    """Why no connection came about, from what the machine said."""
    if isinstance(error, ssl.SSLCertVerificationError):
        said = error.verify_message or error.reason
        # A board without a battery shows 1970 until it is told the time.
        ask = "; is this board's clock right?" if error.verify_code in BY_TIME else ""
        words = f"TLS: the certificate of {place} is not trusted by {authority}"
        return f"{words}: {said}{ask}"
    if isinstance(error, (ssl.SSLError, ConnectionResetError)) and authority:
        reason = error.reason if isinstance(error, ssl.SSLError) else ""
        said = reason or error.strerror or "connection reset"
        return f"TLS failed with {place}: {said}; is this the port for TLS?"
    if isinstance(error, socket.gaierror):
        return f"the name in {place} has no address: {error.strerror}"
    if isinstance(error, (ConnectionRefusedError, TimeoutError)):
        return f"nobody answers at {place}"
    if isinstance(error, OSError):
        return f"no connection to {place}: {error.strerror or error}"
    return f"no connection to {place}: {error!r}"


def unanswered(place: str, tls: bool) -> str:
    """Why something answered at the port but never as a broker."""
    ask = "is a broker listening there?" if tls else "does it want TLS, or is it none?"
    return f"{place} closed the connection without an answer: {ask}"


def forgotten(place: str, client_id: str) -> str:
    """What it means that a broker has no session where we had one."""
    return (
        f"{place} knew nothing of the client {client_id!r}: it lost its store, or it "
        "is another broker; what it kept for us while we were away is lost"
    )


def lost(code: int, place: str, client_id: str, often: bool) -> str:
    """Why a connection that stood has ended."""
    if code == SESSION_TAKEN_OVER:
        return f"lost: another client uses the id {client_id!r}"
    if code == SERVER_SHUTTING_DOWN:
        return f"lost: the broker at {place} is shutting down"
    if code == KEEP_ALIVE_TIMEOUT:
        return f"lost: {place} stopped answering"
    if often:
        return (
            "lost again and again soon after being let in: does another client use "
            f"the id {client_id!r}, or does the network come and go?"
        )
    return f"lost: {place} closed the connection"
