"""Tables of runs of a large mill: processor milliseconds and queries of pages and files.

    DATA_DIR=/tmp/benchmark OPENBLAS_NUM_THREADS=1 .venv/bin/python -m tests.benchmarks.records

20 presses, ten years, 200,000 runs (`tests/mills/large_mill.py`). Each page is opened in turn, several times,
as somebody who turns pages and sorts does; the first time in a process stands apart.
"""

from __future__ import annotations

import os
import time

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "wearlog.config.settings")
import django

django.setup()

from django.core.management import call_command  # noqa: E402
from django.db import connection  # noqa: E402
from django.test import Client  # noqa: E402
from django.test.utils import CaptureQueriesContext  # noqa: E402

from tests.mills import large_mill  # noqa: E402
from wearlog.people.models import User  # noqa: E402
from wearlog.runs.models import Run  # noqa: E402

PAGES = (
    "runs/",
    "runs/?sort=-seed_kg&page=77",
    "runs/?press=P03&season=2019/20&counts=rate",
    "runs/?die=P03-die-07&edge=A",
    "runs/?size=5&edge=A&press=P01",
    "runs/?person=Ada",
    "work/",
    "gauges/?sort=value_mm&page=9",
    "lives/",
)
TIMES = 12
FILES = ("runs/?download=csv", "runs/?download=xlsx&press=P03&season=2019/20&season=2020/21")


def taken(client: Client, address: str) -> tuple[float, int, int]:
    """Processor milliseconds, bytes and queries of an answer."""
    with CaptureQueriesContext(connection) as asked:
        begun = time.process_time()
        answer = client.get(f"/records/{address}")
        size = sum(len(part) for part in answer) if answer.streaming else len(answer.content)  # type: ignore[arg-type]
        spent = 1000 * (time.process_time() - begun)
    assert answer.status_code == 200, address
    return spent, size, len(asked)


def main() -> None:
    call_command("migrate", verbosity=0)
    if not Run.objects.exists():
        large_mill.build()
    owner, _ = User.objects.get_or_create(username="owner", role="owner")
    client = Client(headers={"host": "127.0.0.1"})
    client.force_login(owner)
    print("page, first ms, then median and p95 ms, queries")
    for address in PAGES:
        first, _, _ = taken(client, address)
        again = sorted(taken(client, address) for _ in range(TIMES))
        median, slow, asked = again[TIMES // 2][0], again[-1][0], again[0][2]
        print(f"{address:50} {first:7.0f} {median:7.0f} {slow:7.0f} {asked:4d}", flush=True)
    for address in FILES:
        spent, size, asked = taken(client, address)
        print(f"{address:60} {spent:7.0f} ms, {size / 1e6:.1f} MB, {asked} queries", flush=True)


if __name__ == "__main__":
    main()
