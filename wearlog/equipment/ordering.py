"""Parts on order: ordered, arrived, crossed out.

What arrives becomes spare parts at once, each with its mark. An order that is crossed out takes them along,
as long as none of them has a record of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

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


@transaction.atomic
def place_order(*, by: User | None, at: datetime, entry: NewOrder) -> PartOrder:
    """Write down that parts were ordered. Sent twice with one ref, it is one order. Raises Refused."""
    require(by, Permission.MAINTAIN)
    before = refs.find_existing(PartOrder, ref=entry.ref, entry=entry)
    if before is not None:
        return before
    if not PartType.objects.filter(pk=entry.part_type_id).exists():
        raise Refused(_("There is no such type. Choose one from the list."), field="part_type")
    _not_ahead(entry.ordered_on, at=at, field="ordered_on")
    if entry.expected_on is not None and entry.expected_on < entry.ordered_on:
        raise Refused(_("It can't arrive before it was ordered. Give a later day."), field="expected_on")
    order = PartOrder(
        ref=entry.ref or refs.new_ref(at),
        part_type_id=entry.part_type_id,
        count=entry.count,
        ordered_on=entry.ordered_on,
        expected_on=entry.expected_on,
        supplier=entry.supplier.strip(),
        note=entry.note.strip(),
        entered_at=at,
        entered_by=by,
    )
    clean(order)
    order.save()
    new = audit.snapshot(order) | {"entry": refs.digest(entry)}
    audit.write(at=at, by=by, action=refs.LOGGED, record=order, new=new)
    return order


@transaction.atomic
def receive_order(
    *, by: User | None, at: datetime, order_id: int, arrived_on: date, codes: Sequence[str]
) -> list[Part]:
    """Write down that an order has come, and add a spare part for each mark. Fewer or more may have come than
    were ordered. Raises Refused."""
    require(by, Permission.MAINTAIN)
    order = PartOrder.objects.select_for_update(of=("self",)).filter(pk=order_id).first()
    if order is None:
        raise Refused(_("There is no such order. Open the list again."))
    if order.voided_at is not None:
        raise Refused(_("This order is crossed out. Write down a new one if it was right."))
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
    old = audit.snapshot(order)
    order.arrived_on = arrived_on
    order.save(update_fields=["arrived_on"])
    audit.write(at=at, by=by, action="arrive", record=order, old=old, new=audit.snapshot(order))
    return [_new_part(order, code, by=by, at=at) for code in codes]


def _new_part(order: PartOrder, code: str, *, by: User | None, at: datetime) -> Part:
    part = Part(code=code, part_type_id=order.part_type_id, acquired_on=order.arrived_on, came_with=order)
    clean(part)
    part.save()
    audit.write(at=at, by=by, action="add", record=part, new=audit.snapshot(part))
    return part


def void_order(*, by: User | None, at: datetime, order: PartOrder, reason: str) -> None:
    """Cross an order out, and remove the parts that came with it. Raises Refused where one of them has been
    fitted, gauged or otherwise named in the log."""
    for part in order.parts.all():
        audit.write(at=at, by=by, action="remove", record=part, old=audit.snapshot(part), reason=reason)
        try:
            part.delete()
        except ProtectedError as error:
            raise Refused(
                _("%(part)s came with this order and is named in the log, so the order stands.")
                % {"part": part}
            ) from error
    audit.strike_out(by=by, at=at, record=order, reason=reason)


def _not_ahead(on: date, *, at: datetime, field: str) -> None:
    if on > day_of(at):
        raise Refused(_("%(day)s lies ahead. Give today or an earlier day.") % {"day": day(on)}, field=field)
