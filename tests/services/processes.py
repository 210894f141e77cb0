"""Wearlog's own programs as real processes, with the surroundings that a test gives them."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.reminders.smtp import MailServer

ROOT = Path(__file__).resolve().parents[2]
MILL = [sys.executable, "-m", "tests.mills.reminder_mill"]
CELERY = [sys.executable, "-m", "celery", "-A", "wearlog.config"]
QUICK = "tests.services.reminder_settings"
"""The shipped settings with a schedule that ticks every two seconds."""
SHIPPED = "wearlog.config.settings"


def surroundings(database_url: str, mail: MailServer, folder: Path, **more: str) -> dict[str, str]:
    # The browser's tests set the second for their own process; no server has it.
    alone = ("PYTEST_", "DJANGO_ALLOW_ASYNC_UNSAFE")
    inherited = {name: value for name, value in os.environ.items() if not name.startswith(alone)}
    return inherited | {
        "DJANGO_SETTINGS_MODULE": SHIPPED,
        "DATABASE_URL": database_url,
        "EMAIL_URL": f"smtp://127.0.0.1:{mail.port}",
        "DATA_DIR": str(folder),
        "PYTHONPATH": str(ROOT),
        **more,
    }


def run(command: list[str], environment: dict[str, str]) -> str:
    """What the program said."""
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr[-3000:]
    return done.stdout


def fill(environment: dict[str, str], *, presses: int, rules: int) -> None:
    run([*MILL, "fill", str(presses), str(rules)], environment)


def beat(folder: Path, number: int = 0) -> list[str]:
    """The command of one scheduler, with files of its own: nothing keeps a second one from starting."""
    return [
        *CELERY,
        "beat",
        "-l",
        "warning",
        "-s",
        str(folder / f"beat-{number}"),
        f"--pidfile={folder}/beat-{number}.pid",
    ]


def worker(number: int = 0, *, children: int = 0) -> list[str]:
    """The command of one worker: one process, or as it is shipped one that has so many children."""
    kind = ["-c", str(children)] if children else ["-P", "solo"]
    return [*CELERY, "worker", "-l", "warning", "-n", f"w{number}@test", *kind]


def start(command: list[str], environment: dict[str, str], log: Path) -> subprocess.Popen[bytes]:
    """Start a program in a process group of its own; what it says is added to `log`."""
    with log.open("ab") as stream:
        return subprocess.Popen(
            command, cwd=ROOT, env=environment, stdout=stream, stderr=stream, start_new_session=True
        )


def end(*processes: subprocess.Popen[bytes], seconds: float = 30) -> None:
    """Ask each process to end, and make it where it does not."""
    for process in processes:
        process.terminate()
    for process in processes:
        try:
            process.wait(timeout=seconds)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


@contextmanager
def going(
    commands: list[list[str]], environment: dict[str, str], folder: Path
) -> Iterator[list[subprocess.Popen[bytes]]]:
    """Processes that run until the block ends; what they said is in `folder`."""
    processes: list[subprocess.Popen[bytes]] = []
    try:
        for number, command in enumerate(commands):
            processes.append(start(command, environment, folder / f"process-{number}.log"))
        yield processes
        assert [process.poll() for process in processes] == [None] * len(processes), logs(folder)
    finally:
        end(*processes)


@contextmanager
def watched(commands: list[list[str]], environment: dict[str, str], folder: Path) -> Iterator[list[str]]:
    """The same under what watches over a server's processes: one that ends is started again a second later.
    Yields the last words of each that ended, which grows meanwhile."""
    ended: list[str] = []
    processes = {
        number: start(command, environment, folder / f"process-{number}.log")
        for number, command in enumerate(commands)
    }
    over = threading.Event()

    def watch() -> None:
        while not over.wait(1):
            for number, process in processes.items():
                if process.poll() is not None:
                    log = folder / f"process-{number}.log"
                    ended.append(log.read_text(errors="replace")[-1500:])
                    processes[number] = start(commands[number], environment, log)

    watcher = threading.Thread(target=watch)
    watcher.start()
    try:
        yield ended
    finally:
        over.set()
        watcher.join()
        end(*processes.values())


def logs(folder: Path) -> str:
    return "\n".join(path.read_text(errors="replace")[-1500:] for path in sorted(folder.glob("*.log")))


def until(holds: Callable[[], object], seconds: float, every: float = 0.05) -> bool:
    """Wait for the condition; False where it did not come true in time."""
    ending = time.monotonic() + seconds
    while not holds():
        if time.monotonic() > ending:
            return False
        time.sleep(every)
    return True


def wait_for(mail: MailServer, count: int, seconds: float) -> bool:
    """Wait for so many mails with a Message-ID of their own."""
    return until(lambda: len(set(mail.ids())) >= count, seconds)
