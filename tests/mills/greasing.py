"""A press with one rule that trips by the calendar."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from tests.dates import at
from wearlog.equipment.models import Press
from wearlog.service.models import Rule, Service


@dataclass
class Greasing:
    """Press P1, its bearing to be greased every 30 days, last done on 1 March 2026 at noon: due on 31 March,
    told of from 24 March (7 days ahead), overdue from 8 April (7 days after)."""

    press: Press
    rule: Rule
    done: Service

    def log(self, when: datetime, ref: str = "again") -> Service:
        service = Service.objects.create(
            ref=ref, done_at=when, press=self.press, action="lubricate", rule=self.rule
        )
        return service

    def correct(self, when: datetime) -> None:
        Service.objects.filter(pk=self.done.pk).update(done_at=when)


COMING = at("2026-03-25 08:00")


DUE = at("2026-04-01 08:00")


OVERDUE = at("2026-04-10 08:00")
