"""Rounds of the schedule by hand: with the task queue out of reach, and several at once on SQLite."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

from tests.reminders.smtp import mail_server
from tests.services.processes import MILL, ROOT, fill, run, surroundings
from tests.services.servers import free_port


def test_a_queue_out_of_reach_loses_nothing_and_does_not_wait_long(tmp_path: Path) -> None:
    with mail_server() as mail:
        environment = surroundings(f"sqlite:///{tmp_path / 'wearlog.sqlite3'}", mail, tmp_path)
        fill(environment, presses=2, rules=1)
        begun = time.monotonic()
        assert (
            run([*MILL, "wake"], environment | {"REDIS_URL": f"redis://127.0.0.1:{free_port()}/0"}) == "0\n"
        )
        assert time.monotonic() - begun < 30
        assert mail.ids() == []
        assert run([*MILL, "wake"], environment) == "2\n"
        assert len(set(mail.ids())) == 2


def test_four_commands_at_once_on_sqlite_send_one_mail_for_each_key(tmp_path: Path) -> None:
    with mail_server() as mail:
        environment = surroundings(f"sqlite:///{tmp_path / 'wearlog.sqlite3'}", mail, tmp_path)
        fill(environment, presses=8, rules=5)
        commands = [
            subprocess.Popen(
                [sys.executable, "manage.py", "remind"],
                cwd=ROOT,
                env=environment,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                text=True,
            )
            for _ in range(4)
        ]
        said = [command.communicate() for command in commands]
        assert [command.returncode for command in commands] == [0, 0, 0, 0], said
        sent = [int(out.split(" queued, ")[1].split(" sent")[0]) for out, _errors in said]
        assert sum(sent) == 40
        assert (len(mail.ids()), len(set(mail.ids()))) == (40, 40)
