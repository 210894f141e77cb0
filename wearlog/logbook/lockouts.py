"""The door for what `lockout` keeps: energy sources in one go, wordings of cautions, isolation records."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from wearlog.lockout.models import EnergySource
from wearlog.logbook import things
from wearlog.logbook.door import enter
from wearlog.people.models import User


def record_sources(*, by: User | None, at: datetime, sources: Sequence[EnergySource]) -> list[EnergySource]:
    """Record several energy sources: all of them, or none where one is refused."""
    return enter(lambda: [things.save_thing(by=by, at=at, thing=source) for source in sources])
