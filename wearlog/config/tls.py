"""A TLS proxy in front of the one-process server: it decrypts each connection and forwards the data."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import ssl
import threading
from collections.abc import Callable, Iterable
from wsgiref.types import StartResponse, WSGIEnvironment

from wearlog.config.authority import CertificateFiles

HANDSHAKE_SECONDS = 10
CHUNK = 65536
Application = Callable[..., Iterable[bytes]]


class Front:
    """A TLS server in a thread of its own, which forwards to a server on the loopback interface.

    `application` wraps the site's WSGI application so that it sees the client's real address.
    """

    def __init__(self, listening: socket.socket, inner: socket.socket, papers: CertificateFiles) -> None:
        self.listening, self.inner = listening, inner
        self.context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        self.context.minimum_version = ssl.TLSVersion.TLSv1_2
        self.context.load_cert_chain(papers.certificate, papers.key)
        self.callers: dict[str, str] = {}
        self.loop = asyncio.new_event_loop()
        self.thread = threading.Thread(target=self._run, name="https", daemon=True)

    def start(self) -> None:
        self.thread.start()

    def stop(self) -> None:
        self.loop.call_soon_threadsafe(self.loop.stop)
        with contextlib.suppress(RuntimeError):  # Ctrl-C came while the thread was being started
            self.thread.join(5)

    def application(self, site: Application) -> Application:
        def seen(environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
            environ["REMOTE_ADDR"] = self.callers.get(environ.get("REMOTE_PORT", ""), environ["REMOTE_ADDR"])
            return site(environ, start_response)

        return seen

    def _run(self) -> None:
        asyncio.set_event_loop(self.loop)
        serving = asyncio.start_server(
            self._carry, sock=self.listening, ssl=self.context, ssl_handshake_timeout=HANDSHAKE_SECONDS
        )
        try:
            self.loop.run_until_complete(serving)
        except RuntimeError:  # it was stopped before it started
            return
        except (OSError, ValueError):  # asyncio answers with either, depending on how far it came
            if self.listening.fileno() == -1:  # it was stopped, and its listening socket closed
                return
            raise
        self.loop.run_forever()
        # What was being shaken hands with or forwarded ends here, and says nothing more.
        under_way = asyncio.all_tasks(self.loop)
        for task in under_way:
            task.cancel()
        self.loop.run_until_complete(asyncio.gather(*under_way, return_exceptions=True))

    async def _carry(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        port = ""
        try:
            back, forth = await asyncio.open_connection(*self.inner.getsockname()[:2])
            port = str(forth.get_extra_info("sockname")[1])
            self.callers[port] = str(writer.get_extra_info("peername")[0])
            both = [asyncio.ensure_future(pump(reader, forth)), asyncio.ensure_future(pump(back, writer))]
            _, others = await asyncio.wait(both, return_when=asyncio.FIRST_COMPLETED)
            for other in others:
                other.cancel()
            forth.close()
        except OSError:
            pass  # the client, or the server while it stops, closed the connection
        finally:
            self.callers.pop(port, None)
            writer.close()


async def pump(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    with contextlib.suppress(OSError):
        while told := await reader.read(CHUNK):
            writer.write(told)
            await writer.drain()
