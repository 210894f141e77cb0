"""Correcting and voiding work, gauges and incidents."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from wearlog.equipment import actions as moves
from wearlog.equipment import corrections as fittings
from wearlog.equipment.models import Fitting
from wearlog.people import audit
from wearlog.people.cleaning import clean
from wearlog.people.models import LogRecord, User
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission, require
from wearlog.runs import validation
from wearlog.service.actions import check, check_gauge
from wearlog.service.entries import NewMeasurement
from wearlog.service.incidents import hold_lot
from wearlog.service.models import Incident, IncidentKind, LotHold, Measurement, Service
from wearlog.service.validation import about_step
from wearlog.service.work import MOVES


@transaction.atomic
def correct_service(
    *, by: User | None, at: datetime, service: Service, changes: Mapping[str, object], reason: str
) -> None:
    """Change a record of work. If its time changes, so do those of its gauges and of its flip or replacement.
    What a flip or replacement moved can't be changed: it has to be voided and logged again. Raises
    Refused."""
    begun = fitting_begun_by(service)
    if begun is not None and {"press", "position", "part", "edge", "action"} & set(changes):
        raise Refused(
            _("This work moved a part. Cross it out, which takes the move back, and log it anew."),
            field=next(iter(changes)),
        )
    old, was_done_at = audit.snapshot(service), service.done_at
    for name, value in changes.items():
        setattr(service, name, value)
    check(service)
    moves.not_in_the_future(service.done_at, at=at, field="done_at")
    if begun is not None and service.done_at != was_done_at:
        fittings.correct_fitting(
            by=by, at=at, fitting=begun, changes={"fitted_at": service.done_at}, reason=reason
        )
    _store(by=by, at=at, record=service, old=old, reason=reason)
    for gauge in Measurement.objects.not_voided().filter(service=service):
        follows = {
            name: value
            for name, was, value in (
                ("measured_at", was_done_at, service.done_at),
                ("part", old["part_id"], service.part),
                ("edge", old["edge"], service.edge),
            )
            if getattr(gauge, "part_id" if name == "part" else name) == was and value != was
        }
        before = audit.snapshot(gauge)
        for name, value in follows.items():
            setattr(gauge, name, value)
        if audit.snapshot(gauge) != before:
            if gauge.part_id is None:
                raise Refused(_("This work has gauges. Name the part that was measured."), field="part")
            check_gauge(gauge)
            _store(by=by, at=at, record=gauge, old=before, reason=reason)


@transaction.atomic
def correct_measurement(
    *,
    by: User | None,
    at: datetime,
    measurement: Measurement,
    changes: Mapping[str, object],
    reason: str,
    confirmed: Collection[str],
) -> None:
    """Change a gauge reading and validate it like a new one. Raises Refused and Doubtful."""
    old = audit.snapshot(measurement)
    for name, value in changes.items():
        setattr(measurement, name, value)
    check_gauge(measurement)
    given = NewMeasurement(
        value_mm=measurement.value_mm,
        place=measurement.place,
        bound=measurement.bound,
        phase=measurement.phase,
    )
    open_doubts = about_step(
        given,
        part=measurement.part,
        edge=measurement.edge,
        measured_at=measurement.measured_at,
        exclude=measurement.pk,
    )
    open_doubts += validation.in_the_future(measurement.measured_at, at=at, field="measured_at")
    validation.ask(open_doubts, confirmed)
    _store(by=by, at=at, record=measurement, old=old, reason=reason)


@transaction.atomic
def correct_other(
    *, by: User | None, at: datetime, record: LogRecord, changes: Mapping[str, object], reason: str
) -> None:
    """Change an incident or a shift note. An incident that becomes one of metal puts the lot on hold; one
    that no longer is keeps its hold until a person releases it. Raises Refused."""
    old = audit.snapshot(record)
    for name, value in changes.items():
        setattr(record, name, value)
    if isinstance(record, Incident):
        moves.not_in_the_future(record.happened_at, at=at, field="happened_at")
        if record.position is not None and record.position.press_id != record.press_id:
            raise Refused(
                _("%(position)s is not on %(press)s. Choose a position of this press.")
                % {"position": record.position, "press": record.press},
                field="position",
            )
    clean(record)
    _store(by=by, at=at, record=record, old=old, reason=reason)
    if (
        isinstance(record, Incident)
        and record.kind == IncidentKind.METAL
        and not LotHold.objects.filter(incident=record).exists()
    ):
        hold_lot(by=by, at=at, incident=record)


@transaction.atomic
def void_service(*, by: User | None, at: datetime, service: Service, reason: str) -> None:
    """Void work with its gauges, and undo the move of a flip or replacement."""
    begun = fitting_begun_by(service)
    _strike_out_with_gauges(by=by, at=at, service=service, reason=reason)
    if begun is not None:
        fittings.undo_move(by=by, at=at, fitting=begun, reason=reason)


def void_work_of_move(*, by: User | None, at: datetime, move: fittings.Move, reason: str) -> None:
    """Void the flip and replacement records that describe a move."""
    positions = {each.position_id for each in (*move.ended, *move.begun)}
    for service in Service.objects.not_voided().filter(
        position__in=positions, done_at=move.at, action__in=MOVES
    ):
        _strike_out_with_gauges(by=by, at=at, service=service, reason=reason)


@transaction.atomic
def void_incident(*, by: User | None, at: datetime, incident: Incident, reason: str) -> None:
    """Void an incident. If its lot is on hold, this also releases the lot, in the name of the maintainer who
    must do it."""
    hold = LotHold.objects.filter(incident=incident, released_at__isnull=True).first()
    if hold is not None:
        require(by, Permission.MAINTAIN)
        old = audit.snapshot(hold)
        hold.released_at, hold.released_by = at, audit.name_of(by)
        hold.reason = f"The incident was crossed out: {reason}"
        hold.save()
        audit.write(
            at=at,
            by=by,
            action="release lot",
            record=hold,
            old=old,
            new=audit.snapshot(hold),
            reason=reason,
        )
    audit.strike_out(by=by, at=at, record=incident, reason=reason)


def fitting_begun_by(service: Service) -> Fitting | None:
    """The fitting that a flip or replacement began: on the same position at the same instant. None if another
    record describes the same move, so that of two records of one move one can be voided alone."""
    if service.action not in MOVES or service.position_id is None:
        return None
    twice = (
        Service.objects.not_voided()
        .filter(position=service.position_id, done_at=service.done_at, action__in=MOVES)
        .exclude(pk=service.pk)
        .exists()
    )
    if twice:
        return None
    begun: Fitting | None = (
        Fitting.objects.not_voided()
        .select_related("part__part_type", "position__press")
        .filter(position=service.position_id, fitted_at=service.done_at)
        .first()
    )
    return begun


def _strike_out_with_gauges(*, by: User | None, at: datetime, service: Service, reason: str) -> None:
    audit.strike_out(by=by, at=at, record=service, reason=reason)
    for gauge in Measurement.objects.not_voided().filter(service=service):
        audit.strike_out(by=by, at=at, record=gauge, reason=reason)


def _store(
    *, by: User | None, at: datetime, record: LogRecord, old: Mapping[str, object], reason: str
) -> None:
    record.save()
    audit.write(
        at=at, by=by, action="correct", record=record, old=old, new=audit.snapshot(record), reason=reason
    )
