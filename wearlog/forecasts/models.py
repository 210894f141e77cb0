"""One number that tells whether a derived value kept in memory still fits the log."""

from __future__ import annotations

import secrets

from django.db import models
from django.db.models import F


class LogVersion(models.Model):
    """Counts the writes to the log. Whoever keeps derived values keeps them together with this number.

    It starts anywhere, so that two databases that one process meets hardly ever share a number."""

    number = models.BigIntegerField(default=0)

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(pk=1), name="log_version_is_one")]

    def __str__(self) -> str:
        return str(self.number)

    @classmethod
    def current(cls) -> int:
        return cls.objects.values_list("number", flat=True).first() or 0

    @classmethod
    def raise_by_one(cls) -> None:
        if not cls.objects.filter(pk=1).update(number=F("number") + 1):
            cls.objects.get_or_create(pk=1, defaults={"number": 1 + secrets.randbits(48)})
