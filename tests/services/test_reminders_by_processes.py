"""The outbox under real processes: none lost, none doubled, and a killed sender costs at most one copy."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from email.message import EmailMessage
from pathlib import Path

from tests.reminders.smtp import MailServer, mail_server
from tests.services.servers import RedisServer, free_port

ROOT = Path(__file__).resolve().parents[2]
MILL = [sys.executable, "-m", "tests.services.reminder_mill"]
CELERY = [sys.executable, "-m", "celery", "-A", "wearlog.config"]


def surroundings(database_url: str, mail: MailServer, folder: Path, **more: str) -> dict[str, str]:
    inherited = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")}
    return inherited | {
        "DJANGO_SETTINGS_MODULE": "wearlog.config.settings",
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
    run([sys.executable, "manage.py", "migrate", "--verbosity", "0"], environment)
    run([*MILL, "fill", str(presses), str(rules)], environment)


@contextmanager
def going(commands: list[list[str]], environment: dict[str, str], folder: Path) -> Iterator[None]:
    """Processes that run until the block ends; what they said is in `folder`."""
    processes = []
    try:
        for number, command in enumerate(commands):
            with (folder / f"process-{number}.log").open("wb") as log:
                processes.append(subprocess.Popen(command, cwd=ROOT, env=environment, stdout=log, stderr=log))
        yield
        assert [process.poll() for process in processes] == [None] * len(processes), logs(folder)
    finally:
        for process in processes:
            process.terminate()
        for process in processes:
            try:
                process.wait(timeout=20)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def logs(folder: Path) -> str:
    return "\n".join(path.read_text(errors="replace")[-1500:] for path in sorted(folder.glob("*.log")))


def wait_for(mail: MailServer, count: int, seconds: float) -> None:
    end = time.monotonic() + seconds
    while len(mail.ids()) < count and time.monotonic() < end:
        time.sleep(0.1)


def test_two_schedulers_and_four_workers_send_exactly_one_mail_for_each_key(
    postgres_url: str, redis: RedisServer, tmp_path: Path
) -> None:
    """F2, at 200 due items."""
    beats = [
        [*CELERY, "beat", "-l", "warning", "-s", str(tmp_path / f"beat-{n}"), f"--pidfile={tmp_path}/{n}.pid"]
        for n in range(2)
    ]
    workers = [[*CELERY, "worker", "-l", "warning", "-P", "solo", "-n", f"w{n}@test"] for n in range(4)]
    with mail_server() as mail:
        environment = surroundings(
            postgres_url,
            mail,
            tmp_path,
            REDIS_URL=redis.url,
            DJANGO_SETTINGS_MODULE="tests.services.reminder_settings",
        )
        fill(environment, presses=20, rules=10)
        with going(beats + workers, environment, tmp_path):
            wait_for(mail, 200, seconds=120)
            time.sleep(6)  # three more ticks of both schedulers, in which nothing may come
        assert (len(mail.ids()), len(set(mail.ids()))) == (200, 200), logs(tmp_path)


def test_mail_goes_on_after_redis_was_flushed_and_away(
    postgres_url: str, redis: RedisServer, tmp_path: Path
) -> None:
    """F3 and F4 in small: the queue is emptied and the server killed while 60 mails are on their way."""
    commands = [
        [*CELERY, "beat", "-l", "warning", "-s", str(tmp_path / "beat"), f"--pidfile={tmp_path}/b.pid"],
        [*CELERY, "worker", "-l", "warning", "-P", "solo", "-n", "w@test"],
    ]
    with mail_server() as mail:
        mail.on_mail = lambda message: time.sleep(0.05)
        environment = surroundings(
            postgres_url,
            mail,
            tmp_path,
            REDIS_URL=redis.url,
            DJANGO_SETTINGS_MODULE="tests.services.reminder_settings",
        )
        fill(environment, presses=20, rules=3)
        with going(commands, environment, tmp_path):
            wait_for(mail, 5, seconds=90)
            redis.stop()
            time.sleep(3)
            redis.start()  # with nothing in it: it keeps no file
            wait_for(mail, 60, seconds=90)
        assert (len(mail.ids()), len(set(mail.ids()))) == (60, 60), logs(tmp_path)


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


def test_killed_senders_on_sqlite_lose_nothing(tmp_path: Path) -> None:
    kill_senders(f"sqlite:///{tmp_path / 'wearlog.sqlite3'}", tmp_path, times=10)


def test_killed_senders_on_postgresql_lose_nothing(postgres_url: str, tmp_path: Path) -> None:
    kill_senders(postgres_url, tmp_path, times=20)


def kill_senders(database_url: str, tmp_path: Path, *, times: int) -> None:
    """F1: SIGKILL at random moments of scan, claim, conversation and settling costs at most a copy each."""
    dice = random.Random(20260401)
    kills, start = 0, datetime(2026, 4, 1, 8, tzinfo=UTC)
    with mail_server() as mail:
        environment = surroundings(database_url, mail, tmp_path)
        fill(environment, presses=20, rules=10)
        arrived: list[EmailMessage] = []
        mail.on_mail = arrived.append
        while kills < times:
            sender = subprocess.Popen(
                [*MILL, "send", start.isoformat()], cwd=ROOT, env=environment, stderr=subprocess.PIPE
            )
            until, delay = len(arrived) + dice.randint(0, 8), dice.uniform(0, 0.02)
            if until == len(arrived):
                delay = dice.uniform(0.5, 2.0)  # somewhere in its start, its scan or its first mail
            while len(arrived) < until and sender.poll() is None:
                time.sleep(0.001)
            time.sleep(delay)
            assert sender.poll() is None, sender.stderr.read().decode()[-3000:]  # type: ignore[union-attr]
            sender.kill()
            sender.communicate()
            kills += 1
            start += timedelta(minutes=10)  # what the dead one had leased is free by then
        run([*MILL, "send", start.isoformat()], environment)
        copies = Counter(mail.ids())
        assert len(copies) == 200
        assert mail.copies() <= kills
        assert max(copies.values()) <= 1 + kills
        run([*MILL, "send", (start + timedelta(hours=1)).isoformat()], environment)
        assert sum(copies.values()) == len(mail.ids())
