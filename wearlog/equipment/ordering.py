"""Parts on order: ordered, corrected, arrived, crossed out.

What arrives becomes spare parts at once, each with its mark. An order that is crossed out, and an arrival
that is undone, take them along, as long as none of them has a record of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction
from django.db.models import ProtectedError
from django.utils.translation import gettext as _

from wearlog.equipment.models import Part, PartOrder, PartType
from wearlog.people import audit, refs
from wearlog.people.cleaning import clean
from wearlog.people.models import User
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission, require
from wearlog.people.words import day, day_of


@dataclass(frozen=True)
class NewOrder:
    """What a person says of an order."""

    ref: str
    part_type_id: int
    count: int
    ordered_on: date
    expected_on: date | None = None
    supplier: str = ""
    note: str = ""
    unit_cost: Decimal | None = field(default=None, metadata={"came_later": True})


@transaction.atomic
def place_order(*, by: User | None, at: datetime, entry: NewOrder) -> PartOrder:
    """Write down that parts were ordered. Sent twice with one ref, it is one order. Raises Refused."""
    require(by, Permission.MAINTAIN)
    before = refs.find_existing(PartOrder, ref=entry.ref, entry=entry)
    if before is not None:
        return before
    if not PartType.objects.filter(pk=entry.part_type_id).exists():
        raise Refused(_("There is no such type. Choose one from the list."), field="part_type")
    order = PartOrder(
        ref=entry.ref or refs.new_ref(at),
        part_type_id=entry.part_type_id,
        count=entry.count,
        ordered_on=entry.ordered_on,
        expected_on=entry.expected_on,
        supplier=entry.supplier.strip(),
        note=entry.note.strip(),
        unit_cost=entry.unit_cost,
        entered_at=at,
        entered_by=by,
    )
    _check_days(order, at=at)
    clean(order)
    order.save()
    new = audit.snapshot(order) | {"entry": refs.digest(entry)}
    audit.write(at=at, by=by, action=refs.LOGGED, record=order, new=new)
    return order


def correct_order(
    *, by: User | None, at: datetime, order: PartOrder, changes: Mapping[str, object], reason: str
) -> None:
    """Change what was said of an order, before it has come or after. The parts that came with it stay as they
    are. Raises Refused."""
    old = audit.snapshot(order)
    for name, value in changes.items():
        setattr(order, name, value)
    _check_days(order, at=at)
    clean(order)
    order.save()
    audit.write(
        at=at, by=by, action="correct", record=order, old=old, new=audit.snapshot(order), reason=reason
    )


@transaction.atomic
def receive_order(
    *, by: User | None, at: datetime, order_id: int, arrived_on: date, codes: Sequence[str]
) -> list[Part]:
    """Write down that an order has come, and add a spare part for each mark. Fewer or more may have come than
    were ordered. Raises Refused."""
    order = _locked(order_id, by=by)
    if order.arrived_on is not None:
        raise Refused(_("This order arrived on %(day)s already.") % {"day": day(order.arrived_on)})
    if not codes:
        raise Refused(_("Write the mark of what has come."), field="first")
    _not_ahead(arrived_on, at=at, field="arrived_on")
    if arrived_on < order.ordered_on:
        raise Refused(
            _("It was ordered only on %(day)s. Give that day or a later one.")
            % {"day": day(order.ordered_on)},
            field="arrived_on",
        )
    _set_arrival(order, arrived_on, by=by, at=at, action="arrive")
    return [_new_part(order, code, by=by, at=at) for code in codes]


def _new_part(order: PartOrder, code: str, *, by: User | None, at: datetime) -> Part:
    part = Part(code=code, part_type_id=order.part_type_id, acquired_on=order.arrived_on, came_with=order)
    clean(part)
    part.save()
    audit.write(at=at, by=by, action="add", record=part, new=audit.snapshot(part))
    return part


@transaction.atomic
def undo_arrival(*, by: User | None, at: datetime, order_id: int, reason: str) -> PartOrder:
    """Write down that an order has not come after all: it is on order again, and the parts that came with it
    are removed. Raises Refused where one of them has been fitted, gauged or otherwise named in the log."""
    order = _locked(order_id, by=by)
    if order.arrived_on is None:
        raise Refused(_("This order has not arrived yet."))
    if not reason.strip():
        raise Refused(_("Write why; the reason is kept with the record."), field="reason")
    _remove_parts(order, by=by, at=at, reason=reason.strip())
    _set_arrival(order, None, by=by, at=at, action="correct", reason=reason.strip())
    return order


def void_order(*, by: User | None, at: datetime, order: PartOrder, reason: str) -> None:
    """Cross an order out, and remove the parts that came with it. Raises Refused where one of them has been
    fitted, gauged or otherwise named in the log."""
    _remove_parts(order, by=by, at=at, reason=reason)
    audit.strike_out(by=by, at=at, record=order, reason=reason)


def _locked(order_id: int, *, by: User | None) -> PartOrder:
    """The order as it is stored now, for a person who may change it."""
    require(by, Permission.MAINTAIN)
    order = PartOrder.objects.select_for_update(of=("self",)).filter(pk=order_id).first()
    if order is None:
        raise Refused(_("There is no such order. Open the list again."))
    if order.voided_at is not None:
        raise Refused(_("This order is crossed out. Write down a new one if it was right."))
    return order


def _set_arrival(
    order: PartOrder, on: date | None, *, by: User | None, at: datetime, action: str, reason: str = ""
) -> None:
    old = audit.snapshot(order)
    order.arrived_on = on
    order.save(update_fields=["arrived_on"])
    audit.write(at=at, by=by, action=action, record=order, old=old, new=audit.snapshot(order), reason=reason)


def _remove_parts(order: PartOrder, *, by: User | None, at: datetime, reason: str) -> None:
    for part in order.parts.all():
        audit.write(at=at, by=by, action="remove", record=part, old=audit.snapshot(part), reason=reason)
        try:
            part.delete()
        except ProtectedError as error:
            raise Refused(
                _("%(part)s came with this order and is named in the log, so the order stands.")
                % {"part": part}
            ) from error


def _check_days(order: PartOrder, *, at: datetime) -> None:
    _not_ahead(order.ordered_on, at=at, field="ordered_on")
    if order.expected_on is not None and order.expected_on < order.ordered_on:
        raise Refused(_("It can't arrive before it was ordered. Give a later day."), field="expected_on")
    if order.arrived_on is not None and order.arrived_on < order.ordered_on:
        raise Refused(
            _("It arrived on %(day)s. Give that day or an earlier one.") % {"day": day(order.arrived_on)},
            field="ordered_on",
        )


def _not_ahead(on: date, *, at: datetime, field: str) -> None:
    if on > day_of(at):
        raise Refused(_("%(day)s lies ahead. Give today or an earlier day.") % {"day": day(on)}, field=field)
