"""The calendar: its events, and the secret addresses of its feeds."""

from __future__ import annotations

import uuid
from datetime import date, timedelta

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.models import Part, Position, Press
from wearlog.service.models import Rule

LONGEST_NOTE = 60
DONE_STAYS = timedelta(weeks=8)
"""How long finished work stays in the calendar, on the day on which it was done."""


class EntryState(models.TextChoices):
    OPEN = "open", _("to be done")
    DONE = "done", _("done")
    GONE = "gone", _("no longer called for")


class CalendarEntryQuerySet(models.QuerySet["CalendarEntry"]):
    def in_sight(self, *, today: date) -> CalendarEntryQuerySet:
        """The entries that a calendar shows: all open ones, and those done in the last weeks."""
        return self.filter(
            Q(state=EntryState.OPEN) | Q(state=EntryState.DONE, day__gte=today - DONE_STAYS)
        ).order_by("day", "pk")


class CalendarEntry(models.Model):
    """One event: one cycle of one due item. Only the scan writes it, and it never deletes one.

    `task`, `words`, `caution`, `day` and `status` are what readers see; `sequence` counts their changes and
    `changed_at` is the last one. `uid` is random and stays. `begun_at` is when the cycle's counting began,
    null where it is unknown; it and the keys are used to find the work that closes the entry.
    """

    item_key = models.CharField(max_length=64, unique=True)
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    rule = models.ForeignKey(Rule, models.CASCADE, related_name="+")
    press = models.ForeignKey(Press, models.CASCADE, related_name="+")
    position = models.ForeignKey(Position, models.SET_NULL, null=True, blank=True, related_name="+")
    part = models.ForeignKey(Part, models.CASCADE, null=True, blank=True, related_name="+")
    begun_at = models.DateTimeField(null=True, blank=True)
    given_to = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.SET_NULL, null=True, blank=True, related_name="+"
    )
    task = models.TextField()
    words = models.TextField(blank=True)
    caution = models.TextField()
    day = models.DateField(db_index=True)
    status = models.CharField(max_length=10)
    state = models.CharField(max_length=4, choices=EntryState, default=EntryState.OPEN)
    sequence = models.PositiveIntegerField(default=0)
    made_at = models.DateTimeField()
    changed_at = models.DateTimeField()

    objects = CalendarEntryQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(state__in=EntryState.values), name="calendar_state_known"),
            models.CheckConstraint(
                condition=Q(status__in=("TENTATIVE", "CONFIRMED")), name="calendar_status_known"
            ),
            models.CheckConstraint(condition=~Q(caution=""), name="calendar_entry_has_caution"),
        ]

    def __str__(self) -> str:
        return f"{self.day}: {self.task}"


class CalendarFeedQuerySet(models.QuerySet["CalendarFeed"]):
    def not_revoked(self) -> CalendarFeedQuerySet:
        """Feeds that have not been revoked."""
        return self.filter(revoked_at__isnull=True)


class CalendarFeed(models.Model):
    """One secret address at which one calendar program reads: a person's tasks, or those of a press.

    Only the hash of the secret is stored. Feeds are revoked, never deleted. `press` null: the person's own
    tasks.
    """

    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="calendar_feeds")
    press = models.ForeignKey(
        Press,
        models.CASCADE,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_("What it shows"),
        help_text=_("That of all presses leaves out what is given to somebody else."),
    )
    note = models.CharField(
        _("What reads it (if you like)"),
        max_length=LONGEST_NOTE,
        blank=True,
        help_text=_("Such as: my phone. So that you know later which one to withdraw."),
    )
    secret_hash = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)

    objects = CalendarFeedQuerySet.as_manager()

    class Meta:
        ordering = ["made_at", "pk"]

    def __str__(self) -> str:
        return f"calendar of {self.press or self.person}"
