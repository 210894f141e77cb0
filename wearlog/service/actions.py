"""Logging work and gauges. A flip or replacement also moves the part, in the same transaction.

Locks are always taken in the same order (press, positions, parts), so that entries can't deadlock.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from wearlog.equipment import actions as moves
from wearlog.equipment import queries as equipment
from wearlog.equipment import wording
from wearlog.equipment.models import Fitting, Part, Position, Press
from wearlog.people import audit, refs
from wearlog.people.cleaning import check_numbers, clean_fields
from wearlog.people.models import User
from wearlog.people.refusals import AlreadyMoved, Doubt, Refused
from wearlog.people.roles import Permission, require
from wearlog.people.words import when
from wearlog.runs import validation as run_doubts
from wearlog.runs.readings import locked_press
from wearlog.service.entries import NewMeasurement, NewWork
from wearlog.service.models import Action, Measurement, Rule, Service
from wearlog.service.validation import about_step


@dataclass(frozen=True)
class Subject:
    """The position, part and edge on which work was done."""

    position: Position | None = None
    part: Part | None = None
    edge: str = ""


@transaction.atomic
def log_work(*, by: User | None, at: datetime, entry: NewWork, confirmed: Collection[str] = ()) -> Service:
    """Log work with its gauges, and move the part if it was flipped or replaced.

    Part and edge are those that were worked on or came off. Raises AlreadyMoved if the fitting shown to the
    person has ended in the meantime, Refused and Doubtful.
    """
    require(by, Permission.LOG)
    press = locked_press(entry.press_id)
    existing = refs.find_existing(Service, ref=entry.ref, entry=entry)
    if existing is not None:
        return existing
    if entry.action not in Action.values:
        raise Refused(
            _("%(action)s is no work known here. Choose one of %(names)s.")
            % {"action": repr(entry.action), "names": ", ".join(Action.values)},
            field="action",
        )
    subject = subject_of(entry, press)
    service = Service(
        ref=entry.ref or refs.new_ref(at),
        done_at=entry.done_at,
        press=press,
        position=subject.position,
        part=subject.part,
        edge=subject.edge,
        action=entry.action,
        finding=entry.finding,
        rule=rule_of(entry.rule_id),
        downtime_h=entry.downtime_h,
        labour_h=entry.labour_h,
        cost=entry.cost,
        done_by=entry.done_by,
        note=entry.note,
        entered_at=at,
        entered_by=by,
    )
    check(service)
    move(by=by, at=at, entry=entry, subject=subject)
    service.save()
    audit.write(
        at=at,
        by=by,
        action=refs.LOGGED,
        record=service,
        new={**audit.snapshot(service), "entry": refs.digest(entry)},
    )
    open_doubts = run_doubts.in_the_future(entry.done_at, at=at, field="done_at")
    for number, given in enumerate(entry.measurements, start=1):
        if subject.part is None:
            raise Refused(_("Say which part was measured."), field="part")
        open_doubts += gauge(
            by=by,
            at=at,
            part=subject.part,
            edge=moves.edge_of(subject.part, subject.edge),
            measured_at=entry.done_at,
            given=given,
            ref=given.ref or f"{service.ref[:50]}-m{number}",
            service=service,
        )[1]
    run_doubts.ask(open_doubts, confirmed)
    return service


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
    """Log one gauge reading of a part, on the press or on the shelf. Raises Refused and Doubtful."""
    require(by, Permission.LOG)
    part = moves.locked_parts(part_id)[0]
    entry = [part_id, edge, measured_at, measurement]
    existing = refs.find_existing(Measurement, ref=measurement.ref, entry=entry)
    if existing is not None:
        return existing
    row, open_doubts = gauge(
        by=by,
        at=at,
        part=part,
        edge=moves.edge_of(part, edge),
        measured_at=measured_at,
        given=measurement,
        ref=measurement.ref or refs.new_ref(at),
        service=None,
        entry=entry,
    )
    open_doubts += run_doubts.in_the_future(measured_at, at=at, field="measured_at")
    run_doubts.ask(open_doubts, confirmed)
    return row


def gauge(
    *,
    by: User | None,
    at: datetime,
    part: Part,
    edge: str,
    measured_at: datetime,
    given: NewMeasurement,
    ref: str,
    service: Service | None,
    entry: object = None,
) -> tuple[Measurement, list[Doubt]]:
    """Store a gauge reading and return it with its doubts. The caller must ask about these; if they are not
    confirmed, the transaction is rolled back."""
    measurement = Measurement(
        ref=ref,
        measured_at=measured_at,
        part=part,
        edge=edge,
        value_mm=given.value_mm,
        place=given.place.strip(),
        bound=given.bound,
        service=service,
        phase=given.phase,
        gauge=given.gauge,
        note=given.note,
        entered_at=at,
        entered_by=by,
    )
    check_gauge(measurement)
    open_doubts = about_step(given, part=part, edge=edge, measured_at=measured_at)
    measurement.save()
    audit.write(
        at=at,
        by=by,
        action=refs.LOGGED,
        record=measurement,
        new={**audit.snapshot(measurement), "entry": refs.digest(given if entry is None else entry)},
    )
    return measurement, open_doubts


# --- subject of the work ----------------------------------------------------------------------------


def subject_of(entry: NewWork, press: Press) -> Subject:
    """The subject of the work: from the named fitting, else from the named position, part and edge."""
    if entry.expected_fitting_id is not None:
        return of_fitting(entry, press)
    position = position_of(entry.position_id, press)
    if entry.part_id is not None:
        part = moves.locked_parts(entry.part_id)[0]
        return Subject(position, part, edge_worked_on(part, entry.edge, entry.done_at))
    if position is not None:
        fitting = equipment.fitting_on(position, at=entry.done_at)
        if fitting is not None and entry.new_part_id is None:
            return Subject(position, fitting.part, entry.edge or fitting.edge)
    if entry.edge:
        raise Refused(_("Say which part the edge belongs to."), field="part")
    return Subject(position)


def of_fitting(entry: NewWork, press: Press) -> Subject:
    fitting: Fitting = moves.locked_fitting(entry.expected_fitting_id or 0)
    if fitting.position.press_id != press.pk:
        raise Refused(
            _("%(part)s sits on %(press)s, not on %(named)s. Choose the press again.")
            % {"part": fitting.part, "press": fitting.position.press, "named": press},
            field="press",
        )
    if entry.position_id is not None and entry.position_id != fitting.position_id:
        raise Refused(
            _("%(part)s sits on %(position)s. Choose that position, or another part.")
            % {"part": fitting.part, "position": fitting.position},
            field="position",
        )
    if entry.part_id is not None and entry.part_id != fitting.part_id:
        raise Refused(
            _("%(part)s is what sits on %(position)s.")
            % {"part": fitting.part, "position": fitting.position},
            field="part",
        )
    ended = fitting.removed_at is not None and entry.done_at >= fitting.removed_at
    if ended or fitting.voided_at is not None:
        raise AlreadyMoved(wording.who_moved(fitting), field="fitting")
    if entry.done_at < fitting.fitted_at:
        raise Refused(
            _(
                "%(part)s was fitted on %(position)s only on %(when)s. Give a later moment, or "
                "correct when it was fitted."
            )
            % {"part": fitting.part, "position": fitting.position, "when": when(fitting.fitted_at)},
            field="done_at",
        )
    edge = moves.edge_of(fitting.part, entry.edge) if entry.edge else fitting.edge
    return Subject(fitting.position, fitting.part, edge)


def position_of(position_id: int | None, press: Press) -> Position | None:
    if position_id is None:
        return None
    position = moves.locked_position(position_id)
    if position.press_id != press.pk:
        raise Refused(
            _("%(position)s is not on %(press)s. Choose a position of this press.")
            % {"position": position, "press": press},
            field="position",
        )
    return position


def edge_worked_on(part: Part, edge: str, done_at: datetime) -> str:
    """The named edge; if none was named, the one in use then; empty where that is not known."""
    if edge or part.part_type.edges == 1:
        return moves.edge_of(part, edge)
    fitting = Fitting.objects.in_place(at=done_at).filter(part=part).first()
    return fitting.edge if fitting is not None else ""


def rule_of(rule_id: int | None) -> Rule | None:
    if rule_id is None:
        return None
    rule = Rule.objects.filter(pk=rule_id).first()
    if rule is None:
        raise Refused(_("There is no such rule any more. Leave it empty, or choose another."), field="rule")
    return rule


def move(*, by: User | None, at: datetime, entry: NewWork, subject: Subject) -> None:
    """Move the part as the flip or replacement says. Raises Refused if the entry does not fit the action."""
    if entry.action != Action.REPLACE and (entry.new_part_id or entry.old_part_retired_because):
        raise Refused(
            _("A part goes on or out of service only with a replacement. Log that, or take the part off."),
            field="action",
        )
    if entry.action == Action.FLIP:
        if entry.expected_fitting_id is None:
            raise Refused(_("Say which part was flipped: choose it on the press page."), field="fitting")
        moves.flip(
            by=by,
            at=at,
            expected_fitting_id=entry.expected_fitting_id,
            moved_at=entry.done_at,
            to_edge=entry.to_edge,
        )
    if entry.action != Action.REPLACE:
        return
    if entry.new_part_id is None:
        if entry.expected_fitting_id is not None or entry.old_part_retired_because:
            raise Refused(_("Say which part went on in its place."), field="new_part")
        return  # it replaced something that is not recorded as a part, such as a belt
    if subject.position is None:
        raise Refused(_("Say where the new part was fitted."), field="position")
    if entry.expected_fitting_id is None and entry.old_part_retired_because:
        raise Refused(_("Say which part came off: choose it on the press page."), field="fitting")
    moves.replace(
        by=by,
        at=at,
        position_id=subject.position.pk,
        expected_fitting_id=entry.expected_fitting_id,
        new_part_id=entry.new_part_id,
        new_edge=entry.new_edge or first_edge(entry.new_part_id),
        moved_at=entry.done_at,
        old_part_retired_because=entry.old_part_retired_because,
    )


def first_edge(part_id: int) -> str:
    """The edge on which a part is fitted if none is named: the first unused one, else the first."""
    part = moves.locked_parts(part_id)[0]
    unused = equipment.edges_unused(part)
    return unused[0] if unused else part.part_type.edge_names[0]


# --- validation -------------------------------------------------------------------------------------


def check(service: Service) -> None:
    check_numbers(service)
    if service.position is not None and service.position.press_id != service.press_id:
        raise Refused(
            _("%(position)s is not on %(press)s. Choose a position of this press.")
            % {"position": service.position, "press": service.press},
            field="position",
        )
    if service.edge and service.part is not None:
        moves.edge_of(service.part, service.edge)
    clean_fields(service, known=("ref", "press", "position", "part", "rule"))


def check_gauge(measurement: Measurement) -> None:
    if measurement.value_mm is None:
        raise Refused(_("Write what the gauge showed."), field="value_mm")
    check_numbers(measurement)
    moves.edge_of(measurement.part, measurement.edge)
    if measurement.pk is None:
        refuse_taken_ref(measurement)
    clean_fields(measurement, known=("ref", "part", "service"))


def refuse_taken_ref(measurement: Measurement) -> None:
    """Raise Refused for a gauge reading within new work whose ref another reading already has."""
    if Measurement.objects.filter(ref=measurement.ref).exists():
        raise refs.taken()
