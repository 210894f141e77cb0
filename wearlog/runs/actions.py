"""Logging runs and readings."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime, timedelta
from decimal import Decimal

from django.db import transaction

from wearlog.equipment.models import Press
from wearlog.people import audit, refs
from wearlog.people.models import User
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission, require
from wearlog.people.words import when
from wearlog.runs import queries
from wearlog.runs.entries import NewRun
from wearlog.runs.models import Crop, Reading, ReadingKind, Run, ShiftNote


def locked_press(press_id: int) -> Press:
    press = Press.objects.select_for_update().filter(pk=press_id).first()
    if press is None:
        raise Refused("There is no such press. Choose one from the list.", field="press")
    return press


@transaction.atomic
def log_run(*, by: User | None, at: datetime, entry: NewRun, confirmed: Collection[str] = ()) -> Run:
    require(by, Permission.LOG)
    press = locked_press(entry.press_id)
    if entry.ref:
        existing = Run.objects.filter(ref=entry.ref).first()
        if existing is not None:
            refs.same_entry(existing, entry)
            return existing
    crop = Crop.objects.filter(pk=entry.crop_id).first()
    if crop is None:
        raise Refused("There is no such crop. Choose one from the list.", field="crop")
    started_at, ended_at = entry.started_at, entry.ended_at
    if started_at is None:
        hours = entry.hours_h
        if hours is None and entry.meter_h is not None:
            before = queries.reading_before(press.pk, ended_at or at)
            hours = entry.meter_h - before.meter_h if before is not None else None
        if hours is not None:
            ended_at = ended_at or at
            started_at = ended_at - timedelta(hours=float(hours))
        else:
            started_at = at
    if entry.meter_h is not None:
        ended_at = ended_at or at
    run = Run(
        ref=entry.ref or refs.new_ref(at),
        press=press,
        crop=crop,
        lot=entry.lot,
        started_at=started_at,
        ended_at=ended_at,
        hours_h=entry.hours_h,
        seed_kg=entry.seed_kg,
        oil_kg=entry.oil_kg,
        cake_kg=entry.cake_kg,
        foots_kg=entry.foots_kg,
        through=entry.through,
        moisture_pct=entry.moisture_pct,
        seed_oil_pct=entry.seed_oil_pct,
        cake_oil_pct=entry.cake_oil_pct,
        head_c=entry.head_c,
        drive_hz=entry.drive_hz,
        motor_a=entry.motor_a,
        energy_kwh=entry.energy_kwh,
        dirt=entry.dirt,
        purge=entry.purge,
        done_by=entry.done_by,
        note=entry.note,
        entered_at=at,
        entered_by=by,
    )
    run.derive()
    overlap = queries.overlapping_runs(press.pk, run.slot, run.started_at, run.ends_at).first()
    if overlap is not None:
        raise Refused(
            f"{press} was already pressing {overlap.crop} from {when(overlap.started_at)} "
            f"(run {overlap.ref}). Change the times, or correct that run.",
            field="started_at",
        )
    run.save()
    audit.write(
        at=at,
        by=by,
        action=refs.LOGGED,
        record=run,
        new={**audit.snapshot(run), "entry": refs.digest(entry)},
    )
    if entry.meter_h is not None:
        log_reading(
            by=by,
            at=at,
            press_id=press.pk,
            read_at=ended_at or at,
            meter_h=entry.meter_h,
            new_meter=entry.new_meter,
            confirmed=confirmed,
        )
    return run


@transaction.atomic
def stop_run(
    *,
    by: User | None,
    at: datetime,
    run_id: int,
    ended_at: datetime,
    seed_kg: Decimal,
    hours_h: Decimal | None = None,
    meter_h: Decimal | None = None,
    oil_kg: Decimal | None = None,
    confirmed: Collection[str] = (),
) -> Run:
    require(by, Permission.LOG)
    run = Run.objects.standing().select_related("press", "crop").filter(pk=run_id).first()
    if run is None:
        raise Refused("There is no such run. Open the day page again.", field="run")
    locked_press(run.press_id)
    old = audit.snapshot(run)
    run.ended_at, run.seed_kg, run.hours_h, run.oil_kg = ended_at, seed_kg, hours_h, oil_kg
    run.save()
    audit.write(at=at, by=by, action="stop", record=run, old=old, new=audit.snapshot(run))
    if meter_h is not None:
        log_reading(
            by=by, at=at, press_id=run.press_id, read_at=ended_at, meter_h=meter_h, confirmed=confirmed
        )
    return run


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
    require(by, Permission.LOG)
    locked_press(press_id)
    reading = Reading.objects.create(
        press_id=press_id,
        read_at=read_at,
        meter_h=meter_h,
        kind=ReadingKind.NEW_METER if new_meter else ReadingKind.READING,
        entered_at=at,
        entered_by=by,
    )
    audit.write(at=at, by=by, action=refs.LOGGED, record=reading, new=audit.snapshot(reading))
    return reading


@transaction.atomic
def leave_note(
    *, by: User | None, at: datetime, text: str, by_name: str, press_id: int | None = None
) -> ShiftNote:
    """Leave a line for whoever comes next, about one press or the whole mill."""
    require(by, Permission.LOG)
    if not text.strip():
        raise Refused("The note is empty. Write a line, or go back.", field="text")
    if press_id is not None and not Press.objects.filter(pk=press_id).exists():
        raise Refused("There is no such press. Choose one from the list.", field="press")
    note = ShiftNote.objects.create(
        press_id=press_id,
        written_at=at,
        by_name=by_name.strip() or audit.name_of(by),
        text=text.strip(),
        entered_at=at,
        entered_by=by,
    )
    audit.write(at=at, by=by, action=refs.LOGGED, record=note, new=audit.snapshot(note))
    return note
