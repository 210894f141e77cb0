"""Connections to a receiver's web server: each is checked when it is opened, and has one overall time limit.

The guard is the network backend of the HTTP client (httpcore, on which httpx is built). For every connection,
it resolves the host's addresses once, checks them and connects to a checked address, so that a change of DNS
in between (DNS rebinding) gains nothing.
"""

from __future__ import annotations

import ssl
import time
from collections.abc import Iterable, Sequence

import httpcore

from wearlog.reminders.channels.webhook import reachable

PIECE = 4096
"""Bytes written at a time; the deadline is checked between two writes."""


def post(
    place: reachable.Place,
    *,
    headers: dict[str, str],
    body: bytes,
    networks: Sequence[reachable.Network],
    limit_s: float,
    most_bytes: int,
) -> tuple[int, str]:
    """Post the body; return the status and the first `most_bytes` of the response. No redirects, no retries,
    no proxy. Raises NotReachable, OSError, ssl.SSLError, or exceptions of httpcore."""
    target = place.target
    url = httpcore.URL(
        scheme=target.scheme.encode(),
        host=target.host.encode(),
        port=target.port,
        target=place.path.encode(),
    )
    headers = {"Host": str(target).partition("://")[2], "Content-Length": str(len(body)), **headers}
    guard = Guard(networks, Deadline(limit_s))
    with (
        httpcore.ConnectionPool(
            ssl_context=ssl.create_default_context(), http2=False, retries=0, network_backend=guard
        ) as pool,
        pool.stream("POST", url, headers=list(headers.items()), content=body) as answer,
    ):
        said = bytearray()
        for piece in answer.iter_stream():
            said += piece
            if len(said) >= most_bytes:
                break
        return answer.status, bytes(said[:most_bytes]).decode("utf-8", "replace")


class Deadline:
    """The overall time limit of a request, however slowly the other side answers."""

    def __init__(self, limit_s: float) -> None:
        self.ends = time.monotonic() + limit_s

    def left_s(self) -> float:
        left = self.ends - time.monotonic()
        if left <= 0:
            raise TimeoutError("The receiver took too long.")
        return left


class Guard(httpcore.NetworkBackend):
    """Opens connections to allowed addresses only."""

    def __init__(self, networks: Sequence[reachable.Network], deadline: Deadline) -> None:
        self.networks = networks
        self.deadline = deadline
        self.system = httpcore.SyncBackend()

    def connect_tcp(
        self,
        host: str,
        port: int,
        timeout: float | None = None,
        local_address: str | None = None,
        socket_options: Iterable[object] | None = None,
    ) -> httpcore.NetworkStream:
        address = reachable.choose(reachable.resolve(host, port), networks=self.networks)
        return Timed(self.system.connect_tcp(str(address), port, self.deadline.left_s()), self.deadline)


class Timed(httpcore.NetworkStream):
    """A connection whose operations time out when the deadline is reached."""

    def __init__(self, stream: httpcore.NetworkStream, deadline: Deadline) -> None:
        self.stream = stream
        self.deadline = deadline

    def read(self, max_bytes: int, timeout: float | None = None) -> bytes:
        return self.stream.read(max_bytes, self.deadline.left_s())

    def write(self, buffer: bytes, timeout: float | None = None) -> None:
        for start in range(0, len(buffer), PIECE):
            self.stream.write(buffer[start : start + PIECE], self.deadline.left_s())

    def start_tls(
        self,
        ssl_context: ssl.SSLContext,
        server_hostname: str | None = None,
        timeout: float | None = None,
    ) -> httpcore.NetworkStream:
        secured = self.stream.start_tls(ssl_context, server_hostname, self.deadline.left_s())
        return Timed(secured, self.deadline)

    def get_extra_info(self, info: str) -> object:
        return self.stream.get_extra_info(info)

    def close(self) -> None:
        self.stream.close()
