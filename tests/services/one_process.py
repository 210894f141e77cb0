"""The whole site in one process on SQLite, killed and ended while it sends."""

from __future__ import annotations

import random
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from tests.reminders.smtp import mail_server
from tests.services.processes import QUICK, end, fill, start, surroundings, until, wait_for
from tests.services.queue_faults import Mailed
from tests.services.servers import free_port

TIME_PASSES = (
    "UPDATE reminders_outboxrow SET leased_until = made_at WHERE state = 'leased'",
    "UPDATE reminders_schedulestate SET until = '2000-01-01 00:00:00' WHERE name = 'beat'",
)
"""What a killed process held is free, as it would be after five minutes."""


def killed_and_ended(
    folder: Path, *, kills: int, presses: int, rules: int, seed: int, wait_for_leases: bool
) -> Mailed:
    """F1 and F6 where one process does everything: SIGKILL, and in the end SIGTERM, in mid-run.

    `took` is how long it took to end when it was asked to.
    """
    dice = random.Random(seed)
    found = Mailed(due=presses * rules)
    data = folder / "mill"
    data.mkdir()
    database, log = data / "wearlog.sqlite3", folder / "process.log"
    with mail_server() as mail:
        mail.on_mail = lambda message: time.sleep(0.01)
        environment = surroundings(f"sqlite:///{database}", mail, data, DJANGO_SETTINGS_MODULE=QUICK)
        fill(environment, presses=presses, rules=rules)

        def run_until(count: int, deed: Callable[[subprocess.Popen[bytes]], None]) -> None:
            """Start the site, do it something once so many mails have come."""
            process = start(command(data), environment, log)
            try:
                assert wait_for(mail, count, 600), log.read_text()[-3000:]
                assert process.poll() is None, log.read_text()[-3000:]
                deed(process)
            finally:
                end(process)
            if not wait_for_leases:
                let_time_pass(database)

        def kill(process: subprocess.Popen[bytes]) -> None:
            time.sleep(dice.uniform(0.0, 0.05))
            process.kill()
            process.wait()

        def ask(process: subprocess.Popen[bytes]) -> None:
            assert len(set(mail.ids())) < found.due, "all had left before it was asked"
            asked = time.monotonic()
            process.send_signal(signal.SIGTERM)
            assert until(lambda: process.poll() is not None, 60), "it does not end"
            found.took.append(time.monotonic() - asked)

        for number in range(kills):
            run_until(found.due * (number + 1) // (kills + 3), kill)
        run_until(found.due * (kills + 1) // (kills + 3), ask)
        run_until(found.due, lambda process: None)
        found.count(mail)
    return found


def command(data: Path) -> list[str]:
    return [
        sys.executable,
        "manage.py",
        "quickstart",
        "--no-demo",
        f"--port={free_port()}",
        f"--data={data}",
    ]


def let_time_pass(database: Path) -> None:
    with sqlite3.connect(database, timeout=20) as connection:
        for statement in TIME_PASSES:
            connection.execute(statement)
