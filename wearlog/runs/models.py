"""Crops, runs, hour meters, the season plan and the mill's prices."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Self

from django.db import models
from django.db.models import F, Q
from django.db.models.base import ModelBase
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.models import Press
from wearlog.people.fields import (
    MOST,
    Amperes,
    Celsius,
    Hertz,
    Hours,
    Kilograms,
    KilowattHours,
    Millimetres,
    Money,
    Percent,
    Tags,
)
from wearlog.people.models import LogRecord, LogRecordQuerySet, User

MOST_BAG_KG = 5000
"""Big bags included."""


class Crop(models.Model):
    code = models.CharField(_("Crop"), max_length=60, unique=True, help_text=_("One word without spaces."))
    bushel_kg = Kilograms(
        _("A bushel weighs"),
        above=0,
        help_text=_("Only where seed is counted in bushels."),
        null=True,
        blank=True,
    )
    bag_kg = Kilograms(
        _("A bag weighs"),
        above=0,
        most=MOST_BAG_KG,
        help_text=_("As it was last typed with a run. It stands ready on every device."),
        null=True,
        blank=True,
    )
    note = models.TextField(_("Note"), blank=True)

    class Meta:
        ordering = ["code"]
        constraints = [
            # Lists store crop codes separated by spaces, so a code can't contain one.
            models.CheckConstraint(condition=~Q(code="") & ~Q(code__contains=" "), name="crop_code_is_a_tag"),
            models.CheckConstraint(
                condition=Q(bushel_kg__isnull=True) | Q(bushel_kg__gt=0), name="crop_bushel_positive"
            ),
            models.CheckConstraint(
                condition=Q(bag_kg__isnull=True) | Q(bag_kg__gt=0), name="crop_bag_positive"
            ),
        ]

    def __str__(self) -> str:
        return self.code


class Dirt(models.TextChoices):
    CLEAN = "clean", _("clean")
    NORMAL = "normal", _("normal")
    DIRTY = "dirty", _("dirty")


SLOTS = 3
"""Values of a run's slot: 0 for all barrels, else the number of the barrel that pressed."""


class SeedHow(models.TextChoices):
    """How the seed of a run is known. WORKED_OUT seed is based on the press's usual rate, so it says nothing
    about the rate."""

    WEIGHED = "", _("weighed")
    ABOUT = "about", _("about")
    WORKED_OUT = "worked_out", _("worked out")


class RunQuerySet(LogRecordQuerySet["Run"]):
    def of(self, press: Press) -> Self:
        return self.not_voided().filter(press=press)

    def running(self) -> Self:
        return self.not_voided().filter(ends_at__isnull=True)

    def between(self, start: datetime, end: datetime) -> Self:
        """Runs that overlap [start, end), running ones included."""
        return self.not_voided().filter(Q(ends_at__gt=start) | Q(ends_at__isnull=True), started_at__lt=end)

    def with_usable_rate(self) -> Self:
        """Ended runs whose seed and hours show the rate of the press: no purge, no empty run, and none whose
        seed was worked out from the usual rate."""
        return self.filter(ends_at__isnull=False, purge=False, seed_kg__gt=0).exclude(
            seed_how=SeedHow.WORKED_OUT
        )


