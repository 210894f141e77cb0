"""The yearly duties of lockout: inspecting each press's procedure and instructing each person."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from wearlog.service.models import Rule


class Yearly(models.TextChoices):
    PROCEDURE = "procedure", _("look at the lockout procedure")
    INSTRUCTION = "instruction", _("instruction of a person")


class YearlyLook(models.Model):
    """Marks a service rule as one for a yearly inspection or instruction. Only work that names the rule
    counts for it."""

    rule = models.OneToOneField(Rule, models.CASCADE, related_name="yearly_look")
    kind = models.CharField(max_length=12, choices=Yearly)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="yearly_looks"
    )

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=Yearly.values), name="yearly_kind_known"),
            models.CheckConstraint(
                condition=Q(kind=Yearly.INSTRUCTION, person__isnull=False)
                | Q(kind=Yearly.PROCEDURE, person__isnull=True),
                name="yearly_instruction_is_of_a_person",
            ),
            models.UniqueConstraint(
                fields=["person"],
                condition=Q(person__isnull=False),
                name="yearly_instruction_once_per_person",
            ),
        ]

    def __str__(self) -> str:
        return str(self.rule)
