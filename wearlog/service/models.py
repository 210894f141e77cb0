"""The service log: work, measurements, incidents, and the rules that say when work is due."""

from __future__ import annotations

from functools import reduce
from operator import and_

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.models import EDGES, Kind, Part, PartType, Position, Press, quantity
from wearlog.people.models import LogRecord, LogRecordQuerySet
from wearlog.runs.models import Crop, ShiftNote
from wearlog.service.pictures import SMALL_SIDE
from wearlog.service.triggers import NUMBERS, Asks, TriggerColumn
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


TRIGGER_COLUMNS = (
    TriggerColumn(name="every_h", asks=Asks.HOURS, label=_("After hours of pressing"), most=1_000_000),
    TriggerColumn(name="every_kg", asks=Asks.SEED, label=_("After seed")),
    TriggerColumn(name="every_days", asks=Asks.NUMBER, label=_("After days"), unit=_("days"), most=36_500),
    TriggerColumn(name="after_crop", asks=Asks.CROP, label=_("After the season of")),
    TriggerColumn(name="at_limit", asks=Asks.FLAG, label=_("When the wear limit is reached")),
    TriggerColumn(name="on_drift", asks=Asks.FLAG, label=_("When the throughput drifts down")),
    TriggerColumn(name="after_incident", asks=Asks.INCIDENTS, label=_("After an incident")),
)
"""The triggers that a rule can have: in the order of the form and of `rules.csv`, in which a tie of days is
settled too. Each has a field of `Rule` and an object in `forecasts.triggers`."""


def _intervals_positive() -> Q:
    numbers = (column.name for column in TRIGGER_COLUMNS if column.asks in NUMBERS)
    given = (Q(**{f"{name}__isnull": True}) | Q(**{f"{name}__gt": 0}) for name in numbers)
    return reduce(and_, given) & (Q(lead_days__isnull=True) | Q(lead_days__gte=0))


class Rule(models.Model):
    """When work is due. Any number of triggers; the first to trip decides.

    With a part kind or a part type there is one item for each fitted part, else one for each press.
    """

    code = models.CharField(_("rule"), max_length=120, unique=True)
    action = models.CharField(max_length=12, choices=Action)
    kind = models.CharField(max_length=12, choices=Kind, blank=True)
    part_type = models.ForeignKey(PartType, models.PROTECT, null=True, blank=True, related_name="rules")
    press = models.ForeignKey(Press, models.PROTECT, null=True, blank=True, related_name="rules")
    position = models.CharField(max_length=60, blank=True)
    every_h = quantity()
    every_kg = quantity()
    every_days = quantity()
    after_crop = models.ForeignKey(Crop, models.PROTECT, null=True, blank=True, related_name="rules")
    at_limit = models.BooleanField(default=False)
    on_drift = models.BooleanField(default=False)
    after_incident = models.CharField(max_length=120, blank=True)
    lead_days = quantity()
    instructions = models.TextField(blank=True)

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(condition=~Q(code=""), name="rule_has_code"),
            models.CheckConstraint(condition=Q(action__in=Action.values), name="rule_action_known"),
            models.CheckConstraint(condition=Q(kind="") | Q(kind__in=Kind.values), name="rule_kind_known"),
            models.CheckConstraint(condition=_intervals_positive(), name="rule_intervals_positive"),
        ]

    def __str__(self) -> str:
        return self.code


class Service(LogRecord):
    """Work that was done. A flip or replace row describes work; the fitting moves the part."""

    ref = models.CharField(max_length=60, unique=True)
    done_at = models.DateTimeField()
    press = models.ForeignKey(Press, models.PROTECT, related_name="services")
    position = models.ForeignKey(Position, models.PROTECT, null=True, blank=True, related_name="services")
    part = models.ForeignKey(Part, models.PROTECT, null=True, blank=True, related_name="services")
    edge = models.CharField(max_length=1, blank=True)
    action = models.CharField(max_length=12, choices=Action)
    finding = models.TextField(blank=True)
    rule = models.ForeignKey(Rule, models.PROTECT, null=True, blank=True, related_name="services")
    downtime_h = quantity()
    labour_h = quantity()
    cost = quantity()
    done_by = models.CharField(max_length=120, blank=True)
    note = models.TextField(blank=True)

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
    """A gauge on a part: the value, where, and for a pin gauge only a bound."""

    ref = models.CharField(max_length=60, unique=True)
    measured_at = models.DateTimeField()
    part = models.ForeignKey(Part, models.PROTECT, related_name="measurements")
    edge = models.CharField(max_length=1, blank=True)
    value_mm = quantity(null=False, blank=False)
    place = models.CharField(max_length=60, blank=True)
    bound = models.CharField(max_length=8, choices=Bound, blank=True)
    service = models.ForeignKey(Service, models.PROTECT, null=True, blank=True, related_name="measurements")
    phase = models.CharField(max_length=6, choices=Phase, blank=True)
    gauge = models.CharField(max_length=60, blank=True)
    note = models.TextField(blank=True)

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
    ref = models.CharField(max_length=60, unique=True)
    happened_at = models.DateTimeField()
    press = models.ForeignKey(Press, models.PROTECT, related_name="incidents")
    position = models.ForeignKey(Position, models.PROTECT, null=True, blank=True, related_name="incidents")
    kind = models.CharField(max_length=12, choices=IncidentKind)
    note = models.TextField(blank=True)

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

    incident = models.OneToOneField(Incident, models.PROTECT, related_name="hold")
    lot = models.CharField(max_length=60, blank=True)
    held_at = models.DateTimeField()
    released_at = models.DateTimeField(null=True, blank=True)
    released_by = models.CharField(max_length=120, blank=True)
    reason = models.TextField(blank=True)

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

    service = models.OneToOneField(Service, models.PROTECT, related_name="crop_change")
    from_crop = models.ForeignKey(Crop, models.PROTECT, null=True, blank=True, related_name="+")
    to_crop = models.ForeignKey(Crop, models.PROTECT, related_name="+")
    signed_by = models.CharField(max_length=120)
    purge_kg = quantity()

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(signed_by=""), name="crop_change_is_signed")]

    def __str__(self) -> str:
        return f"cleaned for {self.to_crop} by {self.signed_by}"


class Photo(models.Model):
    """A photo of work, of an incident or of a note; its file lies in the data folder (`service.photos`).

    `name` is a random one, `digest` SHA-256 of the file that came in."""

    name = models.CharField(max_length=32, unique=True)
    digest = models.CharField(max_length=64)
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
        """The model's name and the key of its record."""
        if self.service_id is not None:
            return "service", self.service_id
        if self.incident_id is not None:
            return "incident", self.incident_id
        return "shiftnote", self.note_id or 0
