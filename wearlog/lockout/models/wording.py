"""The owner's changes to the wording of cautions. Versions are added and never changed."""

from __future__ import annotations

from typing import Unpack

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.models import Press
from wearlog.people.models import HowToSave

EVERY_TASK = "every-task"
"""Used in place of a hazard's key for words that are added to the caution of every task."""


class CautionWording(models.Model):
    """One version of the wording for one hazard, at one press or (press null) at all.

    `instead` replaces the shipped sentence except its `least`; `added` follows it; `word` raises the signal
    word. All three empty: the shipped wording again. The row with the highest number is in force.
    """

    number = models.PositiveIntegerField(unique=True)
    hazard = models.CharField(max_length=30)
    press = models.ForeignKey(Press, models.PROTECT, null=True, blank=True, related_name="caution_wordings")
    instead = models.CharField(
        _("In your words"),
        max_length=300,
        blank=True,
        help_text=_("Instead of the shipped sentence. Empty: the shipped sentence stands."),
    )
    added = models.CharField(
        _("Added"),
        max_length=300,
        blank=True,
        help_text=_("What is particular here: the place, the tool, what happened once."),
    )
    word = models.CharField(_("Signal word"), max_length=10, blank=True)
    reason = models.CharField(_("Why it changes"), max_length=255)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    by_name = models.CharField(max_length=120)

    class Meta:
        ordering = ["number"]
        constraints = [
            models.CheckConstraint(condition=Q(number__gt=0), name="wording_number_positive"),
            models.CheckConstraint(condition=~Q(reason=""), name="wording_has_reason"),
            models.CheckConstraint(
                condition=Q(word__in=("", "CAUTION", "WARNING", "DANGER")), name="wording_signal_word_known"
            ),
            models.CheckConstraint(
                condition=~Q(word="DANGER") | Q(press__isnull=False), name="wording_danger_names_its_press"
            ),
            models.CheckConstraint(
                condition=~Q(hazard=EVERY_TASK) | Q(instead="", word=""),
                name="wording_for_every_task_adds_only",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}: {self.hazard}"

    def save(self, **how: Unpack[HowToSave]) -> None:
        """Add the version. Raises TypeError for one that is already stored, which may have been printed and
        must not change."""
        if self.pk is not None:
            raise TypeError("A version of a caution's words is never changed; add another.")
        super().save(**how)

    @property
    def as_shipped(self) -> bool:
        return not (self.instead or self.added or self.word)
