"""Imports requested on a page: their rows are the queue, and keep the result."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

LEASE = timedelta(minutes=2)
"""The lease: how long after its worker's last renewal an import may not be claimed by another."""


class ImportState(models.TextChoices):
    WAITING = "waiting", _("waiting")
    CHECKING = "checking", _("being checked")
    STORING = "storing", _("being stored")
    DONE = "done", _("done")
    REFUSED = "refused", _("refused")
    CANCELLED = "cancelled", _("cancelled")
    BROKEN = "broken", _("broken off")


UNDER_WAY = (ImportState.CHECKING, ImportState.STORING)
ENDED = (ImportState.DONE, ImportState.REFUSED, ImportState.CANCELLED, ImportState.BROKEN)


class ImportJobQuerySet(models.QuerySet["ImportJob"]):
    def claimable(self, at: datetime) -> Self:
        """Jobs that a worker may claim: waiting ones, and those whose lease has expired. A lease that ends
        later than possible was written by a wrong clock and counts as expired."""
        ended = Q(leased_until__lte=at) | Q(leased_until__gt=at + 2 * LEASE) | Q(leased_until__isnull=True)
        return self.filter(Q(state=ImportState.WAITING) | Q(ended, state__in=UNDER_WAY))

    def under_way(self) -> Self:
        return self.exclude(state__in=ENDED)


class ImportJob(models.Model):
    """One import. `file` names the uploaded archive in the data folder; `doing`, `done_rows` and `total_rows`
    tell the progress; `counts` says what was stored (or would be), `groups` what is wrong, by kind."""

    file = models.CharField(max_length=64)
    name = models.CharField(max_length=255)
    only_check = models.BooleanField()
    on_conflict = models.CharField(max_length=8, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    language = models.CharField(max_length=12)
    asked_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)
    state = models.CharField(max_length=10, choices=ImportState, default=ImportState.WAITING)
    doing = models.CharField(max_length=80, blank=True)
    done_rows = models.PositiveIntegerField(default=0)
    total_rows = models.PositiveIntegerField(default=0)
    holder = models.CharField(max_length=40, blank=True)
    leased_until = models.DateTimeField(null=True)
    tries = models.PositiveSmallIntegerField(default=0)
    counts = models.JSONField(null=True)
    said = models.TextField(blank=True)
    groups = models.JSONField(default=list)
    problems = models.PositiveIntegerField(default=0)

    objects = ImportJobQuerySet.as_manager()

    class Meta:
        ordering = ["-asked_at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(state__in=ImportState.values), name="import_state_known"),
            models.CheckConstraint(
                condition=Q(state__in=ENDED, ended_at__isnull=False)
                | Q(~Q(state__in=ENDED), ended_at__isnull=True),
                name="import_ended_has_time",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def has_ended(self) -> bool:
        return self.state in ENDED

    @property
    def can_be_cancelled(self) -> bool:
        """False while storing, which takes seconds and is not interrupted."""
        return self.state in (ImportState.WAITING, ImportState.CHECKING)
