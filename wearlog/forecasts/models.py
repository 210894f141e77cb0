"""Stored results of computations; each is valid while its fingerprint matches the log."""

from __future__ import annotations

from django.db import models

from wearlog.equipment.models import Press


class ForecastSnapshot(models.Model):
    """The due items of one press at the end of one day, in one language, as last computed.

    `fingerprint` identifies the data they were computed from, `log_version` is the last version of the log
    for which they are known to be valid."""

    press = models.ForeignKey(Press, models.CASCADE, related_name="+")
    as_of = models.DateField()
    language = models.CharField(max_length=12)
    log_version = models.BigIntegerField()
    fingerprint = models.CharField(max_length=64)
    items = models.JSONField()
    made_at = models.DateTimeField()

    class Meta:
        db_table = "forecasts_standing"
        constraints = [
            models.UniqueConstraint(fields=["press", "as_of", "language"], name="standing_is_one_per_press")
        ]

    def __str__(self) -> str:
        return f"{self.press_id} on {self.as_of}"


class LearnedWear(models.Model):
    """What gauges have taught about wear, as `lessons` packs it, by the fingerprint of the data behind it.
    `shape` is that of the code which learned it. `number` is the last version of the log for which it is
    known to be what the log teaches at the end of `as_of`."""

    fingerprint = models.CharField(max_length=64, unique=True)
    shape = models.CharField(max_length=32)
    made_at = models.DateTimeField()
    as_of = models.DateField(null=True)
    number = models.BigIntegerField(default=0, db_default=0)
    learned = models.BinaryField()

    def __str__(self) -> str:
        return f"learned {self.made_at}"


class Replay(models.Model):
    """What a past day's forecast said about the edges in use, computed from the log of that day.

    `fingerprint` identifies that log: when it has been corrected, the day is replayed again. `checked_on` is
    the day on which the two were last compared."""

    day = models.DateField(unique=True)
    fingerprint = models.CharField(max_length=64)
    said = models.JSONField()
    checked_on = models.DateField()

    def __str__(self) -> str:
        return f"replay of {self.day}"
