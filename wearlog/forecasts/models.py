"""Numbers that tell whether a derived value still fits the log."""

from __future__ import annotations

import secrets
from collections.abc import Collection

from django.db import models
from django.db.models import F

from wearlog.equipment.models import Press


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


class RunsVersion(models.Model):
    """Counts the writes to the runs and readings of one press, which are most of a log."""

    press = models.OneToOneField(Press, models.CASCADE, primary_key=True, related_name="+")
    number = models.BigIntegerField()

    def __str__(self) -> str:
        return f"{self.press_id}: {self.number}"

    @classmethod
    def raise_for(cls, press_ids: Collection[int] | None) -> None:
        """None: of every press."""
        wanted = Press.objects.all() if press_ids is None else Press.objects.filter(pk__in=press_ids)
        keys = sorted(wanted.values_list("pk", flat=True))
        raised = cls.objects.filter(press_id__in=keys).update(number=F("number") + 1)
        if raised < len(keys):
            first = 1 + secrets.randbits(48)
            missing = [RunsVersion(press_id=key, number=first) for key in keys]
            RunsVersion.objects.bulk_create(missing, ignore_conflicts=True)


class Standing(models.Model):
    """The due items of one press at the end of one day, in one language, as they were last worked out.

    `fingerprint` names what they were worked out from, `log_version` the last version of the log that they
    are known to hold for."""

    press = models.ForeignKey(Press, models.CASCADE, related_name="+")
    as_of = models.DateField()
    language = models.CharField(max_length=12)
    log_version = models.BigIntegerField()
    fingerprint = models.CharField(max_length=64)
    items = models.JSONField()
    made_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["press", "as_of", "language"], name="standing_is_one_per_press")
        ]

    def __str__(self) -> str:
        return f"{self.press_id} on {self.as_of}"


class Replay(models.Model):
    """What a past day's forecast said of the edges in use, as worked out from the log of that day.

    `fingerprint` names that log: once it has been corrected, the day is replayed again. `checked_on` is the
    day on which it was last compared."""

    day = models.DateField(unique=True)
    fingerprint = models.CharField(max_length=64)
    said = models.JSONField()
    checked_on = models.DateField()

    def __str__(self) -> str:
        return f"replay of {self.day}"


class Widening(models.Model):
    """By how much ranges of wear limits are widened from a day on, and from how many edges that was learned.

    `checked_on` is the last day on which the record asked for the same."""

    since = models.DateField(unique=True)
    factor = models.FloatField()
    judged = models.PositiveIntegerField()
    checked_on = models.DateField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(factor__gte=1, factor__lte=3), name="widening_is_within_bounds"
            )
        ]

    def __str__(self) -> str:
        return f"{self.factor:.2f} from {self.since}"
