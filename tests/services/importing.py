"""An import of many runs at the real site, while other people make entries and somebody watches the lock."""

from __future__ import annotations

import io
import json
import os
import random
import re
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import urllib.request
import zipfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

from tests import migrated
from tests.benchmarks.import_runs import rows, write
from tests.services.pages import Visitor
from tests.services.processes import ROOT, end, going, start, until, worker
from tests.services.servers import free_port

SETTINGS = {"DATABASE_URL", "REDIS_URL", "EMAIL_URL", "SECRET_KEY", "ALLOWED_HOSTS", "DEBUG", "HTTPS"}
WAITED_S = 0.2
"""Shorter waits for the lock are those of an entry."""
PEOPLE = """
import django, sys, json
django.setup()
from datetime import timedelta
from django.utils import timezone
from wearlog.equipment.models import Press
from wearlog.lockout.models import EnergySource
from wearlog.people import signin
from wearlog.people.models import Role, User
from wearlog.runs.models import Crop
crop = Crop.objects.create(code="hemp")
told = []
for number in range(int(sys.argv[1])):
    person = User.objects.create_user(f"person{number}", name=f"Person {number}", role=Role.OPERATOR)
    press = Press.objects.create(code=f"Q{number}")
    EnergySource.objects.create(press=press, source="Main motor", kind="electrical", isolate_at="Q1")
    link = signin.make_link(user=person, at=timezone.now(), valid_for=timedelta(hours=1))
    told.append([link, press.pk, crop.pk])
print(json.dumps(told))
"""


def surroundings(folder: Path) -> dict[str, str]:
    """On SQLite in a folder of its own, as the site is shipped."""
    kept = {
        name: value
        for name, value in os.environ.items()
        if name not in SETTINGS and not name.startswith("PYTEST_")
    }
    return kept | {
        "DATA_DIR": str(folder),
        "DJANGO_SETTINGS_MODULE": "wearlog.config.settings",
        "PYTHONPATH": str(ROOT),
    }


def packed(folder: Path, count: int) -> bytes:
    """A logbook of so many runs, as somebody uploads it."""
    write(folder / "book", rows(count))
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in (folder / "book").iterdir():
            archive.write(path, path.name)
    return stream.getvalue()


def upload(owner: Visitor, content: bytes) -> int:
    """Hand the logbook in to be stored; the number of its job."""
    token = re.findall(r'name="csrfmiddlewaretoken" value="([^"]*)"', owner.get("/exchange/"))[-1]
    boundary = "part-of-a-form"
    parts = [
        f'--{boundary}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
        for name, value in {"csrfmiddlewaretoken": token, "store": "1", "on_conflict": "keep"}.items()
    ]
    head = f'--{boundary}\r\nContent-Disposition: form-data; name="file"; filename="old.zip"\r\n\r\n'
    body = b"".join([*parts, head.encode(), content, f"\r\n--{boundary}--\r\n".encode()])
    kind = {"Content-Type": f"multipart/form-data; boundary={boundary}"}
    asked = urllib.request.Request(owner.site + "/exchange/", data=body, headers=kind)
    with owner.opener.open(asked, timeout=120) as answer:
        address = str(answer.geturl())
    return int(re.findall(r"/imports/(\d+)/", address)[0])


@dataclass
class BesideImport:
    """What happened beside the import. Seconds; `stored` is when the lock was held the longest."""

    took_s: float = 0.0
    begun: float = 0.0
    states: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    entries: list[tuple[float, float]] = field(default_factory=list)
    stored: tuple[float, float] = (0.0, 0.0)
    runs: int = 0
    notes: int = 0

    @property
    def storing_s(self) -> float:
        return self.stored[1] - self.stored[0]

    def spent(self, *, beside_storing: bool) -> list[float]:
        """How long the entries took that did, or did not, meet the storing; the longest last."""
        since, until = self.stored
        return sorted(
            end - begin
            for begin, end in self.entries
            if end > self.begun and beside_storing == (begin < until and end > since)
        )

    @property
    def p95_s(self) -> float:
        return p95(self.spent(beside_storing=False))

    @property
    def p95_before_s(self) -> float:
        """The same on this machine before the import began."""
        return p95(sorted(end - begin for begin, end in self.entries if end <= self.begun))


def p95(spent: list[float]) -> float:
    return spent[int(len(spent) * 0.95)] if spent else 0.0


