"""Schedulers, workers and Redis, as many as a mill could start, stopped and flushed in mid-run."""

from __future__ import annotations

import random
import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import psycopg
import redis as redis_client

from tests.reminders.smtp import MailServer, mail_server
from tests.services.pages import pages
from tests.services.processes import (
    QUICK,
    beat,
    end,
    fill,
    going,
    logs,
    start,
    surroundings,
    until,
    wait_for,
    watched,
    worker,
)
from tests.services.servers import RedisServer

STANDS_STILL = "No mail is sent meanwhile"
"""A sentence of the banner over every page while the schedule stands still."""


@dataclass
class Mailed:
    """What arrived of what was due, how many came more than once, and how long things took, in seconds."""

    due: int
    arrived: int = 0
    copies: int = 0
    took: list[float] = field(default_factory=list)
    logging_took: list[float] = field(default_factory=list)
    started_again: int = 0
    """How many processes ended and were started again by what watches over them."""

    def count(self, mail: MailServer) -> None:
        self.arrived, self.copies = len(set(mail.ids())), mail.copies()


def many_schedulers(
    url: str, redis: RedisServer, folder: Path, *, presses: int, rules: int, ceiling: float = 120
) -> Mailed:
    """F2: two schedulers and four workers on one queue, and then some time for what must not come."""
    found = Mailed(due=presses * rules)
    with mail_server() as mail:
        environment = surroundings(url, mail, folder, REDIS_URL=redis.url, DJANGO_SETTINGS_MODULE=QUICK)
        fill(environment, presses=presses, rules=rules)
        begun = time.monotonic()
        commands = [beat(folder, n) for n in range(2)] + [worker(n) for n in range(4)]
        with going(commands, environment, folder):
            assert wait_for(mail, found.due, ceiling), f"{len(set(mail.ids()))} came\n{logs(folder)}"
            found.took.append(time.monotonic() - begun)
            next_scan(url, 60)
            time.sleep(6)  # three more rounds of both schedulers, in which nothing may come
        found.count(mail)
    return found


@contextmanager
def one_of_each(
    url: str,
    redis: RedisServer,
    folder: Path,
    *,
    presses: int,
    rules: int,
    settings: str,
    pause: float = 0.05,
) -> Iterator[tuple[MailServer, dict[str, str]]]:
    """A scheduler, a worker as it is shipped, and a mail server that takes its time."""
    with mail_server() as mail:
        mail.on_mail = lambda message: time.sleep(pause)
        environment = surroundings(url, mail, folder, REDIS_URL=redis.url, DJANGO_SETTINGS_MODULE=settings)
        fill(environment, presses=presses, rules=rules)
        with going([beat(folder), worker(children=2)], environment, folder):
            yield mail, environment


