"""How much of what is spoilt in a clean log is found, and how much is doubted in a clean one. By hand:

    .venv/bin/python -m tests.benchmarks.doubts 40

That many invented years of three presses (`tests/mills/doubtful_mill.py`), each once clean and once with each
thing spoilt; a share is given with its 95 % interval after Wilson (1927; from memory)."""

from __future__ import annotations

import math
import os
import random
import sys
from collections.abc import Callable
from datetime import timedelta

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "wearlog.config.settings")


def main() -> None:
    import django

    django.setup()
    from django.db import transaction
    from django.test.utils import setup_databases, teardown_databases

    from tests.mills.doubtful_mill import DAYS, LAST, PACES, SPOILS, Clean, clean, store
    from wearlog.compare.doubts.looking import OpenDoubt, doubts
    from wearlog.history import cache
    from wearlog.history.record import load
    from wearlog.runs.models import Cause

    def with_mill(made: Clean, look: Callable[[list[tuple[OpenDoubt, str, object]]], bool]) -> bool:
        with transaction.atomic():
            cache.clear_all()
            store(made)
            record = load(LAST)
            found = [
                (each, record.presses[each.press].code, record.day_of(each.first)) for each in doubts(record)
            ]
            transaction.set_rollback(True)
        return look(found)

    mills = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    old = setup_databases(0, interactive=False)
    try:
        alarms: list[Cause] = []

        def count(found: list[tuple[OpenDoubt, str, object]]) -> bool:
            alarms.extend(each.cause for each, _press, _day in found)
            return bool(found)

        for seed in range(mills):
            with_mill(clean(1000 + seed), count)
        years = mills * len(PACES) * DAYS / 365
        print("| spoilt | found | 95 % interval |\n| --- | --- | --- |")
        for name, spoil in SPOILS.items():
            hits = 0
            for seed in range(mills):
                made = clean(1000 + seed)
                cause, press, day = spoil(made, random.Random(seed))
                near = timedelta(days=6 if cause is Cause.STEP else 1)
                hits += with_mill(
                    made,
                    lambda found: any(
                        each.cause == cause and code == press and abs(first - day) <= near  # noqa: B023
                        for each, code, first in found
                    ),
                )
            low, high = wilson(hits, mills)
            print(f"| {name} | {hits} of {mills} | {100 * low:.0f} to {100 * high:.0f} % |", flush=True)
        by_cause = {cause: alarms.count(cause) for cause in Cause if cause in alarms}
        said = ", ".join(f"{cause.label} {number}" for cause, number in by_cause.items()) or "none"
        print(f"\nDoubted in clean years: {len(alarms) / years:.2f} for a press and year ({said}).")
    finally:
        teardown_databases(old, 0)


def wilson(hits: int, of: int, z: float = 1.959964) -> tuple[float, float]:
    share = hits / of
    middle = (share + z * z / (2 * of)) / (1 + z * z / of)
    half = z / (1 + z * z / of) * math.sqrt(share * (1 - share) / of + z * z / (4 * of * of))
    return middle - half, middle + half


if __name__ == "__main__":
    main()
