"""The hours of a run that no reading of the meter bears on are told without reading other runs."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.dates import at
from tests.mills.forecast_shop import Shop
from wearlog.calc.meters import Source
from wearlog.equipment.models import Press
from wearlog.runs import hours
from wearlog.runs.models import Crop, Run


@pytest.fixture
def shop(db: None) -> Shop:
    """A press whose meter was read twice, long ago, and that has pressed ever since."""
    shop = Shop()
    shop.press("P1")
    shop.read("2025-01-01 06:00", 100)
    shop.run("2025-01-01 08:00", 3, 300)
    shop.read("2025-01-02 06:00", 103)
    for day in range(1, 20):
        shop.run(f"2025-02-{day:02d} 06:00", 5, 500)
    return shop


def told(start: str, end: str, written: str | None = None) -> tuple[hours.RunHours, str]:
    """The hours of a run that is not stored yet, and the statements that read the table of runs."""
    run = Run(
        press=Press.objects.get(),
        crop=Crop.objects.first(),
        started_at=at(start),
        ended_at=at(end),
        hours_h=None if written is None else Decimal(written),
    )
    with CaptureQueriesContext(connection) as queries:
        found = hours.of_run(run)
    return found, "; ".join(query["sql"] for query in queries if "runs_run" in query["sql"])


@pytest.mark.parametrize("hours_from", ["runs", "meter"])
def test_after_the_last_reading_the_clock_counts_and_no_run_is_read(shop: Shop, hours_from: str) -> None:
    Press.objects.update(hours_from=hours_from)
    found, read = told("2025-02-20 06:00", "2025-02-20 10:00")
    assert (found.hours_h, found.source, found.stretch, read) == (4.0, Source.CLOCK, None, "")


def test_before_the_first_reading_too(shop: Shop) -> None:
    found, read = told("2024-12-01 06:00", "2024-12-01 10:00")
    assert (found.hours_h, found.source, read) == (4.0, Source.CLOCK, "")


def test_between_two_readings_the_runs_there_are_read(shop: Shop) -> None:
    found, read = told("2025-01-01 20:00", "2025-01-01 22:00")
    assert found.stretch is not None
    assert read
