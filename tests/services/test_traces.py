"""What goes wrong in any of the programs is written to stderr, in one form, without what must not be told."""

from __future__ import annotations

import re
import sqlite3
import sys
from pathlib import Path
from urllib.error import HTTPError

import psycopg
import pytest

from tests.reminders.smtp import MailServer
from tests.services.pages import pages
from tests.services.processes import QUICK, beat, end, fill, start, surroundings, until, worker
from tests.services.servers import RedisServer, free_port

LINE = re.compile(r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ (WARNING|ERROR) \[([\w-]+)\] ([\w.]+): ", re.MULTILINE)
SERVES = {
    "DEBUG": "0",
    "HTTPS": "0",
    "SECRET_KEY": "hush-nobody-reads-this" * 3,
    "ALLOWED_HOSTS": "127.0.0.1",
}


def without_rules(database: Path) -> None:
    """A slip of the program that no page has words for: a table is not what it should be."""
    with sqlite3.connect(database) as connection:
        connection.execute("ALTER TABLE service_rule RENAME TO service_rule_of_old")


def test_pages_that_serve_people_leave_each_error_once_with_all_that_finds_it_and_nothing_typed(
    tmp_path: Path,
) -> None:
    environment = surroundings(f"sqlite:///{tmp_path}/mill.sqlite3", MailServer(port=9), tmp_path, **SERVES)
    fill(environment, presses=1, rules=1)
    with pages(environment, tmp_path) as visitor:
        visitor.get("/rules/")
        without_rules(tmp_path / "mill.sqlite3")
        with pytest.raises(HTTPError) as caught:
            visitor.get("/rules/?q=typed-by-somebody")
        page, name = caught.value.read().decode(), caught.value.headers["X-Request-ID"]
    assert caught.value.code == 500
    assert f"Number of this request: {name}" in page
    log = (tmp_path / "pages.log").read_text()
    assert f"ERROR [{name}] django.request: GET /rules/ answered 500, person 1\n" in log
    assert log.count("django.db.utils.OperationalError: no such table: service_rule") == 1
    assert log.count("/wearlog/web/setup/views/rules.py") >= 1
    for secret in ("typed-by-somebody", SERVES["SECRET_KEY"], "sessionid"):
        assert secret not in log
    cookies = {cookie.name: cookie.value or "" for cookie in visitor.cookies}
    assert cookies["sessionid"] not in log


def test_worker_and_schedule_leave_their_errors_in_the_same_form(
    postgres_url: str, redis: RedisServer, tmp_path: Path
) -> None:
    secret = "pass-word-of-the-database"
    url = postgres_url.replace("wearlog@", f"wearlog:{secret}@")
    environment = surroundings(url, MailServer(port=9), tmp_path, REDIS_URL=redis.url, **SERVES) | {
        "DJANGO_SETTINGS_MODULE": QUICK
    }
    fill(environment, presses=1, rules=1)
    with psycopg.connect(postgres_url, autocommit=True) as admin:
        admin.execute("ALTER TABLE service_rule RENAME TO service_rule_of_old")
    working, scheduling = tmp_path / "worker.log", tmp_path / "beat.log"
    processes = [start(beat(tmp_path), environment, scheduling), start(worker(), environment, working)]
    try:
        assert until(lambda: 'relation "service_rule" does not exist' in working.read_text(), 90)
        redis.stop()
        assert until(lambda: LINE.search(scheduling.read_text()), 90), scheduling.read_text()
    finally:
        end(*processes)
    for log in (working, scheduling):
        text = log.read_text()
        assert LINE.search(text), text
        assert secret not in text
        assert "DETAIL" not in text
    assert "Traceback" in working.read_text()


def test_quickstart_leaves_the_errors_of_its_schedule(tmp_path: Path) -> None:
    environment = surroundings(f"sqlite:///{tmp_path}/wearlog.sqlite3", MailServer(port=9), tmp_path)
    fill(environment, presses=1, rules=1)
    without_rules(tmp_path / "wearlog.sqlite3")
    log = tmp_path / "quickstart.log"
    command = [sys.executable, "manage.py", "quickstart", "--port", str(free_port()), "--no-demo"]
    process = start(command, environment, log)
    try:
        assert until(lambda: "no such table: service_rule" in log.read_text(), 60), log.read_text()
    finally:
        end(process)
    assert LINE.search(log.read_text())
    assert "Traceback" in log.read_text()
