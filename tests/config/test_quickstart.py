"""The newcomer's command as a real process: served, signed in, stopped, started again."""

from __future__ import annotations

import http.client
import re
import shlex
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

from tests import migrated
from tests.config.quickstart_process import ROOT, command, running, stop, surroundings
from tests.services.servers import free_port


def fetch(url: str) -> tuple[int, str]:
    with urllib.request.urlopen(url, timeout=30) as answer:
        return answer.status, answer.read().decode()


def count(data: Path, table: str) -> int:
    with sqlite3.connect(data / "wearlog.sqlite3") as connection:
        return int(connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0])


def test_it_serves_the_demo_mill_ends_on_ctrl_c_and_keeps_everything(tmp_path: Path) -> None:
    port = free_port()
    data = tmp_path / "mill"
    with running("--port", str(port), "--data", str(data)) as (process, printed):
        assert str(data / "wearlog.sqlite3") in printed
        link = re.search(rf"http://127\.0\.0\.1:{port}/sign-in/\S+", printed)
        assert link, printed
        status, page = fetch(link.group())
        assert status == 200
        assert "<form" in page
        code, _, rest = stop(process)
        assert code == 0, rest
        assert "Traceback" not in rest
    presses, runs, people = (count(data, table) for table in ("equipment_press", "runs_run", "people_user"))
    assert presses == 4
    assert runs > 1000
    assert people == 1
    with running("--port", str(port), "--data", str(data)) as (process, printed):
        assert "loading the demo" not in printed
        # The link that signs in stands in the first start's words alone.
        assert "/sign-in/" not in printed
        told = re.search(r"^  (\S+) manage.py (sign_in_link owner .*)$", printed, re.MULTILINE)
        assert told, printed
        asked = [sys.executable, "manage.py", *shlex.split(told[2])]
        done = subprocess.run(asked, cwd=ROOT, env=surroundings(), capture_output=True, text=True)
        link = re.search(rf"http://127\.0\.0\.1:{port}/sign-in/\S+", done.stdout)
        assert link, done.stdout + done.stderr
        assert fetch(link.group())[0] == 200
        assert stop(process)[0] == 0
    assert (presses, runs, people) == tuple(
        count(data, table) for table in ("equipment_press", "runs_run", "people_user")
    )


def test_the_schedule_scans_without_redis_in_the_same_process(tmp_path: Path) -> None:
    """An owner with an address gets the demo mill's reminders by mail, on the console, once."""
    port = free_port()
    migrated.lay(tmp_path / "wearlog.sqlite3")
    with running("--port", str(port), "--data", str(tmp_path)) as (process, _):
        stop(process)
    with sqlite3.connect(tmp_path / "wearlog.sqlite3") as connection:
        connection.execute("UPDATE people_user SET email = 'owner@mill.example'")
        connection.execute(AT_ANY_HOUR)
    with running("--port", str(port), "--data", str(tmp_path)) as (process, _):
        end = time.monotonic() + 120
        while time.monotonic() < end and not sent(tmp_path):
            time.sleep(0.5)
        assert sent(tmp_path) > 0
        stop(process)


AT_ANY_HOUR = """
INSERT INTO reminders_reminderwish
    (person_id, rhythm, from_time, weekdays, urgent_any_time, most_at_once, time_zone)
SELECT id, 'single', '00:00:00', '1234567', 1, 1000, '' FROM people_user
"""


def sent(data: Path) -> int:
    with sqlite3.connect(data / "wearlog.sqlite3", timeout=20) as connection:
        found = connection.execute("SELECT count(*) FROM reminders_outboxrow WHERE state = 'sent'").fetchone()
    return int(found[0])


def test_without_the_demo_the_mill_is_empty(tmp_path: Path) -> None:
    port = free_port()
    with running("--no-demo", f"--port={port}", f"--data={tmp_path}") as (process, printed):
        assert fetch(f"http://127.0.0.1:{port}/sign-in/")[0] == 200
        assert "Warning" not in printed  # on this machine alone nobody reads along
        assert stop(process)[0] == 0
    assert count(tmp_path, "equipment_press") == 0


def fetch_as(host: str, port: int) -> tuple[int, str]:
    """What somebody gets who calls this site by that name."""
    asked = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    asked.request("GET", "/sign-in/", headers={"Host": host})
    answer = asked.getresponse()
    return answer.status, answer.read().decode()


def test_not_even_debug_shows_a_stranger_a_developers_page_and_the_network_is_warned_of(
    tmp_path: Path,
) -> None:
    port = free_port()
    migrated.lay(tmp_path / "wearlog.sqlite3")
    place = ("--no-demo", "--host", "0.0.0.0", "--port", str(port), "--data", str(tmp_path))
    with running(*place, DEBUG="1", ALLOWED_HOSTS="press-log.lan") as (process, printed):
        status, page = fetch_as("192.168.1.50", port)
        assert status == 400
        assert "DisallowedHost" not in page
        # A name of its own does not send people to an https that nobody speaks there.
        assert fetch_as("press-log.lan", port)[0] == 200
        assert stop(process)[0] == 0
    assert "Warning: " in printed
    assert "served without encryption" in printed
    assert "--https" in printed


def test_a_port_in_use_is_one_clear_sentence(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        said, code = outcome("--no-demo", "--port", str(port), "--data", str(tmp_path))
    assert code == 1
    assert said.count("\n") == 1
    assert f"Port {port}" in said
    assert f"--port {port + 1}" in said


def test_a_second_start_on_the_same_folder_says_so(tmp_path: Path) -> None:
    migrated.lay(tmp_path / "wearlog.sqlite3")
    with running("--no-demo", "--port", str(free_port()), "--data", str(tmp_path)) as (process, _):
        said, code = outcome("--no-demo", "--port", str(free_port()), "--data", str(tmp_path))
        assert code == 1
        assert str(process.pid) in said
        assert "already runs" in said


def test_a_host_that_is_not_this_machine_is_one_clear_sentence(tmp_path: Path) -> None:
    said, code = outcome("--no-demo", "--host", "198.51.100.7", "--data", str(tmp_path))
    assert code == 1
    assert "no address of this machine" in said


def outcome(*words: str) -> tuple[str, int]:
    process = command(*words)
    said, _ = process.communicate(timeout=60)
    return said, process.returncode
