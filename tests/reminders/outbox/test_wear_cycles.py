"""A wear limit that work pushes back is a new reason to remind, once it comes near again."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

import pytest

from tests.dates import at
from wearlog.equipment.models import Fitting, Part, PartType, Position, Press
from wearlog.people.models import Mill, User
from wearlog.reminders.models import OutboxRow
from wearlog.reminders.outbox.actions import scan
from wearlog.runs.models import Crop, Run
from wearlog.service.models import Measurement, Rule, Service

BEGIN = at("2026-01-01 06:00")


@pytest.fixture
def screw(mill: Mill, operator: User) -> Part:
    """A screw of 60 mm, to be polished at 59.6 mm, that loses 0.1 mm in ten days of 1 t each."""
    press = Press.objects.create(code="P1")
    part_type = PartType.objects.create(
        code="screw 60", kind="screw", new_mm=Decimal(60), limit_mm=Decimal("59.6")
    )
    part = Part.objects.create(code="S-01", part_type=part_type)
    position = Position.objects.create(press=press, name="screw", kind="screw")
    Fitting.objects.create(part=part, position=position, fitted_at=BEGIN)
    Rule.objects.create(
        code="polish at limit", action="polish", part_type=part_type, at_limit=True, lead_days=Decimal(3)
    )
    crop = Crop.objects.create(code="canola")
    for day in range(120):
        start = BEGIN + timedelta(days=day, hours=1)
        end = start + timedelta(hours=12)
        Run.objects.create(
            ref=f"r{day}",
            press=press,
            crop=crop,
            started_at=start,
            ended_at=end,
            ends_at=end,
            seed_kg=Decimal(1000),
        )
    return part


def gauge(part: Part, day: int, value: str, **more: object) -> None:
    when: datetime = BEGIN + timedelta(days=day)
    Measurement.objects.create(
        ref=f"m{day}{more.get('phase', '')}", measured_at=when, part=part, value_mm=Decimal(value), **more
    )


def test_a_polish_ends_the_cycle_and_the_limit_is_told_again_when_it_comes_back(screw: Part) -> None:
    for day, value in ((10, "59.9"), (20, "59.8"), (30, "59.7"), (39, "59.61")):
        gauge(screw, day, value)
    assert scan(at=BEGIN + timedelta(days=39, hours=2)) == 1
    polish = Service.objects.create(
        ref="polish",
        done_at=BEGIN + timedelta(days=40),
        press=Press.objects.get(),
        part=screw,
        action="polish",
    )
    gauge(screw, 40, "59.6", phase="before", service=polish)
    gauge(screw, 40, "59.6", phase="after", service=polish)
    scan(at=BEGIN + timedelta(days=40, hours=2))
    keys = {row.dedupe_key for row in OutboxRow.objects.all()}
    gauge(screw, 50, "59.55")
    scan(at=BEGIN + timedelta(days=60))
    assert {row.dedupe_key for row in OutboxRow.objects.all()} - keys
    assert OutboxRow.objects.filter(item__cycle__startswith=f"service-{polish.pk}.").exists()
