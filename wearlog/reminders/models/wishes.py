"""When a person wants reminders, and how many at a time."""

from __future__ import annotations

import zoneinfo
from datetime import time

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from wearlog.people.fields import Count

EVERY_DAY = "1234567"


class Rhythm(models.TextChoices):
    SINGLE = "single", _("each by itself, when it comes up")
    DAILY = "daily", _("one list a day")
    WEEKLY = "weekly", _("one list a week")


class ReminderWish(models.Model):
    """One person's wishes; a person without a row has the defaults. Times are local, in the person's time
    zone.

    `from_time`: lists are sent then, single mails not earlier. `quiet_from` to `quiet_until` (across midnight
    where the end is earlier): nothing is sent; both null: no quiet hours. `weekdays`: ISO digits, 1 is
    Monday; a weekly list is sent on the first of them. `urgent_any_time`: messages after an incident ignore
    these hours. `most_at_once`: more single mails than that at one time become one list. `time_zone`: empty
    means the mill's.
    """

    person = models.OneToOneField(settings.AUTH_USER_MODEL, models.CASCADE, related_name="reminder_wish")
    rhythm = models.CharField(_("How mails come"), max_length=8, choices=Rhythm, default=Rhythm.SINGLE)
    from_time = models.TimeField(
        _("From this time on"), default=time(6, 0), help_text=_("Lists come then, single mails not before.")
    )
    quiet_from = models.TimeField(
        _("Quiet from"),
        null=True,
        blank=True,
        default=time(20, 0),
        help_text=_("Nothing comes in these hours."),
    )
    quiet_until = models.TimeField(
        _("Quiet until"),
        null=True,
        blank=True,
        default=time(6, 0),
        help_text=_("Leave both empty for no quiet hours."),
    )
    weekdays = models.CharField(
        _("On these days"),
        max_length=7,
        default=EVERY_DAY,
        help_text=_("One list a week comes on the first of them."),
    )
    urgent_any_time = models.BooleanField(
        _("After metal in the seed, mail me at once, whatever the hour"), default=True
    )
    most_at_once = Count(
        _("At most so many single mails at once"),
        default=5,
        least=1,
        most=100_000,
        help_text=_("What is more comes as one list."),
    )
    time_zone = models.CharField(
        _("My time zone"), max_length=64, blank=True, help_text=_("For who is elsewhere than the mill.")
    )

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
        """The person's time zone, else the mill's; also where this machine does not know it, so that one
        wrong zone does not stop everybody's reminders."""
        try:
            return zoneinfo.ZoneInfo(self.time_zone) if self.time_zone else mill_zone
        except (zoneinfo.ZoneInfoNotFoundError, ValueError):
            return mill_zone
