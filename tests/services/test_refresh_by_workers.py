"""An entry wakes the workers: they share what has to be worked out again, and pages find it stored."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import psycopg

from tests.reminders.smtp import mail_server
from tests.services.processes import CELERY, fill, going, logs, run, surroundings
from tests.services.servers import RedisServer

ENTER = """
from datetime import datetime, timedelta, UTC
from decimal import Decimal
from django.utils import timezone
from wearlog.equipment.models import Press
from wearlog.logbook import actions
from wearlog.logbook.entries import NewRun, NewWork
from wearlog.service.models import Rule
"""
NEW_RULE = ENTER + (
    "actions.save_thing(by=None, at=timezone.now(), "
    "thing=Rule(code='belts', action='adjust', every_days=Decimal(9)))"
)
NEW_WORK = ENTER + (
    "actions.log_work(by=None, at=timezone.now(), entry=NewWork("
    "press_id=Press.objects.first().pk, action='adjust', done_at=timezone.now() - timedelta(hours=1)))"
)
IN_STEP = (
    "SELECT count(*) FROM forecasts_standing JOIN forecasts_runsversion AS own USING (press_id), "
    "forecasts_logversion AS log WHERE log_version >= GREATEST(own.items, log.setup, log.lessons) "
    "AND forecasts_standing.items::text LIKE %s"
)


def wait_until_in_step(url: str, presses: int, word: str, seconds: float) -> int:
    """How many presses' stored items hold and speak of the word."""
    end, found = time.monotonic() + seconds, 0
    with psycopg.connect(url, autocommit=True) as connection:
        while found < presses and time.monotonic() < end:
            time.sleep(0.2)
            row = connection.execute(IN_STEP, (f"%{word}%",)).fetchone()
            assert row is not None
            found = row[0]
    return found


def test_two_workers_share_the_presses_that_an_entry_touches(
    postgres_url: str, redis: RedisServer, tmp_path: Path
) -> None:
    workers = [[*CELERY, "worker", "-l", "info", "-P", "solo", "-n", f"w{n}@test"] for n in range(2)]
    shell = [sys.executable, "manage.py", "shell", "-v0", "-c"]
    with mail_server() as mail:
        environment = surroundings(postgres_url, mail, tmp_path, REDIS_URL=redis.url)
        fill(environment, presses=24, rules=2)
        with going(workers, environment, tmp_path):
            run([*shell, NEW_RULE], environment)
            assert wait_until_in_step(postgres_url, 24, "belts", 60) == 24, logs(tmp_path)
            told = [(tmp_path / f"process-{n}.log").read_text().count("refresh_press") for n in range(2)]
            assert min(told) > 0, logs(tmp_path)
            # One press alone: the others' items go on holding.
            run([*shell, NEW_WORK], environment)
            assert wait_until_in_step(postgres_url, 24, "belts", 60) == 24, logs(tmp_path)
