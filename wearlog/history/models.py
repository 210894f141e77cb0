"""Version numbers that tell whether a derived value is still valid, and what was learned from the log.

The tables are named after `forecasts`, which contained these models when the first databases were made.
"""

from __future__ import annotations

import secrets
from collections.abc import Collection
from datetime import datetime

from django.db import models
from django.db.models import F, Subquery

from wearlog.equipment.models import PartType, Press


class LogVersion(models.Model):
    """Counts the writes to the log: each write has a number of its own, in the order of their commits.

    `setup` is the number of the last write that concerned all presses (a rule, a part type, an import),
    `lessons` that of the last one that may have changed what gauges teach about wear, and each of the others
    that of the last one to its table. The numbers start at random, so that two databases used by one process
    hardly ever have the same one."""

    number = models.BigIntegerField(default=0)
    setup = models.BigIntegerField(default=0, db_default=0)
    lessons = models.BigIntegerField(default=0, db_default=0)
    parts = models.BigIntegerField(default=0, db_default=0)
    fittings = models.BigIntegerField(default=0, db_default=0)
    services = models.BigIntegerField(default=0, db_default=0)
    measurements = models.BigIntegerField(default=0, db_default=0)
    incidents = models.BigIntegerField(default=0, db_default=0)

    TABLES = ("parts", "fittings", "services", "measurements", "incidents")
    NUMBERS = ("number", "setup", "lessons", *TABLES)

    class Meta:
        db_table = "forecasts_logversion"
        constraints = [models.CheckConstraint(condition=models.Q(pk=1), name="log_version_is_one")]

    def __str__(self) -> str:
        return str(self.number)

    @classmethod
    def raise_by_one(cls, names: Collection[str] = NUMBERS) -> int:
        """Count a write, give these fields its number, and return it. Locks the row until the end of the
        transaction."""
        next_one = dict.fromkeys(("number", *names), F("number") + 1)
        if not cls.objects.filter(pk=1).update(**next_one):
            first = 1 + secrets.randbits(48)
            _, made = cls.objects.get_or_create(pk=1, defaults=dict.fromkeys(cls.NUMBERS, first))
            if not made:
                cls.objects.filter(pk=1).update(**next_one)
        number: int = cls.objects.values_list("number", flat=True).get(pk=1)
        return number


class PressVersion(models.Model):
    """The numbers of the last writes that concerned one press: its runs and readings, which make up most of a
    log, and anything on which its due items depend, such as a late run at another press where one of its
    parts was working then."""

    press = models.OneToOneField(Press, models.CASCADE, primary_key=True, related_name="version")
    runs = models.BigIntegerField(db_column="number")
    items = models.BigIntegerField(default=0, db_default=0)

    class Meta:
        db_table = "forecasts_runsversion"

    def __str__(self) -> str:
        return f"{self.press_id}: {self.runs}, {self.items}"

    @classmethod
    def raise_to(cls, number: int, *, fields: Collection[str], press_ids: Collection[int] | None) -> None:
        """Set these fields of these presses (None: of every press) to the number of a write."""
        wanted = Press.objects.all() if press_ids is None else Press.objects.filter(pk__in=press_ids)
        keys = sorted(wanted.values_list("pk", flat=True))
        raised = cls.objects.filter(press_id__in=keys).update(**dict.fromkeys(fields, number))
        if raised < len(keys):
            missing = [PressVersion(press_id=key, runs=number, items=number) for key in keys]
            PressVersion.objects.bulk_create(missing, ignore_conflicts=True)


class SealedRuns(models.Model):
    """Runs of one press that began before `until`, as arrays (`sealed`): stored once more, never instead of
    their rows.

    They are right while `number` is the version of the press's runs and `shape` that of the code. Every run
    added later than `last_run` past the actions of the log is read from its row."""

    press = models.OneToOneField(Press, models.CASCADE, primary_key=True, related_name="sealed")
    number = models.BigIntegerField()
    shape = models.CharField(max_length=32)
    until = models.DateTimeField()
    last_run = models.BigIntegerField()
    made_at = models.DateTimeField()
    runs = models.BinaryField()
    given = models.BinaryField()

    def __str__(self) -> str:
        return f"{self.press_id} until {self.until}"

    @classmethod
    def carry_on(cls, number: int, *, press_id: int, runs_from: datetime) -> None:
        """Note that the write with this number touched no run of the press that had begun before an instant,
        so that what was sealed until then stays as it is. Call it before the press's version is raised."""
        before = PressVersion.objects.filter(press_id=press_id).values("runs")[:1]
        valid = cls.objects.filter(press_id=press_id, number=Subquery(before), until__lte=runs_from)
        valid.update(number=number)


class LearnedFactors(models.Model):
    """How many times as far from its middle the early and the late day of a wear limit's range are given from
    a day on, and the number of edges behind that.

    All rows with the same `since` apply together: one without a part type for all kinds together, and one for
    each part type that has factors of its own. `weights`, in the first alone, are those of the models whose
    ranges are mixed before that, by name; None where the wear model speaks alone. `forecasts.track` learns
    them; the model is here because it is read together with the log. `checked_on` is the last
    day on which the record gave the same.

    `factor` is written and read only by programs from before the sides were told apart, which may still run
    while a newer one migrates."""

    since = models.DateField()
    part_type = models.ForeignKey(PartType, models.CASCADE, null=True, related_name="+")
    early = models.FloatField(default=1.0, db_default=1.0)
    late = models.FloatField(default=1.0, db_default=1.0)
    weights = models.JSONField(null=True)
    judged = models.PositiveIntegerField()
    checked_on = models.DateField()
    factor = models.FloatField(default=1.0, db_default=1.0)

    class Meta:
        db_table = "forecasts_widening"
        constraints = [
            models.UniqueConstraint(fields=["since", "part_type"], name="factors_of_a_type_once_a_day"),
            models.UniqueConstraint(
                fields=["since"], condition=models.Q(part_type=None), name="pooled_factors_once_a_day"
            ),
            models.CheckConstraint(
                condition=models.Q(early__gte=0.5, early__lte=3, late__gte=0.5, late__lte=3),
                name="factors_are_within_bounds",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.early:.2f} and {self.late:.2f} from {self.since}"
