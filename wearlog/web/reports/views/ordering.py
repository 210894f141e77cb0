"""What to order, what is on order, and what has come."""

from __future__ import annotations

from datetime import date, datetime
from typing import cast

from django.contrib import messages
from django.http import HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from wearlog.compare.shopping.files import as_csv
from wearlog.compare.shopping.of_day import list_of_day
from wearlog.equipment.models import Part, PartOrder, PartType
from wearlog.logbook import actions
from wearlog.people.roles import Permission, allows
from wearlog.web.reports.forms.ordering import (
    ArrivalForm,
    ArrivalUndoForm,
    OrderCorrectionForm,
    OrderForm,
    OrderVoidForm,
)
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.forms import new_ref
from wearlog.web.site.history import changes_of, refuse_if_written, times_written
from wearlog.web.site.pages import Form, FormPage, NothingToShow, Record, back_to, number_in
from wearlog.web.site.shopping import now_words, ordered_lines, total_words, untold_words

LATEST = 20
"""How many finished or crossed-out orders the page shows."""


@needs(Permission.VIEW)
def to_order(request: MillRequest) -> HttpResponse:
    today = timezone.localdate()
    found = list_of_day(today)
    with_money = allows(request.user, Permission.MAINTAIN)
    currency = request.mill.currency
    if request.GET.get("download") == "csv":
        text = as_csv(found, currency=currency if with_money else None)
        answer = HttpResponse(text.encode(), content_type="text/csv; charset=utf-8")
        answer["Content-Disposition"] = 'attachment; filename="to-order.csv"'
        return answer
    system = str(request.units)
    settled = (
        PartOrder.objects.exclude(arrived_on=None, voided_at=None)
        .select_related("part_type")
        .prefetch_related("parts")
        .order_by("-ordered_on", "-pk")[:LATEST]
    )
    return render(
        request,
        "web/reports/ordering/list.html",
        {
            "today": today,
            "lines": ordered_lines(found, today, system, currency if with_money else None),
            "now": now_words(found, today),
            "total": total_words(found, currency, system) if with_money else "",
            "under_way": found.under_way,
            "settled": settled,
            "stocks": sorted(found.stocks.values(), key=lambda one: (one.type.kind, one.type.code)),
            "untold": untold_words(found),
            "late_of_hundred": round(100 * found.late_share),
        },
    )


class OrderNew(FormPage[OrderForm, PartOrder]):
    """Write down that something was ordered; the list fills in type, number and supplier."""

    template_name = "web/reports/ordering/form.html"
    replays = PartOrder

    def form(self, data: QueryDict | None) -> OrderForm:
        type_ = PartType.objects.filter(pk=number_in(self.request, "part_type") or 0).first()
        count = number_in(self.request, "count")
        last = type_.orders.not_voided().exclude(supplier="").last() if type_ is not None else None
        supplier = "" if type_ is None else type_.supplier or (last.supplier if last is not None else "")
        price = None if type_ is None else type_.unit_cost
        return OrderForm(
            data,
            reader=self.reader,
            initial={
                "ref": new_ref(),
                "part_type": type_,
                "count": min(count, 100) if count else 1,
                "ordered_on": timezone.localdate(timezone=self.reader.zone),
                "supplier": supplier,
                "unit_cost": price,
            },
        )

    def context(self) -> dict[str, object]:
        return {"heading": _("Ordered"), "back": reverse("web:to-order")}

    def act(self, form: OrderForm, now: datetime) -> PartOrder:
        return actions.place_order(by=self.request.user, at=now, entry=form.entry())

    def done(self, record: PartOrder) -> HttpResponse:
        messages.success(self.request, _("Written down as ordered: %(order)s.") % {"order": record})
        return back_to(self.request, reverse("web:to-order"))


class OfOrder(FormPage[Form, Record]):
    """A page about one order."""

    template_name = "web/reports/ordering/form.html"

    def prepare(self) -> None:
        order = get_object_or_404(PartOrder.objects.select_related("part_type"), pk=self.kwargs["pk"])
        self.order: PartOrder = order
        if order.voided_at is not None:
            messages.info(self.request, _("This order is crossed out: %(why)s") % {"why": order.void_reason})
            raise NothingToShow(back_to(self.request, reverse("web:to-order")))


