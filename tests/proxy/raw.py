"""Connections as an attacker opens them: a request begun, and its end never sent."""

import socket
from contextlib import ExitStack

from tests.proxy.nginx import Proxy

BEGUN = b"POST /api/envelopes HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
SLOW_HEADER = BEGUN + b"X-Slow: "
SLOW_BODY = BEGUN + b'Content-Length: 5000000\r\n\r\n{"envelopes": ['


def connected(port: int, came_from: str = "127.0.0.1") -> socket.socket:
    return socket.create_connection(("127.0.0.1", port), timeout=30, source_address=(came_from, 0))


def secured(proxy: Proxy, came_from: str = "127.0.0.1") -> socket.socket:
    return proxy.trusts.wrap_socket(connected(proxy.port, came_from), server_hostname="localhost")


def begin(held: ExitStack, connection: socket.socket, sent: bytes) -> socket.socket:
    """Sends this much and no more; the connection stays open until `held` is closed."""
    connection.sendall(sent)
    return held.enter_context(connection)


def heard(connection: socket.socket) -> bytes | None:
    """What the other end has said, without waiting for it: None if nothing yet, empty if it has closed."""
    connection.setblocking(False)
    try:
        return connection.recv(4096)
    except BlockingIOError:
        return None
    except OSError as problem:  # TLS has an error of its own for "nothing yet"
        return None if "did not complete" in str(problem) else b""


def is_open(connection: socket.socket) -> bool:
    """Whether the other end has neither answered nor closed."""
    return heard(connection) is None


def status_of(connection: socket.socket) -> int:
    """The status of the answer, read to the end of its first line."""
    with connection.makefile("rb") as answer:
        return int(answer.readline().split()[1])
