"""Several real schedulers are started by mistake: one beats, and a killed one is followed."""

from __future__ import annotations

import json
import subprocess
import time
from pathlib import Path

import psycopg
import redis as redis_client

from tests.reminders.smtp import mail_server
from tests.services.processes import QUICK, beat, end, logs, start, surroundings, until
from tests.services.servers import RedisServer


def senders(redis: RedisServer) -> set[str]:
    """Which processes have put a message on the queue, by Celery's own note of it (`gen<pid>@<host>`)."""
    queue = redis_client.Redis(port=redis.port)
    return {str(json.loads(message)["headers"]["origin"]) for message in queue.lrange("celery", 0, -1)}


def waiting(redis: RedisServer) -> int:
    return int(redis_client.Redis(port=redis.port).llen("celery"))


def forget(redis: RedisServer) -> None:
    redis_client.Redis(port=redis.port).flushall()


def a_minute_passes(url: str) -> None:
    """The lease of whoever holds the lock now is over, unless its holder renews it."""
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(
            "UPDATE reminders_schedulestate SET until = until - interval '1 minute' WHERE name = 'beat'"
        )


def of(process: subprocess.Popen[bytes]) -> str:
    return f"gen{process.pid}@"


def test_of_three_schedulers_one_beats_and_a_killed_one_is_followed_by_one_other(
    postgres_url: str, redis: RedisServer, tmp_path: Path
) -> None:
    with mail_server() as mail:
        environment = surroundings(
            postgres_url, mail, tmp_path, REDIS_URL=redis.url, DJANGO_SETTINGS_MODULE=QUICK
        )
        schedulers = [start(beat(tmp_path, n), environment, tmp_path / f"beat-{n}.log") for n in range(3)]
        try:
            assert until(lambda: waiting(redis) >= 12, 120), logs(tmp_path)
            (first,) = senders(redis)
            (holder,) = [each for each in schedulers if first.startswith(of(each))]
            holder.kill()
            holder.wait()
            time.sleep(1)  # what it had sent off is there
            forget(redis)
            time.sleep(6)
            assert waiting(redis) == 0, "its lock still stands"
            a_minute_passes(postgres_url)
            assert until(lambda: waiting(redis) >= 12, 60), logs(tmp_path)
            (second,) = senders(redis)
            assert second != first
            (heir,) = [each for each in schedulers if second.startswith(of(each))]
            end(heir)
            assert heir.returncode == 0, logs(tmp_path)
            forget(redis)
            assert until(lambda: waiting(redis) >= 12, 30), "one that is ended gives the lock back"
            (third,) = senders(redis)
            assert third not in (first, second)
        finally:
            end(*(each for each in schedulers if each.poll() is None))
