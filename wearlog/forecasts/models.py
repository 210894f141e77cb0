"""What was worked out and is stored: good for as long as its fingerprint fits the log."""

from __future__ import annotations

from django.db import models

from wearlog.equipment.models import Press


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
