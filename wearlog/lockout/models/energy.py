"""Where a press gets its energy from, and how each source is isolated."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.models import Press


class EnergyKind(models.TextChoices):
    ELECTRICAL = "electrical", _("electrical")
    THERMAL = "thermal", _("heat")
    PRESSURE = "pressure", _("pressure")
    GRAVITY = "gravity", _("gravity")
    ROTATION = "rotation", _("rotation")
    OTHER = "other", _("other")


class EnergySource(models.Model):
    press = models.ForeignKey(Press, models.PROTECT, related_name="energy_sources")
    source = models.CharField(max_length=120)
    kind = models.CharField(max_length=12, choices=EnergyKind)
    isolate_at = models.CharField(max_length=255, blank=True)
    release_by = models.CharField(max_length=255, blank=True)
    verify_by = models.CharField(max_length=255, blank=True)

    class Meta:
        ordering = ["press__code", "source"]
        constraints = [
            models.UniqueConstraint(fields=["press", "source"], name="energy_source_key"),
            models.CheckConstraint(condition=~Q(source=""), name="energy_source_has_name"),
            models.CheckConstraint(condition=Q(kind__in=EnergyKind.values), name="energy_kind_known"),
        ]

    def __str__(self) -> str:
        return f"{self.press}: {self.source}"