def redis_away(
    url: str, redis: RedisServer, folder: Path, *, settings: str, away: float, presses: int, rules: int
) -> Mailed:
    """F3: the queue emptied while mails are on their way, then its server gone; somebody logs runs."""
    found = Mailed(due=presses * rules)
    with one_of_each(url, redis, folder, presses=presses, rules=rules, settings=settings) as (mail, around):
        with pages(around, folder) as visitor:
            assert wait_for(mail, 3, seconds=180), logs(folder)
            with redis_client.Redis.from_url(redis.url) as queue:
                queue.flushall()
            assert wait_for(mail, found.due // 2, seconds=1200), f"not half of them came\n{logs(folder)}"
            redis.stop()
            gone = time.monotonic()
            found.logging_took.append(visitor.log_a_run())
            visitor.get("/due/")
            found.logging_took.append(visitor.log_a_run(press="2"))
            time.sleep(max(0.0, gone + away - time.monotonic()))
            before = len(mail.ids())
            assert before < found.due, "all had left before Redis did"
            redis.start()  # with nothing in it: it keeps no file
            back = time.monotonic()
            assert wait_for(mail, before + 1, seconds=300), f"no mail after its return\n{logs(folder)}"
            found.took.append(time.monotonic() - back)
            assert wait_for(mail, found.due, seconds=1200), f"not all after its return\n{logs(folder)}"
            assert runs_of(url) == 2
        found.count(mail)
    return found


def redis_restarts(url: str, redis: RedisServer, folder: Path, *, times: int, seed: int) -> Mailed:
    """F4: Redis killed and started again and again; how long until the worker has done its next task. The
    processes are watched over, as on a server: Celery's worker may end where Redis dies in a bad moment."""
    dice = random.Random(seed)
    found = Mailed(due=2)
    with mail_server() as mail:
        environment = surroundings(url, mail, folder, REDIS_URL=redis.url, DJANGO_SETTINGS_MODULE=QUICK)
        fill(environment, presses=2, rules=1)
        with watched([beat(folder), worker(children=2)], environment, folder) as ended:
            assert wait_for(mail, 2, seconds=120), logs(folder)
            for _ in range(times):
                redis.stop()
                time.sleep(dice.uniform(0.0, 5.0))
                redis.start()
                # One may have begun before; the one after it was sent through the new server.
                took = [next_scan(url, 120), next_scan(url, 120)]
                assert None not in took, f"the worker is deaf\n{logs(folder)}"
                found.took.append(sum(part for part in took if part))
            found.started_again = len(ended)
        found.count(mail)
    return found


def terminated(
    url: str, redis: RedisServer, folder: Path, *, presses: int, rules: int, times: int = 1
) -> Mailed:
    """F6: the worker asked to end while it sends; another takes its place."""
    found = Mailed(due=presses * rules)
    with mail_server() as mail:
        mail.on_mail = lambda message: time.sleep(0.05)
        environment = surroundings(url, mail, folder, REDIS_URL=redis.url, DJANGO_SETTINGS_MODULE=QUICK)
        fill(environment, presses=presses, rules=rules)
        with going([beat(folder)], environment, folder):
            for number in range(times):
                goal = found.due * (number + 1) // (times + 2)
                found.took.append(end_one_in_mid_run(environment, folder / f"ended-{number}.log", mail, goal))
            before = len(mail.ids())
            assert before < found.due, "all had left before the worker did"
            with going([worker(children=2)], environment, folder):
                assert wait_for(mail, found.due, seconds=120), logs(folder)
        found.count(mail)
    return found


def scanner_stopped(url: str, redis: RedisServer, folder: Path, *, settings: str, wait: bool) -> Mailed:
    """F16: the only scheduler is stopped, and started again. Without `wait` the time that passes is put
    into the schedule's memory; `took` is how long until the site says that it stands still."""
    found = Mailed(due=0)
    with mail_server() as mail:
        environment = surroundings(url, mail, folder, REDIS_URL=redis.url, DJANGO_SETTINGS_MODULE=settings)
        fill(environment, presses=2, rules=1)
        with pages(environment, folder) as visitor, going([worker()], environment, folder):
            scheduler = start(beat(folder), environment, folder / "beat.log")
            try:
                assert until(lambda: visitor.health() == 200, 150, every=0.5), logs(folder)
                assert STANDS_STILL not in visitor.get("/")
            finally:
                end(scheduler)
            stopped = time.monotonic()
            if not wait:
                time.sleep(3)  # what it had sent off last is done
                minutes_pass(url)
            assert until(lambda: visitor.health() == 503, 400, every=0.5), "it says that all is well"
            found.took.append(time.monotonic() - stopped)
            assert STANDS_STILL in visitor.get("/")
            with going([beat(folder, 1)], environment, folder):
                assert until(lambda: visitor.health() == 200, 150, every=0.5), logs(folder)
                assert STANDS_STILL not in visitor.get("/")
    return found


def minutes_pass(url: str) -> None:
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute("UPDATE reminders_schedulestate SET at = at - interval '6 minutes'")


def end_one_in_mid_run(environment: dict[str, str], log: Path, mail: MailServer, goal: int) -> float:
    """Start a worker, ask it to end once so many mails have come; how many seconds it took."""
    one = start(worker(children=2), environment, log)
    try:
        assert wait_for(mail, goal, 600), log.read_text()
        asked = time.monotonic()
        one.send_signal(signal.SIGTERM)
        assert until(lambda: one.poll() is not None, 60), log.read_text()
        return time.monotonic() - asked
    finally:
        end(one)


def next_scan(url: str, ceiling: float) -> float | None:
    """How many seconds until another scan has come to its end; None where none did."""
    begun, before = time.monotonic(), scans_of(url)
    return time.monotonic() - begun if until(lambda: scans_of(url) != before, ceiling) else None


def scans_of(url: str) -> object:
    """When a scan last came to its end, by the schedule's own memory."""
    return asked_of(url, "SELECT at FROM reminders_schedulestate WHERE name = 'scan'")


def runs_of(url: str) -> object:
    return asked_of(url, "SELECT count(*) FROM runs_run")


def asked_of(url: str, question: str) -> object:
    with psycopg.connect(url, autocommit=True) as connection:
        row = connection.execute(question).fetchone()  # type: ignore[call-overload]
    return row[0] if row else None
