"""How much sooner a second Celery process brings the whole fleet's items up to date. Run by hand:

    .venv/bin/python -m tests.benchmarks.workers 20x10 200x1

PostgreSQL, Redis and Celery's own processes on this machine, by turns with one and with two. Seconds on the
wall from an entry that concerns every press (a new rule; then a gauge, from which the whole fleet learns)
until every press's items are stored anew; and the processor's seconds of the busiest of Celery's
processes, which is what the wall would show on processors that nobody else uses."""

from __future__ import annotations

import os
import secrets
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

import psycopg

from tests.services import servers
from tests.services.processes import CELERY, ROOT, end, run, start

TURNS = 2
IN_STEP = (
    "SELECT count(*) FROM forecasts_standing JOIN forecasts_runsversion AS own USING (press_id), "
    "forecasts_logversion AS log WHERE log_version >= GREATEST(own.items, log.setup, log.lessons)"
)
NUMBER = "SELECT number FROM forecasts_logversion"
BEGIN = "from tests.benchmarks.workers import enter; enter({!r}, {})"


def main() -> None:
    programs, redis = servers.postgres_programs(), servers.redis_program()
    assert programs
    assert redis
    for size in sys.argv[1:]:
        presses, years = size.split("x")
        with (
            tempfile.TemporaryDirectory(prefix="wearlog-workers-") as folder,
            servers.postgres_server(programs) as url,
            servers.redis_server(redis) as queue,
        ):
            run([str(programs / "createdb"), "--maintenance-db", f"{url}/postgres", "fleet"], {**os.environ})
            environment = surroundings(Path(folder), f"{url}/fleet", queue.url)
            run([sys.executable, "-m", "tests.load.mill", "build", presses, years], environment)
            run([sys.executable, "manage.py", "refresh_forecasts"], environment)
            measure(size, f"{url}/fleet", environment, Path(folder))


def surroundings(folder: Path, database_url: str, queue_url: str) -> dict[str, str]:
    (folder / "static").mkdir()
    return os.environ | {
        "DJANGO_SETTINGS_MODULE": "wearlog.config.settings",
        "DATABASE_URL": database_url,
        "REDIS_URL": queue_url,
        "DATA_DIR": str(folder),
        "PYTHONPATH": str(ROOT),
        "HTTPS": "0",
        "SECRET_KEY": secrets.token_urlsafe(50),
        "OPENBLAS_NUM_THREADS": "1",
    }


def measure(size: str, url: str, environment: dict[str, str], folder: Path) -> None:
    taken: dict[tuple[str, int], list[float]] = {}
    spent: dict[tuple[str, int], list[float]] = {}
    for turn in range(TURNS):
        for processes in (1, 2):
            worker = start(
                [*CELERY, "worker", "-l", "warning", "-c", str(processes)], environment, folder / "log"
            )
            try:
                for kind in ("warm up", "a rule", "a gauge"):
                    before = processor_seconds(worker.pid)
                    wall = until_in_step(url, environment, kind, 10 * turn + processes)
                    taken.setdefault((kind, processes), []).append(wall)
                    after = processor_seconds(worker.pid)
                    each = [seconds - before.get(pid, 0.0) for pid, seconds in after.items()]
                    spent.setdefault((kind, processes), []).append(max(each))
            finally:
                end(worker)
    for kind in ("warm up", "a rule", "a gauge"):
        one, two = (median(taken[kind, processes]) for processes in (1, 2))
        cpu = [median(spent[kind, processes]) for processes in (1, 2)]
        print(
            f"{size:7s} {kind:8s} one {one:5.2f} s, two {two:5.2f} s, {one / two:.2f} times as fast; "
            f"busiest process {cpu[0]:.2f} and {cpu[1]:.2f} s, {cpu[0] / cpu[1]:.2f} times",
            flush=True,
        )


def until_in_step(url: str, environment: dict[str, str], kind: str, turn: int) -> float:
    """Seconds from the commit of the entry until all is stored. The entry is made by another process."""
    with psycopg.connect(url, autocommit=True) as connection:

        def one(sql: str) -> int:
            row = connection.execute(sql).fetchone()
            assert row is not None
            return int(row[0])

        presses, before = one("SELECT count(*) FROM equipment_press"), one(NUMBER)
        entering = start(
            [sys.executable, "manage.py", "shell", "-v0", "-c", BEGIN.format(kind, turn)],
            environment,
            Path(environment["DATA_DIR"]) / "entry.log",
        )
        while one(NUMBER) == before:
            assert entering.poll() in (None, 0), (Path(environment["DATA_DIR"]) / "entry.log").read_text()
            time.sleep(0.01)
        begun = time.monotonic()
        while one(IN_STEP) < presses:
            assert time.monotonic() < begun + 300
            time.sleep(0.02)
        taken = time.monotonic() - begun
        entering.wait()
    return taken


def enter(kind: str, turn: int) -> None:
    """Within a process of the site: an entry that concerns every press."""
    from datetime import timedelta
    from decimal import Decimal

    from django.utils import timezone

    from wearlog.equipment.models import Fitting
    from wearlog.logbook import actions
    from wearlog.logbook.entries import NewMeasurement
    from wearlog.service.models import Rule

    now = timezone.now()
    if kind == "a gauge":
        die = Fitting.objects.open().filter(part__part_type__kind="die").order_by("pk")[turn % 20]
        actions.log_measurement(
            by=None,
            at=now,
            part_id=die.part_id,
            edge=die.edge,
            measured_at=now - timedelta(minutes=1),
            measurement=NewMeasurement(value_mm=Decimal("5.2")),
            confirmed=("large_step",),
        )
    else:
        rule = Rule(code=f"{kind} {turn}", action="adjust", every_days=Decimal(9))
        actions.save_thing(by=None, at=now, thing=rule)


def processor_seconds(pid: int) -> dict[int, float]:
    """User and system time of a process and of each of its children."""
    pids, found = [pid], {}
    for one in pids:
        try:
            pids += [int(child) for child in Path(f"/proc/{one}/task/{one}/children").read_text().split()]
            numbers = Path(f"/proc/{one}/stat").read_text().rsplit(")", 1)[1].split()
        except OSError:
            continue
        found[one] = (int(numbers[11]) + int(numbers[12])) / os.sysconf("SC_CLK_TCK")
    return found


if __name__ == "__main__":
    main()
