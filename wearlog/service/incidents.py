"""Incidents, lots on hold, and the signed record of cleaning between two crops."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from wearlog.equipment.actions import not_in_the_future
from wearlog.people import audit, refs
from wearlog.people.cleaning import check_numbers, clean
from wearlog.people.models import User
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission, require
from wearlog.people.words import when
from wearlog.runs import queries as runs
from wearlog.runs.models import Crop
from wearlog.runs.readings import locked_press
from wearlog.service.actions import check, log_work, position_of
from wearlog.service.entries import NewCropChange, NewIncident
from wearlog.service.models import Action, CropChange, Incident, IncidentKind, LotHold, Service


@transaction.atomic
def report_incident(*, by: User | None, at: datetime, entry: NewIncident) -> Incident:
    """Report an incident. Metal also puts the lot's oil and cake on hold until a person releases it by name.

    Without `lot` it is the lot that the press was pressing at that moment, or had pressed last. Raises
    Refused.
    """
    require(by, Permission.LOG)
    press = locked_press(entry.press_id)
    existing = refs.find_existing(Incident, ref=entry.ref, entry=entry)
    if existing is not None:
        return existing
    if entry.kind not in IncidentKind.values:
        raise Refused(
            _("%(kind)s is no incident known here. Choose one of %(names)s.")
            % {"kind": repr(entry.kind), "names": ", ".join(IncidentKind.values)},
            field="kind",
        )
    not_in_the_future(entry.happened_at, at=at, field="happened_at")
    incident = Incident(
        ref=entry.ref or refs.new_ref(at),
        happened_at=entry.happened_at,
        press=press,
        position=position_of(entry.position_id, press),
        kind=entry.kind,
        note=entry.note,
        entered_at=at,
        entered_by=by,
    )
    clean(incident)
    incident.save()
    audit.write(
        at=at,
        by=by,
        action=refs.LOGGED,
        record=incident,
        new={**audit.snapshot(incident), "entry": refs.digest(entry)},
    )
    if incident.kind == IncidentKind.METAL:
        hold_lot(by=by, at=at, incident=incident, lot=entry.lot)
    return incident


def hold_lot(*, by: User | None, at: datetime, incident: Incident, lot: str = "") -> LotHold:
    """Put the oil and cake of a lot on hold; if none is named, of the lot being pressed at the incident."""
    if not lot.strip():
        run = runs.run_at(incident.press, at=incident.happened_at)
        lot = run.lot if run is not None else ""
    hold = LotHold(incident=incident, lot=lot.strip(), held_at=at)
    clean(hold)
    hold.save()
    audit.write(at=at, by=by, action="hold lot", record=hold, new=audit.snapshot(hold))
    return hold


@transaction.atomic
def release_lot(*, by: User | None, at: datetime, hold_id: int, released_by: str, reason: str) -> LotHold:
    """Release a lot on hold, with the name of the person responsible and the reason why it may be used.
    Raises Refused, also if it was released before."""
    require(by, Permission.MAINTAIN)
    if not released_by.strip():
        raise Refused(_("Write the name of the person who releases the lot."), field="released_by")
    if not reason.strip():
        raise Refused(
            _("Write why the lot may be used: what was found and what was looked at."), field="reason"
        )
    hold = LotHold.objects.filter(pk=hold_id).first()
    if hold is None:
        raise Refused(_("There is no such held lot. Open the day page again."), field="hold")
    old = audit.snapshot(hold)
    hold.released_at, hold.released_by, hold.reason = at, released_by.strip(), reason.strip()
    clean(hold)
    released = LotHold.objects.filter(pk=hold_id, released_at__isnull=True).update(
        released_at=hold.released_at, released_by=hold.released_by, reason=hold.reason
    )
    if not released:
        hold.refresh_from_db()
        raise Refused(
            _("This lot was already released by %(released_by)s on %(when)s.")
            % {"released_by": hold.released_by, "when": when(hold.released_at or at)},
            field="hold",
        )
    audit.write(
        at=at,
        by=by,
        action="release lot",
        record=hold,
        old=old,
        new=audit.snapshot(hold),
        reason=hold.reason,
    )
    return hold


@transaction.atomic
def record_crop_change(
    *, by: User | None, at: datetime, entry: NewCropChange, confirmed: Collection[str] = ()
) -> CropChange:
    """Store the signed record of cleaning between two crops, the cleaning as work done, and the other work of
    the same stop.

    Without `from_crop_id` it is the crop that the press pressed last before. Raises AlreadyMoved, Refused and
    Doubtful, as `log_work` does.
    """
    require(by, Permission.LOG)
    press = locked_press(entry.press_id)
    existing = refs.find_existing(Service, ref=entry.ref, entry=entry)
    if existing is not None:
        return existing.crop_change
    if not entry.signed_by.strip():
        raise Refused(_("Write the name of the person who cleaned and signs for it."), field="signed_by")
    not_in_the_future(entry.done_at, at=at, field="done_at")
    to_crop = Crop.objects.filter(pk=entry.to_crop_id).first()
    if to_crop is None:
        raise Refused(_("Choose the crop that comes next."), field="to_crop")
    if entry.from_crop_id is None:
        from_crop = runs.last_crop(press, at=entry.done_at)
    else:
        from_crop = Crop.objects.filter(pk=entry.from_crop_id).first()
        if from_crop is None:
            raise Refused(
                _("There is no such crop. Choose the crop that was pressed before."), field="from_crop"
            )
    service = Service(
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
    check(service)
    service.save()
    audit.write(
        at=at,
        by=by,
        action=refs.LOGGED,
        record=service,
        new={**audit.snapshot(service), "entry": refs.digest(entry)},
    )
    change = CropChange(
        service=service,
        from_crop=from_crop,
        to_crop=to_crop,
        signed_by=entry.signed_by.strip(),
        purge_kg=entry.purge_kg,
        purge_h=entry.purge_h,
    )
    check_numbers(change)
    clean(change)
    change.save()
    audit.write(at=at, by=by, action="sign crop change", record=change, new=audit.snapshot(change))
    for number, work in enumerate(entry.works, start=1):
        own = replace(work, press_id=press.pk, done_at=entry.done_at, ref=f"{service.ref[:50]}-w{number}")
        log_work(by=by, at=at, entry=own, confirmed=confirmed)
    return change
