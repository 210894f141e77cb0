"""How long an entry takes until the pages show what follows from it, on 20 presses and ten years. By hand:

    DATA_DIR=/tmp/benchmark OPENBLAS_NUM_THREADS=1 .venv/bin/python -m tests.benchmarks.refresh

The mill is that of `tests.benchmarks.forecast`, and grows a little with each call. For each kind of entry the
median of nine: the entry itself, then all due items after it in the same process, in seconds of one
processor; beside it the same with nothing remembered, which is the floor that memory is held against."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from functools import partial
from statistics import median

import django

TURNS = 9


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "wearlog.config.settings")
    django.setup()
    from django.core.management import call_command
    from django.utils import timezone

    from tests.mills.large_mill import build
    from tests.mills.short_runs import log_short_run
    from wearlog.equipment.models import Fitting, Press
    from wearlog.forecasts.memory import queries
    from wearlog.forecasts.memory.refresh import today
    from wearlog.history import cache
    from wearlog.logbook import actions
    from wearlog.logbook.entries import NewMeasurement, NewWork
    from wearlog.runs.models import Crop, Run

    call_command("migrate", verbosity=0)
    if not Run.objects.exists():
        print("building the mill ...", flush=True)
        build()
    now = timezone.now()
    crop = Crop.objects.first()
    assert crop is not None
    presses = list(Press.objects.order_by("pk"))
    dies = list(Fitting.objects.open().filter(part__part_type__kind="die").select_related("part", "position"))
    taken = Run.objects.count()

    def run(turn: int) -> None:
        begun = now - timedelta(hours=20 + taken % 1000, minutes=-turn)
        log_short_run(press_id=presses[turn].pk, crop_id=crop.pk, begun=begun, at=now)

    def gauge(turn: int) -> None:
        die = dies[turn]
        actions.log_measurement(
            by=None,
            at=now,
            part_id=die.part_id,
            edge=die.edge,
            measured_at=now - timedelta(minutes=TURNS - turn),
            measurement=NewMeasurement(value_mm=Decimal(f"5.{31 + turn}")),
            confirmed=("large_step",),
        )

    def work(turn: int) -> None:
        done = now - timedelta(minutes=TURNS - turn)
        entry = NewWork(press_id=presses[turn].pk, action="lubricate", done_at=done)
        actions.log_work(by=None, at=now, entry=entry)

    as_of = today(now)
    for name, entry in (("a run", run), ("work", work), ("a gauge", gauge)):
        queries.due_items(as_of=as_of)
        entries, answers = [], []
        for turn in range(TURNS):
            entries.append(timed(partial(entry, turn)))
            answers.append(timed(partial(queries.due_items, as_of=as_of)))
        print(f"{name:10s} entered in {median(entries):.3f} s, then all due items in {median(answers):.3f} s")
    anew = []
    for _ in range(3):
        cache.clear_all()
        anew.append(timed(partial(queries.due_items, as_of=as_of)))
    print(f"with nothing remembered: {median(anew):.3f} s")


def timed(work: Callable[[], object]) -> float:
    begun = time.process_time()
    work()
    return time.process_time() - begun


if __name__ == "__main__":
    main()
