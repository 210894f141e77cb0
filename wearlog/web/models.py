"""The only table of the pages themselves: entries that a phone may send again."""

from __future__ import annotations

from django.conf import settings
from django.db import models


class QueuedEntry(models.Model):
    """An entry sent from a phone's queue, with the response it got when it was stored."""

    name = models.CharField(max_length=60, unique=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="+")
    at = models.DateTimeField(db_index=True)
    answer = models.JSONField(null=True)

    def __str__(self) -> str:
        return self.name
