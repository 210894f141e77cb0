"""Forms of orders: what was ordered, what has come, and what was wrong about it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import cast

from django import forms
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.models import Part, PartOrder, PartType
from wearlog.equipment.ordering import NewOrder
from wearlog.web.site.consecutive import MarksForm
from wearlog.web.site.fields import Reader
from wearlog.web.site.forms import EntryForm, ReasonedForm
from wearlog.web.site.model_fields import of


class OrderForm(EntryForm):
    ref = of(PartOrder, "ref", widget=forms.HiddenInput)
    part_type = of(Part, "part_type", error_messages={"required": _("Choose the type, or add it first.")})
    count = of(PartOrder, "count")
    ordered_on = of(PartOrder, "ordered_on")
    expected_on = of(PartOrder, "expected_on")
    unit_cost = of(PartOrder, "unit_cost")
    supplier = of(PartOrder, "supplier")
    note = of(PartOrder, "note", widget=forms.Textarea(attrs={"rows": 2}))

    def entry(self) -> NewOrder:
        given = self.cleaned_data
        return NewOrder(
            ref=self.text_of("ref"),
            part_type_id=cast("PartType", given["part_type"]).pk,
            count=cast("int", given["count"]),
            ordered_on=cast("date", given["ordered_on"]),
            expected_on=given.get("expected_on"),
            supplier=self.text_of("supplier"),
            note=self.text_of("note"),
            unit_cost=cast("Decimal | None", given.get("unit_cost")),
        )


class OrderCorrectionForm(ReasonedForm):
    """What was said of an order, to change."""

    NAMES = ("count", "unit_cost", "supplier", "ordered_on", "expected_on", "note")

    count = of(PartOrder, "count")
    unit_cost = of(PartOrder, "unit_cost")
    supplier = of(PartOrder, "supplier")
    ordered_on = of(PartOrder, "ordered_on")
    expected_on = of(PartOrder, "expected_on")
    note = of(PartOrder, "note", widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(
        self, data: Mapping[str, object] | None, *, reader: Reader, order: PartOrder, seen: int
    ) -> None:
        old = {name: getattr(order, name) for name in self.NAMES}
        super().__init__(data, reader=reader, initial={**old, "seen": seen})
        self.order_fields([*self.NAMES, "reason"])

    def changes(self) -> dict[str, object]:
        """The changed values by the order's own names."""
        return {name: self.cleaned_data[name] for name in self.NAMES if name in self.changed_data}


class ArrivalForm(MarksForm):
    arrived_on = of(PartOrder, "arrived_on", required=True)
    first = of(
        Part,
        "code",
        help_text=_("Where several are added, the last number counts on: D5-07, D5-08 …"),
        error_messages={"required": _("Write the mark that is on the part.")},
    )
    count = of(
        PartOrder,
        "count",
        help_text=_("If fewer came than were ordered, write these: what still lacks comes back on the list."),
    )


class OrderVoidForm(EntryForm):
    reason = forms.CharField(
        label=_("Why is it crossed out?"),
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=_("The parts that came with it go too, as long as none of them has been used."),
        error_messages={"required": _("Write why; the reason is kept with the record.")},
    )


class ArrivalUndoForm(EntryForm):
    reason = forms.CharField(
        label=_("Why has it not arrived?"),
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=_("The parts that came with it go too, as long as none of them has been used."),
        error_messages={"required": _("Write why; the reason is kept with the record.")},
    )
