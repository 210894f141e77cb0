"""How long comparisons and money take on 20 presses and ten years, beside the forecast. Run by hand:

    DATA_DIR=/tmp/benchmark OPENBLAS_NUM_THREADS=1 .venv/bin/python -m tests.benchmarks.compare

The mill is that of `tests.benchmarks.forecast`, with oil, cake and energy written to each run. Median of five
in seconds of one processor: with nothing kept, with the forecast kept, and after a run was entered at one
press of the twenty."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from datetime import date
from statistics import median

import django

TURNS = 5
AS_OF = date(2026, 6, 30)


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "wearlog.config.settings")
    django.setup()
    from django.core.management import call_command
    from django.db.models import F

    from tests.mills.large_mill import build
    from wearlog.compare.ledger import ledger
    from wearlog.compare.queries import compare
    from wearlog.compare.stopping import stops
    from wearlog.equipment.models import PartType, Press
    from wearlog.forecasts.memory.queries import due_items
    from wearlog.history import cache, versions
    from wearlog.history.record import load
    from wearlog.runs.models import Price, Run

    call_command("migrate", verbosity=0)
    if not Run.objects.exists():
        print("building the mill ...", flush=True)
        build()
    Run.objects.filter(oil_kg=None).update(
        oil_kg=F("seed_kg") * 0.35, cake_kg=F("seed_kg") * 0.6, energy_kwh=F("seed_kg") * 0.07
    )
    PartType.objects.update(unit_cost=400)
    for item, price in (("oil_kg", 1.2), ("cake_kg", 0.3), ("labour_h", 30), ("energy_kwh", 0.25)):
        Price.objects.get_or_create(item=item, from_on=date(2016, 1, 1), defaults={"price": price})
    press = Press.objects.earliest("pk")

    def entered() -> None:
        versions.touch(runs_of=[press.pk])

    def forecast_kept() -> None:
        cache.clear_all()
        due_items(as_of=AS_OF)

    works: dict[str, Callable[[], object]] = {
        "all due items": lambda: due_items(as_of=AS_OF),
        "the table": lambda: compare(),
        "the table with money": lambda: compare(money_on=AS_OF),
        "whether a screw still pays": lambda: stops(load(AS_OF), ledger()),
    }
    for name, work in works.items():
        nothing, beside = timed(work, cache.clear_all), timed(work, forecast_kept)
        print(f"{name:28s} {nothing:.2f} s, forecast kept {beside:.2f} s, ", end="")
        for each in works.values():
            each()
        print(f"after an entry {timed(work, entered):.2f} s", flush=True)


def timed(work: Callable[[], object], before: Callable[[], object]) -> float:
    taken = []
    for _ in range(TURNS):
        before()
        begun = time.process_time()
        work()
        taken.append(time.process_time() - begun)
    return median(taken)


if __name__ == "__main__":
    main()