class Run(LogRecord):
    """The pressing of seed of one crop on one press, from one instant to another.

    `ended_at` and `hours_h` are as recorded; `ends_at` is derived from them (see `end_of`) and stored for
    constraints and range queries. `slot` says which barrels pressed, so that runs through the same barrel can
    be kept from overlapping: 0 for all, 1 or 2 for the first or second by name.
    """

    ref = models.CharField(_("Reference"), max_length=60, unique=True)
    press = models.ForeignKey(Press, models.PROTECT, related_name="runs", verbose_name=_("Press"))
    crop = models.ForeignKey(Crop, models.PROTECT, related_name="runs", verbose_name=_("Crop"))
    lot = models.CharField(_("Lot"), max_length=60, blank=True)
    started_at = models.DateTimeField(_("Started"))
    ended_at = models.DateTimeField(_("Ended"), null=True, blank=True)
    hours_h = Hours(_("Hours pressed"), most=24 * 366, help_text=_("As 7.5 or 7:30."), null=True, blank=True)
    seed_kg = Kilograms(_("Seed pressed"), most=10_000_000)
    seed_how = models.CharField(
        _("The seed was"),
        max_length=10,
        choices=SeedHow,
        blank=True,
        default=SeedHow.WEIGHED,
        db_default=SeedHow.WEIGHED,
    )
    oil_kg = Kilograms(_("Oil"), null=True, blank=True)
    cake_kg = Kilograms(_("Cake"), null=True, blank=True)
    foots_kg = Kilograms(_("Foots"), null=True, blank=True)
    through = Tags(_("Barrels that pressed"), max_length=80, blank=True)
    moisture_pct = Percent(_("Seed moisture"), null=True, blank=True)
    seed_oil_pct = Percent(_("Oil in the seed"), null=True, blank=True)
    cake_oil_pct = Percent(_("Oil left in the cake"), null=True, blank=True)
    head_c = Celsius(_("Head temperature"), least=-50, most=400, null=True, blank=True)
    drive_hz = Hertz(_("Drive"), most=1000, null=True, blank=True)
    gap_mm = Millimetres(
        _("Choke or gap"),
        most=500,
        help_text=_("As it was set: the gap at the choke or cone, or behind the die."),
        null=True,
        blank=True,
    )
    motor_a = Amperes(_("Motor"), most=10_000, null=True, blank=True)
    energy_kwh = KilowattHours(_("Energy"), null=True, blank=True)
    dirt = models.CharField(_("How clean was the seed?"), max_length=8, choices=Dirt, blank=True)
    purge = models.BooleanField(_("Purge seed, off-grade"), default=False)
    done_by = models.CharField(_("Done by"), max_length=120, blank=True)
    note = models.TextField(_("Note"), blank=True)
    ends_at = models.DateTimeField(null=True, blank=True, editable=False)
    slot = models.PositiveSmallIntegerField(default=0, editable=False)

    objects = RunQuerySet.as_manager()

    class Meta:
        ordering = ["started_at", "pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(ref=""), name="run_has_ref"),
            models.CheckConstraint(condition=Q(seed_kg__gte=0), name="run_seed_not_negative"),
            models.CheckConstraint(
                condition=(Q(oil_kg__isnull=True) | Q(oil_kg__gte=0))
                & (Q(cake_kg__isnull=True) | Q(cake_kg__gte=0))
                & (Q(foots_kg__isnull=True) | Q(foots_kg__gte=0))
                & (Q(energy_kwh__isnull=True) | Q(energy_kwh__gte=0)),
                name="run_yields_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(hours_h__isnull=True) | Q(hours_h__gte=0), name="run_hours_not_negative"
            ),
            models.CheckConstraint(
                condition=Q(gap_mm__isnull=True) | Q(gap_mm__gte=0), name="run_gap_not_negative"
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | Q(ended_at__gte=F("started_at")),
                name="run_ends_after_start",
            ),
            models.CheckConstraint(
                condition=Q(ends_at__isnull=True) | Q(ends_at__gte=F("started_at")),
                name="run_end_derived_after_start",
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=False, ends_at__isnull=False, ends_at=F("ended_at"))
                | Q(ended_at__isnull=True, hours_h__isnull=False, ends_at__isnull=False)
                | Q(ended_at__isnull=True, hours_h__isnull=True, ends_at__isnull=True),
                name="run_end_follows_the_record",
            ),
            models.CheckConstraint(condition=Q(slot__in=tuple(range(SLOTS))), name="run_slot_known"),
            models.CheckConstraint(condition=Q(dirt="") | Q(dirt__in=Dirt.values), name="run_dirt_known"),
            models.CheckConstraint(condition=Q(seed_how__in=SeedHow.values), name="run_seed_how_known"),
        ]
        indexes = [
            models.Index(fields=["press", "started_at"], name="run_by_press_start"),
            models.Index(fields=["started_at"], name="run_by_start"),
            models.Index(fields=["press", "ends_at"], name="run_by_press_end"),
            models.Index(fields=["entered_at"], name="run_by_entry"),
            # Few rows: the day page needs them on every visit, in this order.
            models.Index(
                fields=["started_at"],
                condition=Q(ends_at__isnull=True),
                name="run_still_running",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.press} {self.crop} {self.started_at:%Y-%m-%d}"

    def save(
        self,
        *,
        force_insert: bool | tuple[ModelBase, ...] = False,
        force_update: bool = False,
        using: str | None = None,
        update_fields: Iterable[str] | None = None,
    ) -> None:
        self.derive()
        super().save(
            force_insert=force_insert, force_update=force_update, using=using, update_fields=update_fields
        )

    def clean(self) -> None:
        self.derive()

    def derive(self) -> None:
        """Set `ends_at` and `slot`. Call it before `bulk_create`, which does not call `save`."""
        self.ends_at = self.end_of(self.started_at, self.ended_at, self.hours_h)
        self.slot = self.slot_of(self.through, self.press.barrels()) if self.through else 0

    @staticmethod
    def end_of(started_at: datetime, ended_at: datetime | None, hours_h: Decimal | None) -> datetime | None:
        """When a run ended: the recorded end, else start plus hours, else None for one that goes on."""
        if ended_at is not None:
            return ended_at
        if hours_h is not None:
            return started_at + timedelta(hours=float(hours_h))
        return None

    @staticmethod
    def slot_of(through: str, barrels: list[str]) -> int:
        """0 where all barrels pressed, else 1 or 2; `barrels` are the press's barrel names in order."""
        named = through.split()
        if len(named) != 1 or len(barrels) < 2:
            return 0
        barrels = sorted(barrels)
        return barrels.index(named[0]) + 1 if named[0] in barrels else 0


class ReadingKind(models.TextChoices):
    READING = "reading", _("reading")
    NEW_METER = "new_meter", _("new meter")


class Reading(LogRecord):
    """A value of the hour meter. The first reading of a new meter begins a new count."""

    press = models.ForeignKey(Press, models.PROTECT, related_name="readings", verbose_name=_("Press"))
    read_at = models.DateTimeField(_("When"))
    meter_h = Hours(_("Hour meter shows"), most=999_999)
    kind = models.CharField(_("Kind"), max_length=10, choices=ReadingKind, default=ReadingKind.READING)

    objects = LogRecordQuerySet.as_manager()

    class Meta:
        ordering = ["press__code", "read_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["press", "read_at"], condition=Q(voided_at__isnull=True), name="reading_key"
            ),
            models.CheckConstraint(condition=Q(meter_h__gte=0), name="reading_not_negative"),
            models.CheckConstraint(condition=Q(kind__in=ReadingKind.values), name="reading_kind_known"),
        ]

    def __str__(self) -> str:
        return f"{self.press} {self.meter_h} h"


