"""`manage.py quickstart` as a process, started and stopped as a person does."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


SETTINGS = {
    "DATABASE_URL",
    "REDIS_URL",
    "EMAIL_URL",
    "SECRET_KEY",
    "ALLOWED_HOSTS",
    "DEBUG",
    "HTTPS",
    "DATA_DIR",
}


def hears_ctrl_c() -> None:
    """Where the tests themselves run as a shell's background job, a child would ignore it for ever."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def surroundings() -> dict[str, str]:
    return {name: value for name, value in os.environ.items() if name not in SETTINGS}


def command(*words: str, **variables: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-u", "manage.py", "quickstart", *words],
        cwd=ROOT,
        env=surroundings() | variables,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        preexec_fn=hears_ctrl_c,
    )


@contextmanager
def running(*words: str, **variables: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The process and what it printed up to the line that says how to stop it."""
    process = command(*words, **variables)
    printed = ""
    assert process.stdout
    try:
        for line in process.stdout:
            printed += line
            if line.startswith("Stop with Ctrl-C"):
                break
        else:
            raise AssertionError(f"it did not serve:\n{printed}")
        yield process, printed
    finally:
        if process.poll() is None:
            process.kill()
        process.wait()
        process.stdout.close()


def stop(process: subprocess.Popen[str]) -> tuple[int, float, str]:
    begun = time.monotonic()
    process.send_signal(signal.SIGINT)
    rest, _errors = process.communicate(timeout=120)
    return process.returncode, time.monotonic() - begun, rest
