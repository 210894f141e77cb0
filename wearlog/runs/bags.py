"""What a bag of a crop weighs: as it was last typed with a run, on whichever device."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from django.db import transaction

from wearlog.people import audit
from wearlog.people.cleaning import check_numbers, clean
from wearlog.people.models import User
from wearlog.people.roles import Permission, require
from wearlog.runs.models import Crop


@transaction.atomic
def remember_bag(*, by: User | None, at: datetime, crop: Crop, bag_kg: Decimal) -> None:
    """Keep the weight with the crop. One that stands there already writes nothing."""
    require(by, Permission.LOG)
    stands = Crop.objects.select_for_update().get(pk=crop.pk)
    old = audit.snapshot(stands)
    stands.bag_kg = bag_kg
    check_numbers(stands)
    clean(stands)
    new = audit.snapshot(stands)
    if new == old:
        return
    stands.save(update_fields=["bag_kg"])
    audit.write(at=at, by=by, action="change", record=stands, old=old, new=new)
