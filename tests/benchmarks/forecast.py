"""How long a forecast takes on 20 presses with 1,000 parts and ten years of runs. Run by hand:

    DATA_DIR=/tmp/benchmark OPENBLAS_NUM_THREADS=1 .venv/bin/python -m tests.benchmarks.forecast

The mill is generated into the empty database at the first call and kept there. Prints each step's best of
three in seconds of one processor, and its ratio to reading the runs by plain SQL, which is the floor.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from dataclasses import fields
from datetime import date
from typing import TypeVar

import django

Answer = TypeVar("Answer")


def best(work: Callable[[], Answer], times: int = 3) -> tuple[float, Answer]:
    taken = []
    for _ in range(times):
        begun = time.process_time()
        answer = work()
        taken.append(time.process_time() - begun)
    return min(taken), answer


def a_million_runs() -> float:
    """Kilograms of 5,000 fittings on 20 presses with 50,000 runs each, from bare arrays."""
    import numpy as np

    from wearlog.calc.exposure import exposures, timeline_of
    from wearlog.calc.meters import hours_of_press

    chance = np.random.default_rng(1)
    timelines = {}
    for press in range(20):
        start = np.arange(50_000) * 3600.0
        timelines[press] = timeline_of(
            hours=hours_of_press(start=start, end=start + 3000.0, recorded_h=np.full(50_000, 0.8)),
            unlogged=False,
            start=start,
            end=start + 3000.0,
            kilograms=chance.uniform(10, 60, 50_000),
            crop=chance.integers(0, 4, 50_000),
            crops=4,
        )
    begun = chance.uniform(0, 50_000 * 3600.0, 5_000)
    return float(
        exposures(
            timelines,
            chance.integers(0, 20, 5_000),
            [""] * 5_000,
            np.ones(5_000),
            begun,
            begun + chance.uniform(0, 3e7, 5_000),
        ).kilograms.sum()
    )


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "wearlog.config.settings")
    django.setup()
    import numpy as np
    from django.core.management import call_command
    from django.db import connection

    from tests.mills.large_mill import build
    from wearlog.calc.exposure import exposures
    from wearlog.forecasts.board import items_of
    from wearlog.history import cache
    from wearlog.history.record import Record, load
    from wearlog.runs.models import Run

    call_command("migrate", verbosity=0)
    if not Run.objects.exists():
        print("building the mill ...", flush=True)
        build()
    as_of = date(2026, 6, 30)
    columns = "press_id, crop_id, started_at, ended_at, hours_h, seed_kg, through"

    def floor() -> list[tuple[object, ...]]:
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT {columns} FROM runs_run WHERE voided_at IS NULL")
            return list(cursor.fetchall())

    def exposed_hours(record: Record) -> float:
        places = [record.positions[row.position_id] for row in record.fittings]
        record.__dict__.pop("timelines", None)
        record.__dict__.pop("hours", None)
        found = exposures(
            record.timelines,
            np.array([place.press_id for place in places], dtype=np.int64),
            [place.barrel for place in places],
            np.array([place.share for place in places]),
            np.array([row.fitted for row in record.fittings]),
            np.array([row.removed or record.end for row in record.fittings]),
        )
        return float(found.kilograms.sum())

    def anew() -> Record:
        cache.clear_all()
        return load(as_of)

    def all_of_it() -> Record:
        """The record with everything of it read, since it reads a table when it is first asked for."""
        record = anew()
        for field in fields(Record):
            getattr(record, field.name)
        assert len(record.runs) + len(record.readings)
        return record

    read, rows = best(floor)
    loading, record = best(all_of_it)
    exposing, _ = best(lambda: exposed_hours(record))
    print(f"{len(rows):,} runs, {len(record.parts):,} parts, {len(record.fittings):,} fittings,")
    print(f"{len(record.measurements):,} measurements on {connection.vendor}")
    items, found = best(lambda: items_of(anew()))
    cache.clear_all()
    with_learned, _ = best(lambda: items_of(load(as_of)))
    for name, seconds in (
        ("exposure of 5,000 fittings over 1,000,000 runs, prefix sums included", best(a_million_runs)[0]),
        ("reading the runs' rows by plain SQL (the floor)", read),
        ("the record: all of the log as of a day", loading),
        ("exposure of all fittings, prefix sums included", exposing),
        (f"a whole forecast of {len(found)} items with nothing kept, record included", items),
        ("the same where the log and what gauges teach are kept", with_learned),
    ):
        print(f"{seconds:8.2f} s  {seconds / read:6.1f} x  {name}")


if __name__ == "__main__":
    main()