class PlanEntry(models.Model):
    """Seed of a crop that a press is planned to take between two days, both included."""

    press = models.ForeignKey(Press, models.PROTECT, related_name="plan", verbose_name=_("Press"))
    crop = models.ForeignKey(Crop, models.PROTECT, related_name="plan", verbose_name=_("Crop"))
    start_on = models.DateField(_("From"))
    end_on = models.DateField(_("Until"))
    seed_kg = Kilograms(_("Seed"))
    planned_on = models.DateField(_("Planned on"), null=True, blank=True)

    class Meta:
        ordering = ["press__code", "crop__code", "start_on"]
        constraints = [
            models.UniqueConstraint(fields=["press", "crop", "start_on"], name="plan_key"),
            models.CheckConstraint(condition=Q(end_on__gte=F("start_on")), name="plan_ends_after_start"),
            models.CheckConstraint(condition=Q(seed_kg__gte=0), name="plan_seed_not_negative"),
        ]

    def __str__(self) -> str:
        words = {"press": self.press, "crop": self.crop, "day": self.start_on.isoformat()}
        return gettext("%(press)s %(crop)s from %(day)s") % words


class Price(models.Model):
    """The price of a kilogram, an hour or a kilowatt-hour from a day on, in the mill's currency."""

    item = models.CharField(_("What"), max_length=40)
    from_on = models.DateField(_("From"))
    price = Money(_("Price"), least=-MOST)

    class Meta:
        ordering = ["item", "from_on"]
        constraints = [
            models.UniqueConstraint(fields=["item", "from_on"], name="price_key"),
            models.CheckConstraint(condition=~Q(item=""), name="price_has_item"),
        ]

    def __str__(self) -> str:
        return gettext("%(item)s from %(day)s") % {"item": self.item, "day": self.from_on.isoformat()}


class ShiftNote(LogRecord):
    """A note for the next shift, about one press or the whole mill."""

    press = models.ForeignKey(
        Press, models.PROTECT, null=True, blank=True, related_name="shift_notes", verbose_name=_("About")
    )
    written_at = models.DateTimeField(_("Written"))
    by_name = models.CharField(_("Signed"), max_length=120)
    text = models.TextField(_("Text"))

    objects = LogRecordQuerySet.as_manager()

    class Meta:
        ordering = ["-written_at"]
        constraints = [models.CheckConstraint(condition=~Q(text=""), name="shift_note_has_text")]

    def __str__(self) -> str:
        return self.text[:60]


class Cause(models.TextChoices):
    """Why a record is doubted."""

    PACE = "pace", _("odd pace")
    STEP = "step", _("step in the pace")
    SWAPPED = "swapped", _("presses mixed up")
    GAP = "gap", _("no run")
    UNLOGGED = "unlogged", _("unlogged hours")
    IDLE = "idle", _("meter ahead of the runs")


class SettledDoubt(models.Model):
    """A person's answer to a doubt about the log: it is asked once. `at` is the instant at which the doubted
    thing begins; `accepted` tells whether the proposed correction was made."""

    press = models.ForeignKey(Press, models.PROTECT, related_name="settled_doubts", verbose_name=_("Press"))
    cause = models.CharField(_("Doubt"), max_length=10, choices=Cause)
    at = models.DateTimeField(_("When"))
    accepted = models.BooleanField(_("Corrected"), default=False)
    settled_at = models.DateTimeField(_("Answered at"))
    settled_by = models.ForeignKey(
        User,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_("Answered by"),
    )

    class Meta:
        ordering = ["-at", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["press", "cause", "at"], name="doubt_settled_once"),
            models.CheckConstraint(condition=Q(cause__in=Cause.values), name="doubt_cause_known"),
        ]

    def __str__(self) -> str:
        return f"{self.get_cause_display()}, {self.press}"
