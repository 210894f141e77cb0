"""The state of the schedule that is kept between rounds, processes and restarts."""

from __future__ import annotations

from django.db import models


class ScheduleState(models.Model):
    """One fact by name: when something last ran (`at`), who holds a lock (`holder`, `until`), what blocks it
    (`why`). `wearlog.reminders.schedule.state` reads and writes it."""

    name = models.CharField(max_length=40, unique=True)
    at = models.DateTimeField(null=True, blank=True)
    holder = models.CharField(max_length=200, blank=True)
    until = models.DateTimeField(null=True, blank=True)
    why = models.TextField(blank=True)

    def __str__(self) -> str:
        return self.name