@contextmanager
def site(folder: Path) -> Iterator[Visitor]:
    """The whole site in one process, and its owner, signed in."""
    port, log = free_port(), folder / "site.log"
    migrated.lay(folder / "data" / "wearlog.sqlite3")
    command = [sys.executable, "-u", "manage.py", "quickstart", "--no-demo", f"--port={port}"]
    process = start(command, surroundings(folder / "data"), log)
    try:
        assert until(lambda: "Stop with Ctrl-C" in log.read_text(), 120), log.read_text()
        owner = Visitor(f"http://127.0.0.1:{port}")
        owner.send(re.findall(r"http://127\.0\.0\.1:\d+(/\S*sign-in\S*)", log.read_text())[0])
        yield owner
        assert process.poll() is None, log.read_text()[-3000:]
    finally:
        end(process)


def import_beside(
    folder: Path,
    *,
    runs: int,
    people: int,
    every_s: float,
    quiet_s: float = 1.0,
    by_command: bool = False,
) -> BesideImport:
    """Import so many runs by page, or by the command, while so many people leave a note or a run every
    `every_s` seconds; they begin `quiet_s` seconds before."""
    found = BesideImport()
    (folder / "data").mkdir(parents=True)
    content = packed(folder, runs)
    with site(folder) as owner:
        told = subprocess.run(
            [sys.executable, "-c", PEOPLE, str(people)],
            env=surroundings(folder / "data"),
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        over = threading.Event()
        threads = [
            threading.Thread(target=keep_entering, args=(Visitor(owner.site), *each, every_s, over, found))
            for each in json.loads(told)
        ]
        database = folder / "data" / "wearlog.sqlite3"
        threads.append(threading.Thread(target=watch_lock, args=(database, over, found)))
        for thread in threads:
            thread.start()
        time.sleep(quiet_s)
        begun = found.begun = time.monotonic()
        try:
            if by_command:
                words = ["import_logbook", str(folder / "book"), "--on-conflict", "keep"]
                command = [sys.executable, "manage.py", *words]
                done = subprocess.run(
                    command, env=surroundings(folder / "data"), cwd=ROOT, capture_output=True, text=True
                )
                found.states.append("done" if done.returncode == 0 else done.stderr[-500:])
            else:
                follow(owner, upload(owner, content), database, found)
            found.took_s = time.monotonic() - begun
            time.sleep(3 * every_s)
        finally:
            over.set()
            for thread in threads:
                thread.join()
    with closing(sqlite3.connect(database)) as reader:
        found.runs = reader.execute("SELECT count(*) FROM runs_run").fetchone()[0]
        found.notes = reader.execute("SELECT count(*) FROM runs_shiftnote").fetchone()[0]
    return found


def follow(owner: Visitor, job: int, database: Path, found: BesideImport) -> None:
    """Look at the page of the import until it has ended."""
    while not found.states or found.states[-1] not in ("done", "refused", "broken", "cancelled"):
        with closing(sqlite3.connect(database, timeout=60)) as reader:
            (state,) = reader.execute("SELECT state FROM logbook_importjob WHERE id = ?", [job]).fetchone()
        if state not in found.states[-1:]:
            found.states.append(state)
        owner.get(f"/exchange/imports/{job}/")
        time.sleep(0.2)


def keep_entering(
    person: Visitor,
    link: str,
    press: int,
    crop: int,
    every_s: float,
    over: threading.Event,
    found: BesideImport,
) -> None:
    """Sign in, then note after note and run after run; each is one entry, from opening the page to the page
    after it."""
    person.send(f"/sign-in/{link}/")
    began = datetime(2026, 1, 1, tzinfo=UTC)
    number = 0
    while not over.wait(every_s):
        number += 1
        begun = time.monotonic()
        try:
            if number % 2:
                person.send("/log/note/", text=f"note {number} at press {press}")
            else:
                at = began + timedelta(hours=2 * number)
                person.send(
                    f"/log/run/?press={press}",
                    press=str(press),
                    crop=str(crop),
                    seed="100",
                    seed_unit="kg",
                    hours_h="1",
                    started_at=f"{at:%Y-%m-%dT%H:%M}",
                )
        except OSError as error:
            found.errors.append(f"{type(error).__name__}: {error}")
        else:
            found.entries.append((begun, time.monotonic()))


def watch_lock(database: Path, over: threading.Event, found: BesideImport) -> None:
    """Ask for the write lock again and again, and keep when that took long."""
    with closing(sqlite3.connect(database, timeout=600, isolation_level=None)) as connection:
        while not over.wait(0.02):
            begun = time.monotonic()
            connection.execute("BEGIN IMMEDIATE")
            connection.execute("ROLLBACK")
            if time.monotonic() - begun > max(WAITED_S, found.storing_s):
                found.stored = (begun, time.monotonic())


@dataclass
class KilledImports:
    """How many workers were killed, how many of them before anything was stored, what was half stored."""

    kills: int = 0
    before: int = 0
    halves: list[int] = field(default_factory=list)
    ended: list[str] = field(default_factory=list)


def by_worker(folder: Path, redis_url: str, *, runs: int) -> str:
    """What became of an import that a worker was woken for."""
    data = folder / "data"
    (data / "imports").mkdir(parents=True)
    environment = surroundings(data) | {"REDIS_URL": redis_url}
    migrated.make(data / "wearlog.sqlite3", data)
    make_job(environment)
    (data / "imports" / "some.zip").write_bytes(packed(folder, runs))

    def state() -> str:
        with closing(sqlite3.connect(data / "wearlog.sqlite3", timeout=60)) as reader:
            return str(reader.execute("SELECT state FROM logbook_importjob").fetchone()[0])

    with going([worker()], environment, folder):
        wake = "import django; django.setup(); from wearlog.logbook import tasks; tasks.wake()"
        subprocess.run([sys.executable, "-c", wake], env=environment, cwd=ROOT, check=True)
        until(lambda: state() not in ("waiting", "checking", "storing"), 120)
    return state()


def kill_imports(folder: Path, *, runs: int, times: int, seed: int) -> KilledImports:
    """Begin an import again and again, kill its worker at any moment, and look what stands."""
    dice, found = random.Random(seed), KilledImports()
    data = folder / "data"
    data.mkdir(parents=True)
    environment, log = surroundings(data), folder / "worker.log"
    migrated.make(data / "wearlog.sqlite3", data)
    content = packed(folder, runs)
    (data / "imports").mkdir()
    database, archive = data / "wearlog.sqlite3", data / "imports" / "some.zip"
    take = [sys.executable, "manage.py", "carry_out_imports"]
    with closing(sqlite3.connect(database, timeout=60, isolation_level=None)) as connection:
        make_job(environment)
        archive.write_bytes(content)
        began = time.monotonic()
        assert subprocess.run(take, env=environment, cwd=ROOT, check=False).returncode == 0
        whole_s = time.monotonic() - began
        full = connection.execute("SELECT count(*) FROM runs_run").fetchone()[0]
        assert full == runs

        def begun_or_over(worker: subprocess.Popen[bytes]) -> bool:
            (state,) = connection.execute("SELECT state FROM logbook_importjob").fetchone()
            return state != "waiting" or worker.poll() is not None

        for number in range(times):
            connection.execute("DELETE FROM runs_run")
            archive.write_bytes(content)
            connection.execute(
                "UPDATE logbook_importjob SET state = 'waiting', ended_at = NULL, tries = 0, holder = ''"
            )
            process = start(take, environment, log)
            if number % 2:
                time.sleep(dice.uniform(0.3, 1.05) * whole_s)
            else:  # however busy the machine is, this one is not over by then
                until(partial(begun_or_over, process), 120, every=0.005)
            if process.poll() is None:
                process.send_signal(signal.SIGKILL)
                found.kills += 1
            process.wait()
            count = connection.execute("SELECT count(*) FROM runs_run").fetchone()[0]
            (state,) = connection.execute("SELECT state FROM logbook_importjob").fetchone()
            if count not in (0, runs) or (state == "done") != (count == runs):
                found.halves.append(count)
            found.before += count == 0
            connection.execute("UPDATE logbook_importjob SET leased_until = '2000-01-01'")
            assert subprocess.run(take, env=environment, cwd=ROOT, check=False).returncode == 0
            found.ended.append(connection.execute("SELECT state FROM logbook_importjob").fetchone()[0])
            assert connection.execute("SELECT count(*) FROM runs_run").fetchone()[0] == runs
    return found


def make_job(environment: dict[str, str]) -> None:
    """An owner, and an import that waits."""
    made = (
        "import django; django.setup()\n"
        "from django.utils import timezone\n"
        "from wearlog.logbook.models import ImportJob\n"
        "from wearlog.people.models import Mill, Role, User\n"
        "Mill.objects.create(name='Benchmark', time_zone='UTC')\n"
        "owner = User.objects.create_user('owner', role=Role.OWNER)\n"
        "ImportJob.objects.create(file='some', name='old.zip', only_check=False, by=owner, language='en',\n"
        "    asked_at=timezone.now())\n"
    )
    subprocess.run([sys.executable, "-c", made], env=environment, cwd=ROOT, check=True)