class OrderArrived(OfOrder[ArrivalForm, list[Part]]):
    def form(self, data: QueryDict | None) -> ArrivalForm:
        return ArrivalForm(
            data,
            reader=self.reader,
            initial={
                "arrived_on": timezone.localdate(timezone=self.reader.zone),
                "count": self.order.count,
            },
        )

    def context(self) -> dict[str, object]:
        return {
            "heading": _("Arrived"),
            "about": self.order,
            "back": reverse("web:to-order"),
            "lead": _("Each gets its mark and lies on the shelf as a spare."),
        }

    def act(self, form: ArrivalForm, now: datetime) -> list[Part]:
        return actions.receive_order(
            by=self.request.user,
            at=now,
            order_id=self.order.pk,
            arrived_on=cast("date", form.cleaned_data["arrived_on"]),
            codes=form.codes,
        )

    def done(self, record: list[Part]) -> HttpResponse:
        messages.success(
            self.request,
            ngettext("On the shelf: %(codes)s.", "%(number)s on the shelf: %(codes)s.", len(record))
            % {"number": len(record), "codes": ", ".join(part.code for part in record)},
        )
        return back_to(self.request, reverse("web:to-order"))


class OrderCorrect(OfOrder[OrderCorrectionForm, PartOrder]):
    def form(self, data: QueryDict | None) -> OrderCorrectionForm:
        self.seen = times_written(self.order)
        return OrderCorrectionForm(data, reader=self.reader, order=self.order, seen=self.seen)

    def context(self) -> dict[str, object]:
        return {
            "heading": _("Correct"),
            "about": self.order,
            "back": reverse("web:to-order"),
            "changes": changes_of(self.order, self.reader),
        }

    def act(self, form: OrderCorrectionForm, now: datetime) -> PartOrder:
        refuse_if_written(self.seen, since=form.cleaned_data.get("seen"))
        changes = form.changes()
        return actions.correct(
            by=self.request.user,
            at=now,
            record=self.order,
            changes=changes,
            reason=form.text_of("reason"),
            seen={name: getattr(self.order, name) for name in changes},
        )

    def done(self, record: PartOrder) -> HttpResponse:
        messages.success(self.request, _("Corrected. The old values and your reason are kept."))
        return back_to(self.request, reverse("web:to-order"))


class OrderArrivalUndo(OfOrder[ArrivalUndoForm, PartOrder]):
    def prepare(self) -> None:
        super().prepare()
        if self.order.arrived_on is None:
            messages.info(self.request, _("This order has not arrived yet."))
            raise NothingToShow(back_to(self.request, reverse("web:to-order")))

    def form(self, data: QueryDict | None) -> ArrivalUndoForm:
        return ArrivalUndoForm(data, reader=self.reader)

    def context(self) -> dict[str, object]:
        return {
            "heading": _("Not arrived after all"),
            "about": self.order,
            "back": reverse("web:to-order"),
            "lead": _("It is on order again."),
            "changes": changes_of(self.order, self.reader),
        }

    def act(self, form: ArrivalUndoForm, now: datetime) -> PartOrder:
        return actions.undo_arrival(
            by=self.request.user, at=now, order_id=self.order.pk, reason=form.text_of("reason")
        )

    def done(self, record: PartOrder) -> HttpResponse:
        messages.success(self.request, _("On order again: %(order)s.") % {"order": record})
        return back_to(self.request, reverse("web:to-order"))


class OrderVoid(OfOrder[OrderVoidForm, PartOrder]):
    def form(self, data: QueryDict | None) -> OrderVoidForm:
        return OrderVoidForm(data, reader=self.reader)

    def context(self) -> dict[str, object]:
        return {
            "heading": _("Cross out"),
            "about": self.order,
            "back": reverse("web:to-order"),
            "changes": changes_of(self.order, self.reader),
            "save": _("Cross it out"),
        }

    def act(self, form: OrderVoidForm, now: datetime) -> PartOrder:
        return actions.void(by=self.request.user, at=now, record=self.order, reason=form.text_of("reason"))

    def done(self, record: PartOrder) -> HttpResponse:
        messages.success(self.request, _("Crossed out: %(order)s.") % {"order": record})
        return back_to(self.request, reverse("web:to-order"))


order_new = OrderNew.as_page(Permission.MAINTAIN)
order_arrived = OrderArrived.as_page(Permission.MAINTAIN)
order_correct = OrderCorrect.as_page(Permission.MAINTAIN)
order_arrival_undo = OrderArrivalUndo.as_page(Permission.MAINTAIN)
order_void = OrderVoid.as_page(Permission.MAINTAIN)
