"""The outbox: a reminder is a row first and a mail later."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _


class Stage(models.TextChoices):
    COMING = "coming", _("coming up")
    DUE = "due", _("due")
    OVERDUE = "overdue", _("overdue")


class OutboxState(models.TextChoices):
    PENDING = "pending", _("waiting")
    LEASED = "leased", _("being sent")
    SENT = "sent", _("sent")
    FAILED = "failed", _("given up")
    WITHDRAWN = "withdrawn", _("withdrawn")


class OutboxRow(models.Model):
    """One message to one person. `dedupe_key` is permanent, so that it can never be queued twice."""

    dedupe_key = models.CharField(max_length=255, unique=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="outbox")
    channel = models.CharField(max_length=20, default="mail")
    stage = models.CharField(max_length=10, choices=Stage)
    rule = models.CharField(max_length=120)
    press = models.CharField(max_length=60)
    thing = models.CharField(max_length=200, blank=True)
    item = models.JSONField()
    state = models.CharField(max_length=10, choices=OutboxState, default=OutboxState.PENDING)
    made_at = models.DateTimeField()
    next_attempt_at = models.DateTimeField(db_index=True)
    leased_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveIntegerField(default=0)
    sent_at = models.DateTimeField(null=True, blank=True)
    last_error = models.TextField(blank=True)
    message_id = models.CharField(max_length=255, blank=True)

    class Meta:
        ordering = ["made_at", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(state__in=OutboxState.values), name="outbox_state_known"),
            models.CheckConstraint(condition=Q(stage__in=Stage.values), name="outbox_stage_known"),
            models.CheckConstraint(
                condition=~Q(state=OutboxState.SENT) | Q(sent_at__isnull=False), name="outbox_sent_has_time"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.stage} {self.rule} to {self.person}"
