"""The service log: work, measurements, incidents, and the rules that say when work is due."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.models import EDGE_CHOICES, EDGES, Kind, Part, PartType, Position, Press
from wearlog.people.fields import MOST, Days, Hours, Kilograms, Millimetres, Money, Tags
from wearlog.people.models import LogRecord, LogRecordQuerySet
from wearlog.runs.models import Crop, ShiftNote
from wearlog.service.pictures import SMALL_SIDE
from wearlog.service.work import Action as Action


class IncidentKind(models.TextChoices):
    METAL = "metal", _("metal in the seed")
    PLUGGED = "plugged", _("plugged")
    OVERHEATED = "overheated", _("overheated")
    TRIPPED = "tripped", _("tripped")
    NOISE = "noise", _("noise")
    LEAK = "leak", _("leak")
    OTHER = "other", _("other")


class Bound(models.TextChoices):
    AT_LEAST = "at_least", _("at least (the pin went in)")
    BELOW = "below", _("below (the pin did not go in)")


class Phase(models.TextChoices):
    BEFORE = "before", _("before the work")
    AFTER = "after", _("after the work")


class Rule(models.Model):
    """When work is due. A rule may have any number of triggers; the first to trip decides.

    With a part kind or a part type it applies to each fitted part of it, else to each press.
    """

    code = models.CharField(_("Name of the rule"), max_length=120, unique=True)
    action = models.CharField(_("What is to be done"), max_length=12, choices=Action)
    kind = models.CharField(_("To every fitted"), max_length=12, choices=Kind, blank=True)
    part_type = models.ForeignKey(
        PartType,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="rules",
        verbose_name=_("Only to the type"),
    )
    press = models.ForeignKey(
        Press,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="rules",
        verbose_name=_("Only on the press"),
    )
    position = models.CharField(_("Only on the position"), max_length=60, blank=True)
    every_h = Hours(_("After hours of pressing"), above=0, most=1_000_000, null=True, blank=True)
    every_kg = Kilograms(_("After seed"), above=0, null=True, blank=True)
    every_days = Days(_("After days"), above=0, most=36_500, null=True, blank=True)
    after_crop = models.ForeignKey(
        Crop,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="rules",
        verbose_name=_("After the season of"),
    )
    at_limit = models.BooleanField(_("When the wear limit is reached"), default=False)
    on_drift = models.BooleanField(_("When the throughput drifts down"), default=False)
    after_incident = Tags(_("After an incident"), max_length=120, blank=True, known=IncidentKind.values)
    lead_days = Days(_("Say so ahead"), most=3650, null=True, blank=True)
    instructions = models.TextField(_("How it is done here"), blank=True)

    TRIGGERS: ClassVar[tuple[str, ...]] = (
        "every_h",
        "every_kg",
        "every_days",
        "after_crop",
        "at_limit",
        "on_drift",
        "after_incident",
    )
    """The fields that are triggers, in the order in which forms show them and in which ties are decided. Each
    has a file in `forecasts.triggers`."""

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(condition=~Q(code=""), name="rule_has_code"),
            models.CheckConstraint(condition=Q(action__in=Action.values), name="rule_action_known"),
            models.CheckConstraint(condition=Q(kind="") | Q(kind__in=Kind.values), name="rule_kind_known"),
            models.CheckConstraint(
                condition=(Q(every_h__isnull=True) | Q(every_h__gt=0))
                & (Q(every_kg__isnull=True) | Q(every_kg__gt=0))
                & (Q(every_days__isnull=True) | Q(every_days__gt=0))
                & (Q(lead_days__isnull=True) | Q(lead_days__gte=0)),
                name="rule_intervals_positive",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class Service(LogRecord):
    """Work that was done. A flip or replacement is recorded here; the move of the part itself is in
    `Fitting`."""

    ref = models.CharField(_("Reference"), max_length=60, unique=True)
    done_at = models.DateTimeField(_("When"))
    press = models.ForeignKey(Press, models.PROTECT, related_name="services", verbose_name=_("Press"))
    position = models.ForeignKey(
        Position, models.PROTECT, null=True, blank=True, related_name="services", verbose_name=_("Position")
    )
    part = models.ForeignKey(
        Part, models.PROTECT, null=True, blank=True, related_name="services", verbose_name=_("Part")
    )
    edge = models.CharField(_("Edge"), max_length=1, blank=True, choices=EDGE_CHOICES)
    action = models.CharField(_("Work"), max_length=12, choices=Action)
    finding = models.TextField(_("What was found"), blank=True)
    rule = models.ForeignKey(
        Rule,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="services",
        verbose_name=_("Counts for the rule"),
    )
    downtime_h = Hours(_("The press stood"), most=100_000, null=True, blank=True)
    labour_h = Hours(_("Hours of work"), most=100_000, null=True, blank=True)
    cost = Money(_("Paid for it"), least=-MOST, null=True, blank=True)
    done_by = models.CharField(_("Done by"), max_length=120, blank=True)
    note = models.TextField(_("Note"), blank=True)

    objects = LogRecordQuerySet.as_manager()

    class Meta:
        ordering = ["done_at", "pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(ref=""), name="service_has_ref"),
            models.CheckConstraint(condition=Q(action__in=Action.values), name="service_action_known"),
            models.CheckConstraint(condition=Q(edge__in=("", *EDGES)), name="service_edge_known"),
            models.CheckConstraint(
                condition=(Q(downtime_h__isnull=True) | Q(downtime_h__gte=0))
                & (Q(labour_h__isnull=True) | Q(labour_h__gte=0)),
                name="service_hours_not_negative",
            ),
        ]
        indexes = [models.Index(fields=["press", "done_at"], name="service_by_press")]

    def __str__(self) -> str:
        return f"{self.get_action_display()} {self.press} {self.done_at:%Y-%m-%d}"


class Measurement(LogRecord):
    """A gauge reading of a part: the value and the place; with a pin gauge the value is only a bound."""

    ref = models.CharField(_("Reference"), max_length=60, unique=True)
    measured_at = models.DateTimeField(_("When"))
    part = models.ForeignKey(Part, models.PROTECT, related_name="measurements", verbose_name=_("Part"))
    edge = models.CharField(_("Edge"), max_length=1, blank=True, choices=EDGE_CHOICES)
    value_mm = Millimetres(_("Measured"), most=5000)
    place = models.CharField(_("Place"), help_text=_("Such as: flight 3"), max_length=60, blank=True)
    bound = models.CharField(_("The gauge gave"), max_length=8, choices=Bound, blank=True)
    service = models.ForeignKey(
        Service,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="measurements",
        verbose_name=_("The work that it belongs to"),
    )
    phase = models.CharField(_("Before or after work"), max_length=6, choices=Phase, blank=True)
    gauge = models.CharField(_("Gauge used"), max_length=60, blank=True)
    note = models.TextField(_("Note"), blank=True)

    objects = LogRecordQuerySet.as_manager()

    class Meta:
        ordering = ["measured_at", "pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(ref=""), name="measurement_has_ref"),
            models.CheckConstraint(condition=Q(value_mm__gte=0), name="measurement_not_negative"),
            models.CheckConstraint(condition=Q(edge__in=("", *EDGES)), name="measurement_edge_known"),
            models.CheckConstraint(
                condition=Q(bound="") | Q(bound__in=Bound.values), name="measurement_bound_known"
            ),
            models.CheckConstraint(
                condition=Q(phase="") | Q(phase__in=Phase.values), name="measurement_phase_known"
            ),
        ]
        indexes = [models.Index(fields=["part", "measured_at"], name="measurement_by_part")]

    def __str__(self) -> str:
        return f"{self.part} {self.value_mm} mm"


class Incident(LogRecord):
    ref = models.CharField(_("Reference"), max_length=60, unique=True)
    happened_at = models.DateTimeField(_("When"))
    press = models.ForeignKey(Press, models.PROTECT, related_name="incidents", verbose_name=_("Press"))
    position = models.ForeignKey(
        Position, models.PROTECT, null=True, blank=True, related_name="incidents", verbose_name=_("Where?")
    )
    kind = models.CharField(_("What happened?"), max_length=12, choices=IncidentKind)
    note = models.TextField(_("What was seen"), blank=True)

    objects = LogRecordQuerySet.as_manager()

    class Meta:
        ordering = ["happened_at", "pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(ref=""), name="incident_has_ref"),
            models.CheckConstraint(condition=Q(kind__in=IncidentKind.values), name="incident_kind_known"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.press} {self.happened_at:%Y-%m-%d}"


class LotHold(models.Model):
    """Oil and cake of a lot that nobody may use until a person releases it by name."""

    incident = models.OneToOneField(Incident, models.PROTECT, related_name="hold", verbose_name=_("Incident"))
    lot = models.CharField(
        _("Lot in the press"),
        help_text=_("Metal holds this lot's oil and cake until somebody releases it by name."),
        max_length=60,
        blank=True,
    )
    held_at = models.DateTimeField(_("On hold since"))
    released_at = models.DateTimeField(_("Released"), null=True, blank=True)
    released_by = models.CharField(
        _("Released by"),
        help_text=_("The name of the person who looked at it and answers for it."),
        max_length=120,
        blank=True,
    )
    reason = models.TextField(_("Why it may be used"), blank=True)

    class Meta:
        ordering = ["-held_at"]
        constraints = [
            models.CheckConstraint(
                condition=Q(released_at__isnull=True) | (~Q(released_by="") & ~Q(reason="")),
                name="hold_released_by_name_with_reason",
            )
        ]

    def __str__(self) -> str:
        return f"lot {self.lot or '?'} held since {self.held_at:%Y-%m-%d}"


class CropChange(models.Model):
    """The signed record that a press was cleaned between two crops."""

    service = models.OneToOneField(
        Service, models.PROTECT, related_name="crop_change", verbose_name=_("The work that it belongs to")
    )
    from_crop = models.ForeignKey(
        Crop, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("From")
    )
    to_crop = models.ForeignKey(Crop, models.PROTECT, related_name="+", verbose_name=_("To"))
    signed_by = models.CharField(
        _("Signed by"), help_text=_("The person who cleaned and answers for it."), max_length=120
    )
    purge_kg = Kilograms(_("Purge seed"), null=True, blank=True)
    purge_h = Hours(_("Purge time"), most=100, null=True, blank=True)

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(signed_by=""), name="crop_change_is_signed")]

    def __str__(self) -> str:
        return f"cleaned for {self.to_crop} by {self.signed_by}"


class Photo(models.Model):
    """A photo of work, of an incident or of a note; its file is in the data folder (`service.photos`).

    `name` is random, `digest` is the SHA-256 of the file as received."""

    name = models.CharField(
        _("Photo"), max_length=32, unique=True, help_text=_("Its place and camera data are taken out.")
    )
    digest = models.CharField(_("Check sum"), max_length=64)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    size_bytes = models.PositiveIntegerField()
    service = models.ForeignKey(Service, models.PROTECT, null=True, blank=True, related_name="photos")
    incident = models.ForeignKey(Incident, models.PROTECT, null=True, blank=True, related_name="photos")
    note = models.ForeignKey(ShiftNote, models.PROTECT, null=True, blank=True, related_name="photos")
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(service__isnull=False, incident__isnull=True, note__isnull=True)
                | Q(service__isnull=True, incident__isnull=False, note__isnull=True)
                | Q(service__isnull=True, incident__isnull=True, note__isnull=False),
                name="photo_has_one_record",
            ),
            models.UniqueConstraint(
                fields=["service", "digest"], condition=Q(service__isnull=False), name="photo_once_of_work"
            ),
            models.UniqueConstraint(
                fields=["incident", "digest"],
                condition=Q(incident__isnull=False),
                name="photo_once_of_incident",
            ),
            models.UniqueConstraint(
                fields=["note", "digest"], condition=Q(note__isnull=False), name="photo_once_of_note"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def small_size(self) -> tuple[int, int]:
        """Width and height of the small picture, in pixels."""
        scale = min(1.0, SMALL_SIDE / max(self.width, self.height, 1))
        return max(round(self.width * scale), 1), max(round(self.height * scale), 1)

    @property
    def belongs_to(self) -> tuple[str, int]:
        """The name of the record's model and its primary key."""
        if self.service_id is not None:
            return "service", self.service_id
        if self.incident_id is not None:
            return "incident", self.incident_id
        return "shiftnote", self.note_id or 0
