"""Entered actions for the season plan."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from wearlog.logbook import things
from wearlog.logbook.door import entered
from wearlog.people.models import User
from wearlog.runs.models import PlanEntry


@entered
def plan_entries(*, by: User | None, at: datetime, entries: Sequence[PlanEntry]) -> list[PlanEntry]:
    """Add several entries to the plan: all of them, or none if one is refused."""
    return [things.save_thing(by=by, at=at, thing=entry) for entry in entries]
