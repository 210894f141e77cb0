"""The outbox: each message is stored as a row before it is sent."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _


class Stage(models.TextChoices):
    COMING = "coming", _("coming up")
    ORDER = "order", _("order the part")
    DUE = "due", _("due")
    OVERDUE = "overdue", _("overdue")
    DIGEST = "digest", _("list")


class OutboxState(models.TextChoices):
    PENDING = "pending", _("waiting")
    GATHERED = "gathered", _("waiting for the list")
    HELD = "held", _("held while the past is typed up")
    LEASED = "leased", _("being sent")
    SENT = "sent", _("sent")
    FAILED = "failed", _("given up")
    WITHDRAWN = "withdrawn", _("withdrawn")


UNSENT = (OutboxState.PENDING, OutboxState.GATHERED, OutboxState.HELD)
"""Not settled, and in nobody's hands."""
LONGEST_LEASE = timedelta(minutes=10)
"""The longest lease; one that ends later was written by a wrong clock."""


class OutboxQuerySet(models.QuerySet["OutboxRow"]):
    def waiting(self) -> OutboxQuerySet:
        """Rows that are not settled: neither sent nor given up nor withdrawn."""
        return self.filter(state__in=(*UNSENT, OutboxState.LEASED))

    def sendable(self, *, at: datetime) -> OutboxQuerySet:
        """Rows that a sender may claim now: pending and due, or with an expired lease. Gathered rows are not
        included; the person's list contains them. Held ones are let go of by the scan."""
        ended = Q(leased_until__lte=at) | Q(leased_until__gt=at + LONGEST_LEASE)
        return self.filter(
            Q(state=OutboxState.PENDING, next_attempt_at__lte=at) | Q(ended, state=OutboxState.LEASED)
        )


class OutboxRow(models.Model):
    """One message to one person. `dedupe_key` is unique for ever, so that a message can never be queued
    twice.

    `telling` is the stage as in the key: `overdue 2` in the second week, `due after 7` once the hold-back
    with id 7 is over, the period of a list. A list (stage `digest`) has no item; rows included in it refer to
    it by `told_by`. `item` is the due item when the row was last written; the message is made from the item
    as it is when it is sent. `next_attempt_at` of a held row is the instant at which it goes on, whatever is
    still being typed up then. `attempts` counts claims and identifies a claim when the row is settled.
    """

    dedupe_key = models.CharField(max_length=255, unique=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="outbox")
    channel = models.CharField(max_length=20, default="mail")
    stage = models.CharField(max_length=10, choices=Stage)
    telling = models.CharField(max_length=60, blank=True, default="", db_default="")
    rule = models.CharField(max_length=120, blank=True)
    press = models.CharField(max_length=60, blank=True)
    thing = models.CharField(max_length=200, blank=True)
    item = models.JSONField(default=dict, blank=True)
    state = models.CharField(max_length=10, choices=OutboxState, default=OutboxState.PENDING)
    made_at = models.DateTimeField()
    next_attempt_at = models.DateTimeField(db_index=True)
    leased_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveIntegerField(default=0)
    first_attempt_at = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    told_by = models.ForeignKey("self", models.SET_NULL, null=True, blank=True, related_name="told")
    last_error = models.TextField(blank=True)
    message_id = models.CharField(max_length=255, blank=True)

    objects = OutboxQuerySet.as_manager()

    class Meta:
        ordering = ["made_at", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(state__in=OutboxState.values), name="outbox_state_known"),
            models.CheckConstraint(condition=Q(stage__in=Stage.values), name="outbox_stage_known"),
            models.CheckConstraint(
                condition=~Q(state=OutboxState.SENT) | Q(sent_at__isnull=False), name="outbox_sent_has_time"
            ),
            models.CheckConstraint(
                condition=~Q(state=OutboxState.LEASED) | Q(leased_until__isnull=False),
                name="outbox_lease_has_end",
            ),
        ]
        indexes = [models.Index(fields=["state", "next_attempt_at"], name="outbox_by_state")]

    def __str__(self) -> str:
        return f"{self.stage} {self.rule} to {self.person}"
