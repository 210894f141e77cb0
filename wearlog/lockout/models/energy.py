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
    press = models.ForeignKey(Press, models.PROTECT, related_name="energy_sources", verbose_name=_("Press"))
    source = models.CharField(
        _("Energy source"),
        max_length=120,
        help_text=_("Main motor, heater circuit, feed auger, trapped pressure, stored heat, hopper …"),
    )
    kind = models.CharField(_("Kind"), max_length=12, choices=EnergyKind)
    isolate_at = models.CharField(
        _("Isolated at"),
        max_length=255,
        blank=True,
        help_text=_("The switch, valve or plug, and where it is."),
    )
    release_by = models.CharField(_("What is stored is released or held by"), max_length=255, blank=True)
    verify_by = models.CharField(_("Verified by"), max_length=255, blank=True)

    class Meta:
        ordering = ["press__code", "source"]
        constraints = [
            models.UniqueConstraint(fields=["press", "source"], name="energy_source_key"),
            models.CheckConstraint(condition=~Q(source=""), name="energy_source_has_name"),
            models.CheckConstraint(condition=Q(kind__in=EnergyKind.values), name="energy_kind_known"),
        ]

    def __str__(self) -> str:
        return f"{self.press}: {self.source}"
