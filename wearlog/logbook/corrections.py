"""Correcting and voiding records of the log and undoing moves. Nothing is overwritten silently or deleted.

Maintainers may change every entry; people who log, their own entries for 48 hours.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime, timedelta
from typing import TypeVar

from django.core.exceptions import FieldDoesNotExist
from django.db import models
from django.utils.translation import gettext as _

from wearlog.equipment import corrections as fittings
from wearlog.equipment import ordering
from wearlog.equipment.models import Fitting, PartOrder
from wearlog.logbook import closing
from wearlog.logbook.door import enter, entered
from wearlog.people import audit
from wearlog.people.models import LogRecord, User
from wearlog.people.refusals import NotAllowed, Refused
from wearlog.people.roles import Permission, allows, require
from wearlog.runs import corrections as runs
from wearlog.runs.models import Reading, Run
from wearlog.service import corrections as service
from wearlog.service import photos
from wearlog.service.models import Incident, Measurement, Photo, Service

OWN_ENTRIES_FOR = timedelta(hours=48)
KEPT_AS_THEY_ARE = frozenset(
    {
        "id",
        "ref",
        "entered_at",
        "entered_by",
        "voided_at",
        "voided_by",
        "void_reason",
        "ends_at",
        "slot",
        "service",
        "arrived_on",
    }
)

AnyRecord = TypeVar("AnyRecord", bound=LogRecord)


def may_change(user: User | None, record: LogRecord, *, at: datetime) -> bool:
    """Whether the person may correct and void the record."""
    if allows(user, Permission.MAINTAIN):
        return True
    return (
        user is not None
        and allows(user, Permission.LOG)
        and record.entered_by_id == user.pk
        and record.entered_at is not None
        and at - record.entered_at <= OWN_ENTRIES_FOR
    )


def correct(
    *,
    by: User | None,
    at: datetime,
    record: AnyRecord,
    changes: Mapping[str, object],
    reason: str,
    confirmed: Collection[str] = (),
    seen: Mapping[str, object] | None = None,
) -> AnyRecord:
    """Change fields of a record that is not voided and validate it again like a new entry.

    `changes` maps field names to cleaned values (for a foreign key the instance, or its key under
    `<name>_id`). `seen`, where given, maps field names to the values that the person saw: if one has changed
    since, the correction is refused, so that no other correction is overwritten. Related records follow: the
    reading at a run's end, both halves of a move. The audit trail keeps old values, new values and reason.
    """
    reason = _reasoned(reason)

    def write() -> None:
        fresh = _locked(record)
        _require_change(by, fresh, at=at)
        if fresh.voided_at is not None:
            raise Refused(_("This record is crossed out. Log it anew if it was right."))
        wanted = _wanted(fresh, changes)
        _as_seen(fresh, seen or {})
        if not wanted:
            raise Refused(_("Nothing is different. Change a value, or go back."))
        if isinstance(fresh, Fitting):
            fittings.correct_fitting(by=by, at=at, fitting=fresh, changes=wanted, reason=reason)
            closing.refuse_moves(by=by, fitting=Fitting.objects.get(pk=fresh.pk))
        elif isinstance(fresh, Run):
            runs.correct_run(by=by, at=at, run=fresh, changes=wanted, reason=reason, confirmed=confirmed)
        elif isinstance(fresh, Reading):
            runs.correct_reading(
                by=by, at=at, reading=fresh, changes=wanted, reason=reason, confirmed=confirmed
            )
        elif isinstance(fresh, Service):
            service.correct_service(by=by, at=at, service=fresh, changes=wanted, reason=reason)
            closing.check_correction(by=by, service=Service.objects.get(pk=fresh.pk), changed=wanted)
        elif isinstance(fresh, Measurement):
            service.correct_measurement(
                by=by, at=at, measurement=fresh, changes=wanted, reason=reason, confirmed=confirmed
            )
        elif isinstance(fresh, PartOrder):
            ordering.correct_order(by=by, at=at, order=fresh, changes=wanted, reason=reason)
        else:
            service.correct_other(by=by, at=at, record=fresh, changes=wanted, reason=reason)

    enter(write)
    return type(record)._default_manager.get(pk=record.pk)


def void(*, by: User | None, at: datetime, record: AnyRecord, reason: str) -> AnyRecord:
    """Void a record and what was entered with it: they stay readable and no longer count.

    With a run, the reading at its end is voided; with a service, its gauges, and the move of a flip or
    replacement is undone; with a fitting, the move that began it is undone. A metal incident whose lot is
    still held requires a maintainer, since voiding it releases the lot in that person's name.
    """
    reason = _reasoned(reason)

    def write() -> None:
        fresh = _locked(record)
        _require_change(by, fresh, at=at)
        if fresh.voided_at is not None:
            raise Refused(
                _("This record was already crossed out%(by_whom)s.") % {"by_whom": audit.by_whom(fresh)}
            )
        if isinstance(fresh, Fitting):
            _undo(by=by, at=at, fitting=fresh, reason=reason)
        elif isinstance(fresh, Run):
            runs.void_run(by=by, at=at, run=fresh, reason=reason)
        elif isinstance(fresh, Service):
            service.void_service(by=by, at=at, service=fresh, reason=reason)
        elif isinstance(fresh, Incident):
            service.void_incident(by=by, at=at, incident=fresh, reason=reason)
        elif isinstance(fresh, PartOrder):
            ordering.void_order(by=by, at=at, order=fresh, reason=reason)
        else:
            audit.strike_out(by=by, at=at, record=fresh, reason=reason)

    enter(write)
    return type(record)._default_manager.get(pk=record.pk)


def undo_move(*, by: User | None, at: datetime, fitting_id: int, reason: str) -> list[Fitting]:
    """Undo the flip, replacement or swap that began a fitting, and void the service that describes it.

    The earlier fittings continue as if the move had never happened. Returns the continued fittings.
    """
    reason = _reasoned(reason)

    def write() -> list[Fitting]:
        fitting = Fitting.objects.filter(pk=fitting_id).first()
        if fitting is None:
            raise Refused(_("There is no such fitting. Open the press page again."), field="fitting")
        _require_change(by, fitting, at=at)
        return _undo(by=by, at=at, fitting=fitting, reason=reason)

    return enter(write)


def _undo(*, by: User | None, at: datetime, fitting: Fitting, reason: str) -> list[Fitting]:
    move = fittings.move_of(fitting, fitting.fitted_at)
    joined = fittings.undo_move(by=by, at=at, fitting=fitting, reason=reason)
    if joined:
        service.void_work_of_move(by=by, at=at, move=move, reason=reason)
    return joined


def _locked(record: AnyRecord) -> AnyRecord:
    """The record as now stored, locked, so that two corrections run one after the other."""
    model = type(record)
    fresh = model._default_manager.select_for_update(of=("self",)).filter(pk=record.pk).first()
    if fresh is None:
        raise Refused(_("There is no such record. Open the log again."))
    return fresh


def _require_change(user: User | None, record: LogRecord, *, at: datetime) -> None:
    require(user, Permission.LOG)
    if not may_change(user, record, at=at):
        raise NotAllowed(
            _("You can change your own entries for two days. Ask a maintainer to change this one.")
        )


def _reasoned(reason: str) -> str:
    if not reason.strip():
        raise Refused(_("Write why the record is changed; the reason is kept with it."), field="reason")
    return reason.strip()


def _wanted(record: LogRecord, changes: Mapping[str, object]) -> dict[str, object]:
    """Those of the changes that differ from the stored values, by the field's own name."""
    wanted: dict[str, object] = {}
    for name, value in changes.items():
        try:
            field = record._meta.get_field(name)
        except FieldDoesNotExist:
            raise Refused(
                _("A %(verbose_name)s has no %(name)s.")
                % {"verbose_name": record._meta.verbose_name, "name": name},
                field=name,
            ) from None
        if field.name in KEPT_AS_THEY_ARE:
            raise Refused(
                _("%(name)s can't be corrected. Cross the record out and log it anew.") % {"name": name},
                field=name,
            )
        if isinstance(field, models.ForeignKey):
            key = value.pk if isinstance(value, models.Model) else value
            if getattr(record, field.attname) != key:
                wanted[field.name] = _related(field, key)
        elif getattr(record, field.name) != value:
            wanted[field.name] = value
    return wanted


