"""A run of a minute or two, entered through the one door whatever the site finds odd about it."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

from wearlog.logbook import actions
from wearlog.logbook.entries import NewRun

DOUBTS = ("twice_the_rate", "half_the_rate", "unit_looks_wrong", "overlaps_gap", "more_hours_than_clock")


def log_short_run(
    *, press_id: int, crop_id: int, begun: datetime, at: datetime, minutes: int = 1, seed_kg: str = "1"
) -> None:
    entry = NewRun(
        press_id=press_id,
        crop_id=crop_id,
        seed_kg=Decimal(seed_kg),
        started_at=begun,
        ended_at=begun + timedelta(minutes=minutes),
    )
    actions.log_run(by=None, at=at, entry=entry, confirmed=DOUBTS)
