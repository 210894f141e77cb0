"""Logging work, gauges, incidents, crop changes, and the release of a held lot."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from django.db import transaction

from wearlog.equipment import actions as moves
from wearlog.equipment.models import Fitting, Part, Press
from wearlog.people import audit, refs
from wearlog.people.models import User
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission, require
from wearlog.runs import queries as run_queries
from wearlog.runs.models import Crop
from wearlog.service.entries import NewCropChange, NewIncident, NewMeasurement, NewWork
from wearlog.service.models import (
    Action,
    CropChange,
    Incident,
    IncidentKind,
    LotHold,
    Measurement,
    Service,
)


@transaction.atomic
def log_work(*, by: User | None, at: datetime, entry: NewWork, confirmed: Collection[str] = ()) -> Service:
    require(by, Permission.LOG)
    if entry.ref:
        existing = Service.objects.filter(ref=entry.ref).first()
        if existing is not None:
            refs.same_entry(existing, entry)
            return existing
    part_id, edge, position_id = entry.part_id, entry.edge, entry.position_id
    if entry.expected_fitting_id is not None:
        fitting = Fitting.objects.get(pk=entry.expected_fitting_id)
        part_id, position_id, edge = fitting.part_id, fitting.position_id, entry.edge or fitting.edge
    if entry.action == Action.FLIP and entry.expected_fitting_id is not None:
        moves.flip(
            by=by,
            at=at,
            expected_fitting_id=entry.expected_fitting_id,
            moved_at=entry.done_at,
            to_edge=entry.to_edge,
        )
    if entry.action == Action.REPLACE and entry.new_part_id is not None and position_id is not None:
        moves.replace(
            by=by,
            at=at,
            position_id=position_id,
            expected_fitting_id=entry.expected_fitting_id,
            new_part_id=entry.new_part_id,
            new_edge=entry.new_edge,
            moved_at=entry.done_at,
            old_part_retired_because=entry.old_part_retired_because,
        )
    service = Service.objects.create(
        ref=entry.ref or refs.new_ref(at),
        done_at=entry.done_at,
        press_id=entry.press_id,
        position_id=position_id,
        part_id=part_id,
        edge=edge,
        action=entry.action,
        finding=entry.finding,
        rule_id=entry.rule_id,
        downtime_h=entry.downtime_h,
        labour_h=entry.labour_h,
        cost=entry.cost,
        done_by=entry.done_by,
        note=entry.note,
        entered_at=at,
        entered_by=by,
    )
    audit.write(
        at=at,
        by=by,
        action=refs.LOGGED,
        record=service,
        new={**audit.snapshot(service), "entry": refs.digest(entry)},
    )
    for each in entry.measurements:
        if part_id is None:
            raise Refused("Say which part was measured.", field="part")
        gauge(
            by=by, at=at, part_id=part_id, edge=edge, measured_at=entry.done_at, given=each, service=service
        )
    return service


def gauge(
    *,
    by: User | None,
    at: datetime,
    part_id: int,
    edge: str,
    measured_at: datetime,
    given: NewMeasurement,
    service: Service | None,
) -> Measurement:
    measurement = Measurement.objects.create(
        ref=given.ref or refs.new_ref(at),
        measured_at=measured_at,
        part_id=part_id,
        edge=edge,
        value_mm=given.value_mm,
        place=given.place,
        bound=given.bound,
        service=service,
        phase=given.phase,
        gauge=given.gauge,
        note=given.note,
        entered_at=at,
        entered_by=by,
    )
    audit.write(
        at=at,
        by=by,
        action=refs.LOGGED,
        record=measurement,
        new={**audit.snapshot(measurement), "entry": refs.digest(given)},
    )
    return measurement


@transaction.atomic
def log_measurement(
    *,
    by: User | None,
    at: datetime,
    part_id: int,
    edge: str,
    measured_at: datetime,
    measurement: NewMeasurement,
    confirmed: Collection[str] = (),
) -> Measurement:
    require(by, Permission.LOG)
    part = Part.objects.select_related("part_type").filter(pk=part_id).first()
    if part is None:
        raise Refused("There is no such part. Open the parts page again.", field="part")
    return gauge(
        by=by,
        at=at,
        part_id=part.pk,
        edge=moves.edge_of(part, edge),
        measured_at=measured_at,
        given=measurement,
        service=None,
    )


@transaction.atomic
def report_incident(*, by: User | None, at: datetime, entry: NewIncident) -> Incident:
    """Report an incident. Metal also holds the lot's oil and cake until a person releases it by name."""
    require(by, Permission.LOG)
    press = Press.objects.filter(pk=entry.press_id).first()
    if press is None:
        raise Refused("There is no such press. Choose one from the list.", field="press")
    if entry.ref:
        existing = Incident.objects.filter(ref=entry.ref).first()
        if existing is not None:
            refs.same_entry(existing, entry)
            return existing
    incident = Incident.objects.create(
        ref=entry.ref or refs.new_ref(at),
        happened_at=entry.happened_at,
        press=press,
        position_id=entry.position_id,
        kind=entry.kind,
        note=entry.note,
        entered_at=at,
        entered_by=by,
    )
    audit.write(
        at=at,
        by=by,
        action=refs.LOGGED,
        record=incident,
        new={**audit.snapshot(incident), "entry": refs.digest(entry)},
    )
    if entry.kind == IncidentKind.METAL:
        lot = entry.lot
        if not lot:
            run = run_queries.last_run(press)
            lot = run.lot if run is not None else ""
        hold = LotHold.objects.create(incident=incident, lot=lot, held_at=at)
        audit.write(at=at, by=by, action="hold lot", record=hold, new=audit.snapshot(hold))
    return incident


