"""Addresses that no longer accept messages, notices to owners about them, and the mill's web hook."""

from __future__ import annotations

from datetime import datetime

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _


class StoppedQuerySet(models.QuerySet["StoppedAddress"]):
    def not_cleared(self) -> StoppedQuerySet:
        """Stops that have not been cleared."""
        return self.filter(cleared_at__isnull=True)


class StoppedAddress(models.Model):
    """An address that refused a message for good: nothing is sent there until it is cleared.

    `person` is whose message it was; `reason` is the other side's answer. Cleared by a person (`cleared_by`),
    or by the schedule once the person has another address (`cleared_by` null).
    """

    channel = models.CharField(max_length=20)
    address = models.CharField(max_length=500)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    reason = models.TextField()
    stopped_at = models.DateTimeField()
    cleared_at = models.DateTimeField(null=True, blank=True)
    cleared_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )

    objects = StoppedQuerySet.as_manager()

    class Meta:
        ordering = ["-stopped_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["channel", "address"], condition=Q(cleared_at__isnull=True), name="stopped_once"
            )
        ]

    def __str__(self) -> str:
        return self.address


class NoticeQuerySet(models.QuerySet["StopNotice"]):
    def open(self, *, at: datetime) -> NoticeQuerySet:
        """Notices that have not been sent and may be tried now."""
        return self.filter(ended_at__isnull=True, next_attempt_at__lte=at)


class StopNotice(models.Model):
    """A mail to one owner that an address was stopped. An ended notice (`ended_at`) whose `told_at` is null
    was not sent: the stop was cleared first, or the owner's own address was stopped too."""

    stopped = models.ForeignKey(StoppedAddress, models.CASCADE, related_name="notices")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    next_attempt_at = models.DateTimeField()
    attempts = models.PositiveIntegerField(default=0)
    told_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    last_error = models.TextField(blank=True)

    objects = NoticeQuerySet.as_manager()

    class Meta:
        ordering = ["made_at", "pk"]
        constraints = [models.UniqueConstraint(fields=["stopped", "person"], name="stop_told_once")]

    def __str__(self) -> str:
        return f"{self.person}: {self.stopped}"


class Webhook(models.Model):
    """The one web address that gets reminders as signed JSON, in an owner's name.

    `seed` is random; the signing secret is derived from it and the site's key, and is not stored.
    """

    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    url = models.CharField(
        _("Web address"),
        max_length=500,
        help_text=_("As in https://hooks.mill.example/wearlog; its host must be on the list above."),
    )
    is_on = models.BooleanField(_("Send reminders there"), default=True)
    seed = models.CharField(max_length=64)
    seed_made_at = models.DateTimeField()

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(pk=1), name="webhook_is_one")]

    def __str__(self) -> str:
        return self.url
