"""When a person wants reminders, and how many at a time."""

from __future__ import annotations

import zoneinfo
from datetime import time

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

EVERY_DAY = "1234567"


class Rhythm(models.TextChoices):
    SINGLE = "single", _("each by itself, when it comes up")
    DAILY = "daily", _("one list a day")
    WEEKLY = "weekly", _("one list a week")


class ReminderWish(models.Model):
    """One person's wishes; who never said any has the defaults. Times are local, in the person's zone.

    `from_time`: lists leave then, single mails not before it. `quiet_from` to `quiet_until` (over midnight
    where the end is earlier): nothing leaves; both null: no such hours. `weekdays`: ISO digits, 1 is
    Monday; a weekly list leaves on the first of them. `urgent_any_time`: what follows an incident need not
    wait. `most_at_once`: more single mails than that at one time come as one list. `time_zone`: empty is
    the mill's.
    """

    person = models.OneToOneField(settings.AUTH_USER_MODEL, models.CASCADE, related_name="reminder_wish")
    rhythm = models.CharField(max_length=8, choices=Rhythm, default=Rhythm.SINGLE)
    from_time = models.TimeField(default=time(6, 0))
    quiet_from = models.TimeField(null=True, blank=True, default=time(20, 0))
    quiet_until = models.TimeField(null=True, blank=True, default=time(6, 0))
    weekdays = models.CharField(max_length=7, default=EVERY_DAY)
    urgent_any_time = models.BooleanField(default=True)
    most_at_once = models.PositiveIntegerField(default=5)
    time_zone = models.CharField(max_length=64, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(rhythm__in=Rhythm.values), name="wish_rhythm_known"),
            models.CheckConstraint(condition=~Q(weekdays=""), name="wish_has_a_weekday"),
            models.CheckConstraint(
                condition=Q(quiet_from__isnull=True, quiet_until__isnull=True)
                | Q(quiet_from__isnull=False, quiet_until__isnull=False),
                name="wish_quiet_has_both_ends",
            ),
        ]

    def __str__(self) -> str:
        return f"reminder wishes of {self.person}"

    def zone(self, mill_zone: zoneinfo.ZoneInfo) -> zoneinfo.ZoneInfo:
        """The person's own zone. One that this machine does not know must not stop everybody's reminders."""
        try:
            return zoneinfo.ZoneInfo(self.time_zone) if self.time_zone else mill_zone
        except (zoneinfo.ZoneInfoNotFoundError, ValueError):
            return mill_zone