@transaction.atomic
def release_lot(*, by: User | None, at: datetime, hold_id: int, released_by: str, reason: str) -> LotHold:
    """Release a held lot. The person who answers for it is named, and why it may be used."""
    require(by, Permission.MAINTAIN)
    if not released_by.strip():
        raise Refused("Write the name of the person who releases the lot.", field="released_by")
    if not reason.strip():
        raise Refused("Write why the lot may be used (what was found and looked at).", field="reason")
    hold = LotHold.objects.filter(pk=hold_id).first()
    if hold is None:
        raise Refused("There is no such held lot. Open the day page again.", field="hold")
    old = audit.snapshot(hold)
    released = LotHold.objects.filter(pk=hold_id, released_at__isnull=True).update(
        released_at=at, released_by=released_by.strip(), reason=reason.strip()
    )
    hold.refresh_from_db()
    if not released:
        raise Refused(f"The lot was already released by {hold.released_by}.", field="hold")
    audit.write(
        at=at, by=by, action="release lot", record=hold, old=old, new=audit.snapshot(hold), reason=reason
    )
    return hold


@transaction.atomic
def record_crop_change(*, by: User | None, at: datetime, entry: NewCropChange) -> CropChange:
    """Keep the signed cleaning record between two crops, and the cleaning as work done."""
    require(by, Permission.LOG)
    press = Press.objects.filter(pk=entry.press_id).first()
    if press is None:
        raise Refused("There is no such press. Choose one from the list.", field="press")
    if not entry.signed_by.strip():
        raise Refused("Write the name of the person who cleaned and signs for it.", field="signed_by")
    if entry.ref:
        existing = Service.objects.filter(ref=entry.ref).first()
        if existing is not None:
            refs.same_entry(existing, entry)
            return CropChange.objects.get(service=existing)
    from_crop_id = entry.from_crop_id
    if from_crop_id is None:
        last = run_queries.last_crop(press)
        from_crop_id = last.pk if last is not None else None
    if not Crop.objects.filter(pk=entry.to_crop_id).exists():
        raise Refused("Choose the crop that comes next.", field="to_crop")
    service = Service.objects.create(
        ref=entry.ref or refs.new_ref(at),
        done_at=entry.done_at,
        press=press,
        action=Action.CLEAN,
        finding=entry.finding,
        done_by=entry.signed_by.strip(),
        note=entry.note,
        entered_at=at,
        entered_by=by,
    )
    audit.write(
        at=at,
        by=by,
        action=refs.LOGGED,
        record=service,
        new={**audit.snapshot(service), "entry": refs.digest(entry)},
    )
    change = CropChange.objects.create(
        service=service,
        from_crop_id=from_crop_id,
        to_crop_id=entry.to_crop_id,
        signed_by=entry.signed_by.strip(),
        purge_kg=entry.purge_kg,
    )
    audit.write(at=at, by=by, action="sign crop change", record=change, new=audit.snapshot(change))
    return change
