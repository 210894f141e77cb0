"""That somebody has typed up what they had on paper."""

from __future__ import annotations

from django.conf import settings
from django.db import models


class TypedUp(models.Model):
    """A person's last word that their old entries are complete: from then on, what these made overdue is
    told. One row for each person who ever said so."""

    person = models.OneToOneField(settings.AUTH_USER_MODEL, models.CASCADE, related_name="+")
    said_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"typed up by {self.person}"
