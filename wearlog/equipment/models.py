"""Presses, the positions on them, and the parts that are fitted there for a time."""

from __future__ import annotations

from datetime import datetime
from typing import Self

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.kinds import Kind as Kind
from wearlog.people.fields import (
    Count,
    Days,
    Hours,
    Kilograms,
    Millimetres,
    Money,
    Share,
    SmallCount,
    Tags,
)
from wearlog.people.models import LogRecord, LogRecordQuerySet


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
EDGE_CHOICES = [(edge, edge) for edge in EDGES]


class Press(models.Model):
    code = models.CharField(
        _("Short name"),
        max_length=60,
        unique=True,
        help_text=_("As people call it: P1. It stands in lists and files."),
    )
    name = models.CharField(_("Name"), max_length=120, blank=True)
    maker = models.CharField(_("Maker"), max_length=120, blank=True)
    model = models.CharField(_("Model"), max_length=120, blank=True)
    serial = models.CharField(_("Serial number"), max_length=120, blank=True)
    commissioned_on = models.DateField(_("At work since"), null=True, blank=True)
    retired_on = models.DateField(_("Retired on"), null=True, blank=True, help_text=_("Empty: it is in use."))
    hours_from = models.CharField(
        _("Hours count from"), max_length=8, choices=HoursFrom, blank=True, default=""
    )
    note = models.TextField(_("Note"), blank=True)

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
    """A place on a press that holds one part at a time. `share` is the fraction of the seed that its barrel
    gets."""

    press = models.ForeignKey(Press, models.PROTECT, related_name="positions", verbose_name=_("Press"))
    name = models.CharField(_("Position"), max_length=60)
    kind = models.CharField(_("Kind of part"), max_length=12, choices=Kind)
    barrel = models.CharField(
        _("Barrel"), max_length=30, blank=True, help_text=_("Only where the press has two: left, right.")
    )
    share = Share(
        _("Part of the seed"),
        help_text=_("From 0 to 1, where the barrels of a twin don't take the same. Empty: evenly."),
        null=True,
        blank=True,
    )
    note = models.TextField(_("Note"), blank=True)

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
    code = models.CharField(_("Name"), max_length=60, unique=True)
    kind = models.CharField(_("Kind"), max_length=12, choices=Kind)
    size_mm = Millimetres(_("Size"), above=0, most=5000, null=True, blank=True)
    edges = SmallCount(
        _("Edges"), default=1, least=1, most=4, help_text=_("A die that can be flipped has 2.")
    )
    # Crop tags separated by spaces; no foreign key, since `runs`, which has the crops, imports this package.
    for_crops = Tags(_("For the crops"), max_length=255, blank=True, help_text=_("None ticked: for all."))
    dimension = models.CharField(
        _("What is gauged"), max_length=60, blank=True, help_text=_("Such as: bore, flight width.")
    )
    new_mm = Millimetres(_("New"), most=5000, null=True, blank=True)
    limit_mm = Millimetres(
        _("Limit"),
        most=5000,
        help_text=_("Above new for a bore that opens, below for what wears off."),
        null=True,
        blank=True,
    )
    expected_life_kg = Kilograms(_("Expected life of an edge, seed"), above=0, null=True, blank=True)
    expected_life_h = Hours(_("Expected life of an edge, hours"), above=0, null=True, blank=True)
    lead_time_days = Days(_("Time to get a new one"), most=3650, null=True, blank=True)
    unit_cost = Money(_("Price of one"), null=True, blank=True)
    min_spares = Count(_("Spares to keep"), null=True, blank=True)
    note = models.TextField(_("Note"), blank=True)
    supplier = models.CharField(_("Supplier"), max_length=120, blank=True, default="", db_default="")
    bar_mm = Millimetres(
        _("Bar for one"),
        above=0,
        most=5000,
        help_text=_("The length that one takes, with what is faced off. Empty: it is not made from bar."),
        null=True,
        blank=True,
    )
    kerf_mm = Millimetres(
        _("Saw cut"), most=50, help_text=_("What each cut takes from the bar."), null=True, blank=True
    )

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(
                condition=(Q(bar_mm__isnull=True) | Q(bar_mm__gt=0))
                & (Q(kerf_mm__isnull=True) | Q(kerf_mm__gte=0)),
                name="part_type_bar_positive",
            ),
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
    code = models.CharField(_("Mark on the part"), max_length=60, unique=True)
    part_type = models.ForeignKey(PartType, models.PROTECT, related_name="parts", verbose_name=_("Type"))
    acquired_on = models.DateField(_("Bought or made on"), null=True, blank=True)
    retired_on = models.DateField(
        _("Retired on"), null=True, blank=True, help_text=_("Empty: it is in service.")
    )
    retired_because = models.CharField(_("Retired because"), max_length=8, choices=RetiredBecause, blank=True)
    made_from = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="made_into", verbose_name=_("Made from")
    )
    note = models.TextField(_("Note"), blank=True)
    came_with = models.ForeignKey(
        "PartOrder",
        models.PROTECT,
        null=True,
        blank=True,
        editable=False,
        related_name="parts",
        verbose_name=_("Came with the order"),
    )
    used_h = Hours(
        _("Hours worked before this log"),
        help_text=_("Since it was new or rebuilt, on the edge that was fitted first here."),
        most=999_999,
        null=True,
        blank=True,
    )
    used_kg = Kilograms(_("Seed taken before this log"), null=True, blank=True)
    used_on = models.DateField(
        _("As of the morning of"),
        help_text=_("What this log holds from before that day is not counted twice."),
        null=True,
        blank=True,
    )

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
            models.CheckConstraint(
                condition=(Q(used_h__isnull=True) | Q(used_h__gte=0))
                & (Q(used_kg__isnull=True) | Q(used_kg__gte=0)),
                name="part_used_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class PartOrderQuerySet(LogRecordQuerySet["PartOrder"]):
    def under_way(self) -> Self:
        """Orders that have not arrived."""
        return self.not_voided().filter(arrived_on__isnull=True)


class PartOrder(LogRecord):
    """Parts that were ordered, or are being made, and whether they have come. `parts` are those that came."""

    ref = models.CharField(_("Reference"), max_length=64, unique=True, editable=False)
    part_type = models.ForeignKey(
        PartType, models.PROTECT, related_name="orders", verbose_name=_("Type"), editable=False
    )
    count = Count(_("How many"), least=1, most=100)
    ordered_on = models.DateField(_("Ordered on"))
    expected_on = models.DateField(
        _("To arrive on"), null=True, blank=True, help_text=_("Empty: by the type's time to get a new one.")
    )
    arrived_on = models.DateField(_("Arrived on"), null=True, blank=True, editable=False)
    supplier = models.CharField(_("Supplier"), max_length=120, blank=True)
    note = models.TextField(_("Note"), blank=True)
    unit_cost = Money(_("Price of one"), null=True, blank=True)

    objects = PartOrderQuerySet.as_manager()

    class Meta:
        ordering = ["ordered_on", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(count__gte=1, count__lte=100), name="part_order_counts"),
            models.CheckConstraint(
                condition=Q(arrived_on__isnull=True) | Q(arrived_on__gte=F("ordered_on")),
                name="part_order_arrives_after_it_was_made",
            ),
            models.CheckConstraint(
                condition=Q(unit_cost__isnull=True) | Q(unit_cost__gte=0), name="part_order_price_positive"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.count} × {self.part_type}"


class FittingQuerySet(LogRecordQuerySet["Fitting"]):
    def in_place(self, *, at: object) -> Self:
        """Fittings in force at the instant: start included, end excluded."""
        return self.not_voided().filter(Q(removed_at__isnull=True) | Q(removed_at__gt=at), fitted_at__lte=at)

    def overlapping(self, start: datetime, end: datetime | None) -> Self:
        """Fittings that overlap [start, end); `end` None means for ever."""
        shared = self.filter(Q(removed_at__isnull=True) | Q(removed_at__gt=start))
        return shared if end is None else shared.filter(fitted_at__lt=end)

    def open(self) -> Self:
        return self.not_voided().filter(removed_at__isnull=True)


class Fitting(LogRecord):
    """One part on one position, with one edge at work, from an instant to another."""

    part = models.ForeignKey(Part, models.PROTECT, related_name="fittings", verbose_name=_("Part"))
    edge = models.CharField(_("Edge"), max_length=1, blank=True, choices=EDGE_CHOICES)
    position = models.ForeignKey(
        Position, models.PROTECT, related_name="fittings", verbose_name=_("Position")
    )
    fitted_at = models.DateTimeField(_("Fitted"))
    removed_at = models.DateTimeField(_("Taken off"), null=True, blank=True)

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
