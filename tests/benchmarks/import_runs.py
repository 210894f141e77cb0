"""Import of many runs beside Django's `bulk_create` of the same rows, in one process, turn by turn.

    python tests/benchmarks/import_runs.py [--runs 100000] [--repeats 5]

Uses the database that DATABASE_URL names (a test database of its own is made there and dropped), else an
SQLite file in a temporary folder. Prints seconds and the ratio; nothing passes or fails.
"""

from __future__ import annotations

import argparse
import csv
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
START = datetime(2016, 7, 1, 5, tzinfo=UTC)
PRESSES = 20
CROPS = ("rapeseed", "sunflower", "linseed", "camelina")
COLUMNS = (
    *("ref", "press", "crop", "lot", "started_at", "ended_at", "hours_h", "seed_kg", "oil_kg", "cake_kg"),
    *("foots_kg", "through", "moisture_pct", "seed_oil_pct", "cake_oil_pct", "head_c", "drive_hz", "motor_a"),
    *("energy_kwh", "dirt", "purge", "done_by", "note"),
)


def rows(count: int) -> list[dict[str, str]]:
    """Ten years of a mill's runs, filled in as people fill them in: half of the columns."""
    told = []
    for number in range(count):
        turn, press = divmod(number, PRESSES)
        start = START + timedelta(hours=17 * turn, minutes=number % 47)
        hours = Decimal(900 + number % 617) / 100
        seed = Decimal(1200 + number * 7 % 900) / 10
        told.append(
            {
                "ref": f"r{number:07}",
                "press": f"P{press + 1}",
                "crop": CROPS[turn // 90 % len(CROPS)],
                "lot": f"L{turn // 30:04}",
                "started_at": start.isoformat(),
                "ended_at": (start + timedelta(hours=float(hours))).isoformat(timespec="seconds"),
                "hours_h": str(hours),
                "seed_kg": str(seed),
                "oil_kg": str(seed * 3 / 10),
                "cake_kg": str(seed * 7 / 10),
                "moisture_pct": str(Decimal(60 + number % 25) / 10),
                "head_c": str(48 + number % 9),
                "done_by": ("Ada", "Bruno", "Cilla")[number % 3],
                "note": "moist lot" if number % 40 == 0 else "",
            }
        )
    return told


def write(folder: Path, runs: list[dict[str, str]]) -> None:
    tables: dict[str, tuple[Sequence[str], list[dict[str, str]]]] = {
        "mill": (["name", "time_zone"], [{"name": "Benchmark", "time_zone": "UTC"}]),
        "presses": (["press"], [{"press": f"P{number + 1}"} for number in range(PRESSES)]),
        "crops": (["crop"], [{"crop": crop} for crop in CROPS]),
        "runs": (COLUMNS, runs),
    }
    folder.mkdir()
    for name, (columns, told) in tables.items():
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as stream:
            writer = csv.DictWriter(stream, columns, restval="")
            writer.writeheader()
            writer.writerows(told)


class Watch:
    """Seconds on the wall and seconds of this process's own processor time since it was started."""

    def __init__(self) -> None:
        self.wall_s, self.cpu_s = time.perf_counter(), time.process_time()

    def read(self) -> tuple[float, float]:
        return time.perf_counter() - self.wall_s, time.process_time() - self.cpu_s


def measure(folder: Path, runs: list[dict[str, str]], repeats: int) -> list[tuple[float, ...]]:
    """Seconds of `bulk_create` and of the import on the wall, then the same of the processor, by turns."""
    from django.db import connection, transaction

    from wearlog.equipment.models import Press
    from wearlog.logbook.exchange.importing import import_logbook
    from wearlog.runs.models import Crop, Run

    def emptied() -> None:
        with connection.cursor() as cursor:
            if connection.vendor == "postgresql":
                cursor.execute("TRUNCATE runs_run")
            else:
                cursor.execute("DELETE FROM runs_run")

    def imported() -> tuple[float, float]:
        watch = Watch()
        taken = import_logbook(by=None, at=START, source=folder)
        spent = watch.read()
        assert Run.objects.count() == len(runs) <= taken.new
        return spent

    def created() -> tuple[float, float]:
        records = prepared()
        watch = Watch()
        with transaction.atomic():
            Run.objects.bulk_create(records)
        return watch.read()

    def prepared() -> list[Run]:
        numbers = ("hours_h", "seed_kg", "oil_kg", "cake_kg", "moisture_pct", "head_c")
        records = []
        for row in runs:
            values: dict[str, Any] = {**row, "press_id": presses[row["press"]], "crop_id": crops[row["crop"]]}
            del values["press"], values["crop"]
            values |= {name: Decimal(row[name]) for name in numbers}
            values |= {name: datetime.fromisoformat(row[name]) for name in ("started_at", "ended_at")}
            records.append(Run(**values, ends_at=values["ended_at"]))
        return records

    imported()  # once unmeasured: presses and crops are stored, code is warm
    presses = dict(Press.objects.values_list("code", "pk"))
    crops = dict(Crop.objects.values_list("code", "pk"))
    figures = []
    for _ in range(repeats):
        emptied()
        bulk_s, bulk_cpu_s = created()
        emptied()
        import_s, import_cpu_s = imported()
        figures.append((bulk_s, import_s, bulk_cpu_s, import_cpu_s))
    return figures


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--runs", type=int, default=100_000)
    parser.add_argument("--repeats", type=int, default=5)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="wearlog-benchmark-") as place:
        os.environ["DATA_DIR"] = place
        os.environ["DJANGO_SETTINGS_MODULE"] = "wearlog.config.settings"
        sys.path.insert(0, str(ROOT))
        import django

        django.setup()
        from django.db import connection

        connection.settings_dict["TEST"]["NAME"] = (
            str(Path(place) / "benchmark.sqlite3") if connection.vendor == "sqlite" else None
        )
        kept = connection.settings_dict["NAME"]
        connection.creation.create_test_db(verbosity=0, autoclobber=True)
        try:
            runs = rows(options.runs)
            write(Path(place) / "book", runs)
            figures = measure(Path(place) / "book", runs, options.repeats)
            print_figures(connection.vendor, options.runs, figures)
        finally:
            connection.creation.destroy_test_db(kept, verbosity=0)


def print_figures(vendor: str, count: int, figures: list[tuple[float, ...]]) -> None:
    print(
        f"{count:,} runs on {vendor}, Python {sys.version.split()[0]}; seconds on the wall, of this process"
    )
    print(
        f"{'':>8}{'bulk_create':>14}{'import':>10}{'ratio':>8}{'bulk_create':>16}{'import':>10}{'ratio':>8}"
    )
    least = tuple(min(column) for column in zip(*figures, strict=True))
    named = [*((str(number), turn) for number, turn in enumerate(figures, 1)), ("least", least)]
    for name, (bulk_s, import_s, bulk_cpu_s, import_cpu_s) in named:
        print(
            f"{name:>8}{bulk_s:>14.2f}{import_s:>10.2f}{import_s / bulk_s:>8.2f}"
            f"{bulk_cpu_s:>16.2f}{import_cpu_s:>10.2f}{import_cpu_s / bulk_cpu_s:>8.2f}"
        )
    wall, cpu = (statistics.median(turn[at + 1] / turn[at] for turn in figures) for at in (0, 2))
    print(f"{'median':>8}{wall:>32.2f}{cpu:>34.2f}")


if __name__ == "__main__":
    main()
