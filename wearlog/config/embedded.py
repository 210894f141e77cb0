"""The whole site in one process: pages, schedule and tasks, without Redis.

The schedule is Celery's own beat (`wearlog.config.beat`), in a thread. The tasks are the same that a worker
would run, executed immediately in that thread (`task_always_eager`). Requests never run tasks; they only
write rows. `docs/decisions/one-process.md` says why there is no worker beside it.
"""

from __future__ import annotations

import errno
import logging
import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import FrameType
from typing import TextIO

from celery import Celery
from celery.beat import Service
from django.conf import settings
from django.db import DatabaseError, close_old_connections
from django.utils import timezone

from wearlog.config import private_files
from wearlog.config.beat import OneBeat
from wearlog.logbook.jobs import running

STOP_WITHIN_SECONDS = 10
LOOK_FOR_IMPORTS_S, PAUSE_S = 1.0, 30.0
CARRY_OUT = "from wearlog.config.commandline import run; run(['manage.py', 'carry_out_imports'])"
"""The code that the process of an import runs; it does not depend on where manage.py lies."""
logger = logging.getLogger(__name__)


class Busy(Exception):
    """Another process uses the data folder or the port. The text says what to do."""


class Schedule:
    """Celery's beat in a thread of its own. It writes no schedule file."""

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
        self.app.loader.import_default_modules()  # an unregistered task would be queued, not run
        self.thread.start()

    def stop(self) -> None:
        self.service.stop()
        self.thread.join(STOP_WITHIN_SECONDS)


class Imports:
    """Looks for requested imports and runs each in a process of its own, so that no page waits for it and its
    memory is returned to the system afterwards."""

    def __init__(self) -> None:
        self.over = threading.Event()
        self.thread = threading.Thread(target=self._run, name="imports", daemon=True)
        self.child: subprocess.Popen[bytes] | None = None

    def _run(self) -> None:
        while not self.over.wait(LOOK_FOR_IMPORTS_S):
            close_old_connections()
            try:
                if running.claimable(at=timezone.now()):
                    self._carry_out()
            except DatabaseError as error:
                logger.warning("Imports wait for the database: %s", error)
                self.over.wait(PAUSE_S)
            finally:
                close_old_connections()

    def _carry_out(self) -> None:
        path = os.pathsep.join(filter(None, [str(settings.ROOT), os.environ.get("PYTHONPATH")]))
        surroundings = os.environ | {"DATA_DIR": str(settings.DATA_DIR), "PYTHONPATH": path}
        self.child = subprocess.Popen(  # noqa: S603  # nothing in it was typed by anybody
            [sys.executable, "-c", CARRY_OUT], env=surroundings, stdout=subprocess.DEVNULL
        )
        if self.child.wait() and not self.over.is_set():
            logger.error("Imports could not be carried out; another try follows.")
            self.over.wait(PAUSE_S)
        self.child = None

    def start(self) -> None:
        self.thread.start()

    def stop(self) -> None:
        """Stop, also in the middle of an import, which begins again after the next start."""
        self.over.set()
        child = self.child
        if child is not None:
            child.terminate()
        self.thread.join(STOP_WITHIN_SECONDS)


@contextmanager
def sole_use(data_dir: Path) -> Iterator[None]:
    """Lock the data folder for this process; raises Busy where another process holds it."""
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
    """Take the file's lock without waiting; return whether that worked. The system releases it however the
    process ends."""
    try:
        import fcntl
    except ImportError:  # Windows has no such lock; there the port prevents a second start
        return True
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


MOST_BODY_BYTES = 120_000_000
"""The largest request body: six photos of 15 MB or a logbook of 50 MB, with some room. A larger one is
answered with 413."""


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
    """The sentence for an error in listening: what the cause is, and what to do about it."""
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
        )  # an address reserved for documentation; connecting a UDP socket sends nothing
        found.append(str(probe.getsockname()[0]))
    with suppress(OSError):
        named = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
        found += [str(entry[4][0]) for entry in named]
    return list(dict.fromkeys(address for address in found if not address.startswith("127.")))


_asked_to_end = threading.Event()


def end_on_terminate() -> None:
    """Make SIGTERM end the process the way Ctrl-C does, and remember either.

    Python drops an exception that is raised within a callback of its garbage collector or of an import, so
    that a Ctrl-C in such a moment of the start would be lost; `serve` looks whether there was one."""

    def end(number: int, frame: FrameType | None) -> None:
        _asked_to_end.set()
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, end)
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:  # not where it is to be ignored
        signal.signal(signal.SIGINT, end)


def serve(
    application: Callable[..., Iterable[bytes]], sockets: list[socket.socket], scheme: str = "http"
) -> None:
    """Serve until KeyboardInterrupt. `scheme` is that of the site's addresses: "https" where TLS ends in
    front of this server."""
    from waitress.server import create_server

    server = create_server(
        application,
        sockets=sockets,
        threads=8,
        ident=None,
        # Where trusted proxies are named, `TrustedProxies` evaluates the headers itself.
        clear_untrusted_proxy_headers=not settings.TRUSTED_PROXIES,
        url_scheme=scheme,
        max_request_body_size=MOST_BODY_BYTES,
    )
    try:
        if _asked_to_end.is_set():
            raise KeyboardInterrupt
        server.run()
    finally:
        server.close()
