"""The whole site in one process: pages, schedule and tasks, without Redis.

The schedule is Celery's own beat (`wearlog.config.beat`), in a thread; the tasks that it sends are the
ones a worker would run, executed at once in that thread (`task_always_eager`). Pages only ever write rows.
`docs/decisions/one-process.md` says why there is no worker beside it.
"""

from __future__ import annotations

import errno
import logging
import os
import signal
import socket
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import FrameType
from typing import TextIO

from celery import Celery
from celery.beat import Service

from wearlog.config import private_files
from wearlog.config.beat import OneBeat

STOP_WITHIN_SECONDS = 10
logger = logging.getLogger(__name__)


class Busy(Exception):
    """The data folder or the port belongs to somebody else. The text says what to do."""


class Schedule:
    """Beat in a thread of its own. Leaves no file behind."""

    def __init__(self, app: Celery) -> None:
        self.app = app
        self.service = Service(app, max_interval=1, scheduler_cls=OneBeat)
        self.thread = threading.Thread(target=self._run, name="schedule", daemon=True)

    def _run(self) -> None:
        try:
            self.service.start(embedded_process=True)
        except Exception:
            logger.exception("The reminder schedule has stopped. Start Wearlog again.")

    def start(self) -> None:
        self.app.loader.import_default_modules()  # a task that is not known here would be posted, not run
        self.thread.start()

    def stop(self) -> None:
        self.service.stop()
        self.thread.join(STOP_WITHIN_SECONDS)


@contextmanager
def sole_use(data_dir: Path) -> Iterator[None]:
    """Hold the data folder for this process; raises Busy where another one has it."""
    path = data_dir / "in-use"
    try:
        handle = open(path, "a+", opener=owners_alone)  # noqa: SIM115  (held below)
    except OSError as error:
        raise Busy(
            f"The data folder {data_dir} can't be written to ({error.strerror}): make it writable, "
            "or name another with --data."
        ) from error
    with handle:
        if not lock(handle):
            handle.seek(0)
            raise Busy(
                f"Wearlog already runs on {data_dir} (process {handle.read().strip() or 'unknown'}): "
                "use that one, stop it, or name another folder with --data."
            )
        handle.truncate(0)
        handle.write(str(os.getpid()))
        handle.flush()
        yield


def owners_alone(path: str, flags: int) -> int:
    return os.open(path, flags, private_files.FILE)


def lock(handle: TextIO) -> bool:
    """Take the file's lock without waiting; the system gives it back however the process ends."""
    try:
        import fcntl
    except ImportError:  # Windows has no such lock; there the port keeps a second start away
        return True
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


MOST_BODY_BYTES = 120_000_000
"""Of one request: six photos of 15 MB or a logbook of 50 MB, and some room. More is answered with 413."""


def listen(host: str, port: int) -> socket.socket:
    """A listening socket; raises Busy with one sentence where the port can't be had."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    opened = socket.socket(family, socket.SOCK_STREAM)
    opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        opened.bind((host, port))
        opened.listen(64)
    except OSError as error:
        opened.close()
        raise Busy(refusal(host, port, error)) from error
    return opened


def refusal(host: str, port: int, error: OSError) -> str:
    """What stands in the way of listening, and what to do about it."""
    if isinstance(error, socket.gaierror) or error.errno == errno.EADDRNOTAVAIL:
        return f"{host} is no address of this machine: take 127.0.0.1, or 0.0.0.0 for the whole network."
    if error.errno == errno.EACCES:
        return f"Port {port} is kept for the system: take one above 1023, as in --port 8001."
    if error.errno == errno.EADDRINUSE:
        return (
            f"Port {port} on {host} is in use: stop what uses it, or take another, as in --port {port + 1}."
        )
    return f"Port {port} on {host} can't be opened: {error.strerror}."


def own_addresses() -> list[str]:
    """The addresses by which a phone in the same network reaches this machine."""
    found: list[str] = []
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(
            ("192.0.2.1", 9)
        )  # an address kept for documentation; a datagram socket sends nothing here
        found.append(str(probe.getsockname()[0]))
    with suppress(OSError):
        named = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
        found += [str(entry[4][0]) for entry in named]
    return list(dict.fromkeys(address for address in found if not address.startswith("127.")))


def end_on_terminate() -> None:
    """Let SIGTERM end the process the way that Ctrl-C does."""

    def end(number: int, frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, end)


def serve(
    application: Callable[..., Iterable[bytes]], sockets: list[socket.socket], scheme: str = "http"
) -> None:
    """Serve until KeyboardInterrupt. `scheme` is what people type, where https is taken off before."""
    from waitress.server import create_server

    server = create_server(
        application,
        sockets=sockets,
        threads=8,
        ident=None,
        clear_untrusted_proxy_headers=True,
        url_scheme=scheme,
        max_request_body_size=MOST_BODY_BYTES,
    )
    try:
        server.run()
    finally:
        server.close()
