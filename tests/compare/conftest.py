"""Runs on record, written down in one line each."""

from __future__ import annotations

from decimal import Decimal
from itertools import count

import pytest

from tests.dates import at
from tests.mills.run_maker import RunMaker
from wearlog.equipment.models import Press
from wearlog.people.models import Mill
from wearlog.runs.models import Crop, Run


@pytest.fixture
def run(mill: Mill) -> RunMaker:
    """`run("P1", "flax", "2026-03-01 06:00", hours="5", kg="100")` writes a run that has ended."""
    numbers = count(1)

    def make(
        press: str, crop: str, started: str, *, kg: str, hours: str | None = None, **fields: object
    ) -> Run:
        entry = Run(
            ref=f"r{next(numbers)}",
            press=Press.objects.get_or_create(code=press)[0],
            crop=Crop.objects.get_or_create(code=crop)[0],
            started_at=at(started),
            hours_h=None if hours is None else Decimal(hours),
            seed_kg=Decimal(kg),
            **fields,
        )
        entry.save()
        return entry

    return make
