"""What people say about a due item: seen, held back until a day, given to somebody."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from wearlog.people.fields import Text

LONGEST_REASON = 500


class MarkKind(models.TextChoices):
    SEEN = "seen", _("seen")
    HELD = "held", _("held back")
    GIVEN = "given", _("given to a person")


class MarkQuerySet(models.QuerySet["Mark"]):
    def open(self) -> MarkQuerySet:
        """Marks neither taken back nor replaced. A hold-back whose day has come is still open."""
        return self.filter(ended_at__isnull=True)


class Mark(models.Model):
    """One mark on one cycle of one item, never deleted: done work begins a new cycle, with its own key.

    `item_key` names rule, thing and cycle (`wearlog.reminders.outbox.keys.item_key`); rule, press and thing
    are for display. `telling` of a seen mark is the stage that was seen; `until_on` of a hold-back the day on
    which it ends; `given_to` the person it was given to.
    """

    item_key = models.CharField(max_length=64, db_index=True)
    kind = models.CharField(max_length=8, choices=MarkKind)
    rule = models.CharField(max_length=120)
    press = models.CharField(max_length=60)
    thing = models.CharField(max_length=200, blank=True)
    telling = models.CharField(max_length=60, blank=True)
    until_on = models.DateField(
        _("Not before"), help_text=_("On this day everybody is reminded again."), null=True, blank=True
    )
    given_to = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_("Whose it is"),
    )
    reason = Text(
        _("Why it has to wait"),
        help_text=_("Such as: the new die comes on Thursday."),
        longest=LONGEST_REASON,
        blank=True,
    )
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )

    objects = MarkQuerySet.as_manager()

    class Meta:
        ordering = ["made_at", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=MarkKind.values), name="mark_kind_known"),
            models.CheckConstraint(
                condition=~Q(kind=MarkKind.HELD) | (Q(until_on__isnull=False) & ~Q(reason="")),
                name="mark_held_has_day_and_reason",
            ),
            models.CheckConstraint(
                condition=~Q(kind=MarkKind.GIVEN) | Q(given_to__isnull=False), name="mark_given_has_person"
            ),
            models.CheckConstraint(
                condition=~Q(kind=MarkKind.SEEN) | ~Q(telling=""), name="mark_seen_has_stage"
            ),
            models.UniqueConstraint(
                fields=["item_key", "kind"],
                condition=Q(ended_at__isnull=True, kind__in=(MarkKind.HELD, MarkKind.GIVEN)),
                name="mark_one_hold_one_person",
            ),
            models.UniqueConstraint(
                fields=["item_key", "telling", "made_by"],
                condition=Q(ended_at__isnull=True, kind=MarkKind.SEEN),
                name="mark_seen_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind}: {self.rule} {self.thing or self.press}"
