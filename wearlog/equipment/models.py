"""Presses, the positions on them, and the parts that sit there for a while."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Self

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.kinds import Kind as Kind
from wearlog.people.models import LogRecord, LogRecordQuerySet


def quantity(*, null: bool = True, blank: bool = True) -> models.DecimalField[Any, Any]:
    """A recorded number: at most six decimals, empty where not known."""
    return models.DecimalField(max_digits=15, decimal_places=6, null=null, blank=blank)


class HoursFrom(models.TextChoices):
    RUNS = "runs", _("the runs")
    METER = "meter", _("the hour meter")


class RetiredBecause(models.TextChoices):
    WORN = "worn", _("worn")
    BROKEN = "broken", _("broken")
    REMADE = "remade", _("remade into another part")
    LOST = "lost", _("lost")
    OTHER = "other", _("other")


EDGES = ("A", "B", "C", "D")


class Press(models.Model):
    code = models.CharField(_("press"), max_length=60, unique=True)
    name = models.CharField(max_length=120, blank=True)
    maker = models.CharField(max_length=120, blank=True)
    model = models.CharField(max_length=120, blank=True)
    serial = models.CharField(max_length=120, blank=True)
    commissioned_on = models.DateField(null=True, blank=True)
    retired_on = models.DateField(null=True, blank=True)
    hours_from = models.CharField(max_length=8, choices=HoursFrom, blank=True, default="")
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(condition=~Q(code=""), name="press_has_code"),
            models.CheckConstraint(
                condition=Q(hours_from="") | Q(hours_from__in=HoursFrom.values), name="press_hours_from"
            ),
        ]

    def __str__(self) -> str:
        return self.name or self.code

    def barrels(self) -> list[str]:
        """The names of its barrels in order; none where it has one barrel that nobody named."""
        return sorted(set(self.positions.exclude(barrel="").values_list("barrel", flat=True)))


class Position(models.Model):
    """A place on a press where one part sits at a time. `share` is its barrel's part of the seed."""

    press = models.ForeignKey(Press, models.PROTECT, related_name="positions")
    name = models.CharField(_("position"), max_length=60)
    kind = models.CharField(max_length=12, choices=Kind)
    barrel = models.CharField(max_length=30, blank=True)
    share = quantity()
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["press__code", "name"]
        constraints = [
            models.UniqueConstraint(fields=["press", "name"], name="position_once_per_press"),
            models.CheckConstraint(condition=~Q(name=""), name="position_has_name"),
            models.CheckConstraint(condition=Q(kind__in=Kind.values), name="position_kind_known"),
            models.CheckConstraint(
                condition=Q(share__isnull=True) | Q(share__gte=0, share__lte=1), name="position_share_0_to_1"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.press} · {self.name}"


class PartType(models.Model):
    code = models.CharField(_("part type"), max_length=60, unique=True)
    kind = models.CharField(max_length=12, choices=Kind)
    size_mm = quantity()
    edges = models.PositiveSmallIntegerField(default=1)
    # Crop tags with a space between; crops live a floor higher, so this can't be a foreign key.
    for_crops = models.CharField(max_length=255, blank=True)
    dimension = models.CharField(max_length=60, blank=True)
    new_mm = quantity()
    limit_mm = quantity()
    expected_life_kg = quantity()
    expected_life_h = quantity()
    lead_time_days = quantity()
    unit_cost = quantity()
    min_spares = models.PositiveIntegerField(null=True, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(condition=~Q(code=""), name="part_type_has_code"),
            models.CheckConstraint(condition=Q(kind__in=Kind.values), name="part_type_kind_known"),
            models.CheckConstraint(
                condition=Q(edges__gte=1, edges__lte=4), name="part_type_one_to_four_edges"
            ),
            models.CheckConstraint(
                condition=(Q(size_mm__isnull=True) | Q(size_mm__gt=0))
                & (Q(expected_life_kg__isnull=True) | Q(expected_life_kg__gt=0))
                & (Q(expected_life_h__isnull=True) | Q(expected_life_h__gt=0))
                & (Q(lead_time_days__isnull=True) | Q(lead_time_days__gte=0))
                & (Q(unit_cost__isnull=True) | Q(unit_cost__gte=0)),
                name="part_type_numbers_positive",
            ),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def edge_names(self) -> tuple[str, ...]:
        """`("",)` for a part with one edge, else `("A", "B", ...)`."""
        return EDGES[: self.edges] if self.edges > 1 else ("",)


class Part(models.Model):
    code = models.CharField(_("part"), max_length=60, unique=True)
    part_type = models.ForeignKey(PartType, models.PROTECT, related_name="parts")
    acquired_on = models.DateField(null=True, blank=True)
    retired_on = models.DateField(null=True, blank=True)
    retired_because = models.CharField(max_length=8, choices=RetiredBecause, blank=True)
    made_from = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="made_into")
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(condition=~Q(code=""), name="part_has_code"),
            models.CheckConstraint(
                condition=Q(retired_because="") | Q(retired_because__in=RetiredBecause.values),
                name="part_retired_because_known",
            ),
            models.CheckConstraint(
                condition=Q(retired_because="") | Q(retired_on__isnull=False), name="part_retired_with_a_day"
            ),
        ]

    def __str__(self) -> str:
        return self.code


class FittingQuerySet(LogRecordQuerySet):
    def in_place(self, *, at: object) -> Self:
        """Fittings that hold at the instant: the start counts, the end does not."""
        return self.standing().filter(Q(removed_at__isnull=True) | Q(removed_at__gt=at), fitted_at__lte=at)

    def overlapping(self, start: datetime, end: datetime | None) -> Self:
        """Fittings that share a moment with [start, end); no end: for ever."""
        shared = self.filter(Q(removed_at__isnull=True) | Q(removed_at__gt=start))
        return shared if end is None else shared.filter(fitted_at__lt=end)

    def open(self) -> Self:
        return self.standing().filter(removed_at__isnull=True)


class Fitting(LogRecord):
    """One part on one position, with one edge at work, from an instant to another."""

    part = models.ForeignKey(Part, models.PROTECT, related_name="fittings")
    edge = models.CharField(max_length=1, blank=True)
    position = models.ForeignKey(Position, models.PROTECT, related_name="fittings")
    fitted_at = models.DateTimeField()
    removed_at = models.DateTimeField(null=True, blank=True)

    objects = FittingQuerySet.as_manager()

    class Meta:
        ordering = ["fitted_at", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(edge__in=("", *EDGES)), name="fitting_edge_known"),
            models.CheckConstraint(
                condition=Q(removed_at__isnull=True) | Q(removed_at__gt=F("fitted_at")),
                name="fitting_ends_after_start",
            ),
            models.UniqueConstraint(
                fields=["position"],
                condition=Q(removed_at__isnull=True, voided_at__isnull=True),
                name="fitting_one_open_per_position",
            ),
            models.UniqueConstraint(
                fields=["part"],
                condition=Q(removed_at__isnull=True, voided_at__isnull=True),
                name="fitting_one_open_per_part",
            ),
            models.UniqueConstraint(
                fields=["part", "fitted_at"], condition=Q(voided_at__isnull=True), name="fitting_key"
            ),
        ]
        indexes = [models.Index(fields=["position", "fitted_at"], name="fitting_by_position")]

    def __str__(self) -> str:
        part = f"{self.part} {self.edge}".strip()
        return gettext("%(part)s on %(position)s") % {"part": part, "position": self.position}
