"""A mill in which every page has something to show."""

from __future__ import annotations

from django.utils import timezone

from tests.mills.look_mill import LookMill
from wearlog.equipment.models import PartOrder
from wearlog.logbook.models import ImportJob
from wearlog.people.models import Mill, User
from wearlog.runs.models import PlanEntry, Price


def whole_mill() -> LookMill:
    """A mill in which every page has something to show."""
    Mill.objects.create(name="Hillside mill", time_zone="Europe/Vienna", currency="EUR", units="metric")
    owner = User.objects.create_user("owner", name="Olga", role="owner")
    shop = LookMill(timezone.now())
    shop.running()
    shop.hold()
    shop.polish(by=owner)
    shop.reading()
    shop.isolate(by=owner)
    today = timezone.localdate()
    PlanEntry.objects.create(press=shop.north, crop=shop.rape, start_on=today, end_on=today, seed_kg=500)
    Price.objects.create(item="oil_kg", from_on=today, price=2)
    PartOrder.objects.create(ref="ordered", part_type=shop.small, count=2, ordered_on=today)
    PartOrder.objects.create(ref="came", part_type=shop.small, count=1, ordered_on=today, arrived_on=today)
    an_import(owner)
    return shop


def an_import(owner: User) -> ImportJob:
    """One that is being checked and, which none would be at once, has been found wrong."""
    groups = [{"file": "runs.csv", "column": "seed_kg", "count": 812, "first": ["runs.csv, line 2: much."]}]
    return ImportJob.objects.create(
        file="none", name="old years.zip", only_check=True, by=owner, language="en", asked_at=timezone.now(),
        state="checking", doing="reading runs.csv", done_rows=2_000, total_rows=9_000, said="Wait.",
        groups=groups * 13, problems=812 * 13,
        counts={"new": 1, "filled": 2, "replaced": 3, "kept": 4, "same": 5},
    )  # fmt: skip
