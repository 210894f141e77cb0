"""The isolation record: who stated when which lock was put on where and taken off.

Nothing here says how a machine is; it says what a person said they did.
"""

from __future__ import annotations

from typing import Never, Self

from django.conf import settings
from django.db import models
from django.db.models import F, ProtectedError, Q, QuerySet
from django.db.models.deletion import SET_NULL, Collector
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.models import Press
from wearlog.lockout.models.energy import EnergySource
from wearlog.people.models import LogRecord, LogRecordQuerySet, User
from wearlog.service.models import Service


def keep_while_locked(
    collector: Collector, field: models.Field[Never, object], sub_objs: QuerySet[Lock], using: str
) -> None:
    """An `on_delete` handler: a source with a lock on it can't be removed; past locks keep the source's name
    as text."""
    fitted = [lock for lock in sub_objs if lock.is_fitted]
    if fitted:
        raise ProtectedError("A lock is recorded on this energy source.", set(fitted))
    SET_NULL(collector, field, sub_objs, using)


class Isolation(LogRecord):
    """A press stopped for work, from the first lock until somebody states the steps before a restart."""

    ref = models.CharField(_("Reference"), max_length=60, unique=True)
    press = models.ForeignKey(Press, models.PROTECT, related_name="isolations", verbose_name=_("Press"))
    work = models.CharField(_("What is the press stopped for?"), max_length=255)
    lead = models.CharField(
        _("Who leads the work?"), max_length=120, help_text=_("One person answers for the locks of all.")
    )
    begun_at = models.DateTimeField(_("Begun"))
    ended_at = models.DateTimeField(_("Ended"), null=True, blank=True)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_("Ended by"),
    )
    ended_by_name = models.CharField(_("Ended by (name)"), max_length=120, blank=True)
    stated = models.TextField(_("What was stated"), blank=True)

    objects = LogRecordQuerySet.as_manager()

    class Meta:
        ordering = ["begun_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(ref="") & ~Q(work="") & ~Q(lead=""), name="isolation_is_named"
            ),
            models.UniqueConstraint(
                fields=["press"],
                condition=Q(ended_at__isnull=True, voided_at__isnull=True),
                name="isolation_one_open_per_press",
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True)
                | (Q(ended_at__gte=F("begun_at")) & ~Q(ended_by_name="") & ~Q(stated="")),
                name="isolation_ended_by_name_with_steps",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.press}: {self.work}"


class Off(models.TextChoices):
    """How a lock came off."""

    SELF = "self", _("taken off by whoever fitted it")
    TEST = "test", _("taken off for a test under power")
    HANDED_OVER = "handed-over", _("handed over")
    FOR_ANOTHER = "for-another", _("taken off for somebody who was not there")


class LockQuerySet(LogRecordQuerySet["Lock"]):
    def fitted(self) -> Self:
        """The locks that are recorded as being on."""
        return self.not_voided().filter(off_at__isnull=True)


class Lock(LogRecord):
    """One person's lock on one source. `holder` is null for a person without an account, such as a
    contractor, who is recorded by name."""

    ref = models.CharField(_("Reference"), max_length=80, unique=True)
    isolation = models.ForeignKey(
        Isolation, models.PROTECT, related_name="locks", verbose_name=_("Isolation")
    )
    source = models.ForeignKey(
        EnergySource,
        keep_while_locked,
        null=True,
        blank=True,
        related_name="locks",
        verbose_name=_("Energy source"),
    )
    source_name = models.CharField(_("What it is on"), max_length=120)
    place = models.CharField(_("Place"), max_length=255, blank=True)
    number = models.CharField(_("Number on the lock"), max_length=60)
    holder = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="locks",
        verbose_name=_("Holder of the lock"),
    )
    holder_name = models.CharField(_("Name of the holder"), max_length=120)
    firm = models.CharField(_("Firm"), max_length=120, blank=True)
    fitted_at = models.DateTimeField(_("Fitted"))
    verified_at = models.DateTimeField(_("Verified"), null=True, blank=True)
    verified_how = models.CharField(
        _("How you verified it"),
        max_length=255,
        blank=True,
        help_text=_("What you tried, and what happened."),
    )
    follows = models.OneToOneField(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="followed_by",
        verbose_name=_("Follows the lock"),
    )
    confirmed_at = models.DateTimeField(_("Confirmed"), null=True, blank=True)
    off_at = models.DateTimeField(_("Taken off"), null=True, blank=True)
    off_how = models.CharField(_("How it came off"), max_length=12, choices=Off, blank=True)
    off_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_("Taken off by"),
    )
    off_by_name = models.CharField(_("Taken off by (name)"), max_length=120, blank=True)
    reason = models.CharField(_("Why it can't wait"), max_length=255, blank=True)
    not_here = models.CharField(
        _("How you made sure that the person is not on the premises"), max_length=255, blank=True
    )
    contact = models.CharField(_("How you reached the person, or what you tried"), max_length=255, blank=True)
    told_at = models.DateTimeField(_("Told"), null=True, blank=True)
    told_by_name = models.CharField(_("Told by"), max_length=120, blank=True)

    objects = LockQuerySet.as_manager()

    class Meta:
        ordering = ["fitted_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(ref="") & ~Q(source_name="") & ~Q(number="") & ~Q(holder_name=""),
                name="lock_is_named",
            ),
            models.CheckConstraint(
                condition=Q(off_at__isnull=True, off_how="")
                | (Q(off_at__gte=F("fitted_at"), off_how__in=Off.values) & ~Q(off_by_name="")),
                name="lock_comes_off_by_name",
            ),
            models.CheckConstraint(
                condition=~Q(off_how=Off.FOR_ANOTHER) | (~Q(reason="") & ~Q(not_here="") & ~Q(contact="")),
                name="lock_of_another_comes_off_with_reason",
            ),
            models.CheckConstraint(
                # People with an account take off their own locks; FOR_ANOTHER is the exception.
                condition=Q(off_how__in=("", Off.FOR_ANOTHER))
                | Q(holder__isnull=True)
                | Q(off_by=F("holder")),
                name="lock_comes_off_by_its_person",
            ),
            models.UniqueConstraint(
                fields=["isolation", "source_name", "holder_name"],
                condition=Q(off_at__isnull=True, voided_at__isnull=True),
                name="lock_once_per_person_and_source",
            ),
        ]

    def __str__(self) -> str:
        return f"lock {self.number} of {self.holder_name} on {self.source_name}"

    @property
    def is_fitted(self) -> bool:
        return self.off_at is None and self.voided_at is None

    @property
    def must_be_told(self) -> bool:
        """Whether it was taken off by somebody else and its person has not been told yet."""
        return self.off_how == Off.FOR_ANOTHER and self.told_at is None and self.voided_at is None

    def is_of(self, user: User | None) -> bool:
        return user is not None and self.holder_id is not None and self.holder_id == user.pk


class ReleaseStatement(models.Model):
    """A person's statement, made while logging work, that the steps before a restart were done."""

    service = models.OneToOneField(Service, models.PROTECT, related_name="release_statement")
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    by_name = models.CharField(max_length=120)
    stated = models.TextField()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(by_name="") & ~Q(stated=""), name="release_stated_by_name")
        ]

    def __str__(self) -> str:
        return f"{self.service}: {self.stated}"
