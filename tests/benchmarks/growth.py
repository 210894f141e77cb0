"""How what a page costs grows with the mill. Run by hand:

    OPENBLAS_NUM_THREADS=1 .venv/bin/python -m tests.benchmarks.growth 20x1 20x10 200x1

For each size (presses x years, 1,000 runs and 5 parts for each press and year) a mill is made in a folder of
its own. Milliseconds of one processor, the least of three: a page in a process that has just started, where
the worker has stored what is due; the same page again; after a run at that press; after a gauge there. Then
the memory that the process has taken, and its peak."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from datetime import timedelta
from decimal import Decimal
from pathlib import Path

PAGES = (("day", "/"), ("presses", "/presses/"), ("press", "/presses/{}/"), ("compare", "/compare/"))
PAGES += (("due", "/due/"), ("log a run", "/log/run/?press={}"), ("what pays", "/worth/pays/"))
KINDS = ("started", "again", "after a run", "after a gauge")


def main() -> None:
    if len(sys.argv) == 3 and sys.argv[1] == "--one":
        measure(sys.argv[2])
        return
    print(f"{'size':9s} {'page':11s} " + " ".join(f"{kind:>14s}" for kind in KINDS))
    for size in sys.argv[1:]:
        with tempfile.TemporaryDirectory(prefix="wearlog-growth-") as folder:
            environment = os.environ | {
                "DATA_DIR": folder,
                "DATABASE_URL": f"sqlite:///{Path(folder) / 'wearlog.sqlite3'}",
                "ALLOWED_HOSTS": "testserver",
                "HTTPS": "0",
                "DEBUG": "0",
                "SECRET_KEY": "x9" * 30 + "kqwz71",
                "DJANGO_SETTINGS_MODULE": "wearlog.config.settings",
            }
            (Path(folder) / "static").mkdir()
            command = [sys.executable, "-m", "tests.benchmarks.growth", "--one", size]
            subprocess.run(command, env=environment, check=True)


def measure(size: str) -> None:
    import django

    django.setup()
    from django.core.management import call_command
    from django.test import Client
    from django.utils import timezone

    from tests.mills.large_mill import build
    from tests.mills.short_runs import log_short_run
    from wearlog.equipment.models import Fitting, Press
    from wearlog.forecasts.memory import refresh
    from wearlog.history import cache
    from wearlog.logbook import actions
    from wearlog.logbook.entries import NewMeasurement
    from wearlog.people.models import User
    from wearlog.runs.models import Crop

    presses, years = (int(number) for number in size.split("x"))
    call_command("migrate", verbosity=0)
    build(presses=presses, years=years, runs=presses * years * 1_000, parts=presses * years * 5)
    now = timezone.now()
    refresh.refresh(at=now)
    cache.clear_all()
    owner = User.objects.create_user("owner", name="Owner", role="owner")
    client = Client()
    client.force_login(owner)
    press, crop = Press.objects.order_by("pk")[1], Crop.objects.all()[0]
    die = Fitting.objects.open().filter(position__press=press, part__part_type__kind="die").first()
    assert die
    entries = 0

    def run() -> None:
        nonlocal entries
        entries += 1
        begun = now - timedelta(hours=10) + timedelta(minutes=2 * entries)
        log_short_run(press_id=press.pk, crop_id=crop.pk, begun=begun, at=now, seed_kg="0.5")

    def gauge() -> None:
        nonlocal entries
        entries += 1
        actions.log_measurement(
            by=None,
            at=now,
            part_id=die.part_id,
            edge=die.edge,
            measured_at=now - timedelta(hours=10) + timedelta(minutes=2 * entries),
            measurement=NewMeasurement(value_mm=Decimal("5.2")),
            confirmed=("large_step",),
        )

    def nothing() -> None:
        pass

    def cost(path: str, before: object) -> float:
        taken = []
        for _ in range(3):
            before()  # type: ignore[operator]
            begun = time.process_time()
            answer = client.get(path)
            taken.append(time.process_time() - begun)
            assert answer.status_code == 200, (path, answer.status_code)
        return min(taken) * 1000

    client.get("/")  # templates and catalogues are read once
    for name, path in PAGES:
        address = path.format(press.pk)
        refresh.refresh(at=now)
        figures = [
            cost(address, cache.clear_all),
            cost(address, nothing),
            cost(address, run),
            cost(address, gauge),
        ]
        print(f"{size:9s} {name:11s} " + " ".join(f"{figure:14.0f}" for figure in figures), flush=True)
    now_kb = next(
        int(line.split()[1]) for line in Path("/proc/self/status").read_text().splitlines() if "VmRSS" in line
    )
    peak_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(f"{size:9s} memory {now_kb / 1024:.0f} MB now, {peak_kb / 1024:.0f} MB at most", flush=True)


if __name__ == "__main__":
    main()
