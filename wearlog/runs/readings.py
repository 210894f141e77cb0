"""Logging readings of the hour meter."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from wearlog.equipment.models import Press
from wearlog.people import audit, refs
from wearlog.people.cleaning import check_numbers, clean, clean_fields, stored
from wearlog.people.models import User
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission, require
from wearlog.people.words import when
from wearlog.runs import validation
from wearlog.runs.models import Reading, ReadingKind


def locked_press(press_id: int) -> Press:
    """The press, with its row locked until the transaction ends. Raises Refused if there is none."""
    press = Press.objects.select_for_update(no_key=True).filter(pk=press_id).first()
    if press is None:
        raise Refused(_("There is no such press. Choose one from the list."), field="press")
    return press


@transaction.atomic
def log_reading(
    *,
    by: User | None,
    at: datetime,
    press_id: int,
    read_at: datetime,
    meter_h: Decimal,
    new_meter: bool = False,
    confirmed: Collection[str] = (),
) -> Reading:
    """Log a value of the hour meter; `new_meter` if it is the first value of a newly fitted meter. The same
    value at the same instant returns the stored reading. Raises Refused and Doubtful."""
    require(by, Permission.LOG)
    press = locked_press(press_id)
    reading = new_reading(by=by, at=at, press=press, read_at=read_at, meter_h=meter_h, new_meter=new_meter)
    if reading.pk is None:
        refuse_bad_reading(reading)
        validation.ask(validation.about_reading(reading, at=at), confirmed)
    return store_reading(by=by, at=at, reading=reading)


def recheck(reading: Reading, *, at: datetime, confirmed: Collection[str]) -> None:
    """Validate a changed reading like a new one. The caller must hold the lock of its press."""
    refuse_bad_reading(reading)
    other = (
        Reading.objects.not_voided()
        .filter(press_id=reading.press_id, read_at=reading.read_at)
        .exclude(pk=reading.pk)
        .first()
    )
    if other is not None:
        raise Refused(already_read_words(other), field="read_at")
    clean(reading)
    validation.ask(validation.about_reading(reading, at=at), confirmed)


def new_reading(
    *,
    by: User | None,
    at: datetime,
    press: Press,
    read_at: datetime,
    meter_h: Decimal,
    new_meter: bool,
) -> Reading:
    """An unsaved reading, or the stored one with this instant and value. Raises Refused if the stored one
    differs."""
    kind = ReadingKind.NEW_METER if new_meter else ReadingKind.READING
    existing: Reading | None = (
        Reading.objects.not_voided().select_related("press").filter(press=press, read_at=read_at).first()
    )
    if existing is not None:
        if existing.meter_h == stored(meter_h) and existing.kind == kind:
            return existing
        raise Refused(already_read_words(existing), field="meter_h")
    return Reading(press=press, read_at=read_at, meter_h=meter_h, kind=kind, entered_at=at, entered_by=by)


def refuse_bad_reading(reading: Reading) -> None:
    if reading.meter_h is None:
        raise Refused(_("Write what the hour meter shows, 0 or more."), field="meter_h")
    check_numbers(reading)


def store_reading(*, by: User | None, at: datetime, reading: Reading) -> Reading:
    if reading.pk is not None:
        return reading
    refuse_bad_reading(reading)
    clean_fields(reading, known=("press",))
    reading.save()
    audit.write(at=at, by=by, action=refs.LOGGED, record=reading, new=audit.snapshot(reading))
    return reading


def already_read_words(existing: Reading) -> str:
    return _(
        "The meter of %(press)s was already read at %(when)s: %(standing)s h. Correct "
        "that reading, or give another moment."
    ) % {"press": existing.press, "when": when(existing.read_at), "standing": validation.plain(existing)}
