"""A real web server on the loopback that keeps what is posted to it and answers as a script says."""

from __future__ import annotations

import ssl
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

DRIP = -1
"""As an answer: a byte of the first line each tenth of a second, for ever."""
FLOOD = -2
"""As an answer: a refusal whose words never end."""


@dataclass
class Posted:
    path: str
    headers: dict[str, str]
    body: bytes


@dataclass
class HookServer:
    """`answers` are the next status codes; without one it is 204. Header names are kept in small letters."""

    port: int = 0
    posted: list[Posted] = field(default_factory=list)
    answers: list[int] = field(default_factory=list)
    stopping: threading.Event = field(default_factory=threading.Event)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/in?from=mill"


@contextmanager
def hook_server(tls: ssl.SSLContext | None = None) -> Iterator[HookServer]:
    kept = HookServer()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            headers = {name.lower(): value for name, value in self.headers.items()}
            kept.posted.append(Posted(self.path, headers, body))
            answer = kept.answers.pop(0) if kept.answers else 204
            if answer == DRIP:
                self.drip()
                return
            if answer == FLOOD:
                self.flood()
                return
            self.send_response(answer)
            if 300 <= answer < 400:
                self.send_header("Location", f"http://127.0.0.1:{kept.port}/elsewhere")
            self.end_headers()
            if answer >= 400:
                self.wfile.write(b"words of the receiver")

        def do_GET(self) -> None:
            kept.posted.append(Posted(self.path, {}, b""))
            self.send_response(200)
            self.end_headers()

        def flood(self) -> None:
            self.send_response(400)
            self.end_headers()
            try:
                while not kept.stopping.is_set():
                    self.wfile.write(b"no " * 1000)
            except OSError:
                return

        def drip(self) -> None:
            try:
                while not kept.stopping.is_set():
                    self.wfile.write(b"H")
                    time.sleep(0.1)
            except OSError:
                return

        def log_message(self, format: str, *args: object) -> None:
            """Nothing on the terminal."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    if tls is not None:
        server.socket = tls.wrap_socket(server.socket, server_side=True)
    kept.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True)
    thread.start()
    try:
        yield kept
    finally:
        kept.stopping.set()
        server.shutdown()
        server.server_close()