def _related(field: models.ForeignKey[models.Model, models.Model], key: object) -> models.Model | None:
    if key is None:
        return None
    found = field.related_model._default_manager.filter(pk=key).first()
    if found is None:
        raise Refused(
            _("There is no such %(verbose_name)s. Choose one from the list.")
            % {"verbose_name": field.verbose_name},
            field=field.name,
        )
    return found


def _as_seen(record: LogRecord, seen: Mapping[str, object]) -> None:
    for name, value in seen.items():
        now = getattr(record, name)
        if isinstance(now, models.Model) and not isinstance(value, models.Model):
            now = now.pk
        if now != value:
            raise Refused(
                _(
                    "This record was corrected%(by_whom)s while you had it open. Open it again and "
                    "see whether your correction is still needed."
                )
                % {"by_whom": audit.by_whom(record)},
                field=name,
            )


@entered
def delete_photo(*, by: User | None, at: datetime, name: str, reason: str) -> LogRecord:
    """Delete a photo for good, by those who may change its record; the record and its history stay, with the
    reason. Returns the record. Raises Refused and NotAllowed."""
    photo = Photo.objects.select_related("service", "incident", "note").filter(name=name).first()
    record = None if photo is None else photo.service or photo.incident or photo.note
    if photo is None or record is None:
        raise Refused(_("This photo is not there any more."))
    _require_change(by, record, at=at)
    if not reason.strip():
        raise Refused(_("Write why the photo is deleted; the reason is kept."), field="reason")
    photos.delete(photo=photo, by=by, at=at, reason=reason.strip())
    return record
