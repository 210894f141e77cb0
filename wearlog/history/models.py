"""Version numbers that tell whether a derived value is still valid, and what was learned from the log.

The tables are named after `forecasts`, which contained these models when the first databases were made.
"""

from __future__ import annotations

import secrets
from collections.abc import Collection

from django.db import models
from django.db.models import F

from wearlog.equipment.models import Press


class LogVersion(models.Model):
    """Counts the writes to the log. Derived values are cached together with this number.

    It starts at a random number, so that two databases used by one process hardly ever have the same one."""

    number = models.BigIntegerField(default=0)

    class Meta:
        db_table = "forecasts_logversion"
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


class RunsVersion(models.Model):
    """Counts the writes to the runs and readings of one press, which make up most of a log."""

    press = models.OneToOneField(Press, models.CASCADE, primary_key=True, related_name="+")
    number = models.BigIntegerField()

    class Meta:
        db_table = "forecasts_runsversion"

    def __str__(self) -> str:
        return f"{self.press_id}: {self.number}"

    @classmethod
    def raise_for(cls, press_ids: Collection[int] | None) -> None:
        """Raise the versions of these presses; None: of every press."""
        wanted = Press.objects.all() if press_ids is None else Press.objects.filter(pk__in=press_ids)
        keys = sorted(wanted.values_list("pk", flat=True))
        raised = cls.objects.filter(press_id__in=keys).update(number=F("number") + 1)
        if raised < len(keys):
            first = 1 + secrets.randbits(48)
            missing = [RunsVersion(press_id=key, number=first) for key in keys]
            RunsVersion.objects.bulk_create(missing, ignore_conflicts=True)


class Widening(models.Model):
    """The factor by which ranges of wear limits are widened from a day on, and the number of edges behind it.

    `forecasts.track` learns it; the model is here because it is read together with the log. `checked_on` is
    the last day on which the record gave the same factor."""

    since = models.DateField(unique=True)
    factor = models.FloatField()
    judged = models.PositiveIntegerField()
    checked_on = models.DateField()

    class Meta:
        db_table = "forecasts_widening"
        constraints = [
            models.CheckConstraint(
                condition=models.Q(factor__gte=1, factor__lte=3), name="widening_is_within_bounds"
            )
        ]

    def __str__(self) -> str:
        return f"{self.factor:.2f} from {self.since}"
